"""Write docs/verification.md: every circuit, computed by the rehearsal and its judges (`make verification`).

    python scripts/verify.py [docs/verification.md] [circuit ...]

Exit code 1 where a bar is not met; the document says which.
"""

from __future__ import annotations

import os
import platform
import re
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests.external.verification import runs  # noqa: E402
from tests.external.verification.case import all_names, load_case  # noqa: E402
from tests.external.verification.compare import Errors, against, against_closed_forms  # noqa: E402
from tests.external.verification.equations import ABSOLUTE, RELATIVE  # noqa: E402

from railwright.physics.simulation import FINE  # noqa: E402
from railwright.physics.simulation import RELATIVE as OURS  # noqa: E402

TEMPLATE = Path(__file__).with_name("verification.md.in")
NETLISTS = "../tests/external/verification/circuits"


@dataclass(frozen=True)
class Row:
    """What came out for one circuit: each judge's name and the largest errors against it, and how far the two
    computed judges are apart.
    """

    name: str
    errors: tuple[tuple[str, Errors], ...]
    apart: Errors
    rows: int


def compute(name: str) -> Row:
    """All computations of one circuit."""
    case = load_case(name)
    mine = runs.ours(case)
    spice, scipy = runs.spice(case), case.judge(mine.time)
    errors = [("ngspice", against(case, mine, spice)), ("scipy", against(case, mine, scipy))]
    if case.closed:
        errors.append(("closed form", against_closed_forms(case.closed(mine))))
    apart = against(case, replace(spice, scheduled=mine.scheduled), scipy)
    return Row(name, tuple(errors), apart, mine.time.size)


def percent(value: float | None) -> str:
    """A part as a percentage with two digits."""
    if value is None:
        return "–"
    if value < 1e-8:
        return "< 0.000001 %"
    return f"{float(f'{100.0 * value:.2g}'):.8f}".rstrip("0").rstrip(".") + " %"


def seconds(value: float) -> str:
    """A time with two digits."""
    if value < 1e-10:
        return "< 0.1 ns"
    scale, unit = (1e9, "ns") if value < 1e-7 else (1e6, "µs") if value < 1e-3 else (1e3, "ms")
    return f"{float(f'{scale * value:.2g}'):g} {unit}"


def events(errors: Errors) -> str:
    """How many events were compared, and the largest error of their times."""
    if errors.missing:
        return "differ"
    return f"{errors.events}: {seconds(errors.event_time)}" if errors.events else "–"


def line(first: str, judge: str, errors: Errors, verdict: str) -> str:
    """One row of a table."""
    mark = " †" if errors.plain else ""
    cells = [
        first,
        judge,
        percent(errors.voltage) + mark,
        percent(errors.current) + mark,
        events(errors),
        percent(errors.energy),
        verdict,
    ]
    return "| " + " | ".join(cells) + " |"


def verdict(errors: Errors) -> str:
    """Whether all bars are met, and whether the traces had to be aligned for it."""
    if not errors.met:
        return "**not met**"
    return "met †" if errors.plain else "met"


def document(rows: list[Row]) -> str:
    """The whole document."""
    failures = [
        f"- **{load_case(row.name).title}** against {judge}: {'; '.join(errors.failures())}."
        for row in rows
        for judge, errors in row.errors
        if not errors.met
    ]
    table = [
        line(load_case(row.name).title, judge, errors, verdict(errors))
        for row in rows
        for judge, errors in row.errors
    ]
    shifted = [
        f"- {load_case(row.name).title} against {judge}: {percent(errors.plain[0])} of full scale (voltage), "
        f"{percent(errors.plain[1])} (current) as they stand, events {seconds(errors.event_time)} apart."
        for row in rows
        for judge, errors in row.errors
        if errors.plain and errors.met
    ]
    sections = "\n".join(section(row) for row in rows)
    return TEMPLATE.read_text("utf-8").format(
        count=len(rows),
        ours=f"{OURS:g}",
        fine=f"{FINE:g}",
        relative=f"{RELATIVE:g}",
        absolute=f"{ABSOLUTE:g}",
        versions=versions(),
        failures="\n".join(failures) or "None: every bar is met by every circuit against each of its judges.",
        aligned="\n".join(
            ["These traces meet theirs only once the events are aligned (†):", "", *shifted]
            if shifted
            else []
        ),
        table="\n".join(table),
        sections=sections,
        netlists=NETLISTS,
    )


def section(row: Row) -> str:
    """What a circuit is, and what there is to say of its comparison."""
    case = load_case(row.name)
    text = [f"### {case.title}", "", " ".join(case.what.split()), ""]
    scale = f"Full scale {case.volts:g} V and {case.amperes:g} A"
    netlist = f"[{row.name}.cir]({NETLISTS}/{row.name}.cir)"
    text.append(f"{scale}; {row.rows} rows of ours over {case.until:g} s; netlist {netlist}.")
    if case.closed_form:
        text.append(f"Closed form: {case.closed_form}.")
    apart = row.apart
    text.append(
        f"ngspice and scipy are {percent(apart.voltage)} (voltage), {percent(apart.current)} (current), "
        f"{seconds(apart.event_time)} (events) and {percent(apart.energy)} (energy) apart."
    )
    for judge, errors in row.errors:
        if errors.plain:
            text.append(
                f"† Against {judge} the traces were aligned at the events, which are "
                f"{seconds(errors.event_time)} apart at most; without that they differ by "
                f"{percent(errors.plain[0])} (voltage) and {percent(errors.plain[1])} (current) on the edges."
            )
    return "\n".join([*text, ""])


def versions() -> str:
    """What computed this."""
    said = subprocess.run(["ngspice", "--version"], capture_output=True, text=True, check=True).stdout
    found = re.search(r"ngspice-(\S+)", said)
    return (
        f"ngspice {found[1] if found else 'unknown'}, scipy {version('scipy')}, numpy {version('numpy')}, "
        f"Python {platform.python_version()}"
    )


def main(path: Path, names: list[str]) -> int:
    """Compute all, write the document, say how many bars are not met."""
    with ProcessPoolExecutor(max_workers=os.cpu_count()) as pool:
        rows = list(pool.map(compute, names))
    rows.sort(key=lambda row: load_case(row.name).title)
    path.write_text(document(rows), encoding="utf-8")
    missed = sum(not errors.met for row in rows for _, errors in row.errors)
    print(f"{len(rows)} circuits, {missed} comparisons with a bar that is not met; written: {path.name}")
    return 1 if missed else 0


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "docs" / "verification.md"
    sys.exit(main(target, sys.argv[2:] or all_names()))
