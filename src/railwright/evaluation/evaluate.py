"""Judges every requirement of a procedure from a record, and from external recordings beside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.procedure import Procedure, Requirement
from railwright.evaluation.alignment import Alignment, AlignmentError, align
from railwright.evaluation.decision import Tolerance, decide
from railwright.evaluation.measures import MEASURES
from railwright.evaluation.outcome import Evaluation, Measured, Outcome, Result
from railwright.evaluation.reading import (
    ReadingModel,
    exact_model,
    lead_name,
    lead_resistance,
    recorder_model,
    series_drop,
    supply_model,
)
from railwright.evaluation.signal import Beyond, CannotMeasure, View
from railwright.evaluation.wording import amount
from railwright.rehearsal.lines import highest_stair
from railwright.rehearsal.setpoints import SetPoints
from railwright.rehearsal.timeline import build_timeline
from railwright.rehearsal.unseen import SETTLING
from railwright.traces import Record, Span

EXACT = ("rehearsal", "truth", "twin truth")
"""Origins of records that have no reading errors."""


class Documents(Protocol):
    """What an evaluation needs of the loaded documents."""

    @property
    def device(self) -> Device: ...
    @property
    def bench(self) -> Bench: ...
    @property
    def procedure(self) -> Procedure: ...


@dataclass(frozen=True, slots=True, eq=False)
class _Source:
    """A record on the run's time base, and how each input's values came about."""

    name: str
    record: Record
    models: Mapping[str, ReadingModel]
    feeds: SetPoints


def evaluate(
    documents: Documents, set_points: SetPoints, record: Record, external: Sequence[Record] = ()
) -> Evaluation:
    """Every requirement measured and decided.

    record: the run's own readings (or a rehearsal's prediction, whose origin is 'rehearsal'). external:
    recordings whose `origin` is a recorder of the bench; each is aligned with the run, and decides a
    requirement where it covers the input's step and sees more, or more exactly. Raises AlignmentError where a
    recording does not match the run or its recorder is unknown.
    """
    own = _own(documents.bench, set_points, record)
    sources, notes = [own], []
    for recording in external:
        found = _aligned(documents.bench, set_points, recording, own)
        sources.append(found[0])
        notes.append(found[1])
    results = []
    for requirement in documents.procedure.requires:
        result, remarks = _judge(documents, requirement, own, sources)
        results.append(result)
        notes += remarks
    decision = documents.procedure.decision
    names = tuple(source.name for source in sources)
    return Evaluation(tuple(results), decision.rule, decision.guard_band, names, tuple(notes))


def every_source(
    documents: Documents, set_points: SetPoints, record: Record, external: Sequence[Record] = ()
) -> tuple[Evaluation, ...]:
    """Every requirement from each record alone, the run's own first; raises as `evaluate` does."""
    own = _own(documents.bench, set_points, record)
    sources = [own, *(_aligned(documents.bench, set_points, each, own)[0] for each in external)]
    decision = documents.procedure.decision
    return tuple(
        Evaluation(
            tuple(
                _result(requirement, _from_source(documents, requirement, source, own))
                for requirement in documents.procedure.requires
            ),
            decision.rule,
            decision.guard_band,
            (source.name,),
        )
        for source in sources
    )


def aligned_records(
    documents: Documents, set_points: SetPoints, record: Record, external: Sequence[Record]
) -> tuple[Record, ...]:
    """External recordings on the time base of the run's record, as `evaluate` uses them; AlignmentError as
    there.
    """
    own = _own(documents.bench, set_points, record)
    return tuple(_aligned(documents.bench, set_points, each, own)[0].record for each in external)


def _own(bench: Bench, set_points: SetPoints, record: Record) -> _Source:
    return _Source(record.origin, record, _own_models(bench, set_points, record), set_points)


def _own_models(bench: Bench, set_points: SetPoints, record: Record) -> dict[str, ReadingModel]:
    if record.origin in EXACT:
        return {
            name: replace(
                exact_model(record.origin, lead_resistance(bench, feed.lead, feed.fixture)),
                lead_name=lead_name(feed),
                drop=series_drop(bench, feed),
            )
            for name, feed in set_points.items()
        }
    return {name: supply_model(bench, feed) for name, feed in set_points.items()}


def _aligned(bench: Bench, set_points: SetPoints, recording: Record, own: _Source) -> tuple[_Source, str]:
    recorder = bench.recorders.get(recording.origin)
    if recorder is None:
        known = ", ".join(f"'{name}'" for name in bench.recorders) or "none"
        raise AlignmentError(
            f"expected a recorder of the bench ({known}), got '{recording.origin}'; "
            "add it to the bench document with its accuracy, or name one that is there"
        )
    alignment = align(recording, own.record, own.models)
    models = {
        name: recorder_model(
            recording.origin,
            recorder,
            alignment.uncertainty,
            own.models[name],
        )
        for name in recording.traces
        if name in set_points
    }
    return _Source(recording.origin, alignment.record, models, set_points), _alignment_note(
        recording.origin, alignment
    )


