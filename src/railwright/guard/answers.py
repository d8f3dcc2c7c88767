"""Numbers as supplies answer them: `12.5`, `1.25E+01`, and with their unit, `12.500V`, `500 mA`."""

from __future__ import annotations

import re
from typing import NamedTuple

_NUMBER = re.compile(
    r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z\u00b5][A-Za-z\u00b5/]*)?\s*", re.ASCII
)

_PREFIXES = {"": 1.0, "M": 1e-3, "U": 1e-6, "N": 1e-9, "K": 1e3}
"""M is milli, as in IEEE 488.2 (7.7.3): no supply here has mega of anything."""


class Code(NamedTuple):
    """A value as a whole number on the wire: value = code * scale + offset [SI unit]; codes from lowest to
    highest.
    """

    scale: float
    offset: float
    lowest: int
    highest: int

    def value(self, text: str) -> float:
        """What a code that is answered means [SI unit]. ValueError where it is none, or beyond its range."""
        found = _CODE.fullmatch(text)
        if found is None or not self.lowest <= (code := int(float(found[1]))) <= self.highest:
            told = f"expected a whole number from {self.lowest} to {self.highest}"
            raise ValueError(f"{told}, got {text.strip()[:60]!r}")
        return code * self.scale + self.offset

    def nearest(self, value: float) -> int:
        """The code within the range whose value is nearest to this one [SI unit]."""
        return min(max(round((value - self.offset) / self.scale), self.lowest), self.highest)


_CODE = re.compile(r"\s*([+-]?\d{1,15}(?:\.0*)?)\s*", re.ASCII)


def parted(text: str, unit: str, one: float) -> tuple[str, float]:
    """The number of an answer, and what one of it is in an SI unit: what stands behind the number, else
    `one`. ValueError where it is no number, or has the unit of another quantity.
    """
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise ValueError(f"expected a number such as 1.25E+01, got {text[:60]!r}")
    number, written = found.groups()
    if not written:
        return number, one
    factor = _factor(written, unit)
    if factor is None:
        raise ValueError(f"expected a number in {unit or 'no unit'}, got {text[:60]!r}")
    return number, factor


def in_si(text: str, unit: str, one: float, code: Code | None = None) -> float:
    """The value of an answer in an SI unit; `parted` says how it is read where it is no code. ValueError."""
    if code is not None:
        return code.value(text)
    number, factor = parted(text, unit, one)
    return float(number) * factor


def names(answer: str, name: str) -> bool:
    """Whether an answer is a name, or the number that it is."""
    text = answer.strip().strip('"')
    if text.upper() == name.upper():
        return True
    try:
        return float(text) == float(name)
    except ValueError:
        return False


def _factor(written: str, unit: str) -> float | None:
    """What one of a written unit is in an SI unit such as V or V/s; None: it is none of that quantity."""
    parts = [part.replace("\u00b5", "u").upper() for part in written.split("/")]
    wanted = unit.upper().split("/")
    if not unit or len(parts) != len(wanted):
        return None
    factor = 1.0
    for place, (part, base) in enumerate(zip(parts, wanted, strict=True)):
        one = _PREFIXES.get(part.removesuffix(base)) if part.endswith(base) else None
        if one is None:
            return None
        factor = factor / one if place else factor * one
    return factor
