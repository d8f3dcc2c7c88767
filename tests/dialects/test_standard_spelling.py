"""What a shipped dialect spells otherwise than SCPI-1999 carries its mark there, and nothing else does.

The headers are those of SCPI-1999 (vol. 2) and IEEE 488.2, from memory; no copy of either lies here.
"""

from __future__ import annotations

import re

import pytest

from railwright.dialects.files import dialect_names, dialect_text

STANDARD = {
    "*IDN",
    "*CLS",
    "*ESR",
    "*OPC",
    "ABORT",
    "FETCH:CURRENT",
    "INITIATE",
    "INSTRUMENT:NSELECT",
    "INSTRUMENT:SELECT",
    "MEASURE:VOLTAGE",
    "MMEMORY:DATA",
    "OUTPUT:PROTECTION:CLEAR",
    "OUTPUT:STATE",
    "SOURCE:CURRENT",
    "SOURCE:CURRENT:PROTECTION:LEVEL",
    "SOURCE:CURRENT:PROTECTION:STATE",
    "SOURCE:CURRENT:PROTECTION:TRIPPED",
    "SOURCE:LIST:COUNT",
    "SOURCE:LIST:DWELL",
    "SOURCE:LIST:VOLTAGE",
    "SOURCE:POWER:PROTECTION",
    "SOURCE:POWER:PROTECTION:STATE",
    "SOURCE:POWER:PROTECTION:TRIPPED",
    "SOURCE:VOLTAGE",
    "SOURCE:VOLTAGE:ALC:SOURCE",
    "SOURCE:VOLTAGE:MODE",
    "SOURCE:VOLTAGE:PROTECTION",
    "SOURCE:VOLTAGE:PROTECTION:STATE",
    "SOURCE:VOLTAGE:PROTECTION:TRIPPED",
    "SOURCE:VOLTAGE:RANGE",
    "SOURCE:VOLTAGE:SLEW",
    "STATUS:OPERATION:INSTRUMENT:ISUMMARY:CONDITION",
    "STATUS:QUESTIONABLE:INSTRUMENT:ISUMMARY:CONDITION",
    "SYSTEM:ERROR",
}

MARK = "not in SCPI-1999"

HEADER = re.compile(
    r"(\*[A-Z]{3}|\b[A-Z]{3,}[a-z]*(?:\{channel\})?(?::[A-Z]{2,}[a-zA-Z]*(?:\{channel\})?)+)\b"
)


def marked_lines(name: str) -> list[tuple[str, bool]]:
    """The lines of a dialect's entries without their comments; whether each, or the part that it belongs to,
    is marked.
    """
    parts: list[tuple[int, bool]] = []
    found, above = [], False
    for line in dialect_text(name).splitlines():
        entry, _, comment = line.partition("#")
        if not entry.strip():
            above = bool(comment) and (above or MARK in comment)
            continue
        depth = len(entry) - len(entry.lstrip())
        while parts and parts[-1][0] >= depth:
            parts.pop()
        marked = MARK in comment or above or any(mark for _, mark in parts)
        parts.append((depth, marked))
        above = False
        found.append((entry, marked))
    return found


def headers(entry: str) -> list[str]:
    return [found.replace("{channel}", "").upper() for found in HEADER.findall(entry)]


@pytest.mark.parametrize("name", dialect_names())
def test_what_is_not_in_the_standard_is_marked(name: str) -> None:
    lines = marked_lines(name)
    assert len({header for entry, _ in lines for header in headers(entry)} & STANDARD) >= 10
    unmarked = [entry.strip() for entry, marked in lines if not marked and set(headers(entry)) - STANDARD]
    assert unmarked == []


@pytest.mark.parametrize("name", dialect_names())
def test_what_is_in_the_standard_is_not_marked(name: str) -> None:
    """An entry with a value in braces may be marked for its unit or its words."""
    lines = marked_lines(name)
    needless = [
        entry.strip()
        for entry, marked in lines
        if marked and headers(entry) and set(headers(entry)) <= STANDARD and "{query" not in entry
    ]
    assert needless == []
