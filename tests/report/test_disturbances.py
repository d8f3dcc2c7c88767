"""Level and duration of each disturbance, as asked and as it was read; by hand for each shape."""

from __future__ import annotations

import numpy as np
import pytest
from tests.bench import BENCH, PROCEDURE, demo_with
from tests.said import figures, says

from railwright.plan.timeline import timeline_of
from railwright.report.content import _disturbance
from railwright.report.disturbances import ROWS_AT_MOST, disturbances
from railwright.settings.context import sources_of
from railwright.traces import Record, Span, Traces

OLD = """        - {step_to: 12 V}
        - {hold: 500 ms}
        - {line_to: 6 V, over: 2 s}
        - {hold: 500 ms}
        - {line_to: 12 V, over: 2 s}
        - {hold: 500 ms}
"""
EVERY, LATE = 0.01, 0.137
"""Readings, and by how much the step begins later on the bench than planned [s]."""


def segments(*given: str) -> str:
    return "".join(f"        - {{{each}}}\n" for each in given)


def read(time, volts, span: Span) -> Record:
    """A record of one step: voltage of `main` every 10 ms along straight lines (time, volts)."""
    own = Span(span.name, span.kind, span.start + LATE, span.end + LATE, span.inputs)
    at = np.arange(0.0, span.end - span.start, EVERY) + 0.003
    values = np.interp(at, time, volts)
    return Record("readings", {"main": Traces(at + own.start, {"voltage": values})}, (), (own,))


def rows(tmp_path, shape: str, time, volts):
    documents = demo_with(tmp_path / "d", (PROCEDURE, OLD, shape))
    timeline = timeline_of(documents.procedure, documents.device)
    span = next(each for each in timeline.spans if each.name == "brown-out")
    return disturbances(documents, timeline, read(time, volts, span))


DIP = segments("step_to: 12 V", "hold: 1 s", "step_to: 7 V", "hold: 300 ms", "step_to: 12 V", "hold: 1 s")


def test_a_dip_has_its_level_and_its_duration(tmp_path):
    (row,) = rows(tmp_path, DIP, [0, 1, 1.001, 1.3, 1.301, 3], [12, 12, 6.98, 6.98, 12, 12])
    (asked,), (seen,) = row.asked, row.seen
    assert (row.step, row.input, row.test, row.played) == ("brown-out", "main", "", True)
    assert (asked.base, asked.level) == (12.0, 7.0)
    assert asked.start == pytest.approx(1.0)
    assert asked.duration == asked.beyond == pytest.approx(0.3)
    assert seen is not None
    assert seen.level == pytest.approx(6.98)
    assert seen.shortest < 0.3 < seen.longest
    assert seen.longest - seen.shortest <= 2 * EVERY + 1e-9


def test_equal_dips_are_one_row_and_each_is_looked_for(tmp_path):
    """Three of 100 ms to 8 V, 40 ms apart; on the bench the last one is missing."""
    each = ("step_to: 8 V", "hold: 100 ms", "step_to: 12 V", "hold: 40 ms")
    shape = segments("step_to: 12 V", "hold: 1 s", *each, *each, *each, "hold: 1 s")
    time = [0, 1, 1, 1.1, 1.1, 1.14, 1.14, 1.24, 1.24, 3]
    time = [at + 1e-6 * n for n, at in enumerate(time)]
    (row,) = rows(tmp_path, shape, time, [12, 12, 8, 8, 12, 12, 8, 8, 12, 12])
    assert len(row.asked) == 3
    assert [asked.duration for asked in row.asked] == pytest.approx([0.1] * 3)
    first, second, third = row.seen
    assert first is not None
    assert second is not None
    assert third is None
    assert first.shortest < 0.1 < first.longest
    assert second.longest < 0.13


def test_a_slow_one_says_how_long_beyond_the_middle_and_where_it_stands(tmp_path):
    """12 V to 6 V in 2 s, 0.5 s there, back in 2 s: 4.5 s away, 9 V and less for half of each ramp."""
    (row,) = rows(tmp_path, OLD, [0, 0.5, 2.5, 3, 5, 5.5], [12, 12, 6, 6, 12, 12])
    (asked,), (seen,) = row.asked, row.seen
    assert asked.duration == pytest.approx(4.5)
    assert asked.beyond == pytest.approx(1.0 + 0.5 + 1.0)
    assert asked.held == ((6.0, pytest.approx(0.5)),)
    assert seen is not None
    assert seen.shortest <= 2.5 <= seen.longest


