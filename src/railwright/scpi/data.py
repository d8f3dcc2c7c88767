"""Program data of IEEE 488.2: numbers, words, strings, blocks and expressions, and the channel lists of SCPI.

Sources: IEEE 488.2-1992, 7.7 (program data); SCPI-1999 vol. 1, 8.3.2 (channel lists).
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

from railwright.scpi.blocks import decode_block
from railwright.scpi.errors import ScpiError
from railwright.scpi.numbers import LONGEST_SUFFIX, NUMBER, parse_decimal, parse_other_base

LONGEST_WORD = 12
"""Most characters of a mnemonic or a word (IEEE 488.2-1992, 7.6.1 and 7.7.1)."""

WHITE = frozenset(chr(code) for code in (*range(10), *range(11, 33)))
"""White space: every control character but newline, and the space (IEEE 488.2-1992, 7.4.1.2)."""

_WORD = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
_SUFFIX = re.compile(r"/?[A-Za-z][A-Za-z0-9/.]*")
_OTHER_BASE = re.compile(r"#([HhQqBb])([0-9A-Za-z]*)")
_CHANNELS = re.compile(r"\(\s*@\s*(\d{1,9}\s*(?::\s*\d{1,9}\s*)?(?:,\s*\d{1,9}\s*(?::\s*\d{1,9}\s*)?)*)\)")


@dataclass(frozen=True)
class Number:
    """A numeric parameter, with its suffix as written (empty when there was none)."""

    value: float
    suffix: str = ""


@dataclass(frozen=True)
class Word:
    """Character data: ON, MIN, INTernal; in the case it came in."""

    text: str


@dataclass(frozen=True)
class Text:
    """A quoted string, its quotes taken off."""

    text: str


@dataclass(frozen=True)
class Block:
    """An arbitrary block."""

    data: bytes


@dataclass(frozen=True)
class Expression:
    """An expression in parentheses, which it still has: `(@1,2)`."""

    text: str


Datum = Number | Word | Text | Block | Expression


def read_datum(message: str, start: int) -> tuple[Datum, int]:
    """The datum at `message[start]`, and the index just after it. The message is latin-1 text, one letter a
    byte.
    """
    first = message[start]
    if first in "+-.0123456789":
        return _read_number(message, start)
    if first.isascii() and first.isalpha():
        found = _WORD.match(message, start)
        assert found is not None
        if len(found.group()) > LONGEST_WORD:
            raise ScpiError(-144, found.group()[:40])
        return Word(found.group()), found.end()
    if first in "\"'":
        return _read_string(message, start)
    if first == "#":
        other = _OTHER_BASE.match(message, start)
        if other is not None:
            return Number(parse_other_base(other.group(1), other.group(2))), other.end()
        data, end = decode_block(message.encode("latin-1"), start)
        return Block(data), end
    if first == "(":
        return _read_expression(message, start)
    raise ScpiError(-101 if not 32 < ord(first) < 127 else -102, f"{first} where a parameter is expected")


def _read_number(message: str, start: int) -> tuple[Number, int]:
    found = NUMBER.match(message, start)
    if found is None:
        raise ScpiError(-121, message[start : start + 20])
    value, end = parse_decimal(found.group()), found.end()
    after = end
    while after < len(message) and message[after] in WHITE:
        after += 1
    suffix = _SUFFIX.match(message, after)
    if suffix is None:
        return Number(value), end
    if len(suffix.group()) > LONGEST_SUFFIX:
        raise ScpiError(-134, suffix.group()[:40])
    return Number(value, suffix.group()), suffix.end()


def _read_string(message: str, start: int) -> tuple[Text, int]:
    """A quote inside is written twice (IEEE 488.2-1992, 7.7.5)."""
    quote, letters, here = message[start], [], start + 1
    while here < len(message):
        if message[here] != quote:
            if ord(message[here]) > 127:
                raise ScpiError(-151, "only 7-bit characters may stand in a string")
            letters.append(message[here])
            here += 1
        elif message[here + 1 : here + 2] == quote:
            letters.append(quote)
            here += 2
        else:
            return Text("".join(letters)), here + 1
    raise ScpiError(-151, "the closing quote is missing")


def _read_expression(message: str, start: int) -> tuple[Expression, int]:
    """No quote, `#`, `;` or further parenthesis may stand inside (IEEE 488.2-1992, 7.7.7.2)."""
    end = message.find(")", start)
    if end < 0:
        raise ScpiError(-171, "the closing parenthesis is missing")
    text = message[start : end + 1]
    if any(letter in "\"'#;(" or ord(letter) > 126 for letter in text[1:]):
        raise ScpiError(-171, text[:40])
    return Expression(text), end + 1


def parse_channels(expression: Expression, known: Collection[int]) -> tuple[int, ...]:
    """Channels of a list such as `(@1,2)` or `(@1:3)`, in the order written; a range may run down, `(@3:1)`.

    known: the channels that there are; a range may not run over one that there is not. -171 when it is no
    channel list, -222 for a channel that there is not or a list of more than 1000 channels.
    """
    found = _CHANNELS.fullmatch(expression.text)
    if found is None:
        raise ScpiError(-171, f"{expression.text[:40]} is no channel list such as (@1,2)")
    channels: list[int] = []
    for part in found.group(1).split(","):
        ends = [int(end) for end in part.split(":")]
        step = 1 if ends[-1] >= ends[0] else -1
        for channel in range(ends[0], ends[-1] + step, step):
            if channel not in known:
                raise ScpiError(-222, f"channel {channel} of {_named(known)}")
            channels.append(channel)
            if len(channels) > 1000:
                raise ScpiError(-222, "more than 1000 channels")
    return tuple(channels)


def _named(known: Collection[int]) -> str:
    if isinstance(known, range):
        return f"{known.start}..{known.stop - 1}"
    return ", ".join(str(channel) for channel in sorted(known))
