"""What is read of a recording: channels, a time base, and samples of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Channel:
    """A column that is read: its place, and what makes its numbers SI. recognised: what was taken for
    granted about it, for people.
    """

    place: int
    factor: float = 1.0
    recognised: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TimeBase:
    """The column of the time, and what makes its numbers seconds; or the time between two samples [s].

    instants: the column holds dates and times. guessed: nobody said which column it is, and no unit stands
    there; seconds are taken.
    """

    place: int | None
    factor: float = 1.0
    interval: float = 0.0
    instants: bool = False
    guessed: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Samples of some channels on one time base.

    row: of the first in the file, from 0. time: as in the file [s], instants since its first sample; shape
    (n,). values: one array (n,) a channel, in SI units. zero: the file's first time [s].
    """

    row: int
    time: NDArray[np.float64]
    values: tuple[NDArray[np.float64], ...]
    zero: float


class Gathered:
    """Columns that grow block by block; room that is not used yet takes no memory."""

    def __init__(self, columns: int, room: int) -> None:
        import numpy as np

        self._columns, self.size = [np.empty(room) for _ in range(columns)], 0

    def add(self, block: Sequence[NDArray[np.float64]]) -> None:
        import numpy as np

        end = self.size + block[0].size
        for place, array in enumerate(block):
            column = self._columns[place]
            if end > column.size:
                # One after the other: the old room of one column is given back before the next one grows.
                larger = np.empty(max(end, 2 * column.size))
                larger[: self.size] = column[: self.size]
                column = self._columns[place] = larger
            column[self.size : end] = array
        self.size = end

    def columns(self) -> list[NDArray[np.float64]]:
        return [column[: self.size] for column in self._columns]
