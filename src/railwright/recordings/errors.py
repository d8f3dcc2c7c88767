"""What is said of a recording that cannot be used."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from railwright.printable import printable


class RecordingError(ValueError):
    """A recording that cannot be used: one line `file:line:column: what was expected, what came, what to do`.

    column: where the cell begins, from 1; None: it is of the whole line, or of the file. In a file that is no
    text, the row, counted from 1, stands for the line. more: what else is wrong nearby.
    """

    def __init__(
        self,
        path: Path,
        line: int,
        told: str,
        column: int | None = None,
        more: Sequence[RecordingError] = (),
    ) -> None:
        self.path, self.line, self.column, self.told = path, line, column or 1, told
        super().__init__(printable(f"{path}:{line}:{self.column}: {told}", one_line=True))
        self.more = tuple(more)
