"""From a procedure's path to settled documents and findings: shared by check, rehearse, run and demo."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from railwright.cli.exits import StoppedByFinding
from railwright.documents.loader import Documents, load_documents
from railwright.settings.settle import Settings, by_severity, rehearsed_findings, settle

if TYPE_CHECKING:
    from railwright.rehearsal.rehearse import Rehearsal


@dataclass(frozen=True)
class Checked:
    """Documents, settings, and the nominal rehearsal; None where it was not asked for or not possible."""

    documents: Documents
    settings: Settings
    rehearsal: Rehearsal | None


def check_documents(procedure: Path, *, rehearsed: bool) -> Checked:
    """Load, settle, and (where every input has its set points) rehearse; findings of both kinds together."""
    documents = load_documents(procedure)
    settings = settle(documents, dt.date.today())
    if not rehearsed:
        return Checked(documents, settings, None)
    from railwright.rehearsal.rehearse import rehearse

    kept: list[Rehearsal] = []

    def keep(*given: object) -> Rehearsal:
        kept.append(rehearse(*given))  # type: ignore[arg-type]
        return kept[-1]

    found = rehearsed_findings(documents, settings, keep)
    settings = replace(settings, findings=by_severity((*settings.findings, *found)))
    return Checked(documents, settings, kept[0] if kept else None)


def settle_documents(procedure: Path) -> Checked:
    """Load and settle for a command that needs set points; StoppedByFinding where a limit has none."""
    checked = check_documents(procedure, rehearsed=False)
    missing = [
        name for name in checked.documents.procedure.hook_up if name not in checked.settings.set_points
    ]
    if missing:
        stops = [f for f in checked.settings.findings if f.blocks and f.about in missing]
        lines = [f"{f.where}: {f.why}; {f.remedy}" for f in stops]
        raise StoppedByFinding(
            "\n".join(lines or [f"{procedure}: no set points for {', '.join(missing)}; see railwright check"])
        )
    return checked
