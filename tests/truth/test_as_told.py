"""What the host tells an output, rehearsed as it is told; and what readings tell of it.

The truth is worked out here in closed form (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.truth.test_played_as_rehearsed import RESISTOR, played

from railwright.traces import EventKind


@pytest.mark.parametrize("slew", [0.1, 0.2, 0.3])
@pytest.mark.parametrize(("goal", "over"), [(8.0, 500), (10.0, 400)])
def test_a_line_soon_after_switching_on_begins_where_the_rise_leads(
    slew: float, goal: float, over: int, tmp_path: Path
) -> None:
    """Shortly after it was switched on the set point stands at slew · time and not at 12 V. A line that was
    told there crept up at its own slew, |12 V - goal| / over, and did not get there in time: it begins once
    the rise is over, 2 ms after 12 V / slew, and ends on time (20 ms late: the host keeps so much between
    two set points).
    """
    segments = f"{{off_for: 30 ms}}, {{hold: 5 ms}}, {{line_to: {goal} V, over: {over} ms}}, {{hold: 100 ms}}"
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: shape\n"
    edits = (
        ("bench.yaml", "1 V/s .. 2.4 V/ms", f"1 V/s .. {slew} V/ms"),
        ("bench.yaml", "output_capacitance: 220 uF", "output_capacitance: 22 uF"),
        ("device.yaml", "{capacitor: {capacitance: 100 uF, esr: 50 mohm}}, ", ""),
    )
    found = played(tmp_path / "p", steps, edits=edits, points=False)
    moves = found.check.plan.moves
    on = [move.time for move in moves if move.kind == "on"][-1]
    risen, ends = on + 12.0 / (slew * 1e3), on + 20e-3 + over * 1e-3
    for record in (found.rehearsed.record, found.truth):
        traces = record.traces["in1"]
        for part in (0.3, 0.6, 0.95):
            expected = 12.0 * part, 12.0 + (goal - 12.0) * part
            begins = risen + 2e-3
            times = on + (risen - on) * part, begins + (ends - begins) * part
            at = np.interp(times, traces.time, traces.columns["voltage"])
            assert at == pytest.approx(expected, abs=0.03 + 0.5 * slew)


@pytest.mark.parametrize("every", ["5 ms", "10 ms", "20 ms", "50 ms"])
@pytest.mark.parametrize(("goal", "over"), [("12.05 V", "100 ms"), ("11.9 V", "400 ms")])
def test_a_step_begins_on_time_though_its_first_stair_comes_later(
    every: str, goal: str, over: str, tmp_path: Path
) -> None:
    """The line is too flat for the slew and told in stairs, the first of them 20 ms or more into the step."""
    steps = (
        "  - hold: 500 ms\n    name: before\n"
        f"  - shape: {{input: in1, segments: [{{line_to: {goal}, over: {over}}}, {{hold: 300 ms}}]}}\n"
        "    name: shape\n"
    )
    found = played(tmp_path / "p", steps, every=every, points=False)
    before, shape = (found.outcome.record.span(name) for name in ("before", "shape"))
    assert before.end - before.start == pytest.approx(0.5, abs=1e-3)
    assert shape.end - shape.start == pytest.approx(float(over.split()[0]) * 1e-3 + 0.3, abs=1e-3)


@pytest.mark.parametrize("every", ["10 ms", "20 ms", "50 ms"])
@pytest.mark.parametrize("down", [4.0, 9.0])
def test_behind_a_diode_the_input_may_stand_higher_than_its_output(
    every: str, down: float, tmp_path: Path
) -> None:
    """A capacitor alone keeps what it was charged to, 12 V less the diode's 0.4 V, while the output goes
    down: its readings do not show that, and do not say that it is lower.
    """
    steps = (
        f"  - shape: {{input: in1, segments: [{{line_to: {down} V, over: 50 ms}}, {{hold: 500 ms}}]}}\n"
        "    name: shape\n"
    )
    fixtures = "fixtures:\n  box: {diode: {drop: 0.4 V, resistance: 20 mohm}}\nleads:"
    edits = (
        ("bench.yaml", "leads:", fixtures),
        ("bench.yaml", "one_way_length: 1 m", "one_way_length: 1 m, contact_resistance_loop: 8 mohm"),
        ("procedure.yaml", "lead: pair, sense: at load", "lead: pair, sense: at terminals, fixture: box"),
        ("device.yaml", f", {RESISTOR}", ""),
    )
    requires = "requires: [{name: mean, measure: mean_voltage, of: in1, during: shape, at_least: 11 V}]\n"
    found = played(tmp_path / "p", steps, every=every, edits=edits, requires=requires, points=False)
    span, traces = found.check.plan.spans[1], found.truth.traces["in1"]
    at = np.linspace(span.start, span.end, 2001)
    true = float(np.mean(np.interp(at, traces.time, traces.columns["voltage"])))
    assert true == pytest.approx(11.6, abs=0.1)
    (mean,) = found.evaluated.results
    assert mean.outcome.value != "fail"
    assert mean.measured is not None
    assert mean.measured.low <= true <= mean.measured.high + 0.05


@pytest.mark.parametrize("every", ["10 ms", "20 ms", "50 ms"])
@pytest.mark.parametrize(("low", "starts"), [(5.0, 8.0), (4.0, 10.0), (6.0, 7.0)])
def test_a_turn_on_in_a_jump_is_known_no_better_than_the_jump(
    every: str, low: float, starts: float, tmp_path: Path
) -> None:
    """It starts at `starts`, somewhere in the jump from `low` to 12 V: the readings before it are flat and
    say nothing of that.
    """
    converter = (
        f"{{converter: {{output_power: 2 W, efficiency: 85 %, starts_at: {starts} V, stops_at: "
        f"{low + 0.5} V}}}}"
    )
    segments = f"{{step_to: {low} V}}, {{hold: 400 ms}}, {{step_to: 12 V}}, {{hold: 400 ms}}"
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: shape\n"
    edits = (("device.yaml", RESISTOR, converter), ("bench.yaml", "1 V/s .. 2.4 V/ms", "1 V/s .. 1 V/ms"))
    requires = "requires: [{name: on, measure: turn_on_voltage, of: in1, during: shape, at_most: 11 V}]\n"
    found = played(tmp_path / "p", steps, every=every, edits=edits, requires=requires, points=False)
    assert any(event.kind is EventKind.STARTS for event in found.truth.events)
    (on,) = found.evaluated.results
    assert on.measured is None or on.measured.low <= starts <= on.measured.high
