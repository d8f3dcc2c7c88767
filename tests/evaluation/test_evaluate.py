"""The demo's requirements, judged from twin records and from an external recording."""

from __future__ import annotations

import datetime as dt
import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from benchmarks.small_bench import set_points_of, write_bench
from benchmarks.virtual_record import record_case
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.said import figures, says

from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Requirement
from railwright.evaluation.alignment import AlignmentError
from railwright.evaluation.data import as_data, evaluation_from_data
from railwright.evaluation.evaluate import evaluate
from railwright.evaluation.outcome import Outcome
from railwright.evaluation.reading import known_resistance, supply_model
from railwright.evaluation.views import _away
from railwright.examples import example
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import build_timeline
from railwright.rehearsal.rehearse import rehearse
from railwright.settings.settle import settle
from railwright.traces import Event, EventKind, Facts, Record, Traces
from railwright.twin.recorder import Trigger, capture

DEMO = example() / "power-input.procedure.yaml"
RECORDER = "transient recorder"


@cache
def demo() -> tuple[Any, Any, Record, Record]:
    """Documents, set points, what a run would have recorded, and the truth behind it."""
    documents = load_documents(DEMO)
    set_points = settle(documents, dt.date(2026, 11, 25)).set_points
    timeline = build_timeline(documents.procedure, documents.device)
    return documents, set_points, *record_case(documents, set_points, 11, timeline)


def recording(length: float = 0.4, before: float = 0.02) -> Record:
    documents, _, _, truth = demo()
    true = {n: (t.time, t.columns["voltage"], t.columns["current"]) for n, t in truth.traces.items()}
    trigger = Trigger("main", "voltage", 1.0, "rise", before, length)
    columns = capture(RECORDER, documents.bench.recorders[RECORDER], true, trigger, 5)
    assert columns is not None
    traces = {
        name: Traces(
            columns["time_s"],
            {"voltage": columns[f"{name}_voltage_V"], "current": columns[f"{name}_current_A"]},
        )
        for name in true
    }
    return Record(RECORDER, traces)


class Edited:
    """The demo's documents with parts replaced."""

    def __init__(self, **parts: Any) -> None:
        documents = demo()[0]
        self.device = parts.get("device", documents.device)
        self.bench = parts.get("bench", documents.bench)
        self.procedure = parts.get("procedure", documents.procedure)


def asking(**requirement: Any) -> Edited:
    wanted = Requirement(name="wanted", **requirement)
    return Edited(procedure=demo()[0].procedure.model_copy(update={"requires": (wanted,)}))


def test_the_demo_passes_but_for_what_the_readings_cannot_see() -> None:
    documents, set_points, record, _ = demo()
    found = evaluate(documents, set_points, record)
    outcomes = {result.requirement: result.outcome for result in found.results}
    inconclusive = [name for name, outcome in outcomes.items() if outcome is Outcome.INCONCLUSIVE]
    assert inconclusive == ["transducer inrush"]
    assert all(outcome is not Outcome.FAIL for outcome in outcomes.values())
    assert found.outcome is Outcome.INCONCLUSIVE
    inrush = next(result for result in found.results if result.requirement == "transducer inrush")
    assert says(inrush.reason, "12 000")


def test_the_recording_decides_what_the_supply_could_not() -> None:
    documents, set_points, record, _ = demo()
    found = evaluate(documents, set_points, record, [recording()])
    inrush = next(result for result in found.results if result.requirement == "transducer inrush")
    assert (inrush.outcome, inrush.source) == (Outcome.PASS, RECORDER)
    assert found.outcome is Outcome.PASS
    assert found.sources == ("supply readings", RECORDER)
    level = next(result for result in found.results if result.requirement == "supply level")
    assert level.source == "supply readings"
    assert "its time 0 lies at" in found.notes[0]


def judged_with(external: Record, record: Record | None = None) -> tuple[Any, Any]:
    """The whole evaluation and the transducer's inrush in it."""
    documents, set_points, own, _ = demo()
    found = evaluate(documents, set_points, record or own, [external])
    return found, next(result for result in found.results if result.requirement == "transducer inrush")


