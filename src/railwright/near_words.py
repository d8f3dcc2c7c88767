"""The word that was probably meant, for the end of a message. Standard library only."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

MOST_ALIKE = 8
"""Words that are named where they are equally near."""


def meant(word: str, known: Iterable[str]) -> str:
    """The known word that is probably meant: the nearest one; the word itself where none is near."""
    words = list(known)
    same = [other for other in words if other.casefold() == word.casefold()]
    near = same or difflib.get_close_matches(word[:200], words, 1, 0.6)
    return near[0] if near and word not in words else word


def hint(word: str, known: Iterable[str]) -> str:
    """'; did you mean ...?' with the nearest known word, or those that are equally near; nothing where none
    is near.
    """
    words = list(known)
    near = meant(word, words)
    if near == word:
        return ""
    likeness = difflib.SequenceMatcher(b=word[:200])
    ratios = {}
    for other in dict.fromkeys(words):
        likeness.set_seq1(other)
        ratios[other] = likeness.ratio()
    alike = [f"'{other}'" for other, ratio in ratios.items() if ratio == ratios[near]]
    if near.casefold() == word.casefold() or len(alike) > MOST_ALIKE:
        alike = [f"'{near}'"]
    *more, last = alike
    return f"; did you mean {', '.join(more)}{' or ' if more else ''}{last}?"
