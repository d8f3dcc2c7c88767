"""The fault matrix: every command of two dialects, at its first, middle and last occurrence, with every kind
of fault; a run in virtual time for each cell, judged by the twins' physics.

    python -m benchmarks.faults [--cells 1200] [--seed 1] [--real 0] [--without verification] [--write FILE]

The last line says how many cells came out as they must. `--without verification` switches the comparison of
settings and the confirmation of off away, `--without guard` lets nobody switch off for a run that died: both
must fail. `--real N` plays N of the cells again in real time with the real guard and compares the endings.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from benchmarks.fault_matrix.bench import lay_out
from benchmarks.fault_matrix.cells import Cell, all_cells, drawn
from benchmarks.fault_matrix.judge import COMPLETED, CONFIRMED, DIED, FAULT, NOT_CONFIRMED, Verdict, judge
from benchmarks.fault_matrix.play import Death, play
from benchmarks.fault_matrix.without import take_away


def verdict_of(cell: Cell, folder: Path, without: str = "") -> Verdict:
    """Play one cell in a folder of its own."""
    place = Path(tempfile.mkdtemp(dir=folder))
    try:
        with take_away(without):
            if cell.of_run:
                hangs = cell.kind.name.endswith("hangs")
                death = Death(cell.supply, cell.command, cell.number, hangs)
                return judge(cell, play(lay_out(place), place / "run", death=death))
            return judge(cell, play(lay_out(place), place / "run", [cell.line]))
    finally:
        shutil.rmtree(place, ignore_errors=True)


def verdicts(cells: Sequence[Cell], without: str, jobs: int) -> Iterator[Verdict]:
    """Of all cells, in their order, so many at a time."""
    with tempfile.TemporaryDirectory() as folder, ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(partial(verdict_of, folder=Path(folder), without=without), cells, chunksize=8)


def undisturbed() -> list[Cell]:
    """All cells, from a run in which nothing goes wrong."""
    with tempfile.TemporaryDirectory() as folder:
        played = play(lay_out(Path(folder)), Path(folder) / "run")
        if played.outcome is None or not played.outcome.completed or not played.outcome.off_confirmed:
            sys.exit(f"the undisturbed run did not complete: {played.error or played.outcome}")
        return all_cells(played.messages)


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cells", type=int, default=1200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--without", choices=["", "verification", "guard"], default="")
    given = parser.parse_args()
    everything = undisturbed()
    cells = drawn(everything, given.cells, given.seed)
    commands = {(cell.supply, cell.command) for cell in cells}
    print(f"{len(cells)} of {len(everything)} cells, {len(commands)} commands of two supplies")
    found: list[Verdict] = []
    for verdict in verdicts(cells, given.without, given.jobs):
        found.append(verdict)
        if verdict.wrong:
            print(f"{verdict.cell.line}: {verdict.ending}: {verdict.wrong}", flush=True)
    print_table(found)
    right = sum(not verdict.wrong for verdict in found)
    print(f"{right} of {len(found)} cells came out as they must")


def print_table(found: Sequence[Verdict]) -> None:
    """Each kind of fault with its endings and the slowest way to off."""
    endings = (COMPLETED, CONFIRMED, NOT_CONFIRMED, DIED, FAULT)
    print(f"{'fault':32s} " + " ".join(f"{each:>24s}" for each in endings) + "  slowest off [s]")
    for kind in dict.fromkeys(verdict.cell.kind for verdict in found):
        mine = [verdict for verdict in found if verdict.cell.kind is kind or verdict.cell.kind == kind]
        count = Counter(verdict.ending for verdict in mine)
        slowest = max((v.off_after for v in mine if v.off_after is not None), default=0.0)
        print(f"{kind.name:32s} " + " ".join(f"{count[each]:24d}" for each in endings) + f"  {slowest:.3f}")


if __name__ == "__main__":
    main()
