"""Messages by a command, e-mail and webhook, to servers of the test's own: sent, refused, hanging; no secret
is told, and nothing that hangs outlives its deadline.
"""

from __future__ import annotations

import json
import socketserver
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, ClassVar

import pytest

from railwright.cli.exits import Exit
from railwright.cli.series import PlayedSeries, Series
from railwright.cli.told_ending import ending_told
from railwright.documents.message_file import Messages
from railwright.documents.translate import validated
from railwright.messages.messenger import UNANSWERED, Messenger, outcome_line

SECRET = "tide-7-secret"
MESSAGE = {"subject": "Line sweep, unit S-1: completed", "text": "runs/night-1"}


@contextmanager
def served(server: socketserver.BaseServer) -> Iterator[int]:
    """A server in a thread, on a free port."""
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield server.server_address[1]  # type: ignore[misc]
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


class Mail(socketserver.StreamRequestHandler):
    """The least of a mail server (RFC 5321, 3.3); `refuses` answers RCPT with 550, and repeats what came."""

    refuses = False
    came: ClassVar[list[str]] = []

    def handle(self) -> None:
        self.wfile.write(b"220 sink\r\n")
        body = False
        while line := self.rfile.readline():
            text = line.decode().rstrip("\r\n")
            self.came.append(text)
            if body:
                body = text != "."
                answer = "" if body else "250 taken"
            elif text.upper().startswith("RCPT") and self.refuses:
                answer = f"550 no {text} {SECRET}"
            else:
                body = text.upper() == "DATA"
                answer = {"DATA": "354 go on", "QUIT": "221 bye"}.get(text.upper(), "250 sink")
            if answer:
                self.wfile.write(f"{answer}\r\n".encode())
            if text.upper() == "QUIT" and not body:
                return


class Refusing(Mail):
    refuses = True


