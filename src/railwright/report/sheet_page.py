"""The sheet set as one page, PDF or SVG: as large as it fits, on A4 where that can be read, else on A3."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from railwright.report.document import VERSION, compiler

if TYPE_CHECKING:
    import typst

Size = tuple[str, float, float]

ABOVE: tuple[Size, ...] = (
    ("a4", 1.0, 10.4),
    ("a4", 1.0, 9.4),
    ("a4", 0.92, 9.0),
    ("a4", 0.85, 8.6),
    ("a4", 0.8, 8.2),
    ("a3", 1.0, 11.5),
    ("a3", 1.0, 10.0),
    ("a3", 0.85, 9.4),
    ("a3", 0.7, 9.0),
    ("a3", 0.55, 8.2),
)
"""Paper, width of the drawing in parts of the page's, size of the text [pt]; the first that fits is taken."""
BESIDE: tuple[Size, ...] = (
    ("a3", 182.0, 10.4),
    ("a3", 165.0, 10.0),
    ("a3", 150.0, 9.6),
    ("a3", 135.0, 9.2),
    ("a3", 120.0, 8.8),
    ("a3", 105.0, 8.2),
    ("a3", 90.0, 7.6),
    ("a3", 70.0, 6.8),
)
"""The same for a drawing beside the words, its width in mm."""
TALL = 1.15
"""Height of a drawing in parts of its width, from which on it stands beside the words."""


def sheet_pdf(data: Mapping[str, Any], made: dt.datetime) -> bytes:
    """The sheet as PDF bytes; the same data and moment give the same bytes."""
    pdf = _compiler(data, _fitting(data)[0]).compile(
        format="pdf", pdf_standards=["a-2b", VERSION], timestamp=made.replace(microsecond=0)
    )
    assert isinstance(pdf, bytes), "one page"
    return pdf


def sheet_svg(data: Mapping[str, Any]) -> str:
    """The sheet as SVG text."""
    return _fitting(data)[1].decode()


def _fitting(data: Mapping[str, Any]) -> tuple[Size, bytes]:
    """The first size in which it is one page, or the last one, and its first page as SVG."""
    for size in BESIDE if _tall(data["wiring"]) else ABOVE:
        made = _compiler(data, size).compile(format="svg")
        pages = [made] if isinstance(made, bytes) else list(made or [])
        if len(pages) == 1:
            break
    return size, pages[0]


def _tall(drawing: str) -> bool:
    """Whether a drawing is much higher than it is wide, by the view box of its SVG."""
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawing)
    return box is not None and float(box[2]) > TALL * float(box[1])


def _compiler(data: Mapping[str, Any], size: Size) -> typst.Compiler:
    paper, drawing, points = size
    beside = _tall(data["wiring"])
    return compiler("sheet.typ", data, paper=paper, drawing=drawing, size=points, beside=beside)
