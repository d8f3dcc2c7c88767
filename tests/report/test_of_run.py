"""What a report knows of a stored run."""

from __future__ import annotations

import hashlib
from pathlib import Path

from tests.evaluation.stored_runs import store

from railwright.archive.stored import open_stored
from railwright.report.of_run import run_facts_of


def test_what_a_document_names_beside_it_is_hashed_like_the_documents(tmp_path: Path) -> None:
    """A load's current over time determines the rehearsal as much as the device document does."""
    folder = store(tmp_path / "run")
    burst = b"time_s,current_A\n0,0.1\n1,0.2\n"
    (folder / "documents" / "tables").mkdir(parents=True)
    (folder / "documents" / "tables" / "burst.csv").write_bytes(burst)
    stored = open_stored(folder)
    hashes = run_facts_of(stored)["document_hashes"]
    documents = list(stored.data.about.get("documents", {}).values())
    assert list(hashes) == [*documents, "documents/tables/burst.csv"]
    assert hashes["documents/tables/burst.csv"] == hashlib.sha256(burst).hexdigest()
