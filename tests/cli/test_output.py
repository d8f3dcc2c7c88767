"""`railwright output`: one output read, set and switched, on simulated supplies in real time."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests.bench import BENCH

import railwright as rw
from railwright.documents.loader import load_bench
from railwright.twin.launcher import TwinBench


@pytest.fixture
def twins(documents: Path) -> Iterator[TwinBench]:
    """The example's supplies with nothing connected; the bench document has their addresses."""
    bench = documents / BENCH
    with TwinBench(load_bench(bench).model, ports="free") as made:
        text = bench.read_text("utf-8")
        for port, name in ((5025, "left"), (5026, "right")):
            text = text.replace(f"TCPIP::127.0.0.1::{port}::SOCKET", made.bench.supplies[name].address)
        bench.write_text(text, "utf-8")
        yield made


def spans(twins: TwinBench) -> dict[str, tuple[tuple[float, float | None], ...]]:
    return {name: own for name, own in twins.energised().items() if own}


def eventually(come: Callable[[], bool], child: subprocess.Popen[bytes] | None = None) -> None:
    """Wait for something; while it may come, a child goes on."""
    begun = time.monotonic()
    while not come():
        assert time.monotonic() - begun < 60.0
        assert child is None or child.poll() is None
        time.sleep(0.05)


@pytest.mark.alone
def test_it_is_read_set_on_for_its_time_and_off_when_it_is_killed(documents, twins, cli):
    first = cli("output", BENCH, "left.2", "--set", "5 V")
    assert first.exit_code == 0, first.output
    standing = json.loads(cli("output", BENCH, "left.2", "--read", "--json").stdout)
    assert (standing["on"], standing["set_voltage"]) == (False, 5.0)
    assert abs(standing["voltage"]) < 0.05
    assert spans(twins) == {}
    given = ("--set", "5 V", "--limit", "500 mA", "--bears", "6 V", "--for", "800 ms")
    on = cli("output", BENCH, "left.2", "--on", *given, "--operator", "A. Keeper", "--folder", "kept")
    assert on.exit_code == 0, on.output
    (((begin, end),),) = spans(twins).values()
    assert end is not None
    assert 0.7 < end - begin < 1.3
    run = rw.read_run(documents / "kept")
    assert run.completed
    assert run.off_confirmed
    assert run["load"].voltage.max() == pytest.approx(5.0, abs=0.05)
    # Killed while it is on: the guard switches off.
    command = [sys.executable, "-m", "railwright", "output", BENCH, "left.2"]
    longer = [*given[:-1], "60 s"]
    killed = subprocess.Popen([*command, "--on", *longer], stdout=subprocess.DEVNULL)
    eventually(lambda: len(spans(twins)["left.2"]) == 2, killed)
    killed.kill()
    killed.wait()
    eventually(lambda: spans(twins)["left.2"][1][1] is not None)
    # Until it has read that, its guard has the supply.
    eventually(lambda: cli("output", BENCH, "left.2", "--read").exit_code == 0)
    # Somebody else switches it on: it is not set, and off takes no run.
    _, host, port, _ = twins.bench.supplies["left"].address.split("::")[-4:]
    with socket.create_connection((host, int(port)), timeout=5.0) as raw:
        raw.sendall(b"OUTP ON,(@2);*OPC?\n")
        assert raw.recv(64).strip() == b"1"
    refused = cli("output", BENCH, "left.2", "--set", "5 V")
    assert refused.exit_code == 4
    assert "nothing was set" in refused.stderr
    off = subprocess.run([*command, "--off"], capture_output=True, text=True, check=True)
    assert "left.2: off confirmed" in off.stdout
    assert len(spans(twins)["left.2"]) == 3
    assert all(end is not None for _, end in spans(twins)["left.2"])


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ((), "got none"),
        (("--read", "--off"), "got --read --off"),
        (("--read", "--set", "5 V"), "got --read --set"),
        (("--on", "--set", "5 V"), "expected --limit, --bears, --for"),
        (("--set", "5 V", "--for", "3 s"), "--for: expected --on"),
        (("--set", "5 A"), "'A' is a current"),
        (("--set", "50 V"), "0 V .. 36 V"),
        (("--on", "--set", "5 V", "--limit", "0 A", "--bears", "6 V", "--for", "1 s"), "above 0"),
        (("--on", "--set", "5 V", "--limit", "1 A", "--bears", "6 V", "--for", "0 s"), "above 0 s"),
    ],
)
def test_what_cannot_be_meant_is_one_line(documents, cli, given, told):
    result = cli("output", BENCH, "left.2", *given)
    assert result.exit_code == 2, result.output
    assert result.stderr.count("\n") == 1
    assert told in result.stderr


def test_limits_that_do_not_fit_switch_nothing_on(documents, cli):
    given = ("--set", "5 V", "--limit", "500 mA", "--bears", "5.05 V", "--for", "1 s", "--twins")
    result = cli("output", BENCH, "left.2", "--on", *given)
    assert result.exit_code == 3
    assert "nothing was energised" in result.stderr
    assert not (documents / "runs").exists()
