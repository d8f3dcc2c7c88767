"""Readings of several supplies become rows: whole ones, late ones, and those that were given up."""

from __future__ import annotations

from railwright.documents.output_name import OutputName
from railwright.instruments.supply import OutputReading
from railwright.traces import Mode
from railwright.watching.conditions import LogRow
from railwright.watching.grid import GRACE, LATE, Grid, Readings

START, EVERY = 100.0, 0.5


def read(supply: str, time: float) -> Readings:
    return {OutputName.of(supply, "1"): OutputReading("1", time, 12.0, 0.5, Mode.CV, "", True)}


def grid() -> Grid:
    return Grid(START, EVERY, ["left", "right"])


def rows(made: Grid, now: float, **gone: str) -> list[LogRow]:
    return list(made.rows(now, gone, 1e9))


def test_a_row_is_handed_out_once_each_supply_was_read_for_it() -> None:
    made = grid()
    made.put("left", 0, read("left", START + 0.01))
    assert rows(made, START + 0.02) == []
    made.put("right", 0, read("right", START + 0.03))
    (row,) = rows(made, START + 0.04)
    assert (row.number, row.time, row.unix, row.missed) == (0, 0.0, START + 1e9, {})
    assert {name: round(delay, 9) for name, delay in row.delays.items()} == {"left": 0.01, "right": 0.03}


def test_one_that_is_not_read_is_not_waited_for() -> None:
    made = grid()
    made.put("right", 0, read("right", START))
    (row,) = rows(made, START, left="no link")
    assert row.missed == {"left": "no link"}
    assert set(row.readings) == {"right.1"}


def test_one_that_went_on_has_nothing_for_the_row_any_more() -> None:
    made = grid()
    for number in (0, 1):
        made.put("right", number, read("right", START + number * EVERY))
    made.put("left", 1, read("left", START + EVERY))
    first, second = rows(made, START + EVERY)
    assert (first.missed, second.missed) == ({"left": LATE}, {})


def test_an_answer_under_way_is_waited_for_so_long_and_no_longer() -> None:
    made = grid()
    made.put("right", 0, read("right", START))
    assert rows(made, START + EVERY + GRACE) == []
    (row,) = rows(made, START + EVERY + GRACE + 0.01)
    assert row.missed == {"left": LATE}
    # Readable up to the last second: no row of an interval below 0.4 s waits longer than that.
    assert GRACE <= 0.6


def test_an_answer_that_comes_after_its_row_stands_in_the_next_with_its_delay() -> None:
    made = grid()
    for number in (0, 1):
        made.put("right", number, read("right", START + number * EVERY))
    assert len(rows(made, START + EVERY + GRACE + 0.01)) == 1
    made.put("left", 0, read("left", START + 0.9))
    (row,) = rows(made, START + EVERY + GRACE + 0.02)
    assert (row.number, row.missed) == (1, {})
    assert round(row.delays["left"], 9) == 0.4


def test_no_row_comes_before_its_instant_and_none_is_left_out() -> None:
    made = grid()
    assert rows(made, START - 0.01, left="no link", right="no link") == []
    told = rows(made, START + 3.2, left="no link", right="no link")
    assert [row.number for row in told] == list(range(7))
    assert made.after(START + 3.2) == 7
    assert made.holding(START + 3.2) == 6
