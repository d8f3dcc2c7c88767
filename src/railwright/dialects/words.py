"""The words of a dialect: each comes back long or short, and opposites must not look alike."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

OPPOSITES = (("on", "off"), ("at load", "at terminals"), ("fixed", "list"), ("step", "line"))
"""Words of which an output is told one or the other."""

MEANT = {"at load": "EXTernal", "at terminals": "INTernal", "fixed": "FIXed", "list": "LIST"}
"""What SCPI-1999 (vol. 2, SOURce) calls some of them: a dialect may call each otherwise, but not by the name
of its opposite. The query is compared with the same word, so nothing that is asked back shows an exchange.
"""


ONE_OR_MORE = {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}
"""What the JSON Schema says of one word, or a list of them."""


def as_words(given: Any) -> Any:
    """One word, or a list of them, as its model has it; what else came the model tells."""
    return (given,) if isinstance(given, str) else tuple(given) if isinstance(given, list) else given


@lru_cache(maxsize=2000)
def forms(written: str) -> tuple[str, ...]:
    """Texts that mean a word, in capitals: as it is written, and short (SCPI-1999 vol. 1, 7.1: EXT for
    EXTernal).
    """
    short = "".join(letter for letter in written if not letter.islower())
    return tuple(dict.fromkeys(text.upper() for text in (written, short) if text))


def off_answers(off: str, answers: Sequence[str] = ()) -> tuple[str, ...]:
    """What the query of an output's state may answer where it is off, in capitals. off: the word for it;
    answers: what it answers then, where that is nothing else.
    """
    return tuple(dict.fromkeys(form for word in answers or ("0", "OFF", off) for form in forms(word)))


def means_on(written: str) -> bool | None:
    """What a text says as a boolean (SCPI-1999 vol. 1, 7.3): ON, OFF, or a number, which is rounded; None:
    it is none.
    """
    text = written.strip().upper()
    if text in ("ON", "OFF"):
        return text == "ON"
    if re.fullmatch(r"[+-]?\d+(\.\d*)?", text, re.ASCII):
        return abs(float(text)) >= 0.5
    return None


def check_whole(what: str, *texts: str | None) -> None:
    """ValueError where a text that becomes part of a message could end it, or begin another command in it."""
    for text in texts:
        if text is not None and any(sign in ";" or not sign.isprintable() for sign in text):
            raise ValueError(f"expected {what} without ';' or a newline, got {text!r}: each ends a command")


def check_words(words: Mapping[str, str]) -> None:
    """ValueError where opposite words look alike, or one means its opposite: the word for on off, that for
    off on, or what SCPI-1999 has a name for.
    """
    for one, other in OPPOSITES:
        if one in words and other in words and set(forms(words[one])) & set(forms(words[other])):
            raise ValueError(
                f"expected different words for '{one}' and '{other}', got '{words[one]}' and "
                f"'{words[other]}'; write what the instrument calls each"
            )
        for word, opposite in ((one, other), (other, one)):
            meant = set(forms(MEANT.get(opposite, "")))
            if word in words and set(forms(words[word])) & meant:
                raise ValueError(
                    f"expected a word that means '{word}', got '{words[word]}', which means '{opposite}' "
                    "(SCPI-1999, vol. 2); exchange the words"
                )
    for word, on in (("on", True), ("off", False)):
        if word in words and means_on(words[word]) is (not on):
            raise ValueError(
                f"expected a word that switches {word} for '{word}', got '{words[word]}', which switches "
                f"{'off' if on else 'on'} (SCPI-1999, boolean data); exchange the words"
            )
