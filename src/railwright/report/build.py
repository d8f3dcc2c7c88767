"""Write a report into a folder: PDF, JSON, JUnit XML, and the drawings beside them."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from railwright.records.manifest import write_together
from railwright.records.names import JSON, JUNIT, PDF, WIRING, figure_name

if TYPE_CHECKING:
    from railwright.report.subject import ReportInput


def build_report(given: ReportInput, folder: Path) -> Path:
    """Write report.pdf, report.json, report.junit.xml, wiring.svg and figures/*.svg; returns the PDF's path.

    The folder is made where it is missing. All files are replaced together, so that a report that breaks off
    leaves the former one. The same input gives the same bytes. OSError where the folder cannot be written.
    """
    from railwright.report.content import content
    from railwright.report.document import compile_pdf
    from railwright.report.machine import to_json, to_junit

    data = content(given)
    pdf = compile_pdf(data, given.reported)
    figures = {
        folder / figure_name(place, _file_name(figure["step"])): figure["svg"]
        for place, figure in enumerate(data["figures"], start=1)
    }
    texts = {folder / WIRING: data["wiring"], folder / JSON: to_json(given), folder / JUNIT: to_junit(given)}
    write_together({**figures, **texts, folder / PDF: pdf}, folders=True)
    return folder / PDF


def _file_name(step: str) -> str:
    """A step's name as part of a file's name: letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", step.lower()).strip("-")[:40] or "step"
