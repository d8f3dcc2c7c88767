"""Text from outside made fit to print: what would steer a terminal, or turn a line around, is written as its
escape.

Documents, file names, what instruments answer and what lies in a record pass through here before they stand
in a message, a log or a report on a terminal.
"""

from __future__ import annotations

import unicodedata

_STEERS = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))
"""Categories of Unicode that are no text: controls (C0, C1, DEL), format characters (among them those that
turn the direction), lone surrogates (bytes of a file name that are no UTF-8), line and paragraph separators.
"""

_KEPT = frozenset("\u200c\u200d")
"""Format characters that words are written with: whether letters join, as in Persian."""


def printable(text: str, *, one_line: bool = False) -> str:
    r"""The text with every character that steers as an escape: ESC is `\x1b`, a turn to the left `\u202e`.

    Newline and tab stay, unless it is to be one line, where they are `\n` and `\t`. Letters, signs and blanks
    of any script stay. A text that is printable comes back as it is.
    """
    if text.isprintable():
        return text
    kept = "" if one_line else "\n\t"
    return "".join(c if c in kept or _is_text(c) else c.encode("unicode_escape").decode() for c in text)


def _is_text(character: str) -> bool:
    return character in _KEPT or unicodedata.category(character) not in _STEERS
