"""An evaluation as plain data for JSON: stable keys, SI numbers, no NaN."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from railwright.evaluation.outcome import Evaluation, Result
from railwright.measures.outcome import Measured


def as_data(evaluation: Evaluation) -> dict[str, Any]:
    """JSON-ready. Keys: outcome, withheld, rule, guard_band, sources, offsets, notes, requirements
    (`result_data`).
    """
    return {
        "outcome": str(evaluation.outcome),
        "withheld": evaluation.withheld,
        "rule": evaluation.rule,
        "guard_band": evaluation.guard_band,
        "sources": list(evaluation.sources),
        "offsets": list(evaluation.offsets),
        "notes": list(evaluation.notes),
        "requirements": [result_data(result) for result in evaluation.results],
    }


def result_data(result: Result) -> dict[str, Any]:
    """One requirement. Numbers are in the SI unit named by `unit`; null: open or not measured."""
    return {
        "name": result.requirement,
        "measure": result.measure,
        "of": result.of,
        "at": result.at,
        "during": result.during,
        "unit": result.unit,
        "lower": result.lower,
        "upper": result.upper,
        "outcome": str(result.outcome),
        "reason": result.reason,
        "source": result.source,
        "measured": None if result.measured is None else measured_data(result.measured),
        "unmeasured": None if result.unmeasured is None else asdict(result.unmeasured),
    }


def measured_data(measured: Measured) -> dict[str, Any]:
    """A measured value: best estimate, 95 % interval, budget."""
    return {
        "value": _finite(measured.value),
        "low": _finite(measured.low),
        "high": _finite(measured.high),
        "coverage": 0.95,
        "how": measured.how,
        "unseen": measured.unseen,
        "would_decide": measured.would_decide,
        "elsewhere": measured.elsewhere,
        "hides": measured.hides,
        "assumptions": list(measured.assumptions),
        "contributions": [
            {"source": c.source, "standard": _finite(c.standard), "distribution": c.distribution}
            for c in measured.contributions
        ],
    }


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
