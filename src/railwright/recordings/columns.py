"""Columns of a recording: their names and units as people and programs write them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from railwright.quantities import parse_value
from railwright.quantities.units import USUAL

_WORDS = {"sec": "s", "second": "s", "seconds": "s", "volt": "V", "volts": "V", "msec": "ms", "usec": "us"}
_BRACKETED = re.compile(r"(.*?)[ _]*[\[(]\s*([^\])]*?)\s*[\])]")
_TIMES = re.compile(
    r"t|(?:date[ _]?)?(?:time|zeit)(?:[ _]?stamp)?|timestamp|tijd|temps|tiempo|tid", re.IGNORECASE
)

Kind = Literal["number", "fraction", "instant", "text"]
"""What a column holds; fraction: numbers of which 1 stands for full scale."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column as its file has it.

    name: without the unit; unit: as written, '' where none is. header: both as they stand in the file. line,
    place: where the header stands in a file of text, from 1. holds: what is no number and no time.
    """

    name: str
    unit: str = ""
    kind: Kind = "number"
    header: str = ""
    line: int = 1
    place: int = 1
    holds: str = "texts"

    @property
    def is_called_time(self) -> bool:
        return bool(_TIMES.fullmatch(self.name))

    @property
    def looks_like_time(self) -> bool:
        return self.is_called_time or known_unit(self.unit, "s") is not None


def known_unit(unit: str, si: str) -> float | None:
    """What a unit that recordings usually hold is in an SI unit; None: it is none of that kind."""
    power = USUAL[si].get(_WORDS.get(unit.casefold(), unit).replace("μ", "µ"))
    return None if power is None else 10.0**power


def unit_factor(unit: str, si: str) -> float | None:
    """What any unit is in an SI unit; None: it is none of that kind."""
    factor = known_unit(unit, si)
    if factor is None:
        try:
            factor = parse_value(f"1 {unit}", si)
        except ValueError:
            return None
    return factor


def is_unit(text: str) -> bool:
    """Whether a text is a unit of something that recordings hold."""
    return any(known_unit(text, si) is not None for si in ("s", "V", "A", "W"))


def split_header(text: str) -> tuple[str, str]:
    """A column's name and its unit: `time [ms]`, `U (mV)`, `U/V`, `main_voltage_mV`."""
    text = text.strip().strip('"').strip()
    if bracketed := _BRACKETED.fullmatch(text):
        return bracketed[1].strip(), bracketed[2]
    for separator in ("/", "_", " in "):
        name, found, unit = text.rpartition(separator)
        if found and name.strip() and is_unit(unit.strip()):
            return name.strip(), unit.strip()
    return text, ""


def named(header: str, unit: str) -> tuple[str, str]:
    """A column's name and unit where its file has a place for the unit, '' where that is empty: what the
    header ends in then is its unit too only where both say the same.
    """
    name, written = split_header(header)
    return (name, written) if unit in ("", written) else (header, unit)


def names_of(columns: Sequence[Column]) -> str:
    """The names of columns for a message; of many the first."""
    return ", ".join(column.name for column in columns[:20])
