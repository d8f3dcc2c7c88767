"""What a fault makes of an answer: pure functions of its bytes."""

from __future__ import annotations

import re
from random import Random

from railwright.scpi.grammar import split_data, split_responses
from railwright.scpi.numbers import format_nr3

_OTHERS = {"INT": "EXT", "FIX": "LIST", "STEP": "LIN", "IMM": "BUS", "NONE": "(@1)"}
_WORDS = _OTHERS | {other: word for word, other in _OTHERS.items()}
_INTEGER = re.compile(r"\d{1,9}")


def half(answer: bytes) -> bytes:
    """The first half of it, at least one byte, without the newline."""
    return answer[: max(1, len(answer) // 2)]


def garbage(draw: Random) -> bytes:
    """Bytes that mean nothing, control characters among them, and a newline."""
    return bytes(draw.choice([n for n in range(256) if n != 10]) for _ in range(draw.randint(4, 40))) + b"\n"


def wrong(answer: bytes, draw: Random) -> bytes:
    """One datum of it wrong: an integer with its lowest bit flipped (so are flags), a number a tenth and 0.1
    off, a word exchanged for another that could stand there.
    """
    responses = [split_data(each) for each in split_responses(answer.decode("latin-1").rstrip("\n"))]
    places = [(r, d) for r, data in enumerate(responses) for d in range(len(data))]
    r, d = draw.choice(places)
    responses[r][d] = _wrong_datum(responses[r][d])
    return ";".join(",".join(data) for data in responses).encode("latin-1") + b"\n"


def _wrong_datum(datum: str) -> str:
    if _INTEGER.fullmatch(datum):
        return str(int(datum) ^ 1)
    try:
        return format_nr3(1.1 * float(datum) + 0.1)
    except ValueError:
        return "NONE" if datum.startswith("(@") else _WORDS.get(datum, f"{datum}X")