class Hook(BaseHTTPRequestHandler):
    """Takes what is posted to /take, refuses /refuse, leads /elsewhere to /take, never answers /hang."""

    came: ClassVar[list[tuple[str | None, dict[str, Any]]]] = []

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        path = self.path.split("?")[0]
        if path == "/hang":
            time.sleep(3.0)
            return
        if path == "/take":
            self.came.append((self.headers["Authorization"], json.loads(body)))
        self.send_response({"/take": 204, "/elsewhere": 302}.get(path, 403), SECRET)
        self.send_header("Location", "/take")
        self.end_headers()

    do_GET = do_POST

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing on the terminal."""


def email(port: int) -> dict[str, Any]:
    given = {"server": "127.0.0.1", "port": port, "security": "none", "from": "a@example.org"}
    return validated(Messages, {"email": {**given, "to": ["b@example.org", "c@example.org"]}}).ways["email"]


def hook(port: int, path: str) -> dict[str, Any]:
    url = f"http://127.0.0.1:{port}/{path}?key={SECRET}"
    return {"url": url, "headers": {"Authorization": f"Bearer {SECRET}"}}


@pytest.fixture
def ports() -> Iterator[tuple[int, int, int]]:
    Mail.came.clear()
    Hook.came.clear()
    with (
        served(socketserver.ThreadingTCPServer(("127.0.0.1", 0), Mail)) as mail,
        served(socketserver.ThreadingTCPServer(("127.0.0.1", 0), Refusing)) as refusing,
        served(ThreadingHTTPServer(("127.0.0.1", 0), Hook)) as web,
    ):
        yield mail, refusing, web


def python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def test_it_goes_by_every_way(ports: tuple[int, int, int], tmp_path: Path) -> None:
    mail, _, web = ports
    keep = python(f"import sys; open({str(tmp_path / 'said')!r}, 'w').write(sys.stdin.read())")
    ways = {"command": keep, "email": email(mail), "webhook": hook(web, "take")}
    found = Messenger(ways).tell(MESSAGE)
    assert found == {"command": "", "email": "", "webhook": ""}
    assert (tmp_path / "said").read_text() == "Line sweep, unit S-1: completed\nruns/night-1\n"
    assert "Subject: Line sweep, unit S-1: completed" in Mail.came
    assert "runs/night-1" in Mail.came
    assert {line for line in Mail.came if line.startswith("rcpt")} == {
        "rcpt TO:<b@example.org>",
        "rcpt TO:<c@example.org>",
    }
    ((authorised, body),) = Hook.came
    assert authorised == f"Bearer {SECRET}"
    assert (body["subject"], body["text"]) == (MESSAGE["subject"], "\n".join(MESSAGE.values()))


def test_what_is_refused_is_told_without_a_word_of_what_was_set_up(ports: tuple[int, int, int]) -> None:
    _, refusing, web = ports
    ways = {
        "command": python("import sys; print('" + SECRET + "'); sys.exit(3)"),
        "email": email(refusing),
        "webhook": hook(web, "refuse"),
    }
    found = Messenger(ways).tell(MESSAGE)
    assert found["command"] == "it ended with 3"
    assert found["email"] == "no recipient was accepted"
    assert found["webhook"] == "the server answered 403"
    line = outcome_line(found)
    assert SECRET not in line
    assert "\n" not in line
    # What authorises goes nowhere else; and what is not there is told by the system's words.
    more = Messenger({"command": ["/no/such/program"], "webhook": hook(web, "elsewhere")}).tell(MESSAGE)
    assert more == {"command": "No such file or directory", "webhook": "the server answered 302"}
    assert Hook.came == []


def test_what_hangs_is_given_up_and_outlived_by_nothing(ports: tuple[int, int, int], tmp_path: Path) -> None:
    hang = python(
        f"import os, time; open({str(tmp_path / 'pid')!r}, 'w').write(str(os.getpid())); time.sleep(60)"
    )
    ways = {"command": hang, "email": email(ports[0]), "webhook": hook(ports[2], "hang")}
    begun = time.monotonic()
    messenger = Messenger(ways, deadline=1.0)
    assert messenger.tell(MESSAGE) == {"command": UNANSWERED, "email": "", "webhook": UNANSWERED}
    assert time.monotonic() - begun < 5.0
    left = Path("/proc") / (tmp_path / "pid").read_text()
    while left.exists() and "Z" not in (left / "stat").read_text().split(")")[1]:
        assert time.monotonic() - begun < 10.0
        time.sleep(0.02)


def test_a_run_that_dies_without_a_word_is_told_and_one_with_nothing_to_tell_is_not(
    ports: tuple[int, int, int],
) -> None:
    ways = {"webhook": hook(ports[2], "take")}
    assert Messenger(ways, {"subject": "gone", "text": "measure"}).tell(None) == {}
    assert Hook.came == []
    dead = Messenger(ways, {"subject": "gone", "text": "measure"})
    dead._process.stdin.close()  # as the system does for a process that is killed
    dead._process.wait(10.0)
    dead._process.stdout.close()
    assert [body["subject"] for _, body in Hook.came] == ["gone"]


@pytest.mark.parametrize(
    ("code", "when", "told"),
    [
        (Exit.DONE, "every ending", ["Line sweep, unit S-1: 2 of 3 played: it ended so"]),
        (Exit.DONE, "not completed", []),
        (Exit.STOPPED, "not completed", ["Line sweep, unit S-1: 2 of 3 played: it ended so"]),
        (None, "not completed", ["Line sweep, unit S-1: ended with an error (OSError)"]),
    ],
)
def test_an_ending_is_told_once(
    ports: tuple[int, int, int],
    code: Exit | None,
    when: str,
    told: list[str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    settings = validated(Messages, {"webhook": hook(ports[2], "take"), "when": when})
    series = Series(Path("night"), 3)

    def go() -> None:
        with ending_told(settings, quiet=False) as teller:
            teller.begins("Line sweep", "S-1", series, simulated=False)
            if code is None:
                raise OSError(SECRET)
            teller.ends(PlayedSeries(series, ["play 1", "play 2"], code, "it was enough", "it ended so"))

    if code is None:
        with pytest.raises(OSError, match=SECRET):
            go()
    else:
        go()
    assert [body["subject"] for _, body in Hook.came] == told
    assert capsys.readouterr().out == ("message: webhook sent\n" if told else "")
    for _, body in Hook.came if code is not None else ():
        assert body["code"] == code
        assert body["text"].splitlines()[1:3] == ["play 1", "play 2"]
