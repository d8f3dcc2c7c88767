"""True traces of the last minutes, kept for readings and for recorders."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from railwright.traces import Array

MERGE_AT = 256


class History:
    """Rows of columns against time, appended piece by piece, forgotten after `keep` seconds."""

    def __init__(self, columns: tuple[str, ...], keep: float) -> None:
        self.columns = columns
        self._keep = keep
        self._pieces: list[tuple[Array, ...]] = []
        self._fresh = 0

    def append(self, *rows: Array) -> None:
        """Add a piece: time [s], then one array for every column, all of one length. Time never goes back."""
        self._pieces.append(rows)
        self._fresh += 1
        if self._fresh == MERGE_AT:
            self._merge()
            self._fresh = 0

    def _merge(self) -> None:
        """Join the newest pieces into one, and drop what is too old."""
        import numpy as np

        recent = self._pieces[-MERGE_AT:]
        whole = self._pieces[:-MERGE_AT]
        newest = float(recent[-1][0][-1])
        self._pieces = [piece for piece in whole if piece[0][-1] >= newest - self._keep]
        self._pieces += [tuple(np.concatenate(parts) for parts in zip(*recent, strict=True))]

    def since(self, start: float) -> tuple[Array, ...]:
        """Time and columns from the last row at or before `start` on; empty arrays when nothing was
        recorded.
        """
        import numpy as np

        chosen: list[tuple[Array, ...]] = []
        for piece in reversed(self._pieces):
            chosen.insert(0, piece)
            if piece[0][0] <= start:
                break
        if not chosen:
            return tuple(np.empty(0) for _ in range(len(self.columns) + 1))
        joined = tuple(np.concatenate(parts) for parts in zip(*chosen, strict=True))
        first = max(int(np.searchsorted(joined[0], start, side="right")) - 1, 0)
        return tuple(column[first:] for column in joined)

    def between(self, start: float, end: float) -> tuple[Array, ...]:
        """As `since`, up to the first row at or after `end`."""
        import numpy as np

        rows = self.since(start)
        last = int(np.searchsorted(rows[0], end, side="left")) + 1
        return tuple(column[:last] for column in rows)
