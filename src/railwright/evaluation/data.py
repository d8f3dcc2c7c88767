"""An evaluation as JSON, and back: stable keys, SI numbers, no NaN."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from railwright.evaluation.outcome import Contradiction, Evaluation, LeadDrop, Outcome, Result, Unmeasured
from railwright.measures.outcome import Contribution, Measured
from railwright.records.codec import FLAG, NUMBER, TEXT, Key, choice, derived, fields, many, number, optional

_CONTRIBUTION = fields(
    Contribution,
    source=TEXT,
    standard=number(null=math.inf),
    distribution=TEXT,
    # An evaluation of an earlier version does not have them.
    degrees=Key(number(null=math.inf), missing=math.inf),
)

_MEASURED = fields(
    Measured,
    value=number(null=math.nan),
    low=number(null=-math.inf),
    high=number(null=math.inf),
    coverage=derived(lambda _: 0.95),
    how=TEXT,
    unseen=TEXT,
    would_decide=TEXT,
    # An evaluation of an earlier version does not have these three.
    elsewhere=Key(TEXT, missing=""),
    hides=Key(TEXT, missing=""),
    open_above=Key(FLAG, missing=False),
    # An evaluation of an earlier version was not held against a rehearsal.
    widened_below=Key(NUMBER, missing=0.0),
    widened_above=Key(NUMBER, missing=0.0),
    assumptions=many(TEXT),
    contributions=many(_CONTRIBUTION),
)

_UNMEASURED = fields(Unmeasured, why=TEXT, would_decide=TEXT)

_RESULT = fields(
    Result,
    name=Key(TEXT, field="requirement"),
    measure=TEXT,
    of=TEXT,
    at=TEXT,
    during=TEXT,
    unit=TEXT,
    lower=optional(NUMBER),
    upper=optional(NUMBER),
    outcome=choice(Outcome),
    reason=TEXT,
    source=TEXT,
    measured=optional(_MEASURED),
    unmeasured=Key(optional(_UNMEASURED), missing=None),
)

_CONTRADICTION = fields(
    Contradiction,
    of=TEXT,
    quantity=TEXT,
    sources=many(TEXT),
    shown=many(NUMBER),
    bound=NUMBER,
    at=NUMBER,
    first=NUMBER,
    last=NUMBER,
    words=derived(lambda contradiction: contradiction.words),
)

_LEAD_DROP = fields(
    LeadDrop,
    of=TEXT,
    multimeter=TEXT,
    drop=NUMBER,
    current=NUMBER,
    low=NUMBER,
    high=number(null=math.inf),
    least=optional(NUMBER),
    most=optional(NUMBER),
    words=derived(lambda drop: drop.words),
)

_EVALUATION = fields(
    Evaluation,
    outcome=derived(lambda evaluation: str(evaluation.outcome)),
    # An evaluation of an earlier version has neither these two nor offsets.
    withheld=Key(TEXT, missing=""),
    unsound=Key(many(TEXT), missing=()),
    rule=TEXT,
    guard_band=NUMBER,
    sources=many(TEXT),
    offsets=Key(many(NUMBER), missing=()),
    # An evaluation of an earlier version found them all.
    offsets_given_within=Key(many(optional(NUMBER)), missing=(), field="given"),
    # An evaluation of an earlier version looked for none.
    contradictions=Key(many(_CONTRADICTION), missing=()),
    # An evaluation of an earlier version had no multimeters.
    lead_drops=Key(many(_LEAD_DROP), missing=()),
    notes=many(TEXT),
    requirements=Key(many(_RESULT), field="results"),
)


def as_data(evaluation: Evaluation) -> dict[str, Any]:
    """JSON-ready. Numbers of a requirement are in the SI unit named by its `unit`; null: open, or not
    measured.
    """
    data: dict[str, Any] = _EVALUATION.write(evaluation)
    return data


def evaluation_from_data(data: Mapping[str, Any]) -> Evaluation:
    """The inverse of `as_data`, also of what an earlier version wrote. Misfit where the data are something
    else.
    """
    return _EVALUATION.read(data)
