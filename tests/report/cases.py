"""A whole report's input for the demo: evaluations, findings, reasons and the facts of a run, invented."""

from __future__ import annotations

import datetime as dt
from typing import Any

from railwright.assumptions import Assumption
from railwright.documents.sources import Location
from railwright.evaluation.outcome import Evaluation, Outcome, Result
from railwright.measures.outcome import Contribution, Measured
from railwright.plan.set_points import SetPoints
from railwright.report.subject import ReportInput
from railwright.settings.findings import Finding, Reason, Severity
from railwright.traces import Record

REPORTED = dt.datetime(2026, 11, 25, 11, 20, 0, tzinfo=dt.UTC)
PROCEDURE = "power-input.procedure.yaml"

FIGURES = {
    "start-up time": (0.0271, 0.0221, 0.0321),
    "charge to start": (0.0893, 0.0861, 0.0925),
    "transducer inrush": (0.0374, 0.0371, 0.1),
    "supply level": (11.9903, 11.9795, 12.0011),
    "transducer current": (0.02131, 0.02102, 0.02160),
    "power over the line range": (4.452, 4.428, 4.476),
    "keeps running over the line range": (0.0, 0.0, 0.0),
    "stops at": (7.62, 7.55, 7.69),
    "starts at": (8.98, 8.91, 9.05),
}


def result(requirement: Any, decided: bool) -> Result:
    value, low, high = FIGURES[requirement.name]
    lower, upper = requirement.limits
    unit = requirement.unit
    source, unseen, would_decide = "supply readings", "", ""
    outcome, reason = Outcome.PASS, "the interval lies inside the limits by more than 1 × U"
    if requirement.name == "starts at":
        outcome, reason = Outcome.FAIL, "8.98 V (95 % interval 8.91 V .. 9.05 V) is above the limit"
    if requirement.name == "transducer inrush":
        unseen = "a peak shorter than the aperture of 8 ms can reach the current limit of 100 mA"
        would_decide = "a recording with at least 10 000 samples/s"
        outcome, reason = (
            Outcome.INCONCLUSIVE,
            f"the readings show 37.4 mA, but {unseen}; {would_decide} would decide it",
        )
        if decided:
            value, low, high = 0.0428, 0.0419, 0.0437
            outcome, reason, source = (
                Outcome.PASS,
                "the interval lies inside the limits",
                "transient recorder",
            )
            unseen = would_decide = ""
    half = (high - low) / 2
    contributions = (
        Contribution("gain error of the reading, 0.1 % of value", half * 0.4, "rectangular"),
        Contribution("offset of the reading", half * 0.3, "rectangular"),
        Contribution("noise of the mean of 200 readings", half * 0.02, "normal"),
        Contribution("resolution", half * 0.05, "rectangular"),
    )
    measured = Measured(
        value,
        low,
        high,
        contributions if half else (),
        "time-weighted mean of the readings inside the step",
        unseen,
        would_decide,
        ("the noise of a reading is taken as 1 mV r.m.s.",) if unseen else (),
    )
    return Result(
        requirement.name,
        requirement.measure,
        requirement.of,
        requirement.during,
        unit,
        lower,
        upper,
        measured,
        outcome,
        reason,
        source,
    )


def evaluation(documents: Any, decided: bool) -> Evaluation:
    results = tuple(result(requirement, decided) for requirement in documents.procedure.requires)
    sources = ("supply readings", "transient recorder") if decided else ("supply readings",)
    note = "transient recorder: moved by 12.3 ms ± 0.2 ms to match the supply's readings of main"
    return Evaluation(results, "guarded", 1.0, sources, (note,) if decided else ())


RUN: dict[str, Any] = {
    "run_id": "20261125-110312-TG0042",
    "unit": "TG-0042",
    "operator": "M. Okonkwo",
    "customer": "Harbour Authority of Exampleton, Pier 1",
    "start": "2026-11-25T11:03:12+00:00",
    "end": "2026-11-25T11:03:26+00:00",
    "ended": "completed",
    "software_version": "railwright 0.1.0, Python 3.11",
    "instruments": [
        {"name": "left", "identification": "Invented Instruments,QS-362,Q-0117,1.4"},
        {"name": "right", "identification": "Invented Instruments,QS-321,Q-0232,2.0"},
    ],
    "document_hashes": {
        "power-input.procedure.yaml": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
        "quay.bench.yaml": "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752",
        "tide-gauge.device.yaml": "fd61a03af4f77d870fc21e05e7e80678095c92d808cfb3b5c279ee04c74aca13",
    },
    "deviations": [
        "steps began up to 4 ms later than planned",
        "right.1 still stood at 1.2 V, 2 s after switching off",
    ],
}

FINDINGS = (
    Finding(
        "requirement-hidden",
        Severity.CAUTION,
        "transducer",
        Location(PROCEDURE, 62, 5),
        "a peak shorter than the 8 ms aperture of the readings cannot be seen",
        "record it with an external recorder",
    ),
    Finding(
        "touch-voltage",
        Severity.STOP,
        "left.1",
        Location(PROCEDURE, 7, 3),
        "36 V can be reached, which is above 35 V in a wet location",
        "cover the terminals, or use a lower range",
        "terminals are covered, and the bench is supervised",
    ),
    Finding(
        "unknown-figure",
        Severity.NOTE,
        "main",
        Location("tide-gauge.device.yaml", 6, 3),
        "the inductance of the lead is unknown, so it was not checked",
        "state it in the bench document",
    ),
)

REASONS = (
    Reason(
        "main",
        "current_limit",
        1.0,
        "A",
        Location(PROCEDURE, 13, 5),
        "as the procedure says; the lead bears 8 A, the input 2.5 A",
    ),
    Reason(
        "main",
        "ovp",
        18.0,
        "V",
        Location(PROCEDURE, 16, 5),
        "as the procedure says; 2 V below the 20 V that the input withstands",
    ),
    Reason(
        "transducer",
        "ovp",
        33.0,
        "V",
        Location(PROCEDURE, 21, 5),
        "auto: 36 V withstood, less 0.1 V accuracy and a margin, and 9 V above the highest voltage played",
    ),
)


def the_input(
    documents: Any,
    set_points: SetPoints,
    rehearsal: Record,
    measured: Record,
    external: Record | None,
    **changes: Any,
) -> ReportInput:
    """The demo's report; `changes` replace fields."""
    fields: dict[str, Any] = {
        "documents": documents,
        "set_points": set_points,
        "reasons": REASONS,
        "findings": FINDINGS,
        "rehearsal": rehearsal,
        "measured": measured,
        "external": () if external is None else (external,),
        "evaluations": (evaluation(documents, False), evaluation(documents, True)),
        "run": RUN,
        "reported": REPORTED,
        "assumptions": (Assumption("left.1", "sink current is unknown; taken as none"),),
    }
    return ReportInput(**(fields | changes))
