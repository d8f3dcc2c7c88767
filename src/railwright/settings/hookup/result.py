"""What comes of working out a hook-up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from railwright.documents.loader import Documents
from railwright.frozen import freeze
from railwright.plan.timeline import Timeline
from railwright.settings.context import FedInput, sources_of
from railwright.settings.findings import Finding, Reason

WHOLE = "hook-up"
"""What the reason for the whole assignment is about."""


@dataclass(frozen=True)
class HookedUp:
    """Documents in which every hook-up is written out (an input that nothing feeds has none), the reasons for
    those that were `auto`, and what keeps others from being hooked up. rises: number of a power-up -> its
    rate of rise [V/s], where that was `auto`.
    """

    documents: Documents
    reasons: tuple[Reason, ...] = ()
    findings: tuple[Finding, ...] = ()
    rises: Mapping[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        freeze(self, "rises")

    @cached_property
    def fed(self) -> tuple[Mapping[str, FedInput], Timeline]:
        """Every hooked-up input with what feeds it; and the procedure's timeline."""
        return sources_of(self.documents)