@pytest.mark.parametrize(("periods", "volts"), [(10, 2.0), (3, 2.0), (8, 1.0), (7, 4.0)])
def test_what_is_asked_and_what_is_read_are_both_beyond_the_middle(tmp_path, periods, volts):
    """A sine of 1 Hz: for a third of each half of its period it is beyond half of its amplitude, up or down.
    More of them than `ROWS_AT_MOST` are one row.
    """
    wave = f"ripple: sine, peak_to_peak: {volts} V, frequency: 1 Hz, for: {periods} s, on: 12 V"
    time = np.linspace(0.0, periods, 1000 * periods)
    sine = 12.0 + volts / 2.0 * np.sin(2.0 * np.pi * time)
    found = rows(tmp_path, segments(wave, "hold: 1 s"), [*time, periods + 1.0], [*sine, 12.0])
    assert sum(len(row.asked) for row in found) == 2 * periods
    assert len(found) == (1 if 2 * periods > ROWS_AT_MOST else 2 * periods)
    for row in found:
        assert all(each.beyond == pytest.approx(1.0 / 3.0, abs=0.012) for each in row.asked)
        assert all(each is not None and each.shortest <= 1.0 / 3.0 <= each.longest for each in row.seen)
        told = _disturbance(row)
        # The last duration before 'beyond' in either text; ranges end with their longest.
        for key in ("lasts", "read"):
            counted = figures(told[key].partition("beyond")[0])[-1]
            assert float(counted.removesuffix(" ms")) == pytest.approx(333.0, abs=15.0)


def test_two_dips_in_one_are_beyond_the_middle_twice(tmp_path):
    """7 V for 100 ms, 11 V for 500 ms, 7 V for 200 ms: below 9.5 V for 300 ms in all, not for 800 ms."""
    levels = ("12 V", "1 s"), ("7 V", "100 ms"), ("11 V", "500 ms"), ("7 V", "200 ms"), ("12 V", "1 s")
    shape = segments(*(each for to, time in levels for each in (f"step_to: {to}", f"hold: {time}")))
    time = [0, 1, 1, 1.1, 1.1, 1.6, 1.6, 1.8, 1.8, 3]
    time = [at + 1e-6 * n for n, at in enumerate(time)]
    (row,) = rows(tmp_path, shape, time, [12, 12, 7, 7, 11, 11, 7, 7, 12, 12])
    (asked,), (seen,) = row.asked, row.seen
    assert asked.beyond == pytest.approx(0.3)
    assert seen is not None
    assert seen.shortest <= 0.3 <= seen.longest <= 0.3 + 4 * EVERY


def test_levels_within_one_are_told_each(tmp_path):
    """A captured shape: 9 V for 1 s, then 10 V for 1 s, and only then 12 V again."""
    shape = segments("step_to: 12 V", "hold: 2 s", "step_to: 9 V", "hold: 1 s", "step_to: 10 V", "hold: 1 s",
                     "step_to: 12 V", "hold: 1 s")  # fmt: skip
    (row,) = rows(tmp_path, shape, [0, 2, 2.001, 3, 3.001, 4, 4.001, 5], [12, 12, 9, 9, 10, 10, 12, 12])
    (asked,) = row.asked
    assert asked.level == 9.0
    assert asked.duration == pytest.approx(2.0)
    assert asked.held == ((9.0, pytest.approx(1.0)), (10.0, pytest.approx(1.0)))


def test_a_swell_and_an_interruption(tmp_path):
    up, gone = ("step_to: 15 V", "hold: 200 ms"), ("off_for: 50 ms", "hold: 1 s")
    shape = segments("step_to: 12 V", "hold: 1 s", *up, "step_to: 12 V", "hold: 1 s", *gone)
    time = [0, 1, 1.0001, 1.2, 1.2001, 2.2, 2.2001, 2.25, 2.2501, 4]
    found = rows(tmp_path, shape, time, [12, 12, 15, 15, 12, 12, 0, 0, 12, 12])
    swell, gone = found
    assert (swell.asked[0].level, swell.asked[0].off) == (15.0, False)
    assert swell.asked[0].duration == pytest.approx(0.2)
    assert gone.asked[0].off
    assert gone.asked[0].duration == pytest.approx(0.05)


