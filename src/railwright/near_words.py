"""The word that was probably meant, for the end of a message. Standard library only."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def meant(word: str, known: Iterable[str]) -> str:
    """The known word that is probably meant: the nearest one; the word itself where none is near."""
    words = list(known)
    same = [other for other in words if other.casefold() == word.casefold()]
    near = same or difflib.get_close_matches(word[:200], words, 1, 0.6)
    return near[0] if near and word not in words else word


def hint(word: str, known: Iterable[str]) -> str:
    """'; did you mean ...?' with the nearest known word; nothing where none is near."""
    near = meant(word, known)
    return f"; did you mean '{near}'?" if near != word else ""
