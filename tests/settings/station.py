"""The station's documents with one edit or another, and what settling them finds."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

from railwright.documents.loader import Documents, load_documents
from railwright.examples import example
from railwright.settings.findings import Finding
from railwright.settings.settle import Settings, settle

STATION = Path(__file__).parent / "station"
DEMO = example() / "power-input.procedure.yaml"
TODAY = dt.date(2026, 11, 25)

Edit = tuple[str, str, str]
"""(document, text as it is, text as it shall be)."""


def station(folder: Path, *edits: Edit) -> Documents:
    """The station's documents, copied to `folder` with these edits; each text must be there."""
    texts = {name: (STATION / f"{name}.yaml").read_text() for name in ("device", "bench", "procedure")}
    for document, old, new in edits:
        assert old in texts[document], f"no {old!r} in the {document} document"
        texts[document] = texts[document].replace(old, new, 1)
    for recording in STATION.glob("*.csv"):
        shutil.copy(recording, folder)
    for name, text in texts.items():
        (folder / f"{name}.yaml").write_text(text)
    return load_documents(folder / "procedure.yaml")


def settled(folder: Path, *edits: Edit, today: dt.date = TODAY) -> Settings:
    """Settings of the edited station."""
    return settle(station(folder, *edits), today)


def of_rule(settings: Settings, rule: str) -> list[Finding]:
    """Findings of one rule."""
    return [finding for finding in settings.findings if finding.rule == rule]


def line_of(finding: Finding) -> str:
    """The line of the document that a finding points at."""
    assert finding.where is not None
    return Path(finding.where.file).read_text().splitlines()[finding.where.line - 1]