def test_a_recording_that_ends_within_the_inrush_decides_nothing() -> None:
    found, inrush = judged_with(recording(length=0.09))
    assert (inrush.outcome, inrush.source) == (Outcome.INCONCLUSIVE, "supply readings")
    assert any(says(note, "transducer inrush", "141 ms", "not steady") for note in found.notes)


@pytest.mark.parametrize("length", [0.05, 0.1, 0.141])
def test_what_would_decide_is_told_only_where_nothing_decides(length: float) -> None:
    """The recording is too short for the charge, which the supply's readings decide."""
    found, _ = judged_with(recording(length))
    outcomes = {each.requirement: each.outcome for each in found.results}
    notes = [each for each in found.notes if each.partition(":")[0] in outcomes]
    decided = [each for each in notes if outcomes[each.partition(":")[0]] is not Outcome.INCONCLUSIVE]
    assert any(each.startswith("charge to start:") for each in decided)
    assert not any("would decide" in each for each in decided)


def test_a_recording_of_the_inrush_decides_and_says_what_the_readings_judge() -> None:
    """130 ms of a step of 212 ms: the inrush and 47 ms of rest; a whole recording measures the same."""
    _, inrush = judged_with(recording(length=0.15))
    _, whole = judged_with(recording())
    assert (inrush.outcome, inrush.source) == (Outcome.PASS, RECORDER)
    assert inrush.measured is not None
    assert figures(inrush.measured.elsewhere) == ["80.7 ms", "18 ms", "20.18 mA"]
    assert says(inrush.reason, inrush.measured.elsewhere)
    assert whole.measured is not None
    assert whole.measured.elsewhere == ""
    assert inrush.measured.value == pytest.approx(whole.measured.value, rel=1e-2)
    assert inrush.measured.high == pytest.approx(whole.measured.high, rel=1e-2)


def rest_of(record: Record, start: float, end: float, amperes: float) -> Record:
    """The run's record with other readings of the transducer's current in a part of time."""
    traces = record.traces["transducer"]
    inside = (traces.time > start) & (traces.time < end)
    columns = {**traces.columns, "current": np.where(inside, amperes, traces.columns["current"])}
    return replace(record, traces={**record.traces, "transducer": Traces(traces.time, columns)})


def test_a_second_surge_after_the_recording_is_not_overlooked() -> None:
    record = rest_of(demo()[2], 0.17, 0.182, 0.05)
    found, inrush = judged_with(recording(length=0.15), record)
    assert (inrush.outcome, inrush.source) == (Outcome.INCONCLUSIVE, "supply readings")
    assert any(says(note, "transducer inrush", "80.7 ms", "not steady") for note in found.notes)


def test_more_current_after_the_recording_than_in_it_is_not_overlooked() -> None:
    """Steady, but higher than the recorded peak: what lies between is unknown."""
    record = rest_of(demo()[2], 0.11, 9.0, 0.055)
    found, inrush = judged_with(recording(length=0.15), record)
    assert (inrush.outcome, inrush.source) == (Outcome.INCONCLUSIVE, "supply readings")
    assert any(says(note, "transducer inrush", "55 mA", "28.639 mA") for note in found.notes)


def test_json_keeps_what_is_judged_elsewhere_and_reads_older_evaluations() -> None:
    found, inrush = judged_with(recording(length=0.15))
    data = json.loads(json.dumps(as_data(found)))
    assert evaluation_from_data(data) == found
    for entry in data["requirements"]:
        entry["measured"].pop("elsewhere")
    older = evaluation_from_data(data).results[found.results.index(inrush)].measured
    assert older is not None
    assert older.elsewhere == ""


def test_a_recorder_that_the_bench_does_not_have_is_refused() -> None:
    documents, set_points, record, _ = demo()
    with pytest.raises(AlignmentError, match=r"'transient recorder'"):
        evaluate(documents, set_points, record, [replace(recording(), origin="scope")])


def test_the_prediction_can_be_judged_as_well() -> None:
    """The truth, as a rehearsal's record: no uncertainty, every requirement passes or fails."""
    documents, set_points, _, truth = demo()
    found = evaluate(documents, set_points, replace(truth, origin="rehearsal"))
    assert {result.outcome for result in found.results} == {Outcome.PASS}
    assert all(r.measured is not None and r.measured.low == r.measured.high for r in found.results)