def _alignment_note(name: str, alignment: Alignment) -> str:
    zero = f"{alignment.offset:.4f} s of the run, ± {amount(alignment.uncertainty, 's')}"
    agreement = f"{alignment.quality * 100:.1f} % of its variance agrees"
    return f"{name}: its time 0 lies at {zero}, found by the {alignment.channel} ({agreement})"


@dataclass(frozen=True, slots=True)
class _Finding:
    """What one source says of a requirement."""

    source: str
    measured: Measured | None
    outcome: Outcome
    reason: str


def _judge(
    documents: Documents, requirement: Requirement, own: _Source, sources: Sequence[_Source]
) -> tuple[Result, list[str]]:
    first = _from_source(documents, requirement, own, own)
    chosen, remarks = first, []
    for source in sources[1:]:
        if requirement.of not in source.record.traces:
            continue
        other = _from_source(documents, requirement, source, own)
        if _better(other, chosen):
            chosen = other
        elif other.measured is None:
            remarks.append(f"{requirement.name}: {source.name} was not used, because {other.reason}")
    return _result(requirement, chosen), remarks


def _result(requirement: Requirement, finding: _Finding) -> Result:
    lower, upper = requirement.limits
    return Result(
        requirement=requirement.name,
        measure=requirement.measure,
        of=requirement.of,
        during=requirement.during,
        unit=requirement.unit,
        lower=lower,
        upper=upper,
        measured=finding.measured,
        outcome=finding.outcome,
        reason=finding.reason,
        source=finding.source,
        at=requirement.at,
    )


def _better(new: _Finding, old: _Finding) -> bool:
    """Whether a source sees more, or as much with a smaller uncertainty. What it says does not matter."""
    if new.measured is None:
        return False
    if old.measured is None:
        return old.outcome is Outcome.INCONCLUSIVE
    if bool(new.measured.unseen) != bool(old.measured.unseen):
        return not new.measured.unseen
    return new.measured.high - new.measured.low < old.measured.high - old.measured.low


def _from_source(documents: Documents, requirement: Requirement, source: _Source, own: _Source) -> _Finding:
    tolerance = Tolerance(*requirement.limits)
    decision = documents.procedure.decision
    try:
        candidates = []
        for view in _views(documents, requirement, source, own):
            measured = MEASURES[requirement.measure](view)
            candidates.append(measured)
        measured = _worst(candidates, tolerance)
    except CannotMeasure as problem:
        advice = f"; {problem.would_decide} would decide it" if problem.would_decide else ""
        return _Finding(source.name, None, Outcome.INCONCLUSIVE, f"{problem}{advice}")
    except Beyond as problem:
        failed = (
            problem.side == "above" and tolerance.upper is not None and problem.bound >= tolerance.upper
        ) or (problem.side == "below" and tolerance.lower is not None and problem.bound <= tolerance.lower)
        return _Finding(source.name, None, Outcome.FAIL if failed else Outcome.INCONCLUSIVE, str(problem))
    outcome, reason = decide(measured, tolerance, requirement.unit, decision.rule, decision.guard_band)
    return _Finding(source.name, measured, outcome, reason)


def _worst(candidates: Sequence[Measured], tolerance: Tolerance) -> Measured:
    """Of several points the one nearest to, or farthest beyond, a limit."""
    if not candidates:
        raise CannotMeasure("the step has no points", "a sweep")

    def margin(measured: Measured) -> float:
        above = float("inf") if tolerance.upper is None else tolerance.upper - measured.high
        below = float("inf") if tolerance.lower is None else measured.low - tolerance.lower
        return min(above, below)

    worst = min(candidates, key=margin)
    if len(candidates) == 1:
        return worst
    return replace(worst, how=f"{worst.how}; the worst of {len(candidates)} points")


