"""Runs whose process is killed or stopped, whose guard is, and both, with real processes, in real time.

    python -m benchmarks.kills [--quick] [--only WORD] [--seed N]

A procedure of 1.5 s on two twins of two dialects, with a point list. At a message that is drawn uniformly
over those that pass between run and guard in a phase (before it, between two of its bytes, after it)
`kill -9` ends the run, 50 times in each of four phases; the guard 100 times; SIGSTOP stops either 50 times.
What is *off* the twins' physics say; they live in processes of the benchmark's own. Where both are killed,
outputs stay as they are; where both are stopped, until one of them goes on.

The last line is how many cells ended as they should: off within 2 s, what was handed to the system still
there, a record that can be read up to 1 s before, its ending told as it was, no process left behind.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from benchmarks.endings.child import Kill
from benchmarks.endings.lane import Lane, Story
from benchmarks.endings.moments import PHASES
from benchmarks.endings.table import Result, play_all, report

from railwright.archive.ending import ending_of
from railwright.records.ended import Ended
from railwright.records.stored import open_run

OFF_WITHIN = 2.0
"""How long outputs may stay on after a kill [s]."""

LOST_AT_MOST = 1.0
"""How much of the record a kill may cost [s]."""

STOPPED_FOR = 3.0
"""How long run and guard both stand still [s]."""

COUNTS = {"preparation": 140, "list load": 16, "playing": 480, "shut-down": 44}
"""Messages that pass in each phase, a few less than there are; one that is never reached is drawn again."""

GROUPS: dict[str, tuple[tuple[str, ...], int, int]] = {
    "run killed": (("run",), signal.SIGKILL, 50),
    "run stopped": (("run",), signal.SIGSTOP, 12),
    "guard killed": (("guard",), signal.SIGKILL, 25),
    "guard stopped": (("guard",), signal.SIGSTOP, 12),
    "both killed": (("guard", "run"), signal.SIGKILL, 3),
    "both stopped": (("guard", "run"), signal.SIGSTOP, 3),
}
"""Group -> victims, signal, cells in each of the four phases."""

EXTRA = {"run stopped": 2, "guard stopped": 2}
"""Cells on top, in the first phases."""

QUICK_PHASE = {"run stopped": 2, "guard stopped": 2, "both killed": 2, "both stopped": 2}
"""The phase of the one cell of these groups that the quick part plays."""


@dataclass(frozen=True)
class Cell:
    """One kill; seed: for drawing it again where its message never came."""

    group: str
    kill: Kill
    seed: int


def draw(group: str, phase: str, source: random.Random) -> Kill:
    """A moment in a phase."""
    victims, number, _ = GROUPS[group]
    manners = ("before", "between", "after") if victims == ("run",) else ("before", "after")
    message = source.randint(1, COUNTS[phase])
    return Kill(victims, number, phase, message, source.choice(manners), source.random())


def cells_of(seed: int, quick: bool) -> list[Cell]:
    source = random.Random(seed)
    cells = []
    for group, (_, _, count) in GROUPS.items():
        for place, phase in enumerate(PHASES):
            extra = place < EXTRA.get(group, 0)
            few = 1 if place == QUICK_PHASE.get(group, place) else 0
            for _ in range(few if quick else count + extra):
                cells.append(Cell(group, draw(group, phase, source), source.randrange(1 << 30)))
    source.shuffle(cells)
    return cells


def play(lane: Lane, cell: Cell) -> Result:
    """One kill, and what came of it."""
    source, kill = random.Random(cell.seed), cell.kill
    for _ in range(5):
        story = lane.run(kill, _Continued(kill))
        if story.note("reached") is not None:
            return judge(lane, Cell(cell.group, kill, cell.seed), story)
        kill = draw(cell.group, kill.phase, source)
    return Result(cell.group, str(kill), (f"its message never came: {story.notes[-1]}",))


class _Continued:
    """Whatever stood still for a while goes on: run and guard, or a run that its guard has not ended."""

    def __init__(self, kill: Kill) -> None:
        self._kill = kill
        self._waits = kill.signal == signal.SIGSTOP and "run" in kill.victims

    def __call__(self, story: Story) -> None:
        reached, guard = story.note("reached"), story.note("guard")
        if not self._waits or reached is None or guard is None:
            return
        if len(self._kill.victims) == 1 and reached["armed"]:
            return  # its guard ends it
        if time.monotonic() - reached["time"] >= STOPPED_FOR:
            self._waits = False
            story.notes.append({"note": "continued", "time": time.monotonic()})
            for pid in (guard["pid"], story.pid):
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGCONT)


def judge(lane: Lane, cell: Cell, story: Story) -> Result:
    """Whether it ended as it should."""
    kill, reached, outcome = cell.kill, story.note("reached"), story.note("outcome")
    assert reached is not None
    where = f"{kill.phase}, {kill.manner} message {kill.number}"
    group = f"{cell.group}, {kill.phase}"
    continued = story.note("continued")
    last = lane.last_on(reached["time"])
    off = None if last is None else last - reached["time"]
    if cell.group == "both killed":
        # Nobody is left to switch off: what was on stays on, and the record says no more than it knows.
        told = "outputs stayed on" if last == float("inf") else "none was on"
        return Result(group, where, tuple(_folder(story, reached, None)), None, told)
    told, allowed = "", {Ended.GUARD}
    if continued is not None and not reached["armed"]:
        # Nothing was told to any output before: it may go on and be played to its end.
        told, allowed = "went on, unarmed", {Ended.GUARD, Ended.COMPLETED}
        off = None if last != float("inf") else last
    elif continued is not None:
        told, allowed = "went on, armed", {Ended.GUARD, Ended.STOPPED}
        off = None if last is None else last - continued["time"]
    last_of_all = outcome is not None and kill.number >= outcome["counts"].get("playing", 0)
    if kill.phase == "shut-down" or (kill.phase == "playing" and last_of_all):
        # The procedure was played to its end by then.
        allowed.add(Ended.COMPLETED)
    wrong = [] if story.guard_over else ["the guard did not end"]
    if off is not None and off > OFF_WITHIN:
        wrong.append(f"off {off:.2f} s after it")
    if failed := story.note("failed"):
        wrong.append(failed["why"])
    if story.code is None:
        wrong.append("the run did not end")
    if outcome is None:
        if "run" not in kill.victims:
            wrong.append(f"the run ended without an outcome (code {story.code})")
        wrong += _folder(story, reached, True)
    else:
        if not outcome["off_confirmed"]:
            wrong.append(f"off not confirmed: {outcome['not_confirmed']}")
        if outcome["ended"] not in allowed:
            wrong.append(f"ended as {outcome['ended']} ({outcome['cause']})")
    return Result(group, where, tuple(wrong), off, told)


def _folder(story: Story, reached: dict[str, float], confirmed: bool | None) -> list[str]:
    """What is not as it should be in the folder of a run that was killed. confirmed: whether its outputs
    went off; None: not asked.
    """
    wrong = []
    try:
        data = open_run(story.folder)
    except Exception as error:  # noqa: BLE001 - whatever it is, it belongs into the table
        return [f"{type(error).__name__}: {error}"]
    size = data.folder.joinpath("log.ndjson").stat().st_size
    if size < reached.get("flushed", 0):
        wrong.append(f"{reached['flushed'] - size:.0f} bytes that were handed to the system are not there")
    kept = max((traces.time[-1] for traces in data.record.traces.values() if traces.time.size), default=None)
    newest = reached.get("newest")
    if newest is not None and newest - (kept if kept is not None else 0.0) > LOST_AT_MOST:
        wrong.append(f"the record ends at {kept}, the last reading was at {newest}")
    if data.ended is not Ended.KILLED:
        wrong.append(f"the folder says: {data.ended}")
    ending = ending_of(data)
    if confirmed is not None and ending.off_confirmed is not confirmed:
        wrong.append(f"the folder says: {ending.words}; {ending.not_confirmed}")
    return wrong


def main(given: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="benchmarks.kills")
    parser.add_argument("--quick", action="store_true", help="a fixed part of it, within a minute")
    parser.add_argument("--only", default="", help="only groups with this word in their name")
    parser.add_argument("--seed", type=int, default=1, help="of the drawn moments")
    options = parser.parse_args(given)
    cells = [cell for cell in cells_of(options.seed, options.quick) if options.only in cell.group]
    began = time.monotonic()
    results = play_all(cells, play)
    print(f"{time.monotonic() - began:.0f} s")
    return report(results, len(cells))


if __name__ == "__main__":
    sys.exit(main())