def test_json_keeps_everything_and_reads_back() -> None:
    documents, set_points, record, _ = demo()
    found = evaluate(documents, set_points, record, [recording()])
    text = json.dumps(as_data(found), allow_nan=False)
    assert evaluation_from_data(json.loads(text)) == found
    first = json.loads(text)["requirements"][0]
    assert first["unit"] == "s"
    assert first["upper"] == pytest.approx(0.06)
    assert first["measured"]["coverage"] == 0.95
    assert {"source", "standard", "distribution", "degrees"} == set(first["measured"]["contributions"][0])


def test_the_worst_point_of_a_sweep_decides() -> None:
    _, set_points, record, _ = demo()
    sweep = {"of": "main", "during": "line sweep", "each_point": "worst"}
    highest = evaluate(asking(measure="mean_voltage", at_most="20 V", **sweep), set_points, record)
    lowest = evaluate(asking(measure="mean_voltage", at_least="5 V", **sweep), set_points, record)
    assert highest.results[0].measured is not None
    assert lowest.results[0].measured is not None
    assert highest.results[0].measured.value == pytest.approx(16.0, abs=0.03)
    assert lowest.results[0].measured.value == pytest.approx(9.0, abs=0.03)
    assert figures(highest.results[0].measured.how)[-1] == "8"


def test_points_of_a_step_without_points() -> None:
    _, set_points, record, _ = demo()
    asked = asking(measure="mean_power", of="main", during="steady", each_point="worst", at_most="6 W")
    result = evaluate(asked, set_points, record).results[0]
    assert (result.outcome, result.measured) == (Outcome.INCONCLUSIVE, None)
    assert "no points" in result.reason


def test_a_run_that_ended_early_is_inconclusive() -> None:
    documents, set_points, record, _ = demo()
    short = replace(record, spans=record.spans[:2])
    outcomes = {r.requirement: (r.outcome, r.reason) for r in evaluate(documents, set_points, short).results}
    assert outcomes["supply level"][0] is Outcome.PASS
    assert outcomes["stops at"][0] is Outcome.INCONCLUSIVE
    assert says(outcomes["stops at"][1], "brown-out")


def test_an_input_that_did_not_start_fails() -> None:
    documents, set_points, record, _ = demo()
    main = record.traces["main"]
    dead = Traces(main.time, {name: 0.01 * values for name, values in main.columns.items()})
    found = evaluate(documents, set_points, replace(record, traces={**record.traces, "main": dead}))
    start = next(result for result in found.results if result.measure == "start_up_time")
    assert start.outcome is Outcome.FAIL
    assert "did not start" in start.reason


def test_a_device_that_never_stops_fails_a_lower_limit_only() -> None:
    documents, set_points, record, _ = demo()
    main = record.traces["main"]
    running = Traces(main.time, {**main.columns, "current": np.full(main.time.size, 0.4)})
    traces = {**record.traces, "main": running}
    stops = evaluate(documents, set_points, replace(record, traces=traces)).results[-2]
    assert (stops.measure, stops.outcome) == ("turn_off_voltage", Outcome.FAIL)
    asked = asking(measure="turn_off_voltage", of="main", during="brown-out", at_most="9 V")
    open_below = evaluate(asked, set_points, replace(record, traces=traces)).results[0]
    assert open_below.outcome is Outcome.INCONCLUSIVE


def test_a_ramp_in_stairs_widens_the_voltage_at_which_the_device_stops() -> None:
    documents, set_points, record, _ = demo()
    smooth = next(r for r in evaluate(documents, set_points, record).results if r.requirement == "stops at")
    found = evaluate(with_output(slew=None), set_points, record).results
    stairs = next(r for r in found if r.requirement == "stops at")
    assert smooth.measured is not None
    assert stairs.measured is not None
    # 6 V in 2 s is 60 mV a stair of 20 ms
    assert stairs.measured.high - stairs.measured.low == pytest.approx(2 * 0.95 * 0.06, rel=0.15)
    assert smooth.measured.high - smooth.measured.low < 0.03
    assert "stairs of the ramp" in [each.source for each in stairs.measured.contributions]


