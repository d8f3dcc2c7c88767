"""The report of a stored run."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import Any

from railwright.archive.stored import StoredRun, add_to_manifest, evaluate_run, evaluations_of
from railwright.evaluation.multimeters import multimeter_records
from railwright.evaluation.outcome import Outcome
from railwright.records.about import time_zero
from railwright.records.manifest import files_of, hash_file
from railwright.records.names import DOCUMENTS, RECORDINGS, REPORT, decides
from railwright.report.build import build_report
from railwright.report.subject import ReportInput
from railwright.version import TWIN_MAKER


def make_report(
    stored: StoredRun,
    said: dict[str, str | None],
    timed: Callable[[str], AbstractContextManager[object]] = nullcontext,
) -> tuple[Path, Outcome]:
    """Build the report of a run; the PDF's path, and the outcome that it states.

    timed: gives, for the name of a part of the work, what is entered before that part and left after it.
    """
    from railwright.rehearsal.repeating import rehearse_until

    evaluations, external = evaluations_of(stored)
    if not evaluations:
        with timed("evaluation"):
            evaluations = (evaluate_run(stored, []),)
    with timed("rehearsal"):
        _, rehearsal = rehearse_until(stored.documents, stored.settings.set_points)
    given = ReportInput(
        documents=stored.documents,
        set_points=stored.settings.set_points,
        reasons=stored.settings.reasons,
        findings=stored.settings.findings,
        rehearsal=rehearsal.record,
        measured=stored.data.record,
        evaluations=evaluations,
        run=run_facts_of(stored) | said,
        reported=dt.datetime.now().astimezone().replace(microsecond=0),
        external=external,
        assumptions=rehearsal.assumptions,
        metered=multimeter_records(stored.documents, stored.data.multimeters),
    )
    run = stored.folder
    with timed("report"):
        pdf = build_report(given, run / REPORT)
    add_to_manifest(stored, [f"{REPORT}/{name}" for name in files_of(run / REPORT)])
    return pdf, evaluations[-1].outcome


def run_facts_of(stored: StoredRun) -> dict[str, Any]:
    """What the report says of the run, under the names that the report knows."""
    about = stored.data.about
    instruments = [
        {**entry, "identification": _identification(entry.get("identification"))}
        for entry in about["instruments"]
    ]
    makers = {(entry.get("identification") or {}).get("maker") for entry in about["instruments"]}
    ending = stored.ending
    return {
        "run_id": about.get("run"),
        "unit": about.get("unit"),
        "operator": about.get("operator"),
        "laboratory": about.get("laboratory"),
        "ambient": about.get("ambient"),
        "instruments": instruments,
        "proved": about.get("proved") or (),
        "start": time_zero(about),
        "end": about.get("finished"),
        "ended": _ended(stored),
        "ending": ending,
        "switched_off": about.get("switched_off") or {},
        "simulated": TWIN_MAKER in makers,
        "software_version": about.get("software"),
        "document_hashes": {
            **{name: hash_file(stored.folder / name) for name in _files(stored)},
            **_dialects(stored),
        },
        "deviations": [*(about.get("deviations") or ()), *(about.get("cautions") or ()), *stored.differences],
    }


def _files(stored: StoredRun) -> list[str]:
    """The files in a run's folder of which its results come: documents and what they name, recordings that
    evaluations used, and what the run itself wrote of its settings and readings.
    """
    recordings = stored.folder / RECORDINGS
    used = recordings.rglob("*") if recordings.is_dir() else ()
    return [
        *_document_files(stored),
        *sorted(path.relative_to(stored.folder).as_posix() for path in used if path.is_file()),
        *sorted(path.name for path in stored.folder.iterdir() if path.is_file() and decides(path.name)),
    ]


def _dialects(stored: StoredRun) -> dict[str, str]:
    """The dialects in which the run spoke to its supplies, with the SHA-256 that each had then. A run of an
    earlier version did not note it.
    """
    about = stored.data.about
    noted = about.get("dialects") or {}
    return {f"dialect {name} of {about.get('software')}": str(digest) for name, digest in noted.items()}


def _document_files(stored: StoredRun) -> list[str]:
    """The documents of a run in its folder, and the files beside them that they name: recordings, tables."""
    documents = list((stored.data.about.get("documents") or {}).values())
    beside = (
        path.relative_to(stored.folder).as_posix()
        for path in (stored.folder / DOCUMENTS).rglob("*")
        if path.is_file()
    )
    return [*documents, *sorted(set(beside) - set(documents))]


def _ended(stored: StoredRun) -> str:
    """How the run ended, and why."""
    from railwright.records.ended import ENDED_TEXTS, NEVER_ENDED, Ended

    text, cause = ENDED_TEXTS[stored.data.ended], stored.data.about.get("cause")
    if not (stored.ending.early and cause):
        return text
    # What killed it is in the cause, as far as its guard knows.
    return f"{NEVER_ENDED if stored.data.ended is Ended.KILLED else text}: {cause}"


def _identification(data: dict[str, str] | None) -> str:
    return (
        ", ".join(data[key] for key in ("maker", "model", "serial", "version") if data.get(key))
        if data
        else ""
    )
