"""What a multimeter decides, what it must not decide, and what is said where it contradicts the supply."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.multimeter.station import AMMETER, VOLTMETER, documents, network_of, played, run_in, zero_of
from tests.said import says

from railwright.archive.stored import evaluate_run, open_stored
from railwright.evaluation.data import as_data, evaluation_from_data
from railwright.evaluation.multimeters import multimeter_records
from railwright.evaluation.outcome import Outcome
from railwright.job import Job
from railwright.records.readings import MultimeterReadings
from railwright.report.overlay import Overlay, curves_of

LEVEL = "  - {{name: level, measure: high_state_level, of: main, during: steady, between: {low} .. {high}}}\n"


def level(low: float, high: float) -> str:
    return LEVEL.format(low=f"{low} V", high=f"{high} V")


def test_it_decides_what_the_supply_leaves_open(tmp_path: Path) -> None:
    """The supply's reading is known within some 9 mV, the multimeter's within 0.7 mV."""
    requires = level(11.988, 12.012)
    _, without = played(documents(tmp_path / "a", requires, probes="{}"))
    stored, beside = played(documents(tmp_path / "b", requires))
    assert without.results[0].outcome is Outcome.INCONCLUSIVE
    assert (beside.results[0].outcome, beside.results[0].source) == (Outcome.PASS, "volts")
    measured, coarse = beside.results[0].measured, without.results[0].measured
    assert measured is not None
    assert coarse is not None
    assert measured.high - measured.low < 0.1 * (coarse.high - coarse.low)
    assert evaluate_run(stored, []).results[0].measured == measured


@pytest.mark.parametrize(
    ("meters", "probes", "seeds"),
    [
        (VOLTMETER, "{volts: {of: main}}", range(1, 6)),
        (VOLTMETER, "{volts: {of: main, at: terminals}}", range(21, 25)),
        (AMMETER, "{amperes: {of: main}}", range(31, 35)),
        (AMMETER, "{amperes: {of: transducer}}", range(41, 44)),
    ],
)
def test_its_interval_holds_the_truth(meters: str, probes: str, seeds: range, tmp_path: Path) -> None:
    """Mean and peak over the step, by the true traces behind the supplies: 95 % intervals of seven seeds out
    of eight at least, and none far off.
    """
    current, of = "amperes" in probes, "transducer" if "transducer" in probes else "main"
    at = "terminals" if "terminals" in probes else "connector"
    where = "" if current else f"at: {at}, "
    quantity = "current" if current else "voltage"
    column = "current" if current else ("terminal_voltage" if at == "terminals" else "voltage")
    requires = "".join(
        f"  - {{name: {measure}, measure: {measure}_{quantity}, of: {of}, {where}during: steady, at_most: 99 "
        f"{'A' if current else 'V'}}}\n"
        for measure in ("mean", "peak")
    )
    inside = {"mean": 0, "peak": 0}
    for seed in seeds:
        procedure = documents(tmp_path / str(seed), requires, meters=meters, probes=probes)
        with network_of(procedure, seed=seed) as (job, network, loop):
            folder = run_in(job, network, loop, procedure.parent / "run")
            truth = network.truth().traces[of]
        stored = open_stored(folder)
        evaluation = evaluate_run(stored, [])
        zero = zero_of(folder)
        span = stored.data.record.span("steady")
        rows = (truth.time >= span.start + zero) & (truth.time <= span.end + zero)
        time, values = truth.time[rows], truth.columns[column][rows]
        true = {
            "mean": float(np.trapezoid(values, time) / (time[-1] - time[0])),
            "peak": float(np.max(values)),
        }
        for result in evaluation.results:
            measured = result.measured
            assert measured is not None
            width = measured.high - measured.low
            inside[result.requirement] += measured.low <= true[result.requirement] <= measured.high
            assert measured.low - width <= true[result.requirement] <= measured.high + width
    assert min(inside.values()) >= 7 * len(seeds) // 8


@pytest.mark.parametrize("measure", ["mean_current", "charge"])
@pytest.mark.parametrize("of", ["main", "transducer"])
@pytest.mark.parametrize("senses", ["at load", "at terminals"])
def test_an_ammeter_decides_a_current(measure: str, of: str, senses: str, tmp_path: Path) -> None:
    """No voltage is in its record. The supply's current is known within some 3 mA, its own within 0.2 mA."""
    unit = "C" if measure == "charge" else "A"
    requires = f"  - {{name: drawn, measure: {measure}, of: {of}, during: steady, at_most: 99 {unit}}}\n"
    edits = {
        "truth.procedure.yaml": [
            ("lead: silicone pair, sense: at load", f"lead: silicone pair, sense: {senses}")
        ]
    }
    _, without = played(documents(tmp_path / "a", requires, probes="{}", edits=edits))
    probes = f"{{amperes: {{of: {of}}}}}"
    _, beside = played(documents(tmp_path / "b", requires, meters=AMMETER, probes=probes, edits=edits))
    result, coarse = beside.results[0], without.results[0].measured
    assert result.measured is not None
    assert coarse is not None
    assert (result.source, beside.notes) == ("amperes", ())
    assert result.measured.high - result.measured.low < 0.5 * (coarse.high - coarse.low)
    assert coarse.low < result.measured.value < coarse.high


