"""The demo's procedure in every dialect over every transport: outcomes, and how far values lie apart.

    python -m benchmarks.dialects_and_transports [--seed 3]

Each run is played on simulated supplies in virtual time, with the same truth behind them, and held against
that of the first dialect over a socket. Of each cell: how the run ended, how many of the nine requirements
came out as there, and the largest difference of a value from there as a part of its uncertainty, the root of
the sum of both squares. The last line is the largest of all.
"""

from __future__ import annotations

import argparse
import math
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from railwright.dialects.dialect import load_dialect
from railwright.dialects.files import dialect_names
from railwright.evaluation.outcome import Result
from railwright.examples import example
from railwright.job import Job, Run

TRANSPORTS = {
    "socket": [f"address: TCPIP::127.0.0.1::{port}::SOCKET" for port in (5025, 5026)],
    "HiSLIP": [f"address: TCPIP::192.0.2.{number}::hislip0::INSTR" for number in (1, 2)],
    "serial, 921600 Bd": [
        f"address: ASRL/dev/tty-{name}::INSTR\n    line: {{baud: 921600}}" for name in ("left", "right")
    ],
}
"""How the two supplies of the demo's bench are reached."""

DIALECTS = ("dialect: channel-list", "dialect: selected-output")
"""As its bench has them."""


def played(dialect: str, transport: str, seed: int, folder: Path) -> Run:
    """The demo's procedure, both supplies in one dialect over one transport."""
    shutil.copytree(example(), folder, dirs_exist_ok=True)
    bench = folder / "quay.bench.yaml"
    text = bench.read_text("utf-8")
    for old, new in zip(TRANSPORTS["socket"], TRANSPORTS[transport], strict=True):
        text = text.replace(old, new)
    for old in DIALECTS:
        text = text.replace(old, f"dialect: {dialect}")
    if load_dialect(dialect).addressing == "none":
        text = text.replace("      2: {same_as: 1}\n", "")
    bench.write_text(text, "utf-8")
    check = Job.open(folder / "power-input.procedure.yaml").check(static=True)
    return check.run(unit="S-1", operator="O", folder=folder / "run", twins=True, seed=seed)


def apart(one: Result, other: Result) -> float:
    """How far two values lie apart, as a part of their uncertainty; 0 where neither has one."""
    if one.measured is None or other.measured is None:
        return 0.0 if one.measured is other.measured else math.inf
    halves = [(each.high - each.low) / 2.0 for each in (one.measured, other.measured)]
    difference = abs(one.measured.value - other.measured.value)
    return difference / math.hypot(*halves) if difference else 0.0


def rows(seed: int) -> Iterator[tuple[str, float]]:
    """A line for each cell, with the largest difference in it."""
    usual: Sequence[Result] = ()
    for dialect in dialect_names():
        for transport in TRANSPORTS:
            with tempfile.TemporaryDirectory() as folder:
                run = played(dialect, transport, seed, Path(folder))
                assert run.outcome is not None
                here = run.evaluate().results
                usual = usual or here
                pairs = list(zip(here, usual, strict=True))
                alike = sum(one.outcome is other.outcome for one, other in pairs)
                largest, named = max((apart(*pair), pair[0].requirement) for pair in pairs)
                end = run.outcome.ended.value + ("" if run.outcome.off_confirmed else ", NOT CONFIRMED OFF")
                others = [f"{one.requirement}: {one.outcome.value}, there {other.outcome.value}"
                          for one, other in pairs if one.outcome is not other.outcome]  # fmt: skip
                told = f"{dialect:16} {transport:18} {end:10} {alike}/{len(pairs)} alike"
                yield f"{told}  largest {largest:.2f} ({named}){'; '.join(['', *others])}", largest


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seed", type=int, default=3, help="of what is true behind the supplies")
    found = []
    for line, largest in rows(parser.parse_args().seed):
        print(line, flush=True)
        found.append(largest)
    print(f"{len(found)} runs; largest difference of a value: {max(found):.2f} of its uncertainty")


if __name__ == "__main__":
    main()
