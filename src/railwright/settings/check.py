"""The one loop of a check: candidate set points, their rehearsal, its evaluation, the settings they make."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from railwright.documents.loader import Documents
from railwright.settings.hookup.result import HookedUp
from railwright.settings.settle import Settings, by_severity, rehearsed_findings, settle

if TYPE_CHECKING:
    from railwright.dialects.proofs import Proofs
    from railwright.rehearsal.rehearse import Prediction
    from railwright.settings.measurable import Measurable


@dataclass(frozen=True)
class Checked:
    """Documents with their hook-up written out, settings, and the nominal rehearsal; None where it was not
    asked for or not possible.
    """

    documents: Documents
    settings: Settings
    rehearsal: Prediction | None

    @cached_property
    def measurable(self) -> tuple[Measurable, ...]:
        """What the supply's readings can decide of each requirement, by that rehearsal; worked out when it is
        asked for.
        """
        if self.rehearsal is None or not self.documents.procedure.requires:
            return ()
        from railwright.settings.measurable import measurable

        return measurable(self.documents, self.settings.set_points, self.rehearsal.record)


# Many: what a check is asked to look at.
def check(
    hooked: HookedUp,
    today: dt.date,
    *,
    rehearsed: bool = True,
    cases: int = 0,
    seed: int = 1,
    proofs: Proofs | None = None,
) -> Checked:
    """Settle, and (where an input has its set points) rehearse; findings of both kinds together.

    today: decides whether a calibration is overdue. cases, seed: of the ensemble, beside the corners that
    settle the windows. proofs: what was proved of dialects; None: the supplies are simulated, and nothing
    need be. Raises DocumentErrors, and `railwright.physics.solver.SolverError` where the circuit cannot be
    solved.
    """
    documents = hooked.documents
    if not rehearsed:
        return Checked(documents, _with_proofs(documents, settle(documents, today, hooked), proofs), None)
    settings = _with_proofs(documents, settled(hooked, today, cases, seed), proofs)
    if not settings.set_points:
        return Checked(documents, settings, None)
    from railwright.plan.plan import plan_of
    from railwright.rehearsal.rehearse import rehearse

    played = plan_of(documents, settings.set_points).played
    rehearsal = rehearse(documents, settings.set_points, timeline=played)
    found = rehearsed_findings(hooked, settings, rehearsal.record, rehearsal.assumptions)
    findings = by_severity((*settings.findings, *found))
    return Checked(documents, replace(settings, findings=findings), rehearsal)


def _with_proofs(documents: Documents, settings: Settings, proofs: Proofs | None) -> Settings:
    """The settings, and what they need of the dialects that is not proved."""
    if proofs is None:
        return settings
    from railwright.settings.unproved import unproved_findings

    found = unproved_findings(documents, settings.set_points, proofs)
    return replace(settings, findings=by_severity((*settings.findings, *found))) if found else settings


def settled(
    hooked: HookedUp, today: dt.date, cases: int = 0, seed: int = 1, *, written: bool = True
) -> Settings:
    """Settings whose windows a rehearsal has settled where they hang on what moves, and `auto` with them.

    written: also the windows of values that are written; else nothing is rehearsed where nothing hangs on it.
    """
    first = settle(hooked.documents, today, hooked, provisional=True)
    from railwright.settings.windows.rehearsed import hangs_on_rehearsal, rehearsed_ends

    if not written and not any(hangs_on_rehearsal(window) for window in first.windows):
        return settle(hooked.documents, today, hooked)
    return settle(
        hooked.documents,
        today,
        hooked,
        rehearsed_ends(hooked, first, today, cases, seed, written=written),
    )