def without_reading(**unknown: Any) -> Edited:
    """The bench without some figures of the first supply's readings."""
    reading = demo()[0].bench.output(OutputName("left.1")).reading
    return with_output(reading=reading.model_copy(update=unknown))


def with_output(**changes: Any) -> Edited:
    """The bench with other figures of the first supply's first output."""
    bench = demo()[0].bench
    changed = bench.supplies["left"].outputs["1"].model_copy(update=changes)
    left = bench.supplies["left"].model_copy(
        update={"outputs": {**bench.supplies["left"].outputs, "1": changed}}
    )
    return Edited(bench=bench.model_copy(update={"supplies": {**bench.supplies, "left": left}}))


def test_an_unknown_update_interval_is_inconclusive() -> None:
    _, set_points, record, _ = demo()
    found = evaluate(without_reading(update=None), set_points, record)
    charge = next(result for result in found.results if result.measure == "charge")
    assert (charge.outcome, charge.measured) == (Outcome.INCONCLUSIVE, None)
    assert says(charge.reason, "left.1", "unknown")


def test_an_unknown_latency_is_an_assumption() -> None:
    _, set_points, record, _ = demo()
    found = evaluate(without_reading(latency=None), set_points, record)
    charge = next(result for result in found.results if result.measure == "charge")
    assert charge.measured is not None
    assert any("latency" in sentence for sentence in charge.measured.assumptions)


@pytest.mark.parametrize(("channel", "known"), [("current", False), ("voltage", True)])
def test_an_accuracy_that_is_not_given_is_said_and_is_no_zero(channel: str, known: bool) -> None:
    """Of the current alone, or of the voltage alone, which a charge does not need."""
    documents, set_points, record, _ = demo()
    reading = documents.bench.output(OutputName("left.1")).reading
    assert reading is not None
    accuracy = getattr(reading, channel)
    bare = type(accuracy).model_construct(resolution=accuracy.resolution, noise=accuracy.noise)
    assert (accuracy.is_given, bare.is_given, bare.of_value) == (True, False, 0.0)
    assert type(accuracy)(offset=f"0 {channel[0].upper()}".replace("C", "A")).is_given
    found = evaluate(without_reading(**{channel: bare}), set_points, record)
    charge = next(result for result in found.results if result.measure == "charge")
    whole = evaluate(documents, set_points, record)
    before = next(result for result in whole.results if result.measure == "charge")
    assert charge.measured is not None
    assert before.measured is not None
    told = [each for each in charge.measured.assumptions if "accuracy" in each]
    assert len(told) == 1
    assert says(told[0], channel, "left.1")
    assert not [each for each in before.measured.assumptions if "accuracy" in each]
    sources = {each.source for each in charge.measured.contributions}
    assert ("left.1 current gain" in sources) is known


@pytest.mark.parametrize("position", [0, 3, 7])
def test_a_point_of_a_sweep_that_cannot_be_measured_is_named(position: int) -> None:
    """All readings but the first and the last of one point are missing."""
    _, set_points, record, _ = demo()
    sweep = record.span("line sweep")
    voltage, start, end = sweep.points[position]
    main = record.traces["main"]
    kept = (main.time < start) | (main.time > end)
    thin = Traces(main.time[kept], {name: values[kept] for name, values in main.columns.items()})
    asked = asking(measure="mean_voltage", at_most="20 V", of="main", during="line sweep", each_point="worst")
    result = evaluate(asked, set_points, replace(record, traces={**record.traces, "main": thin})).results[0]
    assert (result.outcome, result.measured) == (Outcome.INCONCLUSIVE, None)
    assert says(result.reason, f"{voltage:g} V")
    assert "this step" not in result.reason


def test_lead_resistance_of_the_demo() -> None:
    """AWG 18, 2 × 1.5 m at 20.95 mΩ/m (published table), and 8 mΩ of contacts: 71 mΩ at 20 °C."""
    resistance = known_resistance(demo()[0].bench, feed("alone"))
    assert resistance is not None
    assert resistance[0] == pytest.approx(0.0709, abs=3e-4)
    assert 0.071 < resistance[1] < 0.073


