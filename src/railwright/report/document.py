"""The report as PDF: data and drawings into a typst template, compiled in this process with bundled fonts."""

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

VERSION: typst.PDFStandard = "1.5"
"""PDF/A-2 may be of any version up to 1.7. From 1.6 on typst writes "Suspects false" into a tagged PDF: that
is right and only states the default, but some readers complain of it."""


def compiler(template: str, data: Mapping[str, Any], **more: Any) -> typst.Compiler:
    """What sets data into a template of this package; a compiler keeps its template for one compilation only.

    more: what the template is told beside the data, which alone says which characters the fonts need.
    """
    import typst

    return typst.Compiler(
        resources.files("railwright.report").joinpath(template).read_bytes(),
        ignore_system_fonts=within_bundled_fonts(as_lines(data)),
        sys_inputs={"data": json.dumps({**data, **more}, ensure_ascii=False, allow_nan=False)},
    )


def compile_pdf(data: Mapping[str, Any], reported: dt.datetime, template: str = "template.typ") -> bytes:
    """PDF bytes of a template of this package; the same data gives the same bytes.

    User text reaches the template as strings of a JSON document and is never parsed as markup. Fonts of the
    machine are asked only for characters that the bundled fonts lack. The PDF is a PDF/A-2b; only where a
    character has no glyph in any font, which PDF/A forbids, is it a plain PDF.
    """
    import typst

    moment = reported if reported.tzinfo else reported.replace(tzinfo=dt.UTC)
    try:
        return _compile(template, data, moment, ["a-2b", VERSION])
    except typst.TypstError as error:
        if "could not be displayed" not in error.message:
            raise
    return _compile(template, data, moment, [VERSION])


def _compile(
    template: str, data: Mapping[str, Any], moment: dt.datetime, standards: list[typst.PDFStandard]
) -> bytes:
    pdf = compiler(template, data).compile(format="pdf", pdf_standards=standards, timestamp=moment)
    if not isinstance(pdf, bytes):
        raise TypeError(f"expected one PDF from the template, got {type(pdf).__name__}")
    return pdf
