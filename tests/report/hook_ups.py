"""The demo's documents with other hook-ups: in series, in parallel."""

from __future__ import annotations

from pathlib import Path

from tests.report.conftest import DEMO_FOLDER

from railwright.documents.loader import Documents, load_documents

TRANSDUCER = "transducer: {from: right.1, lead: thin pair, sense: at terminals}"
SERIES = {
    TRANSDUCER: "transducer: {from: {series: [left.1, left.2]}, lead: thin pair, sense: at load}",
    "main:       {from: left.1,": "main: {from: right.1,",
    "current_limit: 1 A": "current_limit: 0.9 A",
}
PARALLEL = {"main:       {from: left.1,": "main: {from: {parallel: [left.1, left.2]},"}


def changed(folder: Path, changes: dict[str, str]) -> Documents:
    for path in DEMO_FOLDER.glob("*.*.yaml"):
        text = path.read_text("utf-8")
        for old, new in changes.items() if "procedure" in path.name else ():
            assert text.count(old) == 1
            text = text.replace(old, new)
        (folder / path.name).write_text(text, "utf-8")
    return load_documents(folder / "power-input.procedure.yaml")
