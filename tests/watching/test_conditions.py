"""What begins and ends a log, as texts and on rows."""

from __future__ import annotations

import datetime as dt
import math

import pytest
from tests.said import says

from railwright.documents.output_name import OutputName
from railwright.documents.repeating import ReadingBound
from railwright.instruments.supply import OutputReading
from railwright.traces import Mode
from railwright.watching.conditions import AnyOf, LogRow, parse_condition

LEFT, RIGHT = OutputName("left.1"), OutputName("right.1")
BOTH = (LEFT, RIGHT)


def row(time: float, voltage: float | None = None, current: float = 0.0, unix: float = 0.0) -> LogRow:
    reading = OutputReading("1", time, voltage or 0.0, current, Mode.CV, "", True)
    readings = {} if voltage is None else {LEFT: reading}
    return LogRow(0, time, unix, readings, {}, {})


@pytest.mark.parametrize(
    ("text", "output", "bound", "lasting"),
    [
        ("left.1 current below 100 mA for 10 s", LEFT, ReadingBound("current", "below", 0.1), 10.0),
        ("right.1 voltage above 11.5 V", RIGHT, ReadingBound("voltage", "above", 11.5), 0.0),
        (" left.1  voltage  below 0.4V  for 2 min ", LEFT, ReadingBound("voltage", "below", 0.4), 120.0),
        ("left.1 current above -20 mA", LEFT, ReadingBound("current", "above", -0.02), 0.0),
    ],
)
def test_a_bound_of_readings(text: str, output: OutputName, bound: ReadingBound, lasting: float) -> None:
    found = parse_condition(text, BOTH)
    assert (found.kind, found.output, found.bound, found.amount) == ("bound", output, bound, lasting)


@pytest.mark.parametrize(
    ("text", "kind", "amount"),
    [
        *(("3 h", "duration", 10_800.0), ("90 s", "duration", 90.0), ("3 d", "duration", 259_200.0)),
        *(("1 row", "count", 1.0), ("1000 rows", "count", 1000.0)),
    ],
)
def test_a_duration_and_a_count(text: str, kind: str, amount: float) -> None:
    found = parse_condition(text, BOTH)
    assert (found.kind, found.amount) == (kind, amount)


@pytest.mark.parametrize("text", ["2026-03-01T08:00Z", "2026-03-01 08:00:00+00:00", "2026-03-01T09:00+01:00"])
def test_an_instant(text: str) -> None:
    wanted = dt.datetime(2026, 3, 1, 8, tzinfo=dt.UTC).timestamp()
    assert parse_condition(text, BOTH).amount == wanted


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("left.3 current below 1 A", ("left.1", "right.1", "left.3")),
        ("left.1 current below 1 V", ("a current", "1 V")),
        ("left.1 voltage above 5", ("a voltage", "'5'")),
        ("left.1 current below 1 A for 5 V", ("a time", "5 V")),
        ("left.1 current below 1 A for 0 s", ("above 0", "0 s")),
        ("-3 s", ("above 0", "-3 s")),
        ("0 rows", ("at least 1", "0 rows")),
        ("2026-13-01T08:00", ("an instant", "2026-13-01T08:00")),
        ("left.1 power below 1 W", ("left.1 current below 100 mA", "left.1 power")),
        ("", ("3 h", "''")),
    ],
)
def test_what_serves_not_is_said_in_a_line(text: str, named: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match="expected") as refused:
        parse_condition(text, BOTH)
    assert says(str(refused.value), *named)
    assert "\n" not in str(refused.value)


def test_a_log_does_not_begin_with_a_count_of_its_rows() -> None:
    with pytest.raises(ValueError, match="begins"):
        parse_condition("10 rows", BOTH, counts=False)


def met_at(text: str, rows: list[LogRow]) -> float:
    """The time of the first row with which it is met; NaN: none."""
    judged = AnyOf([parse_condition(text, BOTH)])
    return next((each.time for number, each in enumerate(rows, 1) if judged.met(each, number)), math.nan)


@pytest.mark.parametrize(
    ("text", "volts", "met"),
    [
        ("left.1 voltage above 5 V", [1, 5, 5.1, 9], 2.0),
        ("left.1 voltage below 5 V for 2 s", [4, 4, 6, 4, 4, 4, 4], 5.0),
        # A reading that was missed might have been above.
        ("left.1 voltage below 5 V for 2 s", [4, 4, None, 4, 4, 4], 5.0),
        ("left.1 voltage below 5 V for 2 s", [4, 4, None, 4, 4], math.nan),
        ("right.1 voltage above 0 V", [4, 4, 4], math.nan),
        ("2 s", [4, 4, 4, 4], 2.0),
        ("3 rows", [4, None, 4, 4], 2.0),
    ],
)
def test_when_it_is_met(text: str, volts: list[float | None], met: float) -> None:
    found = met_at(text, [row(float(time), each) for time, each in enumerate(volts)])
    assert found == met or (math.isnan(found) and math.isnan(met))


def test_the_first_of_several_ends_it() -> None:
    judged = AnyOf([parse_condition(text, BOTH) for text in ("9 s", "left.1 current above 1 A", "4 rows")])
    told = [judged.met(row(float(n), 12.0, 0.4 * n), n + 1) for n in range(4)]
    assert [each and each.words for each in told] == [None, None, None, "left.1 current above 1 A"]


def test_an_instant_goes_by_the_clock_of_the_wall() -> None:
    noon = dt.datetime(2026, 3, 1, 12, tzinfo=dt.UTC).timestamp()
    rows = [row(float(n), unix=noon - 2.0 + n) for n in range(5)]
    assert met_at("2026-03-01T12:00Z", rows) == 2.0
