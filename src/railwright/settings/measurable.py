"""Can it be measured? Each requirement by the supply's own readings and the multimeters, and what would do
where they do not.

The rehearsal is read as the outputs would read it and judged as a run would be: what uncertainty comes out,
against what the requirement leaves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Literal

from railwright.documents.bench import Recorder
from railwright.documents.figures import error_bound
from railwright.documents.loader import Documents
from railwright.documents.procedure import Requirement
from railwright.evaluation.evaluate import evaluate
from railwright.evaluation.outcome import Result
from railwright.evaluation.reading_bias import PHASES, widenings_at
from railwright.measures.wording import AdvisedRecording, widening_words
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import timeline_of
from railwright.quantities import show
from railwright.rehearsal.read import as_read, multimeters_read
from railwright.settings.group import group_of
from railwright.settings.rules.requirements import able_recorders, recorded_by

if TYPE_CHECKING:
    from railwright.traces import Record

Verdict = Literal["yes", "marginal", "no", "will fail", "not needed"]

SEEN_AT = PHASES[:2]
"""Where readings may lie in the record: no run knows before. The widest interval of them counts."""

FASTER = 20.0
"""So many times as often as the readings samples a recorder that is advised as a faster one (chosen)."""

ROOM = 3.0
"""Uncertainty is small where what the requirement leaves is so many times it (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Measurable:
    """Whether the supply's readings can decide a requirement, were the device at its nominal values.

    verdict: yes: with room; marginal: only just, a device a little off would not be decided; no: not even
    so; will fail: what the rehearsal expects breaks the requirement, however it is measured. not needed: a
    required trip ends the run before its step. expected: true value by rehearsal; None: nothing is measured
    there. uncertainty: half of the 95 % interval of the readings, the widest by where they may fall; a run's
    may be narrower; None: they do not see it. leaves: from
    the expected value to the nearest limit, negative beyond it. All in `unit`. why: what keeps them from
    it. would: what would do; empty where the readings do.
    """

    requirement: str
    verdict: Verdict
    unit: str
    expected: float | None
    uncertainty: float | None
    leaves: float | None
    why: str
    would: str


def measurable(documents: Documents, set_points: SetPoints, record: Record) -> tuple[Measurable, ...]:
    """Each requirement of an input that has set points, in their order.

    record: the rehearsal's, judged as it is and as the outputs would read it.
    """
    procedure, every = documents.procedure, dict.fromkeys(record.traces, documents.procedure.record.every)
    timeline = timeline_of(procedure, documents.device)
    reads = [
        (
            as_read(record, documents, set_points, timeline, every, phase),
            multimeters_read(documents, record, phase),
        )
        for phase in SEEN_AT
    ]
    true = evaluate(documents, set_points, record)
    # As those of a run are widened.
    widened, _ = widenings_at(documents, set_points, dict.fromkeys(set_points, procedure.record.every))
    seen = [
        evaluate(documents, set_points, read, multimeters=meters, widened=widened).results
        for read, meters in reads
    ]
    return tuple(
        _one(documents, set_points, required, exact, max(shown, key=_width))
        for required, exact, *shown in zip(procedure.requires, true.results, *seen, strict=True)
        if required.of in set_points
    )


def _width(shown: Result) -> float:
    """How wide an interval is; one that the readings do not see is wider than any other."""
    found = shown.measured
    return math.inf if found is None or found.unseen else found.high - found.low


def _one(
    documents: Documents,
    set_points: SetPoints,
    required: Requirement,
    exact: Result,
    shown: Result,
) -> Measurable:
    """Whether the readings can decide one requirement. exact, shown: judged as it is, and as it is read."""
    expected = exact.measured.value if exact.measured is not None else None
    leaves = None if expected is None else _leaves(required, expected)
    found = shown.measured
    hidden = found is None or bool(found.unseen)
    uncertainty = None if found is None or hidden else (found.high - found.low) / 2
    roomy = uncertainty is not None and (leaves is None or ROOM * uncertainty <= leaves)
    verdict: Verdict = "yes" if roomy else "marginal"
    if found is None or shown.outcome == "inconclusive":
        verdict = "no"
    why, would = "", ""
    if exact.outcome == "fail":
        verdict, why = "will fail", exact.reason
    elif exact.outcome == "not judged":
        verdict, why = "not needed", exact.reason
    elif verdict != "yes":
        why = _why(shown, hidden)
        would = _would(documents, set_points, required, shown, leaves, expected)
    return Measurable(required.name, verdict, required.unit, expected, uncertainty, leaves, why, would)


def _leaves(required: Requirement, value: float) -> float | None:
    """Distance of a value to the nearest limit, negative beyond it; None: there is none."""
    low, high = required.limits
    return min(
        [*([] if low is None else [value - low]), *([] if high is None else [high - value])], default=None
    )


def _why(shown: Result, hidden: bool) -> str:
    """What keeps the readings from deciding it."""
    if shown.measured is None:
        return shown.reason if shown.unmeasured is None else shown.unmeasured.why
    if hidden:
        return shown.measured.hides or shown.measured.unseen
    if shown.measured.widened:
        return widening_words(shown.measured.widened, shown.unit)
    return "the uncertainty of the readings takes much of what is left to the limit"


def _would(
    documents: Documents,
    set_points: SetPoints,
    required: Requirement,
    shown: Result,
    leaves: float | None,
    expected: float | None,
) -> str:
    """An instrument that would decide it, in numbers, and who on the bench is one."""
    interval = _interval(documents, set_points, required)
    advice = shown.measured or shown.unmeasured
    needed = (
        f", exact to ±{show(leaves / ROOM, required.unit, 2)}"
        if leaves and required.unit in ("V", "A")
        else ""
    )
    exact = partial(_exact, required, leaves, expected)
    if interval is None:
        if advice is None:  # its step is not played to its end, which no instrument changes
            return ""
        would = advice.would_decide or "an instrument with a smaller error"
        able = ""
        if isinstance(would, AdvisedRecording):
            longest = would.interval or documents.procedure.record.every / FASTER
            able = able_recorders(documents.bench, required.known, longest, exact)
        return f"{would}{needed}{able}"
    return recorded_by(documents.bench, required.known, interval, needed, exact)


def _interval(documents: Documents, set_points: SetPoints, required: Requirement) -> float | None:
    """Longest time between two samples of what sees enough [s]; None: how often it samples matters not."""
    bench, every = documents.bench, documents.procedure.record.every
    feed, sampling = set_points[required.of], required.known.sampling
    update, aperture = group_of(feed.names, feed.arrangement, bench).reading_times(every)
    return None if sampling is None else sampling(update, every, aperture)


def _exact(required: Requirement, leaves: float | None, expected: float | None, recorder: Recorder) -> bool:
    """Whether a recorder that records what is wanted does so exactly enough."""
    exact = leaves / ROOM if leaves else math.inf
    return all(
        required.unit != unit or error_bound(getattr(recorder, quantity), expected or 0.0) <= exact
        for quantity, unit in (("voltage", "V"), ("current", "A"))
        if quantity in required.known.records
    )