def feed(arrangement: Any) -> Feed:
    settings = tuple(
        OutputSetPoints(OutputName(f"left.{n}"), 1.0, "regulate", 0.0, 10.0, 0.5) for n in (1, 2)
    )
    return Feed("main", arrangement, settings, "silicone pair", "at load")


def test_groups_of_outputs() -> None:
    bench = demo()[0].bench
    series, parallel = supply_model(bench, feed("series")), supply_model(bench, feed("parallel"))
    assert [part.offset for part in series.voltage] == [6e-3, 6e-3]
    assert [part.of_value * part.share for part in series.voltage] == [2.5e-4, 2.5e-4]
    assert [part.offset for part in series.current] == [1.5e-3, 1.5e-3]
    assert [part.offset for part in parallel.current] == [3e-3, 3e-3]
    assert series.current_bound is not None
    assert series.current_bound.value == 1.0
    assert parallel.current_bound is not None
    assert parallel.current_bound.value == 2.0
    assert series.voltage_bound is not None
    assert series.voltage_bound.value == 20.0


def test_a_load_was_away_from_its_stop_to_its_next_start() -> None:
    events = (
        Event(0.2, "main", EventKind.STARTS, Facts(load="converter")),
        Event(1.0, "main", EventKind.STOPS, Facts(load="converter")),
        Event(1.1, "main", EventKind.STOPS, Facts(load="profile")),
        Event(1.2, "other", EventKind.STARTS, Facts(load="converter")),
        Event(1.3, "main", EventKind.STARTS, Facts(load="converter")),
        Event(1.4, "main", EventKind.STARTS, Facts(load="profile")),
        Event(2.0, "main", EventKind.STOPS, Facts(load="converter")),
        Event(2.5, "main", EventKind.STARTS, Facts(load="converter")),
        Event(3.0, "main", EventKind.STOPS, Facts(load="converter")),
    )
    assert _away("main", Record("rehearsal", {}, events)) == ((1.0, 1.4), (2.0, 2.5), (3.0, math.inf))


@settings(deadline=None)
@given(st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 30), st.integers(1, 12)), max_size=7))
def test_loads_that_are_away_together_are_away_once(drawn: list[tuple[str, int, int]]) -> None:
    """Brute force: the instants at which any load is away, looked at one by one."""
    away, events, free = set[int](), [], dict.fromkeys("abc", -1)
    for load, start, length in sorted(drawn, key=lambda each: each[1]):
        if start <= free[load]:
            continue
        free[load] = start + length
        away |= set(range(2 * start, 2 * (start + length) + 1))
        events.append(Event(float(start), "main", EventKind.STOPS, Facts(load=load)))
        events.append(Event(float(start + length), "main", EventKind.STARTS, Facts(load=load)))
    begins = [half / 2 for half in sorted(away) if half - 1 not in away]
    ends = [half / 2 for half in sorted(away) if half + 1 not in away]
    assert _away("main", Record("rehearsal", {}, tuple(events))) == tuple(zip(begins, ends, strict=True))


@pytest.mark.parametrize(
    ("measure", "unit", "value"), [("peak_voltage", "V", 12.0), ("peak_current", "A", 0.3)]
)
def test_a_peak_of_a_rehearsal_at_rest_is_that_of_its_trace(
    tmp_path: Path, measure: str, unit: str, value: float
) -> None:
    """12 V into 40 Ω: the solver takes few steps there, or none within the time."""
    steps = f"""  - power_up: {{order: [in1], settle: 200 ms}}
  - {{hold: 1 s, name: steady}}
  - {{hold: 1 s, name: later}}
  - power_down: {{order: [in1]}}
requires: [{{name: peak, measure: {measure}, of: in1, during: steady, at_most: 13 {unit}}}]"""
    documents, set_points = (
        write_bench(tmp_path, ("left.1",), steps, every="10 ms"),
        set_points_of(("left.1",)),
    )
    record = rehearse(documents, set_points).record
    (result,) = evaluate(documents, set_points, record).results
    assert result.measured is not None, result.reason
    assert result.measured.value == pytest.approx(value, rel=1e-3)
    assert result.outcome == "pass"