def test_a_probe_that_fell_off_is_found(tmp_path: Path) -> None:
    _, found = played(documents(tmp_path / "s", level(11.9, 12.1)), faults=("probe off main",))
    (contradiction,) = found.contradictions
    assert contradiction.sources == ("supply readings", "volts")
    assert contradiction.shown[0] == pytest.approx(11.994, abs=0.02)
    assert abs(contradiction.shown[1]) < 0.001
    assert found.results[0].outcome is Outcome.INCONCLUSIVE


def test_one_that_froze_is_found_by_one_reading_also_with_holes_in_time(tmp_path: Path) -> None:
    """It stays at 12 V, where it was, while the supply plays 13 V for a second; few of its readings came."""
    rise = (
        "  - shape:\n      input: main\n      segments: [{step_to: 13 V}, {hold: 1 s}, {step_to: 12 V}, "
        "{hold: 500 ms}]\n    name: rise\n"
    )
    edits = {"truth.procedure.yaml": [("  - power_down:", f"{rise}  - power_down:")]}
    stored, found = played(documents(tmp_path / "s", level(11.9, 12.1), edits=edits))
    whole, span = stored.data.multimeters["volts"], stored.data.record.span("rise")
    assert found.contradictions == ()
    time, higher = whole.time, (whole.time > span.start + 0.1) & (whole.time < span.start + 0.9)
    frozen = np.where(time > 1.0, whole.value[np.searchsorted(time, 1.0)], whole.value)
    places = np.arange(time.size)
    pairs, one = places % 5 < 2, ~higher | (places == np.flatnonzero(higher)[8])
    none = (time < span.start) | (time > span.end)
    for kept, values, contradicts in [
        (pairs, frozen, True), (one, frozen, True), (none, frozen, False),
        (pairs, whole.value, False), (one, whole.value, False),
    ]:  # fmt: skip
        came = MultimeterReadings(time[kept], values[kept], whole.took[kept])
        data = replace(stored.data, multimeters={"volts": came})
        evaluation = evaluate_run(replace(stored, data=data), [])
        assert bool(evaluation.contradictions) is contradicts
        for each in evaluation.contradictions:
            assert each.sources == ("supply readings", "volts")
            assert each.shown == (pytest.approx(12.995, abs=0.02), pytest.approx(11.994, abs=0.01))
            assert evaluation.results[0].outcome is Outcome.INCONCLUSIVE


@pytest.mark.parametrize(("at", "senses"), [("terminals", "at load"), ("connector", "at terminals")])
def test_right_probes_contradict_nothing(at: str, senses: str, tmp_path: Path) -> None:
    """With the voltage sensed at either end of the lead, 6 seeds: no finding out of nothing."""
    edits = {
        "truth.procedure.yaml": [
            ("lead: silicone pair, sense: at load", f"lead: silicone pair, sense: {senses}")
        ]
    }
    for seed in range(1, 5):
        procedure = documents(
            tmp_path / str(seed), level(11.9, 12.1), probes=f"{{volts: {{of: main, at: {at}}}}}", edits=edits
        )
        _, found = played(procedure, seed=seed)
        assert found.contradictions == ()


ACCURATE = [
    (
        "          voltage: {of_value: 0.05 %, offset: 6 mV, resolution: 1 mV, noise: 1 mV}\n"
        "          current: {of_value: 0.1 %, offset: 3 mA, resolution: 0.1 mA, noise: 0.2 mA}\n",
        "          voltage: {of_value: 0.002 %, offset: 0.2 mV, resolution: 0.1 mV, noise: 0.1 mV}\n"
        "          current: {of_value: 0.1 %, offset: 1 mA, resolution: 0.1 mA, noise: 0.2 mA}\n",
    )
]
"""The supply of `main` with accurate readings: else they, not the lead, decide what its drop may be."""


@pytest.mark.parametrize(("factor", "documented"), [("x1", True), ("x1.7", False), ("x0.4", False)])
def test_what_the_lead_drops(factor: str, documented: bool, tmp_path: Path) -> None:
    """Against ohms times amperes of the true parameters."""
    procedure = documents(
        tmp_path / "s", level(11.9, 12.1), probes="{volts: {of: main, at: terminals}}",
        edits={"quay.bench.yaml": ACCURATE},
    )  # fmt: skip
    with network_of(procedure, overrides={"main.lead.resistance": factor}) as (job, network, loop):
        folder = run_in(job, network, loop, procedure.parent / "run")
        ohms = network.parameters.parameters["main.lead.resistance"].value
    evaluation = evaluate_run(open_stored(folder), [])
    (drop,) = evaluation.lead_drops
    assert (drop.of, drop.multimeter, drop.as_documented) == ("main", "volts", documented)
    assert drop.low <= ohms <= drop.high
    assert drop.drop == pytest.approx(ohms * drop.current, abs=1.5e-3)
    assert evaluation_from_data(as_data(evaluation)).lead_drops == evaluation.lead_drops


