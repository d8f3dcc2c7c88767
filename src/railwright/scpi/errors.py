"""The error numbers of SCPI-1999 with their texts, and an entry of the error queue written and read.

Numbers and texts: SCPI-1999 volume 2 chapter 21 ("SYSTem subsystem", error and event numbers). Negative
numbers are the standard's; a device may add positive ones of its own.
"""

from __future__ import annotations

import re
from typing import Literal

LONGEST_ENTRY = 255
"""Most characters of one error description, device-dependent part included (SCPI-1999 vol. 2, 21.8)."""

STANDARD_TEXTS: dict[int, str] = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -105: "GET not allowed",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -115: "Unexpected number of parameters",
    -120: "Numeric data error",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -130: "Suffix error",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -140: "Character data error",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -150: "String data error",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -160: "Block data error",
    -161: "Invalid block data",
    -168: "Block data not allowed",
    -170: "Expression error",
    -171: "Invalid expression",
    -178: "Expression data not allowed",
    -200: "Execution error",
    -201: "Invalid while in local",
    -203: "Command protected",
    -210: "Trigger error",
    -211: "Trigger ignored",
    -212: "Arm ignored",
    -213: "Init ignored",
    -214: "Trigger deadlock",
    -220: "Parameter error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -223: "Too much data",
    -224: "Illegal parameter value",
    -225: "Out of memory",
    -226: "Lists not same length",
    -230: "Data corrupt or stale",
    -231: "Data questionable",
    -240: "Hardware error",
    -241: "Hardware missing",
    -256: "File name not found",
    -300: "Device-specific error",
    -310: "System error",
    -330: "Self-test failed",
    -340: "Calibration failed",
    -350: "Queue overflow",
    -360: "Communication error",
    -363: "Input buffer overrun",
    -365: "Time out error",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
    -500: "Power on",
    -600: "User request",
    -700: "Request control",
    -800: "Operation complete",
}

_EVENT_BIT_OF_CLASS = {1: 5, 2: 4, 3: 3, 4: 2, 5: 7, 6: 6, 7: 1, 8: 0}
"""Bit of the standard event register that an error class -n00 sets (IEEE 488.2-1992, 11.5.1; SCPI-1999 vol.
2, 21.8).
"""

ErrorForm = Literal["quoted", "text", "number"]
"""How an entry of an error queue is written: as the standard says, without quotes, or its number alone."""

_ENTRIES: dict[ErrorForm, tuple[re.Pattern[str], str]] = {
    "quoted": (re.compile(r'\s*([+-]?\d{1,6})\s*,\s*"((?:[^"]|"")*)"\s*\Z'), '0,"No error"'),
    "text": (re.compile(r"\s*([+-]?\d{1,6})\s*,\s*([^\"]*[^\"\s])\s*\Z"), "0, No error"),
    "number": (re.compile(r"\s*([+-]?\d{1,6})()\s*\Z"), "0"),
}
"""Form -> what an entry looks like, and an example."""


class ScpiError(Exception):
    """An error of the language: `number` as SCPI-1999 gives it, and what in particular was wrong (may be
    empty).
    """

    def __init__(self, number: int, detail: str = "") -> None:
        super().__init__(number, detail)
        self.number = number
        self.detail = detail

    def __str__(self) -> str:
        return format_entry(self.number, self.detail)


def standard_text(number: int) -> str:
    """Text of an error number; a number the standard does not list has the text of its class (-1xx: Command
    error).
    """
    of_class = STANDARD_TEXTS.get(-((-number) // 100 * 100), "Device-specific error")
    return STANDARD_TEXTS.get(number, of_class)


def event_bit(number: int) -> int | None:
    """Bit of the standard event register that the error sets; None for 0 (nothing happened).

    Positive numbers are the device's own and count as device-dependent errors, bit 3.
    """
    if number == 0:
        return None
    return 3 if number > 0 else _EVENT_BIT_OF_CLASS.get(-number // 100, 3)


def format_entry(number: int, detail: str = "", form: ErrorForm = "quoted") -> str:
    """An entry of the error queue as `SYSTem:ERRor?` answers it: `-222,"Data out of range;40 above 36"`.

    The description is cut to 255 characters, quotes inside are doubled, and what is not printable becomes
    `?`.
    """
    text = standard_text(number) + (f";{detail}" if detail else "")
    printable = "".join(letter if 32 <= ord(letter) < 127 else "?" for letter in text)[:LONGEST_ENTRY]
    if form == "quoted":
        return f'{number},"{printable.replace(chr(34), chr(34) * 2)}"'
    return f"{number}, {printable.replace(chr(34), '')}" if form == "text" else str(number)


def parse_entry(answer: str, form: ErrorForm = "quoted") -> tuple[int, str]:
    """Number and description ('' where it has none) of one answer to `SYSTem:ERRor?`; ValueError when it is
    not such an answer.
    """
    pattern, example = _ENTRIES[form]
    found = pattern.match(answer)
    if found is None:
        raise ValueError(f"expected an error entry such as {example}, got {answer!r}")
    return int(found.group(1)), found.group(2).replace('""', '"')
