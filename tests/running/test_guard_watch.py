"""What the guard notices of time: a run that hangs after its end, and that it stood still itself."""

from __future__ import annotations

import ast
import asyncio
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.said import figures, says

from railwright.guard import process
from railwright.guard.core import GOODBYE, SILENCE, Guard
from railwright.guard.off_plan import OffPlan
from railwright.virtual_time import VirtualLoop

NOTHING = OffPlan((), ())


@pytest.fixture
def loop() -> Iterator[VirtualLoop]:
    loop = VirtualLoop()
    yield loop
    tasks = asyncio.all_tasks(loop)
    for task in tasks:
        task.cancel()
    if tasks:
        loop.run_until_complete(asyncio.wait(tasks))
    loop.close()


async def _nowhere(address: str) -> Any:
    raise ConnectionRefusedError(address)


def watched(loop: VirtualLoop, *, armed: bool = True) -> tuple[Guard, list[tuple[float, str]], Any]:
    """A guard that watches, what it said of a run that died and when, and what drives its loop."""
    died: list[tuple[float, str]] = []

    async def make() -> Guard:
        guard = Guard(_nowhere, lambda _: None)
        guard.plan = NOTHING if armed else None
        return guard

    guard = loop.run_until_complete(make())
    loop.create_task(guard.watch_beat(lambda why: died.append((loop.time(), why))))
    return guard, died, lambda duration: loop.run_until_complete(asyncio.sleep(duration))


def test_a_run_that_is_silent_after_its_end_is_ended_later(loop: VirtualLoop) -> None:
    guard, died, pass_time = watched(loop)
    off = {"kind": "off", "why": "the procedure was played", "orderly": True}
    loop.call_soon(guard.handle, off)
    began = loop.time()
    pass_time(GOODBYE - 0.5)
    assert died == []
    pass_time(1.0)
    ((when, why),) = died
    assert when - began == pytest.approx(GOODBYE, abs=0.3)
    assert says(why, f"{GOODBYE:g} s")


def test_an_armed_run_that_is_silent_is_ended_at_once_and_an_unarmed_one_never(loop: VirtualLoop) -> None:
    _, died, pass_time = watched(loop)
    pass_time(SILENCE + 0.3)
    assert [figures(why) for _, why in died] == [[f"{SILENCE:g} s"]]
    _, unarmed, pass_more = watched(loop, armed=False)
    pass_more(60.0)
    assert unarmed == []


@pytest.mark.parametrize(
    ("stood", "armed", "off"), [(0.5, True, False), (30.0, True, True), (30.0, False, False)]
)
def test_a_guard_that_stood_still_switches_off(
    loop: VirtualLoop, monkeypatch: pytest.MonkeyPatch, stood: float, armed: bool, off: bool
) -> None:
    guard, _, pass_time = watched(loop, armed=armed)
    slept = 0.0
    monkeypatch.setattr(process, "_time_passed", lambda: loop.time() + slept)
    loop.create_task(process._watch_time(guard))
    pass_time(0.5)
    assert not guard.fenced
    # Asleep, the monotonic clock stands still too: only the other one tells.
    slept = stood
    pass_time(0.4)
    expected = f"nothing was watched for {stood:.1f} s: the computer slept, or was held up"
    assert guard.fenced == (expected if off else "")


def test_the_longest_silence_of_an_armed_run_is_kept(loop: VirtualLoop) -> None:
    guard, _, pass_time = watched(loop)
    for pause in (0.1, 0.6, 0.2):
        pass_time(pause)
        loop.call_soon(guard.handle, {"kind": "beat"})
    pass_time(0.0)
    assert guard.longest_silence == pytest.approx(0.6)


SOURCES = Path(process.__file__).parents[1]


@pytest.mark.parametrize("package", ["guard", "instruments", "running"])
def test_nothing_is_timed_by_a_clock_that_can_be_set(package: str) -> None:
    found = []
    for path in sorted((SOURCES / package).glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Attribute) or not isinstance(node.value, ast.Name):
                continue
            if node.value.id == "time" and node.attr in ("time", "time_ns", "localtime", "CLOCK_REALTIME"):
                found.append(path.name)
    # It compares the clocks, and times nothing by the other one.
    assert found == (["clocks.py"] if package == "running" else [])
