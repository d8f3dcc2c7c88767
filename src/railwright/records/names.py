"""What the files of a run's folder are called, in the order in which they come to be.

Standard library only.
"""

from __future__ import annotations

from itertools import takewhile
from pathlib import Path
from typing import Literal, get_args

DOCUMENTS = "documents"
"""Folder of the three documents as they were."""

SETTINGS = "settings.json"
"""Set points, reasons, findings, rates of rise that were worked out."""

RUN = "run.json"
"""Who, what, where, and how it ended."""

LOG = "log.ndjson"
"""Every reading, event and action, one JSON object a line, as it happened."""

GUARD_LOG = "guard.ndjson"
"""Written by the guard's own process, one JSON object a line; it is closed before the run is finished."""

EVENTS = "events.json"
"""Events, once the run is over."""

TRUTH = "twins.json"
"""True figures behind simulated supplies."""

EVALUATIONS = "evaluations"
"""Folder of the evaluations, 01.json and on."""

RECORDINGS = "recordings"
"""Folder of the external recordings that evaluations used."""

REPORT = "report"
"""Folder of the report."""

EXPORT = "export"
"""Folder of the readings in files for other programs, where they are given no other."""

ExportKind = Literal["csv", "parquet", "hdf5"]
EXPORT_KINDS: tuple[ExportKind, ...] = get_args(ExportKind)
"""Kinds of such files."""

PDF, JSON, JUNIT, WIRING, FIGURES = "report.pdf", "report.json", "report.junit.xml", "wiring.svg", "figures"
"""Files of a report, and the folder of its figures."""

MANIFEST = "manifest.json"
"""SHA-256 of each file."""

UNFINISHED = ".part"
"""Ending of a file that is being written."""

RESERVE = f"reserve{UNFINISHED}"
"""Takes room on the disk while a run goes on, which the end of the run is given."""


_READINGS = ("record-", ".parquet")
_MULTIMETERS = ("multimeter-", ".parquet")


def readings_file(folder: Path, name: str) -> Path:
    """Where the readings of an input lie, once the run is over."""
    return folder / name.join(_READINGS)


def multimeter_file(folder: Path, name: str) -> Path:
    """Where the readings of a multimeter lie, once the run is over."""
    return folder / name.join(_MULTIMETERS)


def decides(name: str) -> bool:
    """Whether a file is one that the run writes and that an evaluation is made from; anything in the folder
    of the documents is. name: relative to the run's folder.
    """
    readings = "/" not in name and any(
        name.startswith(begin) and name.endswith(end) for begin, end in (_READINGS, _MULTIMETERS)
    )
    return readings or name in (SETTINGS, RUN, LOG, EVENTS) or name.startswith(f"{DOCUMENTS}/")


def evaluation_name(number: int) -> str:
    """Of an evaluation, from 1, relative to the run's folder."""
    return f"{EVALUATIONS}/{number:02d}.json"


def evaluation_files(folder: Path) -> list[Path]:
    """The evaluations that are there, the oldest first."""
    return sorted(
        (folder / EVALUATIONS).glob("[0-9][0-9]*.json"), key=lambda path: (number_of(path), path.name)
    )


def number_of(evaluation: Path) -> int:
    """The number in an evaluation's name; 0 where it has none."""
    return int("".join(takewhile(str.isdecimal, evaluation.name)) or 0)


def recording_name(evaluation: int, recorder: str, ending: str) -> str:
    """Of a recording that an evaluation used, relative to the run's folder. recorder: letters, digits and
    hyphens. ending: with its point.
    """
    return f"{RECORDINGS}/{evaluation:02d}-{recorder}{ending}"


def figure_name(number: int, step: str) -> str:
    """Of a step's plot, from 1, relative to the report's folder. step: letters, digits and hyphens."""
    return f"{FIGURES}/{number:02d}-{step}.svg"
