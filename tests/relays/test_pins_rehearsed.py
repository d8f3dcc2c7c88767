"""What a pin does to the load it enables: against closed forms, and the same in an ensemble."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.relays.pins import CONVERTER, DRIVEN, HIGH, LOW, PUSHES, SINKS, documents, pinned_head, steps
from tests.said import says

from railwright.circuit.case import fixed
from railwright.circuit.leads import lead_resistance
from railwright.evaluation.evaluate import evaluate
from railwright.job import Job
from railwright.plan.plan import plan_of
from railwright.rehearsal.ensemble import plan_ensemble, play_values
from railwright.rehearsal.rehearse import Prediction, rehearse
from railwright.traces import EventKind

PINS = (EventKind.PIN_ACTIVE, EventKind.PIN_INACTIVE)
PARTS = {
    "resistor": "      - resistor: {resistance: 30 ohm}\n        enabled_by: run\n",
    "current": "      - constant_current: {current: 350 mA, compliance: 3 V}\n        enabled_by: run\n",
}


def rehearsed(path: Path) -> tuple[Prediction, Job]:
    job = Job.open(path)
    set_points = job.check(static=True).settings.set_points
    return rehearse(job.documents, set_points, timeline=plan_of(job.documents, set_points).played), job


@pytest.mark.parametrize(
    ("pin", "drives", "closes"),
    [
        (HIGH, DRIVEN, True),
        (LOW, SINKS, True),
        (HIGH, PUSHES, True),
        # An inverting output: set, it disables; unset, it leaves the pin to its own level, which enables.
        ("active: high, undriven: high", "closed: low, without_power: closed", False),
        (LOW, "closed: high, open: low, without_power: closed", False),
    ],
)
def test_it_draws_nothing_while_its_pin_is_inactive_whatever_level_that_is(
    pin: str, drives: str, closes: bool, tmp_path: Path
) -> None:
    prediction, job = rehearsed(documents(tmp_path / "s", pin, drives))
    (moved,) = job.documents.procedure.steps[2].relays.moves  # type: ignore[union-attr]
    assert moved == ("enable", closes)
    traces, spans = prediction.record.traces["main"], {s.name: s for s in prediction.record.spans}
    drawn = {name: traces.between(span.start, span.end).columns["current"] for name, span in spans.items()}
    # Charged by then, and nothing bleeds it.
    assert np.abs(drawn["standby"]).max() < 1e-6
    # i = P / (η v), at the connector: 3.6 W at 86 %, and what the lead drops of 12 V.
    ohms = lead_resistance(
        job.documents.bench.leads["silicone pair"], job.documents.bench, None
    ).value.nominal
    assert drawn["steady"][-1] == pytest.approx(3.6 / 0.86 / (12.0 - ohms * 0.35), rel=1e-3)
    assert abs(drawn["idle"][-1]) < 1e-6
    events = [e for e in prediction.record.events if e.kind in PINS and e.subject == "main"]
    assert [e.kind for e in events] == list(PINS)
    # 2 ms after the contact was told, at the latest.
    assert [e.time for e in events] == pytest.approx(
        [spans["enable"].start + 0.002, spans["disable"].start + 0.002]
    )


def test_its_soft_start_begins_as_it_is_enabled_and_not_on_the_ramp(tmp_path: Path) -> None:
    """∫ P t / (T η v) dt = P T / 2 η v over the 8 ms of its soft start, from the supply and the capacitor."""
    prediction, _ = rehearsed(documents(tmp_path / "s"))
    traces, spans = prediction.record.traces["main"], {s.name: s for s in prediction.record.spans}
    starts = [e.time for e in prediction.record.events if e.kind is EventKind.STARTS]
    on = spans["enable"].start + 0.002
    assert starts == pytest.approx([on])
    # Long after the soft start the capacitor holds what it held but for the lead's drop.
    part = traces.closed(on, on + 0.08)
    flowed = np.trapezoid(part.columns["current"], part.time)
    at = float(part.columns["voltage"][-1])
    power = 3.6 / 0.86
    lost = 1e-3 * (part.columns["voltage"][0] - at)
    assert flowed + lost == pytest.approx(power / at * (0.08 - 0.004), rel=5e-3)
    # What charges the capacitor on the ramp is C dv alone.
    ramp = traces.closed(0.0, spans["up"].end)
    assert np.trapezoid(ramp.columns["current"], ramp.time) == pytest.approx(12e-3, rel=5e-3)


@pytest.mark.parametrize("part", list(PARTS))
def test_other_parts_are_switched_as_a_load_is(part: str, tmp_path: Path) -> None:
    prediction, job = rehearsed(documents(tmp_path / "s", load=PARTS[part]))
    traces, spans = prediction.record.traces["main"], {s.name: s for s in prediction.record.spans}
    last = {name: float(traces.between(s.start, s.end).columns["current"][-1]) for name, s in spans.items()}
    ohms = lead_resistance(
        job.documents.bench.leads["silicone pair"], job.documents.bench, None
    ).value.nominal
    drawn = 12.0 / (30.0 + ohms) if part == "resistor" else 0.35
    assert (last["standby"], last["idle"]) == pytest.approx((0.0, 0.0), abs=1e-6)
    assert last["steady"] == pytest.approx(drawn, rel=1e-4)


def test_a_part_beside_it_is_drawn_in_either_case(tmp_path: Path) -> None:
    load = PARTS["current"] + "      - constant_current: {current: 12 mA, compliance: 3 V}\n"
    prediction, _ = rehearsed(documents(tmp_path / "s", load=load))
    traces, spans = prediction.record.traces["main"], {s.name: s for s in prediction.record.spans}
    last = {name: float(traces.between(s.start, s.end).columns["current"][-1]) for name, s in spans.items()}
    assert [last[name] for name in ("standby", "steady", "idle")] == pytest.approx(
        [0.012, 0.362, 0.012], rel=1e-4
    )


@pytest.mark.parametrize(
    ("pin", "drawn"),
    [
        (HIGH, 0.0),
        ("active: high, undriven: high", 0.35),
        ("active: low, undriven: low", 0.35),
        ("active: low", 0.35),
    ],
)
def test_a_pin_that_nothing_drives_takes_its_own_level(pin: str, drawn: float, tmp_path: Path) -> None:
    """Where nobody knows that, more is drawn."""
    head = pinned_head()
    head = head[: head.index("pins:")] + head[head.index("limits:") :]
    alone = steps()[: steps().index("  - relays")] + "  - power_down: {order: [transducer, main]}\n"
    path = documents(
        tmp_path / "s", pin, head=head, procedure=alone, load=PARTS["current"], requires="  []\n"
    )
    prediction, _ = rehearsed(path)
    span = next(s for s in prediction.record.spans if s.name == "standby")
    current = prediction.record.traces["main"].between(span.start, span.end).columns["current"]
    assert current[-1] == pytest.approx(drawn, abs=1e-6, rel=1e-4)


def test_it_runs_from_the_beginning_where_its_pin_starts_active(tmp_path: Path) -> None:
    path = documents(tmp_path / "s", head=pinned_head("active"))
    prediction, _ = rehearsed(path)
    plain, _ = rehearsed(documents(tmp_path / "t", load=CONVERTER))
    up = next(s for s in prediction.record.spans if s.name == "up")
    ours, theirs = (each.record.traces["main"].between(0.0, up.end) for each in (prediction, plain))
    assert ours.columns["current"].max() == pytest.approx(theirs.columns["current"].max(), rel=1e-6)
    starts = [e.time for e in prediction.record.events if e.kind is EventKind.STARTS]
    assert starts == pytest.approx([e.time for e in plain.record.events if e.kind is EventKind.STARTS])


@pytest.mark.parametrize(
    ("load", "quantity"),
    [
        ("      - constant_current: {current: 350 mA ± 10 %, compliance: 3 V}\n", "constant_current.current"),
        ("      - resistor: {resistance: 30 ohm ± 20 %}\n", "resistor.resistance"),
        (CONVERTER, "converter.output_power"),
    ],
)
def test_every_case_of_an_ensemble_gets_its_own_load_back(load: str, quantity: str, tmp_path: Path) -> None:
    """What a case draws once it is enabled is its own, not the nominal one."""
    slowly = steps().replace("rise: 2 V/ms", "rise: 0.05 V/ms").replace("settle: 150 ms", "settle: 400 ms")
    job = Job.open(documents(tmp_path / "s", load=f"{load}        enabled_by: run\n", procedure=slowly))
    set_points = job.check(static=True).settings.set_points
    timeline = plan_of(job.documents, set_points).played
    plan = plan_ensemble(job.documents, set_points, 64, seed=3, timeline=timeline, tail=0.0)
    values = plan.design.values(0)[[0, 1, 40, 63]]
    measures, failed = play_values(plan, values)
    assert not failed.any()
    assert len(set(values[:, plan.design.names.index(f"main.{quantity}")])) > 1
    peaks = []
    for case, row in enumerate(values):
        chosen = fixed(dict(zip(plan.design.names, row, strict=True)))
        alone = rehearse(job.documents, set_points, chosen, timeline, 0.0).inputs["main"]
        peaks.append(alone.peak_current)
        for measure in ("peak_current", "starts", "stops", "inrush_charge"):
            assert measures["main"][measure][case] == pytest.approx(getattr(alone, measure), rel=1e-9), (
                measure
            )
    # While it is enabled it draws more than what charges the capacitor on the ramp.
    assert min(peaks) > 0.2
    assert len(set(peaks)) > 1


@pytest.mark.parametrize(
    ("pin", "drives", "unsure"),
    [
        (HIGH, DRIVEN, set()),
        ("active: high", PUSHES, set()),
        # Open, the contact leaves the pin alone: before it closes, and after.
        ("active: high", DRIVEN, {"standby", "idle"}),
        ("active: low", SINKS, {"standby", "idle"}),
        # Closed it disables, and open it leaves the pin alone: nobody knows whether that enables.
        ("active: high", "closed: low, without_power: closed", {"steady"}),
        ("active: high", None, {"standby", "steady", "idle"}),
    ],
)
def test_what_hangs_on_a_pin_of_which_no_document_says_where_it_is_is_not_predicted(
    pin: str, drives: str | None, unsure: set[str], tmp_path: Path
) -> None:
    """Limits on both sides of what either state draws: the rehearsal passes all of them where it knows it."""
    requires = "".join(
        f"  - {{name: {of} {step}, measure: mean_current, of: {of}, during: {step}, at_most: 2 A}}\n"
        for of in ("main", "transducer")
        for step in ("standby", "steady", "idle")
    )
    head, procedure = pinned_head(), None
    if drives is None:
        head = head[: head.index("pins:")] + head[head.index("limits:") :]
        holds = "".join(f"  - hold: 300 ms\n    name: {step}\n" for step in ("steady", "idle"))
        procedure = steps()[: steps().index("  - relays")] + holds
        procedure += "  - power_down: {order: [transducer, main]}\n"
    path = documents(
        tmp_path / "s",
        pin,
        drives or DRIVEN,
        head=head,
        procedure=procedure,
        load=PARTS["current"],
        requires=requires,
    )
    prediction, job = rehearsed(path)
    set_points = job.check(static=True).settings.set_points
    results = evaluate(job.documents, set_points, prediction.record).results
    expected = {
        f"{of} {step}": "inconclusive" if of == "main" and step in unsure else "pass"
        for of in ("main", "transducer")
        for step in ("standby", "steady", "idle")
    }
    assert {each.requirement: str(each.outcome.value) for each in results} == expected
    assert all(says(each.reason, "'run'") for each in results if each.outcome == "inconclusive")
