"""Files that a command writes: never one of those that it read."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from railwright.cli.exits import BadInput


def as_target(option: str, to: Path | None, read: Iterable[str | Path]) -> None:
    """Refuse a file to write that is one of those that were read, by whatever name: BadInput."""
    if to is None or not to.exists():
        return
    for each in map(Path, read):
        if each.exists() and to.samefile(each):
            raise BadInput(f"{option}: expected a file that is not read here, got '{to}'; name another")
