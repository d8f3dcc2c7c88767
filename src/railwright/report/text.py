"""User text made fit to print: no control characters, nothing that reverses its order, breakable."""

from __future__ import annotations

import re
import unicodedata

_BIDI = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_BREAK = "\u200b"
_UNIT = re.compile(r"(?<=\d) (?=(?:[GMkmµnp]?(?:V|A|W|s|Ω|F|H|J|C|m)\b)|%|°C|× U\b)|(?<=\d ×) (?=U\b)")
"""The space between a number and its unit: a line does not end there."""
_ENDLESS = re.compile(r"[^\s\u200b]{25,}")

BUNDLED = (
    (0x20, 0x1C3),  # Latin
    (0x386, 0x3CE),  # Greek
    (0x400, 0x45F),  # Cyrillic
    (0x1EA0, 0x1EF9),  # Latin, Vietnamese
    (0x2010, 0x2023),  # punctuation
    (0x2026, 0x2026),
    (0x2030, 0x2037),
    (0x2039, 0x203A),
    (0x2070, 0x209C),  # raised and lowered digits
    (0x20AC, 0x20AC),
    (0x2116, 0x2116),
    (0x2122, 0x2122),
    (0x2126, 0x2126),
    (0x2190, 0x2193),
    (0x2212, 0x2213),
    (0x221A, 0x221E),
    (0x2248, 0x2265),
)
"""Code points that the fonts bundled with typst are taken to hold."""


def clean(text: object) -> str:
    """One line of printable text.

    White space becomes one space; control characters and lone surrogates become a replacement character.
    Characters that would change the direction of what follows are dropped: a report reads in the order in
    which it is written.
    """
    out = []
    for character in str(text):
        if character in _BIDI:
            continue
        if character.isspace():
            out.append(" ")
        elif unicodedata.category(character) in ("Cc", "Cs", "Cn") or character == _BREAK:
            out.append("\ufffd" if character != _BREAK else "")
        else:
            out.append(character)
    return re.sub(" {2,}", " ", "".join(out)).strip()


def breakable(text: object) -> str:
    """Clean text in which words of more than 24 characters may be broken after every sixth character.

    A number stays with its unit.
    """

    def split(match: re.Match[str]) -> str:
        word = match[0]
        return _BREAK.join(word[i : i + 6] for i in range(0, len(word), 6))

    return _ENDLESS.sub(split, _UNIT.sub("\u00a0", clean(text)))


def shortened(text: object, length: int) -> str:
    """Clean text of at most `length` characters; an ellipsis says that something is missing."""
    whole = clean(text)
    return whole if len(whole) <= length else whole[: length - 1].rstrip() + "…"


def within_bundled_fonts(text: str) -> bool:
    """Whether the bundled fonts hold every character; if not, the fonts of the machine are asked too."""
    return all(
        any(low <= ord(character) <= high for low, high in BUNDLED) or character in "\u200b\ufffd\n\t"
        for character in set(text)
    )


def capital(text: str) -> str:
    """First letter raised, unless the sentence begins with a value or with the name of an output."""
    first = text.partition(" ")[0].rstrip(",:;")
    return text[:1].upper() + text[1:] if first.replace("-", "").isalpha() and text[:1].islower() else text


def sentence(text: str) -> str:
    """Begins with a capital and ends with a full stop."""
    whole = capital(clean(text))
    return whole if not whole or whole[-1] in ".!?" else whole + "."
