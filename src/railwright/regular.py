"""Only files are read: what a pipe, a device or a folder would do to a reader is not tried, and what is
larger than its kind may be is not begun. Standard library only.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Any

LARGEST_JSON = 100_000_000
"""Bytes that a JSON file of a run may have."""

LARGEST_RECORDING = 100_000_000_000
"""Bytes that a recording may have, of which only the part that is used is read."""

MOST_SAMPLES = 50_000_000
"""Samples that are held of a recording, of each channel that is used."""

LARGEST_LOG = 4_000_000_000
"""Bytes that the log of a run may have, and any other file of it but for copies of recordings."""

_KINDS = (
    (stat.S_ISDIR, "a folder; name the file in it"),
    (stat.S_ISFIFO, "a pipe; write what it gives to a file, and name that"),
    (stat.S_ISCHR, "a device; name a file"),
    (stat.S_ISBLK, "a device; name a file"),
    (stat.S_ISSOCK, "a socket; name a file"),
)


class Unfit(ValueError):
    """Something that is not read; as text: what it is instead of a file, or how large, and what to do."""


def size_of(path: str | os.PathLike[str], most: int) -> int:
    """Bytes of a file, looked at without opening it.

    Raises `Unfit` where it is no file, or one of more than `most` bytes; OSError where there is none; and
    ValueError where the path is one that no file can have.
    """
    status = os.stat(path)
    for is_kind, told in _KINDS:
        if is_kind(status.st_mode):
            raise Unfit(told)
    if status.st_size > most:
        raise Unfit(f"{_bytes(status.st_size)}, and at most {_bytes(most)} are read; cut it down")
    return status.st_size


def text_of(path: Path) -> str:
    """Text of a JSON file in UTF-8. Raises as `size_of`, and UnicodeDecodeError (a ValueError)."""
    size_of(path, LARGEST_JSON)
    return path.read_text("utf-8")


def json_of(path: Path) -> Any:
    """What a JSON file holds. Raises as `text_of`, ValueError where it is no JSON, RecursionError where that
    is nested too deeply.
    """
    import json

    return json.loads(text_of(path), parse_constant=_no_number)


def _no_number(name: str) -> None:
    """JSON has no NaN and no infinity; Python would read them."""
    raise ValueError(f"{name}, which is no number")


def _bytes(count: int) -> str:
    return f"{count / 1e9:.3g} GB" if count >= 1e9 else f"{count / 1e6:.3g} MB"
