"""An evaluation read back from what `railwright.evaluation.data.as_data` made of it, as a run keeps it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from railwright.evaluation.outcome import Evaluation, Outcome, Result, Unmeasured
from railwright.measures.outcome import Contribution, Measured


def evaluation_from_data(data: Mapping[str, Any]) -> Evaluation:
    """The inverse of `as_data`. KeyError, TypeError or ValueError where the data are something else."""
    return Evaluation(
        tuple(_result(entry) for entry in data["requirements"]),
        data["rule"],
        float(data["guard_band"]),
        tuple(data["sources"]),
        tuple(data["notes"]),
        # An evaluation of an earlier version does not have these.
        str(data.get("withheld", "")),
        tuple(float(offset) for offset in data.get("offsets", ())),
    )


def _result(data: Mapping[str, Any]) -> Result:
    return Result(
        requirement=data["name"],
        measure=data["measure"],
        of=data["of"],
        during=data["during"],
        unit=data["unit"],
        lower=data["lower"],
        upper=data["upper"],
        measured=None if data["measured"] is None else _measured(data["measured"]),
        outcome=Outcome(data["outcome"]),
        reason=data["reason"],
        source=data["source"],
        at=data["at"],
        # An evaluation of an earlier version does not have it.
        unmeasured=None if data.get("unmeasured") is None else Unmeasured(**data["unmeasured"]),
    )


def _measured(data: Mapping[str, Any]) -> Measured:
    def number(key: str, otherwise: float) -> float:
        return otherwise if data[key] is None else float(data[key])

    return Measured(
        value=number("value", math.nan),
        low=number("low", -math.inf),
        high=number("high", math.inf),
        contributions=tuple(
            Contribution(entry["source"], float(entry["standard"]), entry["distribution"])
            for entry in data["contributions"]
        ),
        how=data["how"],
        unseen=data["unseen"],
        would_decide=data["would_decide"],
        assumptions=tuple(data["assumptions"]),
        # An evaluation of an earlier version does not have these.
        elsewhere=data.get("elsewhere", ""),
        hides=data.get("hides", ""),
    )
