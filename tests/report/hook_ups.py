"""The demo's documents with other hook-ups: in series, in parallel."""

from __future__ import annotations

from pathlib import Path

from tests.bench import PROCEDURE, demo_with

from railwright.documents.loader import Documents

TRANSDUCER = "transducer: {from: right.1, lead: thin pair, sense: at terminals}"
SERIES = {
    TRANSDUCER: "transducer: {from: {series: [left.1, left.2]}, lead: thin pair, sense: at load}",
    "main:       {from: left.1,": "main: {from: right.1,",
    "current_limit: 1 A": "current_limit: 0.9 A",
}
PARALLEL = {"main:       {from: left.1,": "main: {from: {parallel: [left.1, left.2]},"}


def changed(folder: Path, changes: dict[str, str]) -> Documents:
    return demo_with(folder, *((PROCEDURE, old, new) for old, new in changes.items()))
