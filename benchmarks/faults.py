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

from benchmarks.fault_matrix.bench import SOCKETS, lay_out
from benchmarks.fault_matrix.cells import Cell, all_cells, drawn
from benchmarks.fault_matrix.judge import COMPLETED, CONFIRMED, DIED, FAULT, NOT_CONFIRMED, Verdict, judge
from benchmarks.fault_matrix.play import Death, play
from benchmarks.fault_matrix.real import play_real
from benchmarks.fault_matrix.without import take_away


def verdict_of(cell: Cell, folder: Path, without: str = "", wires: tuple[str, str] = SOCKETS) -> Verdict:
    """Play one cell in a folder of its own. wires: how the supplies are reached."""
    place = Path(tempfile.mkdtemp(dir=folder))
    try:
        with take_away(without):
            if cell.of_run:
                hangs = cell.kind.name.endswith("hangs")
                death = Death(cell.supply, cell.command, cell.number, hangs)
                return judge(cell, play(lay_out(place, wires), place / "run", death=death))
            return judge(cell, play(lay_out(place, wires), place / "run", [cell.line]))
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
    parser.add_argument("--real", type=int, default=0)
    parser.add_argument("--without", choices=["", "verification", "guard"], default="")
    parser.add_argument("--write", type=Path, help="write the figures there, both failures included")
    given = parser.parse_args()
    everything = undisturbed()
    cells = drawn(everything, given.cells, given.seed)
    commands = {(cell.supply, cell.command) for cell in cells}
    print(f"{len(cells)} of {len(everything)} cells, {len(commands)} commands of two supplies")
    found = list(shown(verdicts(cells, given.without, given.jobs)))
    print("\n".join(table(found)))
    right = f"{sum(not verdict.wrong for verdict in found)} of {len(found)} cells came out as they must"
    report = [right]
    if given.real:
        report.append(compare(drawn(repeatable(everything), given.real, given.seed), given.jobs))
    if given.write:
        for without in ("verification", "guard"):
            report.append(failing(everything, without, given.jobs))
        given.write.write_text(document(found, len(everything), commands, report), "utf-8")
    print("\n".join([*report[1:], right]))


def shown(found: Iterator[Verdict]) -> Iterator[Verdict]:
    """The same, those that are wrong told as they come."""
    for number, verdict in enumerate(found, start=1):
        if verdict.wrong:
            print(f"{verdict.cell.line}: {verdict.ending}: {verdict.wrong}", flush=True)
        if sys.stderr.isatty():
            print(f"\r{number}", end="", file=sys.stderr, flush=True)
        yield verdict


def repeatable(cells: Sequence[Cell]) -> list[Cell]:
    """Cells whose message comes in every run, however fast the machine is."""
    return [cell for cell in cells if not cell.of_run and cell.occurrence != "last"]


def compare(cells: Sequence[Cell], jobs: int) -> str:
    """Play cells in virtual and in real time; how many endings agree, and which do not."""
    virtual = list(verdicts(cells, "", jobs))
    agree = 0
    with tempfile.TemporaryDirectory() as folder:
        for cell, expected in zip(cells, virtual, strict=True):
            real = judge(cell, play_real(cell, Path(folder)))
            same = real.ending == expected.ending and bool(real.wrong) == bool(expected.wrong)
            agree += same
            if not same:
                told = [f"{each.ending} {each.wrong}" for each in (expected, real)]
                print(f"{cell.line}: virtual {told[0]}; real {told[1]}")
    return f"{agree} of {len(cells)} cells end alike in virtual and in real time"


def failing(everything: Sequence[Cell], without: str, jobs: int) -> str:
    """How many cells go wrong without a part of the program: some must."""
    cells = [cell for cell in everything if cell.of_run == (without == "guard")]
    found = list(verdicts(drawn(cells, 100, 1), without, jobs))
    wrong = sum(bool(verdict.wrong) for verdict in found)
    return f"without the {without}: {wrong} of {len(found)} cells go wrong"


ENDINGS = (COMPLETED, CONFIRMED, NOT_CONFIRMED, DIED, FAULT)


def rows_of(found: Sequence[Verdict]) -> Iterator[tuple[str, list[int], float]]:
    """Of each kind of fault: its name, how many cells came to each ending, the slowest way to off [s]."""
    for kind in sorted({verdict.cell.kind for verdict in found}, key=lambda kind: kind.name):
        mine = [verdict for verdict in found if verdict.cell.kind == kind]
        count = Counter(verdict.ending for verdict in mine)
        slowest = max((v.off_after for v in mine if v.off_after is not None), default=0.0)
        yield kind.name, [count[each] for each in ENDINGS], slowest


def table(found: Sequence[Verdict]) -> list[str]:
    """Lines for the terminal."""
    lines = [f"{'fault':32s}" + "".join(f"{each:>26s}" for each in ENDINGS) + "  last off [s]"]
    for name, counts, slowest in rows_of(found):
        lines.append(f"{name:32s}" + "".join(f"{count:26d}" for count in counts) + f"  {slowest:.2f}")
    return lines


def document(
    found: Sequence[Verdict], whole: int, commands: set[tuple[str, str]], report: Sequence[str]
) -> str:
    """docs/reliability.md."""
    rows = [
        f"| {name} | " + " | ".join(str(count or "") for count in counts) + f" | {slowest:.2f} s |"
        for name, counts, slowest in rows_of(found)
    ]
    text = (Path(__file__).parent / "fault_matrix" / "reliability.md.in").read_text("utf-8")
    return text.format(
        cells=len(found),
        whole=whole,
        commands=len(commands),
        report="\n".join(f"- {line}" for line in report),
        head="| fault | " + " | ".join(ENDINGS) + " | last output off after the fault |",
        rule="| --- |" + " --- |" * (len(ENDINGS) + 1),
        rows="\n".join(rows),
    )


if __name__ == "__main__":
    main()
