"""What the disagreement hunt has found: said in one place, and otherwise in another.

The truth is worked out here, in closed form, from the figures of the bench (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmarks.disagreement_hunt.drawing import Draw
from benchmarks.disagreement_hunt.playing import Played, play
from benchmarks.small_bench import write_bench

from railwright.evaluation.outcome import Outcome

UP = "  - power_up: {order: [in1], gap: 10 ms, settle: 200 ms}\n    name: up\n"
DOWN = "  - power_down: {order: [in1], gap: 10 ms}\n"
RESISTOR = "{resistor: {resistance: 40 ohm}}"


def played(
    folder: Path,
    steps: str,
    *,
    every: str = "10 ms",
    edits: tuple[tuple[str, str, str], ...] = (),
    requires: str = "",
    points: bool = True,
) -> Played:
    """The small bench with these steps, played in every place; edits: file, what to replace, by what."""
    folder.mkdir()
    write_bench(folder, ("left.1",), UP + steps + DOWN, every=every, points=points)
    files = {path.name: path.read_text("utf-8") for path in folder.iterdir()}
    files["procedure.yaml"] += "\n" + requires
    for name, old, new in edits:
        assert old in files[name]
        files[name] = files[name].replace(old, new)
    place = folder / "played"
    place.mkdir()
    return play(Draw("small", {name: text.encode() for name, text in files.items()}, 7, {}), place)


def crossing(time: np.ndarray, values: np.ndarray, level: float, after: float) -> float:
    """The first time after `after` [s] at which a trace goes below a level."""
    return float(time[np.flatnonzero((time > after) & (values < level))[0]])


@pytest.mark.parametrize("every", ["10 ms", "20 ms", "50 ms"])
@pytest.mark.parametrize("hold", ["400 ms", "730 ms"])
def test_a_point_list_starts_with_its_step(every: str, hold: str, tmp_path: Path) -> None:
    """It was started as soon as its message was handed over, up to 30 ms before its time."""
    segments = "{exponential_to: 6 V, time_constant: 50 ms, for: 300 ms}, {step_to: 12 V}, {hold: 100 ms}"
    steps = (
        f"  - hold: {hold}\n    name: before\n"
        f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: list\n"
    )
    found = played(tmp_path / "p", steps, every=every)
    assert found.check.plan.listings
    start = found.check.plan.spans[2].start
    assert found.outcome.record.span("list").start == pytest.approx(start, abs=2e-3)
    lasts = found.outcome.record.span("before")
    assert lasts.end - lasts.start == pytest.approx(float(hold.split()[0]) * 1e-3, abs=2e-3)
    true = found.truth.traces["in1"]
    # 6 V (1 - exp(-t / 50 ms)) is 0.3 V after 2.6 ms; a straight line to its value at 20 ms, after 3 ms.
    at = crossing(true.time, true.columns["voltage"], 11.7, start - 0.1)
    assert start - 1e-3 < at < start + 6e-3


@pytest.mark.parametrize("slew", [0.3, 0.6, 1.2, 2.4])
def test_a_jump_is_rehearsed_at_the_slew_that_the_run_programs(slew: float, tmp_path: Path) -> None:
    """From 8 V to 12 V, 10 to 90 %: 0.8 · 4 V / slew. The output's own rise is 0.1 ms: faster than any."""
    segments = "{step_to: 8 V}, {hold: 400 ms}, {step_to: 12 V}, {hold: 400 ms}"
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n"
    edits = (
        ("bench.yaml", "1 V/s .. 2.4 V/ms", f"1 V/s .. {slew} V/ms"),
        ("bench.yaml", "rise: 12 ms", "rise: 100 us"),
        ("bench.yaml", "output_capacitance: 220 uF", "output_capacitance: 1 uF"),
        ("device.yaml", "{capacitor: {capacitance: 100 uF, esr: 50 mohm}}, ", ""),
    )
    found = played(tmp_path / "p", steps, edits=edits, points=False)
    for record in (found.rehearsed.record, found.truth):
        (shape,) = found.shapes(record)
        assert shape.edges[1].duration == pytest.approx(0.8 * 4.0 / (slew * 1e3), rel=0.1)


@pytest.mark.parametrize(
    ("slew", "first", "low", "then"),
    [(40.0, 15.8, 6.0, 9.0), (40.0, 15.0, 7.0, 8.0), (60.0, 15.9, 4.5, 9.5), (30.0, 14.0, 8.0, 7.0)],
)
def test_a_line_behind_a_jump_begins_where_the_jump_is_over(
    slew: float, first: float, low: float, then: float, tmp_path: Path
) -> None:
    """A line too steep for the slew is cut off on its way: the jump from there to `low` is shorter."""
    step = 0.1
    segments = (
        f"{{line_to: {first} V, over: {step} s}}, {{step_to: {low} V}}, {{hold: 150 ms}}, "
        f"{{line_to: {then} V, over: 300 ms}}, {{hold: 100 ms}}"
    )
    steps = (
        f"  - hold: 200 ms\n  - shape: {{input: in1, segments: [{{step_to: {low} V}}, {{hold: 800 ms}}]}}\n"
        f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: shape\n"
    )
    found = played(
        tmp_path / "p",
        steps,
        edits=(("bench.yaml", "1 V/s .. 2.4 V/ms", f"1 V/s .. {slew} V/s"),),
        points=False,
    )
    start = found.outcome.record.span("shape").start
    reached = low + slew * step
    assert reached < first
    begins = step + (reached - low) / slew
    true = found.truth.traces["in1"]

    def volts(at: float) -> float:
        return float(np.interp(start + at, true.time, true.columns["voltage"]))

    # It ends on time, so that what the jump takes beyond its hold is not the line's.
    starts, ends = max(begins, step + 0.15), step + 0.45
    for part in (0.2, 0.5, 0.8):
        expected = low + part * (then - low)
        assert volts(starts + part * (ends - starts)) == pytest.approx(expected, abs=0.03 + 12e-3 * slew / 10)
    assert volts(ends + 0.05) == pytest.approx(then, abs=0.03)


