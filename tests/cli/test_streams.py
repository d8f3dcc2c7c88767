"""Streams that never raise: what cannot be written is lost and counted, and an exit code stands."""

import contextlib
import errno
import io
import json
import os
import subprocess
import sys

import pytest

from railwright.cli import streams
from railwright.cli.streams import Tolerant, loss_of, same_file, tolerant_text


@pytest.fixture
def pipe():
    reading, writing = os.pipe()
    yield reading, writing
    for end in (reading, writing):
        with contextlib.suppress(OSError):
            os.close(end)


@pytest.mark.parametrize("number", [errno.EPIPE, errno.EIO, errno.EBADF, errno.ENOSPC, errno.EFBIG])
def test_no_error_of_writing_is_raised_and_what_is_lost_is_counted(monkeypatch, number):
    def fail(descriptor, data):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "write", fail)
    text = tolerant_text(1, "standard output", line_buffering=True)
    print("eight ch", file=text)
    print("nine char", file=text)
    text.flush()
    raw = text.buffer
    assert isinstance(raw, Tolerant)
    assert raw.lost == 19
    expected = "" if number == errno.EPIPE else f"19 bytes could not be written: {os.strerror(number)}"
    assert loss_of(text).removeprefix("standard output: ") == expected


def test_a_reader_that_went_away_is_not_tried_again(monkeypatch, pipe):
    reading, writing = pipe
    text = tolerant_text(writing, "standard output", line_buffering=True)
    print("one", file=text)
    os.close(reading)
    print("two", file=text)
    monkeypatch.setattr(os, "write", lambda *given: pytest.fail("written once more"))
    print("three", file=text)
    assert text.buffer.lost == 10


def test_a_disk_that_has_room_again_shows_where_something_is_missing(monkeypatch, pipe):
    reading, writing = pipe
    text = tolerant_text(writing, "standard error", line_buffering=True)
    really = os.write

    def half(descriptor, data):
        if len(data) < 4:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return really(descriptor, data[:5])

    monkeypatch.setattr(os, "write", half)
    print("seven c", file=text)
    monkeypatch.setattr(os, "write", really)
    print("next", file=text)
    gap = "here some output could not be written (No space left on device)"
    assert os.read(reading, 4096).decode() == f"seven\n... {gap}\nnext\n"
    assert text.buffer.lost == 3


def test_a_pipe_that_somebody_made_non_blocking_is_waited_for(pipe):
    reading, writing = pipe
    os.set_blocking(writing, False)
    text = tolerant_text(writing, "standard output")
    count = "import sys; print(len(sys.stdin.read()))"
    child = subprocess.Popen([sys.executable, "-c", count], stdin=reading, stdout=subprocess.PIPE)
    os.close(reading)
    text.write("x" * 1_000_000)
    text.flush()
    os.close(writing)
    assert child.communicate(timeout=20)[0] == b"1000000\n"
    assert text.buffer.lost == 0


def test_who_interrupts_the_waiting_for_a_reader_does_not_wait_again(monkeypatch):
    def interrupted(descriptor, data):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "write", interrupted)
    text = tolerant_text(1, "standard output")
    text.write("said")
    with pytest.raises(KeyboardInterrupt):
        text.flush()
    text.write("more")
    text.flush()


@pytest.mark.parametrize(
    ("encoding", "came"),
    [("ascii", "470 Ohm +/-5 % -> 2 uF \\udcff \\u0436"), ("utf-8", "470 Ω ±5 % → 2 µF \\udcff ж")],
)
def test_what_the_encoding_has_not_is_spelt(pipe, encoding, came):
    text = tolerant_text(pipe[1], "standard output", encoding)
    print("470 Ω ±5 % → 2 µF \udcff ж", file=text, flush=True)
    assert os.read(pipe[0], 4096).decode("utf-8") == came + "\n"


def test_same_file_knows_pipes_apart(pipe):
    one, other = (tolerant_text(pipe[1], "a"), tolerant_text(pipe[1], "b"))
    assert same_file(one, other)
    assert not same_file(one, tolerant_text(os.open(os.devnull, os.O_WRONLY), "c"))
    assert not same_file(io.StringIO(), io.StringIO())


COMMAND = """
import sys
from railwright.cli.exits import Exit, guarded
from railwright.cli.streams import tolerate
tolerate()
def command():
    for number in range(20_000):
        print(number, "Ω")
    open("reached", "w").close()
    return Exit.FAILED
guarded(command)()
"""


@pytest.mark.parametrize(
    "how", ["| head -1 >&2", "> /dev/full", ">&-", "<&- >&- 2>&-", "2> /dev/full | true", "> /dev/null"]
)
@pytest.mark.parametrize("encoding", ["utf-8", "ascii:strict"])
def test_the_code_of_a_command_stands_and_its_work_is_done(tmp_path, how, encoding):
    shell = f'{sys.executable} -c "$COMMAND" {how}; exit ${{PIPESTATUS[0]}}'
    environment = {**os.environ, "COMMAND": COMMAND, "PYTHONIOENCODING": encoding}
    done = subprocess.run(
        ["bash", "-c", shell], cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert (tmp_path / "reached").exists()
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    if how == "> /dev/full":
        (line,) = done.stderr.splitlines()
        assert line.startswith("caution: standard output: ")
        assert line.endswith("could not be written: No space left on device")


def test_a_file_opened_later_never_takes_the_number_of_a_closed_stream(tmp_path):
    script = (
        "import os\nfrom railwright.cli.streams import tolerate\ntolerate()\n"
        f"file = open({str(tmp_path / 'log')!r}, 'w')\nos.write(1, b'stray'); os.write(2, b'stray')\n"
        "file.write(str(file.fileno())); file.close()\nassert __import__('sys').stdin.read() == ''"
    )
    shell = f"{sys.executable} - <<'END' >&- 2>&-\n{script}\nEND"
    subprocess.run(["bash", "-c", shell], check=True)
    assert int((tmp_path / "log").read_text()) > 2


def test_json_stays_json_in_a_locale_without_its_characters(monkeypatch, pipe):
    from railwright.cli.console import print_json

    text = tolerant_text(pipe[1], "standard output", "ascii")
    monkeypatch.setattr(sys, "stdout", text)
    data = {"a": "±5 % of 470 Ω \x9b \U0001f600 \udcff"}
    print_json(data)
    text.flush()
    assert json.loads(os.read(pipe[0], 4096)) == data


def test_json_does_not_steer_a_terminal(capsys):
    from railwright.cli.console import print_json

    print_json({"Ω": "\x9b31m \x1b[31m \u202e \x7f"})
    out = capsys.readouterr().out
    assert out.replace("\n", "").isprintable()
    assert "Ω" in out
    assert json.loads(out) == {"Ω": "\x9b31m \x1b[31m \u202e \x7f"}


def test_tables_and_lines_of_a_console_do_not_steer_a_terminal(capsys):
    from railwright.cli.console import console, table

    out = console()
    out.print("from a file: \x1b[31m")
    out.print(table("title \x1b]0;x\x07", ("One",), [("cell \x9b31m",)]))
    assert capsys.readouterr().out.replace("\n", "").isprintable()


def test_every_known_number_is_spelt_in_ascii():
    assert all(spelt.isascii() for spelt in streams.SPELT.values())
