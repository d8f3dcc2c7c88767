"""Cells of an experiment, played two at a time, and what came of them as a table."""

from __future__ import annotations

import queue
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from benchmarks.endings.lane import DOCUMENTS, PROCEDURE, Lane

from railwright.cli.checking import check_documents

LANES = 2

Cell = TypeVar("Cell")


@dataclass(frozen=True)
class Result:
    """What came of one cell. wrong: what was not as it should be, empty where all was. off: how long after
    its cause the last output went off [s]; None: none was on, or none had to. remark: what is counted beside.
    """

    group: str
    label: str
    wrong: tuple[str, ...]
    off: float | None = None
    remark: str = ""


def play_all(cells: Sequence[Cell], play: Callable[[Lane, Cell], Result], lanes: int = LANES) -> list[Result]:
    """Play cells on benches of their own, `lanes` at a time, each bench's one after the other."""
    waiting: queue.SimpleQueue[Cell] = queue.SimpleQueue()
    for cell in cells:
        waiting.put(cell)
    results: list[Result] = []
    began = time.monotonic()

    def work(place: Path) -> None:
        with Lane(place, checked) as lane:
            while True:
                try:
                    cell = waiting.get_nowait()
                except queue.Empty:
                    return
                try:
                    result = play(lane, cell)
                except Exception:  # noqa: BLE001 - whatever it is, it belongs into the table
                    result = Result("experiment", str(cell), (traceback.format_exc(),))
                results.append(result)
                if lane.last_on(0.0) == float("inf"):
                    lane.all_off()
                if result.wrong or len(results) % 20 == 0:
                    took = time.monotonic() - began
                    print(f"{len(results)} of {len(cells)}, {took:.0f} s {_shown(result)}", file=sys.stderr)

    checked = check_documents(DOCUMENTS / PROCEDURE, rehearsed=True)
    with tempfile.TemporaryDirectory() as folder:
        places = [Path(folder) / f"lane-{number}" for number in range(min(lanes, len(cells)))]
        for place in places:
            place.mkdir()
        threads = [threading.Thread(target=work, args=(place,)) for place in places]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    return results


def _shown(result: Result) -> str:
    return f"{result.group}, {result.label}: {'; '.join(result.wrong)}" if result.wrong else ""


def report(results: Sequence[Result], cells: int) -> int:
    """Print the table, what went wrong, and how many cells ended as they should. Gives the exit code."""
    groups = dict.fromkeys(sorted(result.group for result in results))
    width = max((len(group) for group in groups), default=10)
    print(f"{'what':{width}}  cells  as it should  off after, at most [s]")
    for group in groups:
        own = [result for result in results if result.group == group]
        right = sum(not result.wrong for result in own)
        slowest = max((result.off for result in own if result.off is not None), default=None)
        remarks = sorted({result.remark for result in own if result.remark})
        counted = "; ".join(f"{r}: {sum(o.remark == r for o in own)}" for r in remarks)
        shown = "-" if slowest is None else f"{max(0.0, slowest):.2f}"
        print(f"{group:{width}}  {len(own):5}  {right:12}  {shown:>22}  {counted}".rstrip())
    for result in results:
        if result.wrong:
            print(_shown(result))
    right = sum(not result.wrong for result in results)
    print(f"{right} of {cells} cells ended as they should")
    return 0 if right == cells else 1
