"""Commands as whole processes, and the library's lines for the same, paired; idle and beside busy loops.

Two comparisons, each the median of the ratios of pairs that were run one after the other, in turns:

- the library against the command, each a fresh process: `railwright.open(p).check()` against
  `railwright check p`, the same of `rehearse`, and ten lines that do the whole job against `railwright demo`;
- with `--before SRC`, this tree's commands against those of another tree, whose sources are in SRC: --help,
  check --static, check, rehearse, demo.

Everything is compiled ahead of time, byte code too, as in an installed package; each tree has a cache of its
own. The last line is the largest ratio.

    python -m benchmarks.commands [--pairs 20] [--before SRC] [--busy 4]
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchmarks.busy import beside, busy

import railwright
from railwright.examples import example

SOURCES = Path(railwright.__file__).parents[1]
PROCEDURE = str(example() / "power-input.procedure.yaml")
DONE = (0, 1, 5)
"""Exit codes of a command that did its work."""

COMMANDS = {
    "--help": ["--help"],
    "check --static": ["check", "--static", PROCEDURE],
    "check": ["check", PROCEDURE],
    "rehearse": ["rehearse", PROCEDURE],
    "demo": ["demo"],
}
OPENED = f"import railwright as rw; job = rw.open({PROCEDURE!r})"
TEN_LINES = f"""
{OPENED}
check = job.check()
check.findings, check.settings
r = job.rehearse()
r["main"].plot().savefig("plot.png")
run = check.run(unit="S-1", operator="A. Keeper", folder="run", twins=True)
run.evaluate()
run.report()
rw.read_run("run").evaluate().results
job.edit("limits.main.current_limit", "0.9 A")
"""
LIBRARY = {
    "check": f"{OPENED}; job.check().findings",
    "rehearse": f"{OPENED}; job.rehearse()['main'].time",
    "demo": TEN_LINES,
}


@dataclass(frozen=True)
class Program:
    """What is run as a process of its own: its arguments for the interpreter, and where its sources lie."""

    arguments: Sequence[str]
    sources: Path
    cache: Path

    def time(self) -> float:
        """How long one process takes [s]."""
        environment = dict(os.environ)
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        environment |= {"PYTHONPATH": str(self.sources), "XDG_CACHE_HOME": str(self.cache)}
        with tempfile.TemporaryDirectory() as folder:
            begin = time.perf_counter()
            done = subprocess.run(
                [sys.executable, *self.arguments],
                cwd=folder, env=environment, capture_output=True, text=True, check=False,
            )  # fmt: skip
            took = time.perf_counter() - begin
        assert done.returncode in DONE, (self.arguments, done.stdout[-500:], done.stderr[-500:])
        return took


def compare(what: str, one: Program, other: Program, pairs: int) -> float:
    """The median ratio of the times of one to the other, printed."""
    ratios: list[float] = []
    times: tuple[list[float], list[float]] = ([], [])
    for turn in range(pairs):
        # Whoever goes first finds other things in the machine's caches.
        first, second = (one, other) if turn % 2 else (other, one)
        took = {id(each): each.time() for each in (first, second)}
        ratios.append(took[id(one)] / took[id(other)])
        for kept, each in zip(times, (one, other), strict=True):
            kept.append(took[id(each)])
    ratio = statistics.median(ratios)
    low, _, high = statistics.quantiles(ratios, n=4)
    medians = [f"{statistics.median(each):.3f} s" for each in times]
    print(
        f"  {what}: {medians[0]} / {medians[1]} = {ratio:.3f} (half of the pairs {low:.3f} .. {high:.3f})",
        flush=True,
    )
    return ratio


def main() -> None:
    """Compare and print the largest ratio."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pairs", type=int, default=20)
    parser.add_argument("--before", type=Path, help="the folder that holds the other tree's package")
    parser.add_argument("--busy", type=int, default=4, help="loops that run beside, in the second half")
    given = parser.parse_args()
    ratios = []
    with tempfile.TemporaryDirectory() as folder:

        def program(arguments: Sequence[str], sources: Path) -> Program:
            cache = Path(folder) / ("before" if sources != SOURCES else "after")
            return Program(arguments, sources, cache)

        def command(name: str, sources: Path = SOURCES) -> Program:
            return program(["-m", "railwright", *COMMANDS[name]], sources)

        for sources in filter(None, (SOURCES, given.before)):
            for name in COMMANDS:
                command(name, sources).time()
        for loops in (0, given.busy):
            with busy(loops):
                print(beside(loops))
                for name, lines in LIBRARY.items():
                    told = f"{name}: library / command"
                    ratios.append(compare(told, program(["-c", lines], SOURCES), command(name), given.pairs))
                for name in COMMANDS if given.before else ():
                    told = f"{name}: after / before"
                    ratios.append(compare(told, command(name), command(name, given.before), given.pairs))
    print(f"time of a process, paired, at its worst: {max(ratios):.3f}")


if __name__ == "__main__":
    main()