def _views(documents: Documents, requirement: Requirement, source: _Source, own: _Source) -> Iterator[View]:
    """The windows that a requirement looks at, on the run's time base: the step, or the settled part of each
    point.
    """
    name, run = requirement.of, own.record
    try:
        span = run.span(requirement.during)
    except KeyError:
        raise CannotMeasure(
            f"the record holds no step '{requirement.during}'", "a run that reaches it"
        ) from None
    traces = source.record.traces.get(name)
    model = source.models.get(name)
    if traces is None or model is None or traces.time.size == 0:
        raise CannotMeasure(f"the record holds nothing of '{name}'", f"a recording of '{name}'")
    switched_on = _switched_on(documents, name, span, run)
    view = View(
        traces,
        model,
        span.start,
        span.end,
        at=requirement.at,
        switched_on=switched_on,
        goal=_goal(documents, name, span.name),
        restart=_soft_start(documents.device, name),
        capacitance=_capacitance(documents.device, name),
        stops_at=_stops_at(documents.device, name),
        away=_away(name, source.record) if source.record.origin in EXACT else (),
        stair=_stair(documents, span, source, name, run),
        every=documents.procedure.record.every,
    )
    if source is not own and name in run.traces and name in own.models:
        view = replace(view, beside=replace(view, traces=run.traces[name], model=own.models[name]))
    if requirement.each_point is None:
        yield view
        return
    for voltage, start, end in span.points:
        settled = start + SETTLING * (end - start)
        point = replace(view, start=settled, end=end, switched_on=None, goal=voltage)
        if view.beside is not None:
            traces, model = view.beside.traces, view.beside.model
            point = replace(point, beside=replace(point, traces=traces, model=model, beside=None))
        yield point


def _stair(documents: Documents, span: Span, source: _Source, name: str, run: Record) -> float:
    """Height of the highest stair in which the run played this input's lines [V]; 0 without a run."""
    if run.origin in EXACT or name not in source.feeds:
        return 0.0
    timeline = build_timeline(documents.procedure, documents.device)
    planned = next((each for each in timeline.spans if each.name == span.name), None)
    return highest_stair(timeline, planned, source.feeds[name], documents.bench) if planned else 0.0


def _switched_on(documents: Documents, name: str, span: Span, run: Record) -> float | None:
    """When the input was switched on within a step [s]: the record's own event, else the procedure's plan."""
    hook_up = documents.procedure.hook_up.get(name)
    subjects = {name, *(hook_up.outputs if hook_up else ())}
    slack = 1e-3
    times = [
        event.time
        for event in run.events
        if event.what == "on" and event.subject in subjects and span.start - slack <= event.time <= span.end
    ]
    if times:
        return min(times)
    timeline = build_timeline(documents.procedure, documents.device)
    planned = next((each for each in timeline.spans if each.name == span.name), None)
    if planned is None:
        return None
    for action in timeline.actions:
        inside = planned.start - 1e-9 <= action.time <= planned.end
        if action.kind == "on" and action.input == name and inside:
            return span.start + (action.time - planned.start)
    return None


def _goal(documents: Documents, name: str, step: str) -> float | None:
    """Voltage that the procedure last gives an input up to the end of a step [V]; None: none."""
    timeline = build_timeline(documents.procedure, documents.device)
    planned = next((each for each in timeline.spans if each.name == step), None)
    if planned is None:
        return None
    levels = [
        action.voltage
        for action in timeline.actions
        if action.kind == "line" and action.input == name and action.time < planned.end
    ]
    return levels[-1] if levels else None


def _soft_start(device: Device, name: str) -> float | None:
    """Shortest soft start among an input's converters [s]; None: unknown, or it has none."""
    times = [
        part.parameters.uncertain()["soft_start"].low
        for part in device.inputs[name].load
        if "soft_start" in part.parameters.uncertain()
    ]
    return min(times) if times and min(times) > 0.0 else None


def _capacitance(device: Device, name: str) -> tuple[float, float]:
    """Least and most input capacitance that the device document gives [F]; zero where it gives none."""
    given = [part.parameters.uncertain() for part in device.inputs[name].load]
    found = [values["capacitance"] for values in given if "capacitance" in values]
    return sum(each.low for each in found), sum(each.high for each in found)


def _stops_at(device: Device, name: str) -> tuple[float, float] | None:
    """Lowest and highest voltage at which the first of an input's loads stops [V]; None: none does."""
    given = [part.parameters.uncertain() for part in device.inputs[name].load]
    found = [values["stops_at"] for values in given if "stops_at" in values]
    return (max(each.low for each in found), max(each.high for each in found)) if found else None


def _away(name: str, record: Record) -> tuple[tuple[float, float], ...]:
    """When an input's loads stopped and started again, by the record's own events [s].

    Loads that are away at the same time are away once; what never starts again is none.
    """
    found: list[tuple[float, float]] = []
    stopped: dict[str, float] = {}
    for event in sorted(record.events, key=lambda each: each.time):
        if event.subject != name:
            continue
        if event.what == "stops":
            stopped.setdefault(event.detail, event.time)
        elif event.what == "starts" and event.detail in stopped:
            start = stopped.pop(event.detail)
            if found and start <= found[-1][1]:
                start = min(start, found.pop()[0])
            found.append((start, event.time))
    return tuple(found)
