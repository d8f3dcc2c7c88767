"""Arguments of the library's calls: one line names the argument, what was expected, and what came.

TypeError where it is another kind of thing, ValueError where it is one that does not serve. Standard library
only.
"""

from __future__ import annotations

import operator
import os
import reprlib
from collections.abc import Sequence
from pathlib import Path
from typing import SupportsIndex

from railwright.printable import printable

MOST_CASES = 10_000_000
"""Cases that the library plays at most: each chunk finds its place in Sobol's sequence anew, which takes
time with the square of their number.
"""


def as_whole(name: str, given: SupportsIndex, least: int, most: int | None = None) -> int:
    """A whole number from `least` to `most`; no truth value."""
    if isinstance(given, bool) or not isinstance(given, SupportsIndex):
        raise TypeError(unexpected(name, "a whole number", given))
    number = operator.index(given)
    if number < least or (most is not None and number > most):
        wanted = f"of at least {least}" if most is None else f"from {least} to {most}"
        raise ValueError(unexpected(name, f"a whole number {wanted}", number))
    return number


def as_truth(name: str, given: bool) -> bool:
    """True or False: of a text that says no, Python thinks that it is true."""
    if not isinstance(given, bool):
        raise TypeError(unexpected(name, "True or False", given))
    return given


def as_text(name: str, given: str) -> str:
    """A text that a file can hold."""
    if not isinstance(given, str):
        raise TypeError(unexpected(name, "a text", given))
    try:
        given.encode()
    except UnicodeEncodeError:
        raise ValueError(unexpected(name, "a text that UTF-8 can hold", given)) from None
    return given


def as_shown(name: str, given: str) -> str:
    """A text of one line that a file can hold and that steers no terminal, as the texts of documents."""
    if printable(as_text(name, given), one_line=True) != given:
        wanted = "a text in one line, without characters that steer a terminal"
        raise ValueError(unexpected(name, wanted, given))
    return given


def as_filled(name: str, given: str) -> str:
    """The same of a text that is more than blanks."""
    if not as_shown(name, given).strip():
        raise ValueError(unexpected(name, "a text that is not blank", given))
    return given


def as_path(name: str, given: object) -> Path:
    """The path of a file or a folder."""
    found = os.fspath(given) if isinstance(given, str | os.PathLike) else given
    if not isinstance(found, str):
        raise TypeError(unexpected(name, "a path, as a text or a pathlib.Path", given))
    if not found or "\0" in found:
        raise ValueError(unexpected(name, "a path that a file can have", found))
    return Path(found)


def as_keys(name: str, given: str | Sequence[str | int]) -> tuple[str | int, ...]:
    """Keys and positions: a text with dots between them, or a sequence of them."""
    wanted = "keys with dots between them, or a sequence of keys and positions"
    if isinstance(given, str):
        return tuple(as_text(name, given).split("."))
    if isinstance(given, bytes) or not isinstance(given, Sequence):
        raise TypeError(unexpected(name, wanted, given))
    if not all(isinstance(part, str | int) for part in given):
        raise TypeError(unexpected(name, wanted, given))
    if not given:
        raise ValueError(unexpected(name, wanted, given))
    return tuple(as_text(name, part) if isinstance(part, str) else part for part in given)


def unexpected(name: str, wanted: str, given: object) -> str:
    """The line of an argument that does not serve; what came is cut where it is long."""
    return f"{name}: expected {wanted}, got {reprlib.repr(given)}"
