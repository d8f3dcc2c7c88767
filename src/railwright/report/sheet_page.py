"""The sheet set as one page, PDF or SVG: as large as it fits, on A4 where that can be read, else on A3."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from importlib import resources
from typing import TYPE_CHECKING, Any

from railwright.report.content import as_lines
from railwright.report.text import within_bundled_fonts

if TYPE_CHECKING:
    import typst

Size = tuple[str, float, float]

SIZES: tuple[Size, ...] = (
    ("a4", 1.0, 10.4),
    ("a4", 1.0, 9.4),
    ("a4", 0.92, 9.0),
    ("a4", 0.85, 8.6),
    ("a4", 0.8, 8.2),
    ("a3", 1.0, 11.5),
    ("a3", 1.0, 10.0),
    ("a3", 0.85, 9.4),
    ("a3", 0.7, 8.6),
    ("a3", 0.55, 8.0),
    ("a3", 0.4, 7.0),
)
"""Paper, width of the drawing in parts of the page's, size of the text [pt]; the first that fits is taken."""


def sheet_pdf(data: Mapping[str, Any], made: dt.datetime) -> bytes:
    """The sheet as PDF bytes; the same data and moment give the same bytes."""
    pdf = _compiler(data, _fitting(data)[0]).compile(format="pdf", timestamp=made.replace(microsecond=0))
    assert isinstance(pdf, bytes), "one page"
    return pdf


def sheet_svg(data: Mapping[str, Any]) -> str:
    """The sheet as SVG text."""
    return _fitting(data)[1].decode()


def _fitting(data: Mapping[str, Any]) -> tuple[Size, bytes]:
    """The first size in which it is one page, or the last one, and its first page as SVG."""
    for size in SIZES:
        made = _compiler(data, size).compile(format="svg")
        pages = [made] if isinstance(made, bytes) else list(made or [])
        if len(pages) == 1:
            break
    return size, pages[0]


def _compiler(data: Mapping[str, Any], size: Size) -> typst.Compiler:
    """A compiler keeps its template for one compilation only."""
    import typst

    paper, drawing, points = size
    sized = {**data, "paper": paper, "drawing": drawing, "size": points}
    return typst.Compiler(
        resources.files("railwright.report").joinpath("sheet.typ").read_bytes(),
        ignore_system_fonts=within_bundled_fonts(as_lines(data)),
        sys_inputs={"data": json.dumps(sized, ensure_ascii=False, allow_nan=False)},
    )
