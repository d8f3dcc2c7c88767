"""Levels, counts and peaks of which rehearsal and readings said different things of one fact.

The truth is worked out here: in closed form from what is asked of the outputs, or as means over apertures by
brute force (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.truth.test_played_as_rehearsed import RESISTOR, Played, played

from railwright.evaluation.outcome import Outcome, Result
from railwright.measures import MEASURES
from railwright.measures.reading_model import Part, ReadingModel
from railwright.measures.signal import View
from railwright.traces import Traces

LEVELS = (
    "requires: [{name: low, measure: low_state_level, of: in1, during: shape, at_least: 1 V},\n"
    "  {name: high, measure: high_state_level, of: in1, during: shape, at_least: 1 V}]\n"
)


def shaped(folder: Path, segments: str, every: str, requires: str) -> Played:
    """The small bench that plays these segments."""
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: shape\n"
    return played(folder, steps, every=every, requires=requires, points=False)


def value(result: Result) -> float | None:
    """What was measured; None: nothing."""
    return None if result.measured is None else result.measured.value


@pytest.mark.parametrize("every", ["10 ms", "20 ms", "50 ms"])
@pytest.mark.parametrize("down", [4.0, 8.0])
def test_a_ramp_there_and_back_has_no_lower_state(every: str, down: float, tmp_path: Path) -> None:
    """No voltage below 12 V stands for longer than another: said were 4 V here and 4.4 V there."""
    segments = f"{{line_to: {down} V, over: 400 ms}}, {{line_to: 12 V, over: 400 ms}}, {{hold: 400 ms}}"
    found = shaped(tmp_path / "p", segments, every, LEVELS)
    for judged in (found.judged, found.evaluated):
        low, high = judged.results
        assert value(low) is None
        assert low.outcome is Outcome.INCONCLUSIVE
        assert value(high) == pytest.approx(12.0, abs=0.03)


@pytest.mark.parametrize("every", ["10 ms", "20 ms", "50 ms"])
@pytest.mark.parametrize(("down", "hold"), [(6.0, "300 ms"), (10.0, "300 ms"), (5.0, "800 ms")])
def test_a_dip_that_stands_has_its_level(every: str, down: float, hold: str, tmp_path: Path) -> None:
    segments = (
        f"{{hold: 300 ms}}, {{step_to: {down} V}}, {{hold: {hold}}}, {{step_to: 12 V}}, {{hold: 300 ms}}"
    )
    found = shaped(tmp_path / "p", segments, every, LEVELS)
    for judged in (found.judged, found.evaluated):
        low, high = judged.results
        # Programming within 8 mV, readings within 6 mV; the lead is sensed.
        assert value(low) == pytest.approx(down, abs=0.03)
        assert value(high) == pytest.approx(12.0, abs=0.03)


@pytest.mark.parametrize("every", ["10 ms", "20 ms", "50 ms"])
@pytest.mark.parametrize("low", ["60 mA", "90 mA", "120 mA"])
def test_the_low_stage_of_a_load_is_not_told_as_a_restart(every: str, low: str, tmp_path: Path) -> None:
    """It stops at 6 V and is fed with 12 V throughout: it cannot stop. Each period was told as one."""
    profile = (
        "{profile: {points: [{time: 0 s, current: 400 mA}, {time: 300 ms, current: 400 mA}, "
        f"{{time: 301 ms, current: {low}}}, {{time: 400 ms, current: {low}}}, "
        "{time: 401 ms, current: 400 mA}], repeats: always, starts_at: 8 V, stops_at: 6 V}}"
    )
    requires = "requires: [{name: r, measure: restarts, of: in1, during: steady, at_most: 0}]\n"
    steps = "  - hold: 2 s\n    name: steady\n"
    edits = (("device.yaml", RESISTOR, profile),)
    found = played(tmp_path / "p", steps, every=every, edits=edits, requires=requires)
    assert not any(e.kind.value == "stops" and e.time < found.ended for e in found.truth.events)
    assert found.judged.results[0].outcome is Outcome.PASS
    assert found.evaluated.results[0].outcome is not Outcome.FAIL


@pytest.mark.parametrize("measure", ["turn_on_voltage", "turn_off_voltage"])
@pytest.mark.parametrize(
    "load",
    [
        "{resistor: {resistance: 40 ohm}}",
        "{led_string: {count: 3, forward_voltage: 2.1 V, rated_current: 200 mA, series_resistance: 25 ohm}}",
        "{coil: {resistance: 40 ohm, inductance: 50 mH}}",
    ],
)
def test_a_load_that_never_stops_has_no_turning_voltage(measure: str, load: str, tmp_path: Path) -> None:
    requires = f"requires: [{{name: t, measure: {measure}, of: in1, during: shape, at_most: 11 V}}]\n"
    segments = "{step_to: 4 V}, {hold: 300 ms}, {step_to: 12 V}, {hold: 300 ms}"
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: shape\n"
    edits = (("device.yaml", RESISTOR, load),)
    found = played(tmp_path / "p", steps, edits=edits, requires=requires, points=False)
    for judged in (found.judged, found.evaluated):
        assert [value(each) for each in judged.results] == [None]


@pytest.mark.parametrize("apart", [2e-3, 5e-3, 8e-3])
@pytest.mark.parametrize("swap", [0.3, 0.3042, 0.3077])
def test_two_outputs_that_take_over_from_each_other_make_no_peak(apart: float, swap: float) -> None:
    """1 A flows all the time, of one output before `swap` and of the other after it; each is read as its mean
    over 8 ms every 10 ms, the second one `apart` later. Their sum is up to 1.8 A once.
    """
    ends = np.arange(0.02, 0.8, 10e-3)
    first = np.clip(swap - (ends - 8e-3), 0.0, 8e-3) / 8e-3
    second = np.clip(ends - apart - swap, 0.0, 8e-3) / 8e-3
    late = np.clip(ends + apart - swap, 0.0, 8e-3) / 8e-3
    for other in (second, late):
        total = first + other
        parts = tuple(Part(name, 0.0, 1e-3, 1e-4, 1e-4, 0.5) for name in ("a.1", "a.2"))
        model = ReadingModel("readings", parts, parts, 10e-3, 8e-3, summed="current")
        columns = {"current": total, "voltage": np.full(total.size, 12.0)}
        view = View(Traces(ends, columns), model, 0.1, 0.7, every=10e-3)
        assert MEASURES["peak_current"](view).value < 1.002


@pytest.mark.parametrize("resistance", [0.3, 1.0])
@pytest.mark.parametrize(("apart", "back"), [(2e-3, 0.31), (5e-3, 0.3142), (8e-3, 0.3077)])
def test_a_current_of_other_times_lifts_no_voltage(apart: float, back: float, resistance: float) -> None:
    """12 V at the terminals, 1 A of two outputs halves, but for a dip in which neither voltage nor current is
    there: the connector never stands above 12 V - 1 A x R. Each output is read as its mean over 8 ms every
    10 ms, the second one `apart` later or earlier: the current is then of a time at which it was not back.
    """
    ends = np.arange(0.02, 0.8, 10e-3)

    def there(end: np.ndarray) -> np.ndarray:
        """Part of the aperture that lies before or after the dip."""
        return 1.0 - (np.clip(end, 0.25, back) - np.clip(end - 8e-3, 0.25, back)) / 8e-3

    for late in (apart, -apart):
        own, other = there(ends), there(ends - late)
        parts = tuple(Part(name, 0.0, 1e-3, 1e-4, 1e-4, 0.5) for name in ("a.1", "a.2"))
        lead = (resistance, resistance)
        model = ReadingModel("readings", parts, parts, 10e-3, 8e-3, lead=lead, summed="current")
        columns = {"current": (own + other) / 2.0, "terminal_voltage": 12.0 * own}
        view = View(Traces(ends, columns), model, 0.1, 0.7, every=10e-3)
        assert MEASURES["peak_voltage"](view).low <= 12.0 - resistance + 1e-3


@pytest.mark.parametrize(
    ("volts", "rise"), [(11.0, "600 V/s"), (9.0, "900 V/s"), (11.5, "500 V/s"), (11.0, "400 V/s")]
)
def test_a_battery_that_is_drawn_down_as_the_output_comes_on_is_in_the_mean(
    volts: float, rise: str, tmp_path: Path
) -> None:
    """An output that sinks begins its rise at 0 V and takes the battery with it, between two readings.

    The truth is the mean of what really stood there, by trapezoids.
    """
    battery = (
        f"{{battery: {{open_circuit_voltage: {volts} V, series_resistance: 10 ohm, capacity: 400 C, "
        "state_of_charge: 50 %}}"
    )
    edits = (
        ("device.yaml", RESISTOR, battery),
        ("procedure.yaml", "gap: 10 ms, settle", f"gap: 10 ms, rise: {rise}, settle"),
        ("bench.yaml", "rise: 12 ms", "rise: 12 ms, sink: 2.5 A"),
    )
    requires = "requires: [{name: mean, measure: mean_voltage, of: in1, during: up, at_most: 12.1 V}]\n"
    steps = "  - hold: 400 ms\n    name: steady\n"
    found = played(tmp_path / "p", steps, every="50 ms", edits=edits, requires=requires)
    span, traces = found.check.plan.spans[0], found.truth.traces["in1"]
    at = np.linspace(span.start, span.end, 20_001)
    true = float(np.mean(np.interp(at, traces.time, traces.columns["voltage"])))
    (mean,) = found.evaluated.results
    assert mean.measured is not None
    assert mean.measured.low - 0.01 <= true <= mean.measured.high + 0.01
