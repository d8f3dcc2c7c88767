"""What working out a hook-up comes to: documents with it written out, reasons, findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from railwright.documents.loader import Documents
from railwright.frozen import freeze
from railwright.settings.findings import Finding, Reason

WHOLE = "hook-up"
"""What the reason for the whole assignment is about."""


@dataclass(frozen=True, slots=True)
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