@pytest.mark.parametrize(
    ("every", "goal"), [("5 ms", 15.0), ("10 ms", 15.0), ("10 ms", 13.0), ("20 ms", 15.9)]
)
def test_a_peak_is_not_what_the_next_step_does(every: str, goal: float, tmp_path: Path) -> None:
    """The input stands at 12 V ± 22 mV throughout the step: at most 12.5 V cannot have failed."""
    steps = (
        "  - hold: 500 ms\n    name: steady\n"
        f"  - shape: {{input: in1, segments: [{{step_to: {goal} V}}, {{hold: 300 ms}}]}}\n    name: higher\n"
    )
    requires = (
        "requires: [{name: peak, measure: peak_voltage, of: in1, during: steady, at_most: 12.5 V},\n"
        f"  {{name: next, measure: peak_voltage, of: in1, during: higher, at_most: {goal - 0.5} V}}]\n"
    )
    found = played(tmp_path / "p", steps, every=every, requires=requires, points=False)
    steady, higher = found.evaluated.results
    assert steady.outcome is not Outcome.FAIL
    assert steady.measured is not None
    assert steady.measured.value < 12.0 + 0.022 + 0.006
    # A step that does exceed its limit still fails.
    assert higher.outcome is Outcome.FAIL


@pytest.mark.parametrize(
    ("volts", "every"), [(11.0, "50 ms"), (11.0, "20 ms"), (8.0, "20 ms"), (6.0, "50 ms")]
)
def test_a_voltage_that_a_battery_holds_before_is_no_part_of_the_power_up(
    volts: float, every: str, tmp_path: Path
) -> None:
    """The mean lies between what stood before and what was set, ± 22 mV of the readings and the outputs."""
    battery = (
        f"{{battery: {{open_circuit_voltage: {volts} V, series_resistance: 10 ohm, capacity: 400 C, "
        "state_of_charge: 50 %}}"
    )
    edits = (("device.yaml", RESISTOR, battery),)
    requires = "requires: [{name: mean, measure: mean_voltage, of: in1, during: up, at_most: 12.1 V}]\n"
    found = played(tmp_path / "p", "", every=every, edits=edits, requires=requires)
    (mean,) = found.evaluated.results
    assert mean.measured is not None
    assert volts < mean.measured.value < 12.022 + 0.006
    assert mean.measured.low is not None
    assert mean.measured.low < 12.0
    assert mean.outcome is not Outcome.FAIL


@pytest.mark.parametrize(("volts", "rise"), [("12 V", "12 ms"), ("5 V", "12 ms"), ("12 V", "2 ms")])
def test_a_rise_that_nothing_bounds_from_below_is_worked_out(volts: str, rise: str, tmp_path: Path) -> None:
    """One input and no slew: no slower end. C dV/dt and the load's current stay within the limit of 1 A less
    its 4 mA: at 12 V and 40 ohm, 0.3 A, so that 0.7 A into 320 uF give 2.2 kV/s at most. It was a traceback.
    """
    edits = (
        ("procedure.yaml", "gap: 10 ms, settle", "gap: 10 ms, rise: auto, settle"),
        ("bench.yaml", " slew: 1 V/s .. 2.4 V/ms,", ""),
        ("bench.yaml", "rise: 12 ms", f"rise: {rise}"),
        ("device.yaml", "nominal: 12 V", f"nominal: {volts}"),
    )
    found = played(tmp_path / "p", "  - hold: 200 ms\n    name: steady\n", edits=edits)
    (rate,) = (reason.value for reason in found.check.settings.reasons if reason.setting == "rise")
    most = (1.0 - float(volts.split()[0]) / 40.0) / 320e-6
    assert isinstance(rate, float)
    assert 0.2 * most < rate <= 28.8 / float(rise.split()[0]) * 1e3
    for record in (found.rehearsed.record, found.truth):
        traces = record.traces["in1"]
        end = np.interp(found.check.plan.spans[0].end, traces.time, traces.columns["voltage"])
        assert end == pytest.approx(float(volts.split()[0]), abs=0.02)


@pytest.mark.parametrize("hold", [406, 417, 434, 445])
def test_a_dip_in_the_step_before_fails_no_good_unit(hold: int, tmp_path: Path) -> None:
    """6 V for 30 ms, then back at 12 V, read over 40 ms every 50 ms: half of the phases failed it."""
    steps = (
        f"  - hold: {hold} ms\n    name: before\n"
        "  - shape: {input: in1, segments: [{step_to: 6 V}, {hold: 30 ms}]}\n    name: dip\n"
        "  - shape: {input: in1, segments: [{step_to: 12 V}, {hold: 300 ms}]}\n    name: back\n"
    )
    slow = (("bench.yaml", "update: 10 ms, aperture: 8 ms", "update: 50 ms, aperture: 40 ms"),)
    requires = "requires: [{name: mean, measure: mean_voltage, of: in1, during: back, at_least: 11.6 V}]\n"
    found = played(tmp_path / "p", steps, every="10 ms", points=False, requires=requires, edits=slow)
    (mean,) = found.evaluated.results
    (true,) = found.judged.results
    assert mean.measured is not None
    assert true.measured is not None
    assert mean.measured.low <= true.measured.value <= mean.measured.high
    assert mean.outcome.value != "fail"
