"""Parameters as SCPI means them: a number within bounds with MIN, MAX and DEF, a boolean, a word of a choice.

Sources: SCPI-1999 vol. 1, 7.2 (numeric values and special forms), 7.3 (boolean: ON, OFF or a number, rounded,
0 is OFF).
"""

from __future__ import annotations

from railwright.scpi.data import Block, Datum, Expression, Number, Text, Word
from railwright.scpi.errors import ScpiError
from railwright.scpi.numbers import unit_factor

_SPECIAL = {"MIN": "MIN", "MINIMUM": "MIN", "MAX": "MAX", "MAXIMUM": "MAX", "DEF": "DEF", "DEFAULT": "DEF"}


def special_word(datum: Datum) -> str | None:
    """MIN, MAX or DEF when the datum is one of them in either form, else None."""
    return _SPECIAL.get(datum.text.upper()) if isinstance(datum, Word) else None


def number_in(datum: Datum, unit: str, lowest: float, highest: float, default: float) -> float:
    """A numeric parameter in `unit` ("" for a plain number), MIN, MAX and DEF standing for the bounds and the
    default.

    -222 outside lowest..highest (beyond a millionth of the span, so that 0.1 survives its decimal form), -131
    and -138 for a wrong suffix, -141 for another word, -128 and kin for another type.
    """
    word = special_word(datum)
    if word is not None:
        return {"MIN": lowest, "MAX": highest, "DEF": default}[word]
    if isinstance(datum, Word):
        if datum.text.upper() in ("INF", "INFINITY", "NINF", "NAN", "UP", "DOWN"):
            raise ScpiError(-222, f"{datum.text} of {lowest:g}..{highest:g}")
        raise ScpiError(-141, datum.text)
    if not isinstance(datum, Number):
        raise ScpiError(_not_allowed(datum))
    if datum.suffix and not unit:
        raise ScpiError(-138, datum.suffix)
    value = datum.value * (unit_factor(datum.suffix, unit) if datum.suffix else 1.0)
    slack = 1e-6 * (highest - lowest) if highest > lowest else 0.0
    if not lowest - slack <= value <= highest + slack:
        raise ScpiError(-222, f"{value:g} of {lowest:g}..{highest:g}")
    return min(max(value, lowest), highest)


def integer_in(datum: Datum, lowest: int, highest: int, default: int = 0) -> int:
    """A whole number; others are rounded, as IEEE 488.2-1992 7.7.2.4 has it."""
    return round(number_in(datum, "", float(lowest), float(highest), float(default)))


def boolean(datum: Datum) -> bool:
    """ON, OFF, or a number that is rounded: 0 is OFF, all others ON."""
    if isinstance(datum, Word):
        if datum.text.upper() in ("ON", "OFF"):
            return datum.text.upper() == "ON"
        raise ScpiError(-141, f"{datum.text} of ON, OFF")
    if not isinstance(datum, Number):
        raise ScpiError(_not_allowed(datum))
    if datum.suffix:
        raise ScpiError(-138, datum.suffix)
    return abs(datum.value) >= 0.5


def choice(datum: Datum, *words: str) -> str:
    """One of the words, each given with its short form in capitals ("INTernal"); gives the short form. -224
    otherwise.
    """
    if not isinstance(datum, Word):
        raise ScpiError(_not_allowed(datum))
    for word in words:
        short = "".join(letter for letter in word if not letter.islower())
        if datum.text.upper() in (short, word.upper()):
            return short
    raise ScpiError(-224, f"{datum.text} of {', '.join(words)}")


def _not_allowed(datum: Datum) -> int:
    """The error for a datum of a type that the parameter does not take."""
    return {Number: -128, Word: -148, Text: -158, Block: -168, Expression: -178}[type(datum)]
