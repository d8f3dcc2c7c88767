"""The table *case, variant, truth, said* of `make truth`: a pytest plug-in (`-p tests.truth.table`).

A test of a case has the marker `case` and takes the fixture `truth_table`: what it compares there becomes a
row. Rows travel with the reports of pytest, so that they also come from processes beside the one that prints.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console
from rich.table import Table

CASES = Path(__file__).parent / "cases"
"""A folder of documents for each case that has any; the table of README.md names every case."""
PROPERTY = "truth"
"""By this name a row stands among the properties of a test's report."""
WIDTH = 160


@dataclass(frozen=True)
class Within:
    """A truth that is a range; what is said agrees where it lies in it."""

    low: float
    high: float

    def __eq__(self, said: object) -> bool:
        return isinstance(said, int | float) and self.low <= said <= self.high

    def __hash__(self) -> int:
        return hash((self.low, self.high))

    def __repr__(self) -> str:
        if self.high == float("inf"):
            return f"at least {_figure(self.low)}"
        if self.low == float("-inf"):
            return f"at most {_figure(self.high)}"
        return f"{_figure(self.low)} .. {_figure(self.high)}"


class TruthTable:
    """What one test compares; each comparison is a row."""

    def __init__(self, node: pytest.Item, case: str, variant: str) -> None:
        self._node, self._case, self._variant = node, case, variant

    def compare(self, what: str, truth: object, said: object, unit: str = "") -> None:
        """Write a row and assert that what is said agrees with the truth.

        truth: worked out outside the program: a value, a `Within`, or `pytest.approx(…)`. said: a value, or
        place -> value where it is said in several places. unit: of a figure that has one.
        """
        places = said if isinstance(said, Mapping) else {"": said}
        agrees = all(each == truth for each in places.values())
        told = ", ".join(f"{place} {_text(each, unit)}".strip() for place, each in places.items())
        row = [self._case, self._variant, f"{what}: {_text(truth, unit)}", told, agrees]
        self._node.user_properties.append((PROPERTY, row))
        assert agrees, f"{what}: truth {_text(truth, unit)}, said {told}"


def case_of(item: pytest.Item) -> str:
    """The case that a test belongs to; '' where it is of none."""
    marker = item.get_closest_marker("case")
    return str(marker.args[0]) if marker else ""


def variant_of(item: pytest.Item) -> str:
    """What tells a test from the others of its case: its name, and what it is given."""
    own = item.name.removeprefix("test_").partition("[")[0].replace("_", " ")
    given = getattr(item, "callspec", None)
    texts = [_given(name, value) for name, value in given.params.items()] if given else []
    return f"{own}: {', '.join(filter(None, texts))}" if texts else own


def _given(name: str, value: object) -> str:
    """A parameter of a test, in a few words."""
    if callable(value):
        return ""
    if isinstance(value, Mapping):
        return ", ".join(_given(str(key), each) for key, each in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(_given("", each) for each in value)
    name = "" if name == "name" or isinstance(value, str) else name
    return f"{name} {getattr(value, 'name', value)}".strip()


def documented() -> list[str]:
    """The cases, by the rows of the table of README.md."""
    lines = (CASES / "README.md").read_text("utf-8").splitlines()
    cells = [line.split("|")[1].strip() for line in lines if line.startswith("| ")]
    return sorted(cells[cells.index("---") + 1 :])


def rows_of(reports: Sequence[pytest.TestReport]) -> list[list[Any]]:
    """The rows that tests have written."""
    properties = [each for report in reports for each in report.user_properties]
    return [list(value) for name, value in properties if name == PROPERTY]


def _figure(value: object) -> str:
    return f"{value:.5g}" if isinstance(value, float) else str(value)


def _text(value: object, unit: str) -> str:
    return f"{_figure(value)} {unit}".strip()


def print_table(console: Console, rows: Sequence[Sequence[object]]) -> None:
    """Print the table, and how many variants of each case there are."""
    table = Table("case", "variant", "truth", "said", "agrees")
    for case, variant, truth, said, agrees in sorted(rows, key=lambda row: (str(row[0]), str(row[1]))):
        table.add_row(str(case), str(variant), str(truth), str(said), "yes" if agrees else "NO")
    console.print(table)
    variants = Counter(case for case, _ in {(row[0], row[1]) for row in rows})
    wrong = Counter(row[0] for row in rows if not row[4])
    for case in documented():
        console.print(f"{case}: {variants[case]} variants, {wrong[case]} rows that disagree")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the table of what was compared in this run."""
    reports = [
        each
        for outcome in ("passed", "failed")
        for each in terminalreporter.stats.get(outcome, [])
        if isinstance(each, pytest.TestReport)
    ]
    if rows := rows_of(reports):
        print_table(Console(file=terminalreporter._tw._file, width=WIDTH, highlight=False), rows)
