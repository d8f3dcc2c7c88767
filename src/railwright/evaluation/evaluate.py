"""Judges every requirement of a procedure from a record, and from external recordings beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace

from railwright.documents.bench import Bench
from railwright.documents.loader import Documents
from railwright.documents.procedure import Requirement
from railwright.evaluation.alignment import Alignment, AlignmentError, align
from railwright.evaluation.beside_set_point import beside_set_points
from railwright.evaluation.contradiction import contradictions
from railwright.evaluation.decision import Tolerance, advice, decide
from railwright.evaluation.ending import COMPLETED, Ending
from railwright.evaluation.multimeters import MULTIMETER, lead_drops, multimeter_source
from railwright.evaluation.outcome import (
    NONE_KNOWN,
    Contradiction,
    Evaluation,
    Outcome,
    Result,
    Unmeasured,
    Widenings,
)
from railwright.evaluation.played import (
    judged_up_to_trip,
    needed,
    out_of_time,
    settled_already,
    unfinished,
)
from railwright.evaluation.reading import (
    declared_model,
    known_resistance,
    lead_name,
    recorder_model,
    series_drop,
    supply_model,
)
from railwright.evaluation.sampling import sampling_of
from railwright.evaluation.undrawn import undrawn
from railwright.evaluation.views import EXACT, Case, RecordSource, views
from railwright.measures.outcome import Beyond, CannotMeasure, Measured, NotAsRequired
from railwright.measures.reading_model import ReadingModel, exact_model
from railwright.measures.signal import View
from railwright.measures.wording import amount
from railwright.plan.contacts import unsure_within
from railwright.plan.required_trip import ended_by
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import timeline_of
from railwright.quantities import Uncertain, show
from railwright.records.readings import MultimeterReadings
from railwright.traces import VOLTAGES, EventKind, Record, span_named

UNTOLD = "no reading can confirm it"
"""Of a recording whose place a person gave."""


# Many: a run, what was recorded beside it, and what is known of both.
def evaluate(
    documents: Documents,
    set_points: SetPoints,
    record: Record,
    external: Sequence[Record] = (),
    ending: Ending = COMPLETED,
    multimeters: Mapping[str, MultimeterReadings] | None = None,
    given: Sequence[Uncertain | None] = (),
    widened: Widenings = NONE_KNOWN,
) -> Evaluation:
    """Every requirement measured and decided.

    record: the run's own readings (or a rehearsal's prediction, whose origin is 'rehearsal'). external:
    recordings whose `origin` is a recorder of the bench; each is aligned with the run, and decides a
    requirement where it covers the input's step and sees more, or more exactly. ending: how the run ended; a
    requirement of a step that was not played to its end, or late, is inconclusive, and a run that ended early
    or was not confirmed off is never a pass. multimeters: what each of the procedure's read; they decide as
    recordings do. given: of each recording where its time 0 lies [s of the run], as a person knows it; None:
    that is found. widened: by how much readings are known to mislead. Raises AlignmentError where a
    recording does not match the run or its recorder is unknown.
    """
    own = _own(documents.bench, set_points, record)
    case = _case(documents, own, ending, widened)
    aligned = [
        _aligned(documents.bench, set_points, recording, own, offset)
        for recording, offset in zip(external, given or [None] * len(external), strict=True)
    ]
    metered, told = _metered(documents, own, multimeters or {})
    sources = [own, *(source for source, _ in aligned), *metered]
    notes = [*(_alignment_note(source.name, alignment) for source, alignment in aligned), *told]
    found = (*contradictions(case, sources), *beside_set_points(case), *undrawn(case))
    results = []
    for requirement in documents.procedure.requires:
        result, remarks = _judge(case, requirement, sources, found)
        results.append(result)
        notes += remarks
    decision = documents.procedure.decision
    names = tuple(source.name for source in sources)
    return Evaluation(
        tuple(results),
        decision.rule,
        decision.guard_band,
        names,
        tuple(notes),
        case.ending.withheld,
        tuple(alignment.offset for _, alignment in aligned),
        contradictions=found,
        lead_drops=tuple(lead_drops(case, sources)),
        given=tuple(alignment.given for _, alignment in aligned),
    )


def measured_points(
    documents: Documents,
    set_points: SetPoints,
    record: Record,
    multimeters: Mapping[str, MultimeterReadings],
    requires: Iterable[Requirement],
) -> dict[tuple[str, str, int], Measured]:
    """What the run's own readings, and each multimeter that tells of it, make of each of these requirements:
    by its name, that of the source, and the number of the sweep's point where each is asked for, else 0. What
    cannot be measured is left out.
    """
    own = _own(documents.bench, set_points, record)
    case, metered = _case(documents, own, COMPLETED, NONE_KNOWN), _metered(documents, own, multimeters)[0]
    found = {}
    for requirement in requires:
        for source in (own, *(each for each in metered if _tells(each, requirement))):
            looks: list[View] = []
            with suppress(CannotMeasure):  # a step that was not played has none
                looks += views(case, requirement, source)
            for point, view in enumerate(looks):
                with suppress(CannotMeasure, NotAsRequired, Beyond):
                    found[requirement.name, source.name, point] = requirement.known(view)
    return found


def _metered(
    documents: Documents, own: RecordSource, multimeters: Mapping[str, MultimeterReadings]
) -> tuple[list[RecordSource], list[str]]:
    """The multimeters whose readings tell anything, and what is to be said of them."""
    found = [multimeter_source(documents, name, readings, own) for name, readings in multimeters.items()]
    return [read for read, _ in found if read is not None], [note for _, told in found for note in told]


def offset_of(documents: Documents, set_points: SetPoints, record: Record, external: Record) -> float:
    """What `evaluate` adds to the times of an external recording [s]; AlignmentError as there."""
    own = _own(documents.bench, set_points, record)
    return _aligned(documents.bench, set_points, external, own)[1].offset


def _case(documents: Documents, own: RecordSource, ending: Ending, widened: Widenings) -> Case:
    # What is taken to be whole and is not was rehearsed up to a required trip.
    trip = ended_by(documents.procedure, own.record.spans, own.record.events) if ending.completed else None
    if trip is not None:
        ending = Ending(False, trip.words, trip.event.time, expected_trip=True)
    failed = next((each for each in own.record.events if each.kind is EventKind.HOLD_FAILS), None)
    if failed is not None and ending.completed:
        ending = Ending(False, f"{failed.what}: {failed.detail}", failed.time)
    return Case(documents, timeline_of(documents.procedure, documents.device), own, ending, widened)


def _own(bench: Bench, set_points: SetPoints, record: Record) -> RecordSource:
    return RecordSource(record.origin, record, _own_models(bench, set_points, record), set_points)


def _own_models(bench: Bench, set_points: SetPoints, record: Record) -> dict[str, ReadingModel]:
    if record.origin in EXACT:
        return {
            name: replace(
                exact_model(record.origin, known_resistance(bench, feed)),
                lead_name=lead_name(feed),
                drop=series_drop(bench, feed),
            )
            for name, feed in set_points.items()
        }
    return {name: supply_model(bench, feed) for name, feed in set_points.items()}


def _aligned(
    bench: Bench,
    set_points: SetPoints,
    recording: Record,
    own: RecordSource,
    given: Uncertain | None = None,
) -> tuple[RecordSource, Alignment]:
    recorder = bench.recorders.get(recording.origin)
    if recorder is None:
        known = ", ".join(f"'{name}'" for name in bench.recorders) or "none"
        raise AlignmentError(
            f"expected a recorder of the bench ({known}), got '{recording.origin}'; "
            "add it to the bench document with its accuracy, or name one that is there"
        )
    inputs = [name for name in recording.traces if name in set_points]
    declared = {name: declared_model(recording.origin, recorder, own.models[name]) for name in inputs}
    try:
        alignment = align(recording, own.record, own.models, declared, given)
    except AlignmentError as error:
        error.recording = recording
        raise
    models = {
        name: recorder_model(
            recording.origin,
            recorder,
            alignment,
            sampling_of(recording.traces[name].time),
            own.models[name],
        )
        for name in inputs
    }
    return RecordSource(recording.origin, alignment.record, models, set_points), alignment


def _alignment_note(name: str, alignment: Alignment) -> str:
    if alignment.given is not None:
        zero = f"{show(alignment.offset, 's', 6)} of the run, ± {amount(alignment.given, 's')}, as given"
        told = f"the readings of {alignment.channel} do not exclude it"
        return f"{name}: its time 0 lies at {zero} ({told if alignment.channel else UNTOLD})"
    zero = f"{alignment.offset:.4f} s of the run, ± {amount(alignment.uncertainty, 's')}"
    agreement = f"{alignment.quality * 100:.1f} % of its variance agrees"
    course = ", by its course alone" if alignment.by_course else ""
    return f"{name}: its time 0 lies at {zero}, found by the {alignment.channel}{course} ({agreement})"


def _judge(
    case: Case,
    requirement: Requirement,
    sources: Sequence[RecordSource],
    contradicting: Sequence[Contradiction],
) -> tuple[Result, list[str]]:
    chosen = _from_source(case, requirement, case.own)
    told, unused = [chosen], []
    for source in sources[1:]:
        if not _tells(source, requirement):
            continue
        other = _from_source(case, requirement, source)
        told.append(other)
        if _better(other, chosen):
            chosen = other
        elif other.measured is None:
            unused.append((other, source.lacks))
    # What would decide it is asked for only where nothing does.
    decided = chosen.outcome is not Outcome.INCONCLUSIVE
    remarks = [
        f"{requirement.name}: {each.source} was not used, because "
        f"{lacks or (each.unmeasured.why if decided and each.unmeasured is not None else each.reason)}"
        for each, lacks in unused
    ]
    origin = next(source for source in sources if source.name == chosen.source)
    chosen = _overruled(_in_doubt(chosen, requirement, origin, contradicting), told)
    return _guessed(case, chosen), remarks


def _guessed(case: Case, result: Result) -> Result:
    """What a rehearsal says, inconclusive where no document says whether a part of the load is enabled."""
    span = span_named(case.own.record.spans, result.during) if case.own.record.origin == "rehearsal" else None
    if span is None or result.outcome not in (Outcome.PASS, Outcome.FAIL):
        return result
    pins = unsure_within(case.documents, case.timeline, result.of, span.start, span.end)
    if not pins:
        return result
    named = " and ".join(f"'{pin}'" for pin in pins)
    reason = (
        f"no document says whether pin {named} is active then; `undriven` in the device document would "
        "decide it"
    )
    return replace(result, outcome=Outcome.INCONCLUSIVE, reason=reason)


def _tells(source: RecordSource, requirement: Requirement) -> bool:
    """Whether a source may tell of a requirement: a recording of its input, or a multimeter that measures
    what it is made of. What needs no channel is told by none.
    """
    traces, needed = source.record.traces.get(requirement.of), requirement.known.records
    if traces is None or not needed:
        return False
    if source.record.origin != MULTIMETER:
        return True
    held = {"voltage" if column in VOLTAGES else column for column in traces.columns}
    return held.issuperset({*needed, *requirement.known.also})


def _in_doubt(
    result: Result, requirement: Requirement, source: RecordSource, contradicting: Sequence[Contradiction]
) -> Result:
    """What a source says, inconclusive where another record contradicts it: which of the two is wrong, and
    since when, nobody knows.
    """
    if result.outcome is Outcome.INCONCLUSIVE:
        return result
    rests_on = {*requirement.known.records, *requirement.known.also}
    traces = source.record.traces.get(requirement.of)
    wanted = VOLTAGES[requirement.at == "terminals"]
    carried = "voltage" in rests_on and traces is not None and wanted not in traces.columns
    if carried:
        # It is carried over the lead by the current.
        rests_on.add("current")
    for each in contradicting:
        if each.concerns(requirement.of, source.name, tuple(rests_on), carried=carried):
            return replace(result, outcome=Outcome.INCONCLUSIVE, reason=each.words)
    return result


def _overruled(result: Result, told: Sequence[Result]) -> Result:
    """A pass, inconclusive where another source has the whole of its interval beyond a limit, or saw what no
    figure tells of, such as a device that did not start: one that sees less does not see what is not there.
    """
    lower, upper, unit = result.lower, result.upper, result.unit
    if result.outcome is not Outcome.PASS or result.measured is None:
        return result
    for each in told:
        if each.outcome is not Outcome.FAIL:
            continue
        if each.measured is None:
            reason = f"by {each.source}, {each.reason}"
        else:
            above = upper is not None and each.measured.low > upper
            below = lower is not None and each.measured.high < lower
            if not (above or below):
                continue
            shown, other = (amount(value.value, unit) for value in (each.measured, result.measured))
            reason = (
                f"{each.source} shows {shown}, surely {'above' if above else 'below'} the limit, and "
                f"{result.source} {other}"
            )
        reason = f"the records contradict each other: {reason}"
        return replace(result, outcome=Outcome.INCONCLUSIVE, reason=reason)
    return result


# Many: all that is said of a requirement.
def _result(
    requirement: Requirement,
    source: RecordSource,
    outcome: Outcome,
    reason: str,
    measured: Measured | None = None,
    unmeasured: Unmeasured | None = None,
) -> Result:
    lower, upper = requirement.limits
    return Result(
        requirement=requirement.name,
        measure=requirement.measure,
        of=requirement.of,
        during=requirement.during,
        unit=requirement.unit,
        lower=lower,
        upper=upper,
        measured=measured,
        outcome=outcome,
        reason=reason,
        source=source.name,
        at=requirement.at,
        unmeasured=unmeasured,
    )


def _better(new: Result, old: Result) -> bool:
    """Whether a source sees more, or as much with a smaller uncertainty. What it says does not matter."""
    if new.measured is None:
        return False
    if old.measured is None:
        return old.outcome is Outcome.INCONCLUSIVE
    if bool(new.measured.unseen) != bool(old.measured.unseen):
        return not new.measured.unseen
    return new.measured.high - new.measured.low < old.measured.high - old.measured.low


def _from_source(case: Case, requirement: Requirement, source: RecordSource) -> Result:
    """What a source says, as far as the step was played: to its end, and in time."""
    run, (_, upper) = case.own.record, requirement.limits
    cut = unfinished(requirement.during, run, case.ending)
    if not needed(requirement.during, run, case.ending):
        if requirement.expects_trip:
            reason = f"{cut}; a further trip needs a run of its own"
            return _result(requirement, source, Outcome.INCONCLUSIVE, reason)
        return _result(requirement, source, Outcome.NOT_JUDGED, cut)
    span = span_named(run.spans, requirement.during)
    late = out_of_time(span, case.timeline, run) if span is not None else ""
    if not cut:
        found = _measured(case, requirement, source)
        if late and found.outcome is not Outcome.INCONCLUSIVE:
            return replace(found, outcome=Outcome.INCONCLUSIVE, reason=late)
        return found
    if span is not None:
        found = _measured(case, requirement, source)
        # Points of a sweep are each played to their end, or not at all.
        stands = requirement.each_point or settled_already(requirement.known, found.measured, upper)
        if found.outcome is Outcome.FAIL and stands:
            return replace(found, reason=f"{found.reason}; {cut}")
        to_trip = case.ending.expected_trip and judged_up_to_trip(requirement.known)
        if found.outcome is not Outcome.FAIL and to_trip:
            return replace(found, outcome=Outcome.INCONCLUSIVE, reason=late) if late else found
    return _result(requirement, source, Outcome.INCONCLUSIVE, cut)


def _measured(case: Case, requirement: Requirement, source: RecordSource) -> Result:
    """What a source says of the step as the record has it."""
    tolerance = Tolerance(*requirement.limits)
    decision = case.documents.procedure.decision
    try:
        measured = _worst(_points(case, requirement, source), tolerance)
    except CannotMeasure as problem:
        reason = f"{problem}{advice(problem.would_decide)}"
        unmeasured = Unmeasured(str(problem), problem.would_decide)
        return _result(requirement, source, Outcome.INCONCLUSIVE, reason, unmeasured=unmeasured)
    except NotAsRequired as problem:
        return _result(requirement, source, Outcome.FAIL, str(problem))
    except Beyond as problem:
        failed = (
            problem.side == "above" and tolerance.upper is not None and problem.bound >= tolerance.upper
        ) or (problem.side == "below" and tolerance.lower is not None and problem.bound <= tolerance.lower)
        outcome = Outcome.FAIL if failed else Outcome.INCONCLUSIVE
        return _result(requirement, source, outcome, str(problem))
    outcome, reason = decide(measured, tolerance, requirement.unit, decision.rule, decision.guard_band)
    return _result(requirement, source, outcome, reason, measured)


def _points(case: Case, requirement: Requirement, source: RecordSource) -> list[Measured]:
    """What a source says of each point of a sweep, or of the step: wider where readings are known to
    mislead.
    """
    found = []
    for point, view in enumerate(views(case, requirement, source)):
        measured = requirement.known(view)
        # Not of a recorder, whatever it is called: nobody reads a rehearsal as it does.
        read = source is case.own or source.record.origin == MULTIMETER
        if read and (known := case.widened.get((requirement.name, source.name, point))):
            below, above = known
            measured = replace(
                measured,
                low=measured.low - below,
                high=measured.high + above,
                widened_below=below,
                widened_above=above,
                would_decide=measured.would_decide or "a recorder that samples faster",
            )
        found.append(measured)
    return found


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
