"""From a procedure's path to settled documents and findings: shared by check, rehearse, run and demo."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from railwright.cli.assumptions import names_of
from railwright.cli.detail import USUAL, Detail
from railwright.cli.exits import StoppedByFinding
from railwright.documents.loader import Documents, load_documents
from railwright.settings.hookup import HookedUp, hooked_up
from railwright.settings.settle import Settings, by_severity, rehearsed_findings, settle

if TYPE_CHECKING:
    from railwright.rehearsal.rehearse import Rehearsal
    from railwright.rehearsal.setpoints import SetPoints
    from railwright.settings.measurable import Measurable


@dataclass(frozen=True)
class Checked:
    """Documents with their hook-up written out, settings, and the nominal rehearsal; None where it was not
    asked for or not possible.

    measurable: what the supply's readings can decide of each requirement, by that rehearsal.
    """

    documents: Documents
    settings: Settings
    rehearsal: Rehearsal | None
    measurable: tuple[Measurable, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Inputs and outputs that something can be said of."""
        return names_of(self.documents.device, self.documents.bench)


def check_documents(
    procedure: Path, *, rehearsed: bool, cases: int = 0, seed: int = 1, detail: Detail = USUAL
) -> Checked:
    """Load, settle, and (where every input has its set points) rehearse; findings of both kinds together.

    cases, seed: of the ensemble, beside the corners that settle the windows.
    """
    hooked = read_documents(procedure, detail)
    documents = hooked.documents
    with detail.timed("settings"):
        if not rehearsed:
            return Checked(documents, settle(documents, dt.date.today(), hooked), None)
        settings = settled_with_rehearsal(hooked, cases, seed)
    with detail.timed("rehearsal"):
        return _rehearsed(documents, settings)


def read_documents(procedure: Path, detail: Detail = USUAL) -> HookedUp:
    """The procedure with its device and bench, its hook-up written out."""
    with detail.timed("reading and hook-up"):
        loaded = load_documents(procedure)
        hooked = hooked_up(loaded)
    detail.read(loaded.paths.values())
    return hooked


def _rehearsed(documents: Documents, settings: Settings) -> Checked:
    """The nominal rehearsal, and what it adds to the findings."""
    from railwright.evaluation.evaluate import evaluate
    from railwright.rehearsal.rehearse import rehearse
    from railwright.settings.delivery import played_timeline

    kept: list[Rehearsal] = []

    def keep(documents: Documents, set_points: SetPoints) -> Rehearsal:
        kept.append(rehearse(documents, set_points, timeline=played_timeline(documents, set_points)))
        return kept[-1]

    found = rehearsed_findings(documents, settings, keep, evaluate)
    settings = replace(settings, findings=by_severity((*settings.findings, *found)))
    if not kept or not documents.procedure.requires:
        return Checked(documents, settings, kept[0] if kept else None)
    from railwright.settings.measurable import measurable

    can = measurable(documents, settings.set_points, kept[0].record, evaluate)
    return Checked(documents, settings, kept[0], can)


def settled_with_rehearsal(
    hooked: HookedUp, cases: int = 0, seed: int = 1, *, written: bool = True
) -> Settings:
    """Settings whose windows a rehearsal has settled where they hang on what moves, and `auto` with them.

    written: also the windows of values that are written; else nothing is rehearsed where nothing hangs on it.
    """
    today = dt.date.today()
    first = settle(hooked.documents, today, hooked, provisional=True)
    from railwright.settings.windows.rehearsed import hangs_on_rehearsal, rehearsed_ends

    if not written and not any(hangs_on_rehearsal(window) for window in first.windows):
        return settle(hooked.documents, today, hooked)
    ends = rehearsed_ends(hooked.documents, first, today, cases, seed, written=written)
    return settle(hooked.documents, today, hooked, ends)


def settle_documents(procedure: Path, detail: Detail = USUAL) -> Checked:
    """Load and settle for a command that needs set points; StoppedByFinding where a limit has none.

    Windows are settled by rehearsal where a value that is worked out hangs on them.
    """
    hooked = read_documents(procedure, detail)
    with detail.timed("settings"):
        settings = settled_with_rehearsal(hooked, written=False)
    checked = Checked(hooked.documents, settings, None)
    missing = [name for name in checked.documents.device.inputs if name not in checked.settings.set_points]
    if missing:
        # All of them, not only those that hide a set point: who mends one would else find the next behind it.
        lines = [f"{f.where}: {f.why}; {f.remedy}" for f in checked.settings.findings if f.blocks]
        raise StoppedByFinding(
            "\n".join(lines or [f"{procedure}: no set points for {', '.join(missing)}; see railwright check"])
        )
    return checked
