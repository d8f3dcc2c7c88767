"""The example's documents, and its first step alone."""

from __future__ import annotations

from railwright.documents.loader import Documents
from railwright.examples import example
from railwright.plan.timeline import Timeline, build_timeline

PROCEDURE = example() / "power-input.procedure.yaml"


def short(documents: Documents) -> Timeline:
    """The first power-up alone, 120 ms of it."""
    timeline = build_timeline(documents.procedure, documents.device)
    return Timeline(tuple(a for a in timeline.actions if a.time < 0.12), timeline.spans[:1], 0.12)
