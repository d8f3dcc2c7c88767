"""Numbers of IEEE 488.2 and SCPI-1999: NR1, NR2, NR3, other bases, units with multipliers, MINimum and
MAXimum.

Sources: IEEE 488.2-1992, 7.7.2 (decimal numeric program data), 7.7.3 (suffix), 7.7.4 (other bases), 8.7.2 to
8.7.4 (responses); SCPI-1999 vol. 1, 7.2 (special values) and 7.3 (boolean).
"""

from __future__ import annotations

import math
import re

from railwright.scpi.errors import ScpiError

INFINITY = 9.9e37
"""How SCPI writes infinity in a response (SCPI-1999 vol. 1, 7.2.1.4)."""

NOT_A_NUMBER = 9.91e37
"""How SCPI writes "not a number" in a response (SCPI-1999 vol. 1, 7.2.1.5)."""

LONGEST_MANTISSA = 255
LARGEST_EXPONENT = 32000
LONGEST_SUFFIX = 12

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[\x00-\x09\x0b-\x20]*[eE][\x00-\x09\x0b-\x20]*[+-]?\d+)?")
"""A decimal number as a program may write it, white space around the E included (IEEE 488.2-1992,
7.7.2.2).
"""

_DIGITS = {"H": (16, "0123456789ABCDEF"), "Q": (8, "01234567"), "B": (2, "01")}

_MULTIPLIERS = {
    "EX": 1e18,
    "PE": 1e15,
    "T": 1e12,
    "G": 1e9,
    "MA": 1e6,
    "K": 1e3,
    "": 1.0,
    "M": 1e-3,
    "U": 1e-6,
    "N": 1e-9,
    "P": 1e-12,
    "F": 1e-15,
    "A": 1e-18,
}
"""Multiplier mnemonics (IEEE 488.2-1992, table 7-2): M is milli and MA is mega, but see `_MEGA_BY_ITSELF`."""

_MEGA_BY_ITSELF = frozenset({"HZ", "OHM"})
"""Units with which a lone M means mega: MHZ, MOHM (IEEE 488.2-1992, 7.7.3.4)."""

_UNITS = frozenset({"V", "A", "W", "S", "HZ", "OHM", "F", "H", "J", "C"})


def parse_decimal(text: str) -> float:
    """Value of a decimal number. -124 too many digits, -123 exponent too large, -121 a character that is none
    of it.
    """
    if not NUMBER.fullmatch(text):
        raise ScpiError(-121, text[:40])
    squeezed = re.sub(r"[\x00-\x20]", "", text)
    mantissa, _, exponent = squeezed.upper().partition("E")
    if len(mantissa.lstrip("+-").lstrip("0")) > LONGEST_MANTISSA:
        raise ScpiError(-124)
    if exponent and (len(exponent) > 20 or abs(int(exponent)) > LARGEST_EXPONENT):
        raise ScpiError(-123)
    value = float(squeezed)
    if math.isinf(value):
        raise ScpiError(-222, "the number is larger than can be held")
    return value


def parse_other_base(letter: str, digits: str) -> float:
    """Value of `#H1F`, `#Q17` or `#B101`, given the letter and the digits. -121 for a digit the base does not
    have.
    """
    base, allowed = _DIGITS[letter.upper()]
    if not digits or any(digit not in allowed for digit in digits.upper()):
        raise ScpiError(-121, f"#{letter}{digits[:20]}")
    if len(digits) > 64:
        raise ScpiError(-124)
    return float(int(digits, base))


def unit_factor(suffix: str, unit: str) -> float:
    """What a number with this suffix is to be multiplied by to be in `unit`, one of V, A, W, S, HZ, OHM, F,
    H, J, C or a ratio such as "V/S". `MA` with unit A is milliampere, `MAA` megaampere, `MHZ` megahertz. -131
    when it does not fit.
    """
    wanted, written = unit.upper().split("/"), suffix.upper().split("/")
    if not set(wanted) <= _UNITS:
        raise ValueError(f"unit {unit!r} is none of IEEE 488.2")
    if len(suffix) > LONGEST_SUFFIX:
        raise ScpiError(-134, suffix[:40])
    if len(wanted) != len(written):
        raise ScpiError(-131, f"{suffix} where {unit} is expected")
    factor = 1.0
    for position, (one_wanted, one_written) in enumerate(zip(wanted, written, strict=True)):
        part = _single_factor(one_written, one_wanted)
        if part is None:
            raise ScpiError(-131, f"{suffix} where {unit} is expected")
        factor = factor * part if position == 0 else factor / part
    return factor


def _single_factor(written: str, unit: str) -> float | None:
    if not written.endswith(unit):
        return None
    prefix = written[: len(written) - len(unit)]
    if prefix == "M" and unit in _MEGA_BY_ITSELF:
        return 1e6
    return _MULTIPLIERS.get(prefix)


def format_nr3(value: float) -> str:
    """A response in exponent form with eight significant digits: `1.2500000E+01`; infinity and NaN as SCPI
    has them.
    """
    if math.isnan(value):
        value = NOT_A_NUMBER
    elif math.isinf(value):
        value = math.copysign(INFINITY, value)
    mantissa, exponent = f"{value:.7E}".split("E")
    return f"{mantissa}E{int(exponent):+03d}"


def parse_response(text: str) -> float:
    """Value of one NR1, NR2 or NR3 response; SCPI's 9.9E37 becomes inf and 9.91E37 becomes nan. ValueError
    otherwise.
    """
    stripped = text.strip()
    if not NUMBER.fullmatch(stripped):
        raise ValueError(f"expected a number such as 1.25E+01, got {text!r}")
    value = float(stripped)
    if math.isclose(abs(value), INFINITY, rel_tol=1e-4):
        return math.copysign(math.inf, value)
    return math.nan if math.isclose(value, NOT_A_NUMBER, rel_tol=1e-4) else value
