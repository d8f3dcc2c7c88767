"""Who holds an instrument, in words: a run, or the guard of one that is over."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.said import says

from railwright.guard.locks import Locked, Locks

ADDRESS = "TCPIP::127.0.0.1::5025::SOCKET"


def told(folder: Path, run_pid: int) -> str:
    """What somebody else is told while the guard of a run with this process number holds the address."""

    async def go() -> str:
        first = Locks(folder, {"run_pid": run_pid, "guard_pid": os.getppid()})
        await first.take_address("left", ADDRESS)
        try:
            await Locks(folder).take_address("left", ADDRESS)
        except Locked as error:
            return str(error)
        finally:
            first.release()
        raise AssertionError("it was not refused")

    return asyncio.run(go())


def test_a_run_that_goes_on_is_named(tmp_path: Path) -> None:
    assert says(told(tmp_path, os.getpid()), ADDRESS, "run", os.getpid())


def test_of_a_run_that_is_over_its_guard_is_named_with_what_to_do(tmp_path: Path) -> None:
    over = subprocess.Popen([sys.executable, "-c", ""])
    over.wait()
    line = told(tmp_path, over.pid)
    guard = os.getppid()
    assert says(line, ADDRESS, "guard", guard, "run", "over", f"kill {guard}")
    assert str(over.pid) not in line.replace(str(guard), "")


@pytest.mark.parametrize("about", [{}, {"run_pid": 1}])
def test_a_holder_that_says_nothing_of_itself_is_another_program(
    tmp_path: Path, about: dict[str, int]
) -> None:
    async def go() -> None:
        first = Locks(tmp_path, about)
        await first.take_address("left", ADDRESS)
        with pytest.raises(Locked, match="another program"):
            await Locks(tmp_path).take_address("left", ADDRESS)
        first.release()

    asyncio.run(go())
