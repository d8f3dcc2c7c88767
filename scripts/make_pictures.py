"""Make the README's pictures from a run's folder: `scripts/make_pictures.py RUN docs/images`.

The run needs an evaluation with an external recording, as `railwright demo` makes one, and a report.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from railwright.archive.stored import evaluations_of, open_stored
from railwright.rehearsal.rehearse import rehearse
from railwright.report.drawing import drawing, save
from railwright.report.overlay import Overlay
from railwright.report.plots import save_step
from railwright.report.wiring import wiring_figure, wiring_of


def main(run: Path, images: Path) -> None:
    """Overlay of the first step, wiring drawing, and the report's first page, as PNG."""
    stored = open_stored(run)
    documents, set_points = stored.documents, stored.settings.set_points
    _, external = evaluations_of(stored)
    record = stored.data.record
    images.mkdir(parents=True, exist_ok=True)
    overlay = Overlay(
        rehearse(documents, set_points).record,
        record,
        external,
        documents.procedure.requires,
        set_points,
        tuple(documents.device.inputs),
    )
    first = min(record.spans, key=lambda span: span.start)
    save_step(overlay, first.name, images / "power-up.png")
    wiring = wiring_of(documents.device, documents.bench, documents.procedure)
    with drawing():
        save(wiring_figure(wiring), images / "wiring.png")
    tool = shutil.which("pdftoppm")
    if tool is None:
        raise SystemExit("pdftoppm (poppler-utils) is needed for the picture of the report's first page")
    report = run / "report" / "report.pdf"
    page = images / "report-first-page"
    subprocess.run([tool, "-r", "80", "-png", "-f", "1", "-l", "1", "-singlefile", report, page], check=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
