"""The table of a log that goes on: the newest row, and what was missed."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from railwright.cli.console import console
from railwright.cli.watch_table import clock_text, log_table
from railwright.documents.output_name import OutputName
from railwright.instruments.supply import OutputReading
from railwright.traces import Mode
from railwright.watching.conditions import LogRow
from railwright.watching.files import LogStatistics

LEFT, RIGHT = OutputName("left.1"), OutputName("right.1")


@pytest.fixture(autouse=True)
def wide(monkeypatch: pytest.MonkeyPatch) -> None:
    """A narrow terminal puts a unit on the next line."""
    monkeypatch.setenv("COLUMNS", "120")


def shown(*rows: LogRow) -> list[str]:
    statistics = LogStatistics([LEFT, RIGHT])
    for row in rows:
        statistics.add(row)
    out = io.StringIO()
    console(out).print(log_table(rows[-1], statistics, len(rows), Path("log")))
    return [line.strip() for line in out.getvalue().splitlines()]


def row(time: float, voltage: float, current: float) -> LogRow:
    reading = OutputReading("1", time, voltage, current, Mode.CC, "", True)
    return LogRow(0, time, 1.78e9 + time, {LEFT: reading}, {"left": 0.0}, {"right": "no link"})


def test_an_output_has_its_values_and_how_far_they_went() -> None:
    lines = shown(row(0.0, 12.0, 0.5), row(3725.0, 11.5, 0.25))
    assert lines[0].split()[:4] == ["01:02:05", "2", "rows,", "2"]
    left = next(line for line in lines if line.startswith("left.1"))
    assert " ".join(left.split()) == "left.1 11.5 V 0.25 A 2.875 W CC 11.5 V .. 12 V 0.25 A .. 0.5 A"


def test_one_that_is_not_read_says_why() -> None:
    right = next(line for line in shown(row(0.0, 12.0, 0.5)) if line.startswith("right.1"))
    assert right.split()[1:6] == ["–", "–", "–", "no", "link"]


def test_days_are_hours() -> None:
    assert clock_text(3 * 86_400 + 61.9) == "72:01:01"
