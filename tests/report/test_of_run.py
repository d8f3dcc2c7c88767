"""What a report knows of a stored run."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from pathlib import Path

import pytest
from tests.bench import demo_with
from tests.evaluation.stored_runs import store

import railwright.dialects
from railwright.archive.stored import open_stored
from railwright.plan.plan import plan_of
from railwright.records.manifest import verify_manifest
from railwright.report.of_run import make_report, run_facts_of
from railwright.running.folder import describe_run
from railwright.settings.settle import settle


def test_what_a_document_names_beside_it_is_hashed_like_the_documents(tmp_path: Path) -> None:
    """A load's current over time determines the rehearsal as much as the device document does."""
    folder = store(tmp_path / "run")
    burst = b"time_s,current_A\n0,0.1\n1,0.2\n"
    (folder / "documents" / "tables").mkdir(parents=True)
    (folder / "documents" / "tables" / "burst.csv").write_bytes(burst)
    stored = open_stored(folder)
    hashes = run_facts_of(stored)["document_hashes"]
    documents = list(stored.data.about.get("documents", {}).values())
    assert list(hashes)[: len(documents) + 1] == [*documents, "documents/tables/burst.csv"]
    assert hashes["documents/tables/burst.csv"] == hashlib.sha256(burst).hexdigest()


def test_every_file_that_was_used_is_hashed(tmp_path: Path) -> None:
    """Documents, the run's own log and readings, recordings, and the dialects that it spoke: by hashlib over
    the files themselves. What comes of them (evaluations, the report) is not among them.
    """
    dialects = Path(railwright.dialects.__file__).parent
    spoken = hashlib.sha256((dialects / "channel-list.yaml").read_bytes()).hexdigest()
    folder = store(tmp_path / "run", dialects={"channel-list": spoken}, software="railwright 0.1.0")
    (folder / "recordings").mkdir()
    (folder / "recordings" / "01-recorder.csv").write_bytes(b"time_s,main_voltage_V\n0,1\n1,2\n")
    (folder / "notes.txt").write_text("a photograph is in the drawer")
    hashes = run_facts_of(open_stored(folder))["document_hashes"]
    told = {name: digest for name, digest in hashes.items() if not name.startswith("dialect ")}
    for name, digest in told.items():
        assert digest == hashlib.sha256((folder / name).read_bytes()).hexdigest()
    used = {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and path.name not in ("manifest.json", "notes.txt", "guard.ndjson")
    }
    assert set(told) == used
    assert "recordings/01-recorder.csv" in told
    assert any(name.endswith(".parquet") for name in told)
    assert hashes["dialect channel-list of railwright 0.1.0"] == spoken


def test_a_run_notes_the_dialects_that_it_speaks(tmp_path: Path) -> None:
    documents = demo_with(tmp_path / "demo")
    dialects = Path(railwright.dialects.__file__).parent
    points = settle(documents, dt.date(2026, 11, 25)).set_points
    about = describe_run(
        documents, points, unit="S-1", operator="A. Keeper", started=dt.datetime(2026, 11, 25, tzinfo=dt.UTC),
        plan=plan_of(documents, points),
    )  # fmt: skip
    assert about["dialects"] == {
        name: hashlib.sha256((dialects / f"{name}.yaml").read_bytes()).hexdigest()
        for name in ("channel-list", "selected-output")
    }


def test_what_another_report_is_still_writing_is_not_listed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It goes when that one is done, and would be missing for good."""

    def built(_: object, folder: Path) -> Path:
        for name in ("report.pdf", "figures/01-hold.svg", "report.pdf.1a2b.part", "figures/02.svg.1a2b.part"):
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(name)
        return folder / "report.pdf"

    monkeypatch.setattr("railwright.report.of_run.build_report", built)
    folder = store(tmp_path / "run")
    make_report(open_stored(folder), {})
    for part in folder.rglob("*.part"):
        part.unlink()
    listed = json.loads((folder / "manifest.json").read_text())["files"]
    assert {"report/report.pdf", "report/figures/01-hold.svg"} <= set(listed)
    assert verify_manifest(folder).missing == ()