def test_what_is_short_is_not_denied_by_slow_readings(tmp_path: Path) -> None:
    """A rise of 15 ms, an aperture of 20 ms every 50 ms: it may not say that there was none."""
    rise = (
        "  - shape:\n      input: main\n      segments: [{step_to: 12 V}, {hold: 500 ms}, {step_to: 13 V}, "
        "{hold: 15 ms}, {step_to: 12 V}, {hold: 500 ms}]\n    name: rise\n"
    )
    requires = "  - {name: peak, measure: peak_voltage, of: main, during: rise, at_most: 12.5 V}\n"
    edits = {"truth.procedure.yaml": [("  - power_down:", f"{rise}  - power_down:")]}
    outcomes = set()
    for seed in range(1, 5):
        procedure = documents(tmp_path / str(seed), requires, edits=edits)
        _, found = played(procedure, seed=seed)
        outcomes.add(found.results[0].outcome)
    assert Outcome.PASS not in outcomes


def test_the_check_knows_what_it_can_decide(tmp_path: Path) -> None:
    """± 12 mV are required; the supply reads to ± 12 mV, the multimeter to 0.7 mV, elsewhere it helps not."""
    found = {}
    for where, probes in {
        "none": "{}", "there": "{volts: {of: main}}",
        "at the other end": "{volts: {of: main, at: terminals}}",
        "at the other input": "{volts: {of: transducer}}",
    }.items():  # fmt: skip
        checked = Job.open(documents(tmp_path / where, level(11.988, 12.012), probes=probes)).check()
        coarse = [each for each in checked.findings if each.rule == "reading-too-coarse"]
        found[where] = (checked.measurable[0].verdict == "yes", bool(coarse))
    assert found == {
        "none": (False, True), "there": (True, False), "at the other end": (False, True),
        "at the other input": (False, True),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("held", "decides"), [("1 V", False), ("10 V", False), ("11.9 V", False), ("13 V", True), ("20 V", True)]
)
def test_the_check_counts_no_multimeter_whose_range_ends_below_what_is_played(
    held: str, decides: bool, tmp_path: Path
) -> None:
    """12 V beyond a range: the supply's own readings, known within some 9 mV, leave 12 mV open."""
    meters = VOLTMETER.replace("range: 20 V", f"range: {held}")
    job = Job.open(documents(tmp_path / "a", level(11.988, 12.012), meters=meters))
    (found,) = job.check().measurable
    assert found.uncertainty is not None
    assert (found.uncertainty < 1e-3, found.verdict == "yes") == (decides, decides)


@pytest.mark.parametrize(
    ("meters", "probes", "column", "at"),
    [
        (VOLTMETER, "{volts: {of: main}}", "voltage", 12.0),
        (VOLTMETER, "{volts: {of: main, at: terminals}}", "terminal_voltage", 12.0),
        (AMMETER, "{amperes: {of: main}}", "current", 0.35),
        (VOLTMETER.replace("range: 20 V", "range: 1 V"), "{volts: {of: main}}", "voltage", None),
    ],
)
def test_a_figure_draws_what_a_multimeter_read(
    meters: str, probes: str, column: str, at: float | None, tmp_path: Path
) -> None:
    """Beside the supply's own readings, under its own name; nothing where all lay beyond its range."""
    stored, _ = played(documents(tmp_path / "a", level(11.9, 12.1), meters=meters, probes=probes))
    records = multimeter_records(stored.documents, stored.data.multimeters)
    overlay = Overlay(measured=stored.data.record, external=records)
    span = stored.data.record.span("steady")
    curves = curves_of(overlay, span, "main", column)
    drawn = [each for each in curves if each.label in ("volts", "amperes") and (each.time > 0.0).any()]
    assert len(drawn) == (at is not None)
    for curve in drawn:
        assert np.median(curve.values) == pytest.approx(at, rel=0.05)


@pytest.mark.parametrize("held", ["1 V", "0.8 V"])
def test_a_range_that_ends_below_what_is_played_is_named_as_what_kept_it_from_deciding(
    held: str, tmp_path: Path
) -> None:
    """A few readings on the way up are there, and none of the step."""
    meters = VOLTMETER.replace("range: 20 V", f"range: {held}")
    edits = {"truth.procedure.yaml": [("rise: 2 V/ms", "rise: 20 V/s")]}
    _, found = played(documents(tmp_path / "a", level(11.9, 12.1), meters=meters, edits=edits))
    (told,) = [note for note in found.notes if note.startswith("level: volts")]
    assert says(told, "volts", "not used", f"range of {held}")
    assert found.results[0].source != "volts"
