"""The example's documents, and its first step alone."""

from __future__ import annotations

from pathlib import Path

from railwright.documents.loader import Documents
from railwright.plan.timeline import Timeline, build_timeline

PROCEDURE = Path(__file__).parents[2] / "examples" / "tide-gauge" / "power-input.procedure.yaml"


def short(documents: Documents) -> Timeline:
    """The first power-up alone, 120 ms of it."""
    timeline = build_timeline(documents.procedure, documents.device)
    return Timeline(tuple(a for a in timeline.actions if a.time < 0.12), timeline.spans[:1], 0.12)
