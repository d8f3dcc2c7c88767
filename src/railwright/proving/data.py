"""A proof of a bench as JSON: stable keys, SI numbers."""

from __future__ import annotations

import math
from typing import Any

from railwright.proving.bench import BenchProofRecord
from railwright.proving.lines import ProofLine


def record_as_data(record: BenchProofRecord) -> dict[str, Any]:
    """Everything that the page shows; null: unknown, or unbounded."""
    return {
        "format": 1,
        "number": record.number,
        "bench": record.bench,
        "operator": record.operator,
        "at": record.at.isoformat(timespec="seconds"),
        "due": record.due.isoformat(),
        "passed": record.passed,
        "simulated": record.simulated,
        "instruments": [
            {"name": each.name, "kind": each.kind, "identification": each.identity.fields}
            for each in record.instruments
        ],
        "stages": [
            {
                "output": str(stage.output),
                "lead": stage.lead,
                "not_confirmed": stage.not_confirmed,
                "lines": [_line(line) for line in stage.lines],
            }
            for stage in record.stages
        ],
    }


def _line(line: ProofLine) -> dict[str, Any]:
    return {
        "what": line.what,
        "at": line.at,
        "unit": line.unit,
        "figures": [{"of": each.of, "value": each.value, "bound": each.bound} for each in line.figures],
        "low": _finite(line.low),
        "high": _finite(line.high),
        "passed": line.passed,
        "why": line.why,
        "seen": line.seen,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
