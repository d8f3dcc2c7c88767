"""The guard's process and the run's link to it, where either does what it should not; over TCP."""

from __future__ import annotations

import asyncio
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from tests.descriptors import FIRST_REFUSED, many_open
from tests.instruments.fake_supply import FakeSupply

from railwright.guard import wire
from railwright.guard.link import Answerless, Message
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.guard.process_link import ProcessLink
from railwright.running.interruption import StopRequest


@pytest.fixture(autouse=True)
def runtime(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    # Short, as the path of a socket has to be.
    folder = Path(tempfile.mkdtemp(prefix="rw"))
    monkeypatch.setenv("RAILWRIGHT_RUNTIME", str(folder))
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def left() -> Iterator[FakeSupply]:
    with FakeSupply() as supply:
        for output in supply.outputs.values():
            output.settings["VOLT"] = "12"
            output.switch(True)
        yield supply


def armed(left: FakeSupply) -> ProcessLink:
    """A guard that is to switch off output 1."""
    look = "OUTPut:STATe? (@1);:MEASure:VOLTage? (@1);:FETCh:CURRent? (@1)"
    output = OutputOff("left.1", "left", ("OUTPut:STATe OFF,(@1)",), (0, 0), (1, 0), (2, 0), no_current=0.01)
    supply = SupplyOff("left", left.address, "*IDN?", left.identity, (look,))
    link = ProcessLink()
    link.open("left", left.address, "*IDN?", 2.0)
    link.arm(OffPlan((supply,), (InputOff("main", (output,), False, 1.0),), decay=2.0, lost=2.0))
    return link


def test_a_run_that_says_goodbye_with_its_outputs_on_leaves_none_on(left: FakeSupply) -> None:
    link = armed(left)
    link.close()
    assert not left.outputs[1].on


def test_where_the_guard_is_dead_what_happens_is_told_while_it_happens(left: FakeSupply) -> None:
    link = armed(left)
    link._process.kill()
    link._process.wait(5.0)
    told: list[Message] = []
    link.begin_off("the end", tell=told.append)
    assert not left.outputs[1].on
    assert [each["what"] for each in told if each.get("what") in ("off sent", "confirmed off")] == [
        "off sent",
        "confirmed off",
    ]
    assert link.finish_off(lambda message: None)["ends"]["main"]["confirmed"]


PROGRAM = """
import time
from railwright.guard.process_link import ProcessLink
link = ProcessLink()
link.open({name!r}, {address!r}, "*IDN?", 2.0)
link._socket.close()
link._process.wait(5.0)
print("goes on")
"""


def test_a_program_that_switched_nothing_on_outlives_its_guard(left: FakeSupply) -> None:
    program = PROGRAM.format(name="left", address=left.address)
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=30)
    assert (done.returncode, done.stdout) == (0, "goes on\n"), done.stderr


def test_a_lock_that_cannot_be_written_is_said(
    left: FakeSupply, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A file that nobody can open for writing, whoever this is: a folder stands in its place.
    from railwright.guard.locks import lock_path, normalised

    lock_path(f"address {normalised(left.address)}", tmp_path).mkdir()
    monkeypatch.setenv("RAILWRIGHT_RUNTIME", str(tmp_path))
    link = ProcessLink()
    try:
        with pytest.raises(Answerless, match=r"'Is a directory'"):
            link.open("left", left.address, "*IDN?", 1.0)
    finally:
        link.close()


def test_a_host_that_can_have_no_name_is_said() -> None:
    link = ProcessLink()
    try:
        with pytest.raises(Answerless, match="that name"):
            link.open("left", "TCPIP::a..b::5025::SOCKET", "*IDN?", 1.0)
    finally:
        link.close()


def test_a_helper_that_hangs_while_it_starts_is_ended_when_nobody_waits_for_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    helpers: list[asyncio.subprocess.Process] = []
    start = asyncio.create_subprocess_exec

    async def hang(*command: str, **options: Any) -> asyncio.subprocess.Process:
        helpers.append(await start("sleep", "60", **options))
        return helpers[-1]

    monkeypatch.setattr(asyncio, "create_subprocess_exec", hang)

    async def go() -> int:
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.2):
                await wire.connect("GPIB0::5::INSTR")
        async with asyncio.timeout(5.0):
            return await helpers[0].wait()

    assert asyncio.run(go()) == -signal.SIGKILL


def test_a_program_with_many_files_open_has_its_outputs_switched_off(left: FakeSupply) -> None:
    with many_open(), closing(StopRequest()) as stop:
        link = armed(left)
        link.watched = (stop.wait_fd,)
        assert stop.wait_fd >= FIRST_REFUSED
        stop.request("asked")
        began = link.now()
        link.wait(began + 5.0)
        assert link.now() - began < 1.0, "a request ends the wait"
        stop.drain()
        assert left.outputs[1].on
        link.begin_off("asked")
        assert link.finish_off(lambda message: None)["ends"]["main"]["confirmed"]
        assert not left.outputs[1].on
        link.close()
