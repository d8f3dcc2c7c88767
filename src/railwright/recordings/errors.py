"""What is said of a recording that cannot be used."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from railwright.printable import printable


class RecordingError(ValueError):
    """A recording that cannot be used: one line `file:line: what was expected, what came, what to do`, with
    the column after the line where it is a cell.

    In a file that is no text, the row, counted from 1, stands for the line. more: what else is wrong nearby.
    """

    def __init__(
        self,
        path: Path,
        line: int,
        told: str,
        column: int | None = None,
        more: Sequence[RecordingError] = (),
    ) -> None:
        place = f"{line}" if column is None else f"{line}:{column}"
        super().__init__(printable(f"{path}:{place}: {told}", one_line=True))
        self.path, self.line, self.column, self.told = path, line, column or 1, told
        self.more = tuple(more)