def test_a_step_that_was_not_played_says_so(tmp_path):
    documents = demo_with(tmp_path / "d", (PROCEDURE, OLD, DIP))
    timeline = timeline_of(documents.procedure, documents.device)
    (row,) = disturbances(documents, timeline, Record("readings", {}, (), ()))
    assert not row.played
    assert row.seen == (None,)


def test_a_standard_leaves_its_own_level(tmp_path):
    """IEC 61000-4-29 dip to 70 % of U_T, 100 ms, three times: 8.4 V from 12 V."""
    test = "standard: IEC 61000-4-29 dip, level: 70 %, duration: 100 ms, repeat: 3, pause_between: 1 s"
    dip = f"  - shape: {{input: main, {test}}}\n    name: dips\n"
    documents = demo_with(tmp_path / "d", (PROCEDURE, "  - power_down", f"{dip}  - power_down"))
    timeline = timeline_of(documents.procedure, documents.device)
    row = disturbances(documents, timeline, Record("readings", {}, (), ()))[-1]
    assert row.test == "IEC 61000-4-29 dip"
    assert len(row.asked) == 3
    assert [(each.base, each.level) for each in row.asked] == [(12.0, pytest.approx(8.4))] * 3
    assert [each.duration for each in row.asked] == pytest.approx([0.1] * 3)


@pytest.mark.parametrize(("first", "then"), [(16.0, 8.0), (8.0, 16.0), (15.0, 9.0), (16.0, 7.0)])
def test_a_jump_from_above_to_below_the_level_ends_one_disturbance_and_begins_another(tmp_path, first, then):
    """As far below as it was above, too: each is a row with a level of its own."""
    shape = segments(
        "step_to: 12 V", "hold: 1 s", f"step_to: {first:g} V", "hold: 200 ms", f"step_to: {then:g} V",
        "hold: 300 ms", "step_to: 12 V", "hold: 1 s",
    )  # fmt: skip
    time = [0, 1, 1 + 1e-6, 1.2, 1.2 + 1e-6, 1.5, 1.5 + 1e-6, 3]
    found = rows(tmp_path, shape, time, [12, 12, first, first, then, then, 12, 12])
    assert [row.asked[0].level for row in found] == [first, then]
    assert [row.asked[0].duration for row in found] == pytest.approx([0.2, 0.3])
    assert [row.seen[0].level for row in found] == pytest.approx([first, then])


@pytest.mark.parametrize(("column", "place"), [("terminal_voltage", "terminals"), ("voltage", "connector")])
@pytest.mark.parametrize("amperes", [0.5, 1.5])
def test_a_level_says_where_it_was_read_and_what_that_is_at_the_connector(tmp_path, column, place, amperes):
    """Behind 1 ohm or so of lead, half an ampere is half a volt less."""
    documents = demo_with(
        tmp_path / "d",
        (PROCEDURE, OLD, DIP),
        (BENCH, "AWG 18, one_way_length: 1.5 m", "AWG 18, one_way_length: 24 m"),
    )
    timeline = timeline_of(documents.procedure, documents.device)
    span = next(each for each in timeline.spans if each.name == "brown-out")
    (trace,) = read([0, 1, 1.001, 1.3, 1.301, 3], [12, 12, 7, 7, 12, 12], span).traces.values()
    columns = {column: trace.columns["voltage"], "current": np.full(trace.time.size, amperes)}
    own = Span(span.name, span.kind, span.start + LATE, span.end + LATE, span.inputs)
    record = Record("readings", {"main": Traces(trace.time, columns)}, (), (own,))
    (row,) = disturbances(documents, timeline, record)
    assert row.at == place
    sources, _ = sources_of(documents)
    told = _disturbance(row, sources["main"])["read"].partition(";")[0]
    assert says(told, "7 V", place)
    if place == "connector":
        assert figures(told) == ["7 V"]
        return
    # 48 m of 0.823 mm2 copper and 8 mohm of contacts, at 20 °C; warm by some tens of kelvin at most.
    cold = 48.0 * 1.724e-8 / 0.823e-6 + 8e-3
    low, high = (float(each.removesuffix(" V")) for each in figures(told)[-2:])
    assert high == pytest.approx(7.0 - amperes * cold, abs=0.03 * amperes)
    assert 7.0 - amperes * cold * 1.3 < low < high
