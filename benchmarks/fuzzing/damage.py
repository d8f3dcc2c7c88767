"""Damage to bytes and texts: drawn by a `random.Random`, so that a seed gives the same damage."""

from __future__ import annotations

import random
import re

SPECIAL = (
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\r\n",
    b"\r",
    b"\n\n\n",
    b"\x1b[2J",
    b"\xc2\x9b31m",
    b"\xe2\x80\xae",
    b"\xed\xa0\x80",
    b"\xff",
    b"nan",
    b"inf",
    b"-inf",
    b"1e400",
    b"1e-400",
    b"9" * 400,
    b'"',
    b"'",
    b",",
    b";",
    b";;;;",
    b"\t",
    b"(",
    b")" * 50,
    b"[" * 200,
    b"{" * 200,
    b"\\",
    b"null",
    b"true",
    b"{}",
    b"[]",
    b"-0",
    b"#",
    b"*",
    b":" * 40,
    b"A" * 5000,
)

NUMBERS = (
    *("0", "-0", "-1", "1e308", "-1e308", "1.7976931348623157e308", "1e-308", "5e-324", "1e400", "1e-400"),
    *("nan", "inf", "-inf", "1e9", "1e-9", "0.0000001", "1,5", "1_000", "0x10", "१२", "9" * 400, "1e99999"),
)
UNITS = (
    *("V", "mV", "kV", "A", "uA", "kA", "s", "ms", "ns", "h", "ohm", "Mohm", "F", "uF", "pF", "H", "W", "m"),
    *("%", "°C", "V/s", "V/ms", "A/s", "J", "km", "mm2", "K", "", "V**99", "parsec", "V*V", "µ", "class 5"),
)
WORDS = (
    *("~", "null", "true", "no", "auto", "off", "on", "[]", "{}", "''", '" "', "[[]]", "{a: b}", "[1, 2]"),
    *("*a", "&a 1", "&a [*a]", "!!int 3", "!!python/object:os.system x", "<<", "|", ">", "?", "- 1", "main"),
    *("../../../etc/passwd", "/dev/zero", "/", ".", "\x1b[31m", '"\\x1b[31m\\u202e"', '"\\0"', "\u202eabc"),
    *("a" * 300, "😀", "AWG 99", "AWG 0", "3 mm2 class 5", "0 mm2 class 5", "left.1", "left.99", "1", "-1"),
    *(
        "2026-02-30",
        "0000-00-00",
        "9999-12-31",
        "normal k=0",
        "12 V ± 200 %",
        "0 V ± 0 %",
        "regulate",
        "trip",
    ),
)
QUANTITY = re.compile(
    r"(?<![\w.])-?\d+(?:\.\d+)?(?:e-?\d+)? ?(?:%|°C|[munkMGµ]?(?:V|A|s|ohm|F|H|W|m|J)\b(?:/m?s)?)?"
)
FACTORS = (-1, 1e-15, 1e-9, 1e-6, 1e-3, 0.1, 0.5, 0.9, 0.99, 1.01, 1.1, 2, 10, 1e3, 1e6, 1e9, 1e12)
_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e-?\d+)?")


def damaged(dice: random.Random, data: bytes) -> bytes:
    """Bytes with one place cut, doubled, flipped, or with something special in it."""
    at = dice.randrange(len(data) + 1)
    length = dice.choice((0, 1, 1, 2, 4, 16, 200, 5000))
    match dice.randrange(7):
        case 0:
            return data[:at] + data[at + length :]
        case 1:
            return data[:at]
        case 2:
            return data[:at] + data[at : at + length] * dice.choice((2, 3, 20)) + data[at:]
        case 3 if at < len(data):
            return data[:at] + bytes([data[at] ^ (1 << dice.randrange(8))]) + data[at + 1 :]
        case 4:
            return data[:at] + dice.choice(SPECIAL) + data[at + length :]
        case 5:
            return data[:at] + dice.randbytes(length) + data[at + length :]
        case _:
            other = dice.randrange(len(data) + 1)
            return data[:at] + data[other : other + length] + data[at + length :]


def quantity(dice: random.Random, written: str) -> str:
    """Another quantity in the place of one: its number, its unit, or all of it."""
    number = _NUMBER.match(written)
    unit = written[number.end() :].strip() if number else written
    match dice.randrange(6):
        case 0:
            return f"{dice.choice(NUMBERS)} {unit}"
        case 1 | 2 | 3 if number:
            try:
                scaled = float(number[0]) * dice.choice((0, 0, *FACTORS))
            except ValueError:
                scaled = 0.0
            return f"{scaled:g} {unit}"
        case 4 if number:
            return f"{number[0]} {dice.choice(UNITS)}"
        case _:
            return f"{dice.choice(NUMBERS)} {dice.choice(UNITS)}"


def other_figure(dice: random.Random, text: str) -> str:
    """A document with another quantity in the place of one."""
    found = list(QUANTITY.finditer(text))
    if not found:
        return text
    match = dice.choice(found)
    return text[: match.start()] + quantity(dice, match[0]) + text[match.end() :]


def damaged_document(dice: random.Random, text: str) -> str:
    """A document with a value, a line or a block of it changed."""
    lines = text.split("\n")
    at = dice.randrange(len(lines))
    line = lines[at]
    kind = dice.randrange(14)
    if kind <= 5:
        return other_figure(dice, text)
    key, colon, value = line.partition(": ")
    match kind:
        case 6 | 7 if colon:
            lines[at] = f"{key}: {dice.choice(WORDS)}"
        case 8:
            del lines[at]
        case 9:
            lines.insert(at, line)
        case 10:
            lines[at] = " " * dice.randrange(9) + line.lstrip()
        case 11:
            lines[at : at + dice.randrange(20)] = []
        case 12:
            other = dice.randrange(len(lines))
            lines[at], lines[other] = lines[other], line
        case 13 if colon:
            lines[at] = dice.choice(
                (f"{key}: &a {value}", f"{key}: [{value}]", f"{key}: {{x: {value}}}", f"{key}:")
            )
        case _:
            return damaged(dice, text.encode()).decode("latin-1")
    return "\n".join(lines)
