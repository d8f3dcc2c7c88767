"""What can happen to a run's terminal, streams, disk and clock, with real processes, in real time.

    python -m benchmarks.terminals [--quick] [--only WORD]

`railwright run` plays 1.5 s on two twins that live in processes of the benchmark's own. At six moments of it
(while it checks, prepares, loads a point list, holds, plays the list, shuts down) it gets every signal, once
and three times; keys are typed into its terminal, which is closed; what reads its output dies or stops; disks
are full, folders go, the clock jumps.

The last line is how many cells ended as they should: with an exit code that docs/exit-codes.md allows, off by
the twins' physics within 2 s of what ended the run, with a record that can be read and tells its ending, no
traceback, and no process left behind.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import time
from collections.abc import Sequence

from benchmarks.endings.command import Command, play_command
from benchmarks.endings.lane import Lane, Story
from benchmarks.endings.outlets import Files
from benchmarks.endings.table import Result, play_all, report
from benchmarks.endings.terminal_cells import Cell, Setting, all_cells

from railwright.archive.ending import ending_of
from railwright.records.ended import Ended
from railwright.records.stored import open_run

ENDINGS = {
    0: (Ended.COMPLETED,),
    3: (Ended.INTERRUPTED, Ended.RECORD, Ended.STOPPED, Ended.GUARD),
    4: (Ended.INSTRUMENT,),
}
"""Exit code -> what the folder may say."""

QUICK = (
    "INT, moment 2", "TERM, moment 4", "HUP, moment 3", "TSTP, moment 5", "STOP, CONT after 2.5 s, moment 4",
    "SEGV", "Ctrl-\\, moment 5", "Ctrl-S, then Ctrl-C, moment 4", "closed, moment 4", "| head -5",
    "| tee, that dies, moment 4", "trace onto a full disk", "of 24 kB", "folder deleted, moment 4",
    "clock jumps by 1 h, moment 4",
)  # fmt: skip
"""Labels of the quick part."""


def play(lane: Lane, cell: Cell) -> Result:
    """One command, what happens to it, and what came of it."""
    folder = lane.folder()
    place = lane.place / f"beside-{folder.name}"
    place.mkdir()
    setting = Setting(lane, place, place / "run", Files("", ""))
    try:
        if cell.size:
            _mount(setting, cell.size)
        setting.outlet = cell.outlet(setting)
        story = _follow(lane, cell, setting)
        return _judge(lane, cell, setting, story)
    finally:
        setting.close()


def _mount(setting: Setting, size: int) -> None:
    """A small file system: for the run's folder, or (size below 0) for a file beside it."""
    path = setting.place / "run" if size > 0 else setting.place / f"disk-{-size}"
    path.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={abs(size)}k", "none", str(path)], check=True)
    setting.mounted.append(path)


def _follow(lane: Lane, cell: Cell, setting: Setting) -> Story:
    outlet = setting.outlet
    command = Command(
        lane.procedure,
        lane.command_checked,
        setting.folder,
        lane.runtime,
        cell.phase,
        cell.number,
        cell.options,
        outlet.streams,
        outlet.terminal,
        cell.encoding,
        cell.step,
        cell.largest,
        cell.obeys_modes,
    )
    waiting = list(cell.acts)
    opened = False

    def meanwhile(story: Story) -> None:
        nonlocal opened
        if not opened and story.note("ready") is not None:
            opened = True
            outlet.opened()
        reached = story.note("reached")
        while reached is not None and waiting and time.monotonic() - reached["time"] >= waiting[0][0]:
            _, act = waiting.pop(0)
            act(setting, story)
            story.notes.append({"note": "acted", "time": time.monotonic()})

    return lane.follow(setting.folder, play_command, command, meanwhile=meanwhile)


def _judge(lane: Lane, cell: Cell, setting: Setting, story: Story) -> Result:
    reached, acted = story.note("reached"), story.note("acted")
    wrong = [] if story.guard_over else ["the guard did not end"]
    if failed := story.note("failed"):
        wrong.append(failed["why"])
    if cell.phase and reached is None:
        wrong.append(f"its moment never came: {story.notes[-1:]}")
    if story.code not in cell.codes:
        wrong.append(f"exit code {story.code}, expected {' or '.join(map(str, cell.codes))}")
    off = None
    since = reached["time"] if reached is not None else story.began
    last = lane.last_on(since)
    if last == float("inf"):
        wrong.append("an output is on")
    elif cell.off_within is not None and acted is not None:
        off = max(0.0, (last or since) - since)
        if off > cell.off_within:
            wrong.append(f"off {off:.2f} s after it")
    text = setting.outlet.text()
    if "Traceback" in text:
        wrong.append(text[text.index("Traceback") :][-600:])
    if cell.says not in text:
        wrong.append(f"it does not say '{cell.says}'")
    wrong += _folder(cell, setting, story)
    headline = [line for line in text.splitlines() if re.match("stopped|completed|STOPPED|PLAYED", line)]
    shown = f" | {headline or text[-300:]!r}" if wrong else ""
    return Result(cell.group, cell.label, tuple(w + shown for w in wrong), off)


def _folder(cell: Cell, setting: Setting, story: Story) -> list[str]:
    """What is not as it should be in the run's folder."""
    began = any(note["note"] == "phase" for note in story.notes)
    if not began:
        return []  # it never came to a run
    try:
        data = open_run(setting.folder)
    except ValueError as error:
        return [f"{type(error).__name__}: {error}"] if cell.readable else []
    code = story.code if story.code is not None else 99
    ending = ending_of(data)
    if not cell.readable or cell.obeys_modes:
        return []  # it is there; what could not be written any more it does not say
    wrong = []
    if data.ended not in ENDINGS.get(code, (Ended.KILLED,) if code < 0 else tuple(Ended)):
        wrong.append(f"exit code {code}, and the folder says: {data.ended}")
    if ending.off_confirmed is not (code != 6):
        wrong.append(f"exit code {code}, and the folder says: {ending.words}, {ending.not_confirmed}")
    return wrong


def main(given: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="benchmarks.terminals")
    parser.add_argument("--quick", action="store_true", help="a fixed part of it, within a minute")
    parser.add_argument("--only", default="", help="only cells with this in group or label")
    options = parser.parse_args(given)
    cells = [cell for cell in all_cells() if options.only in f"{cell.group}: {cell.label}"]
    if options.quick:
        cells = [cell for cell in cells if cell.label in QUICK]
    if os.geteuid() != 0:
        left_out = [cell for cell in cells if cell.size]
        cells = [cell for cell in cells if cell not in left_out]
        print(f"{len(left_out)} cells need root (a file system of their own) and are left out")
    began = time.monotonic()
    results = play_all(cells, play)
    print(f"{time.monotonic() - began:.0f} s")
    return report(results, len(cells))


if __name__ == "__main__":
    sys.exit(main())
