"""What every kind of recording is once its file is open: columns, read a block of rows at a time."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from railwright.near_words import hint
from railwright.quantities import quoted
from railwright.recordings.columns import Column, names_of
from railwright.recordings.errors import RecordingError
from railwright.recordings.file import RecordedFile

if TYPE_CHECKING:
    from numpy.typing import NDArray

BLOCK = 1 << 17
"""Rows that are read at a time."""


class Table(ABC):
    """Columns of a file, numbers or instants as they stand there.

    interval: time between two samples [s], where the file says it. first_line: of the samples, for messages.
    recognised: what was recognised in the file, for people. ending: how such a file is called.
    columns_are: what of it is a column, for messages.
    """

    ending: ClassVar[str]
    columns_are: ClassVar[str] = "numbers"

    def __init__(
        self,
        file: RecordedFile,
        columns: Sequence[Column],
        recognised: Sequence[str],
        *,
        interval: float | None = None,
        first_line: int = 1,
    ) -> None:
        self.file, self.columns, self.recognised = file, tuple(columns), tuple(recognised)
        self.interval, self.first_line = interval, first_line

    @property
    def path(self) -> Path:
        return self.file.path

    @property
    def header_line(self) -> int:
        """The line of what is wrong with the columns, not with a sample."""
        return max(1, self.first_line - 1)

    def place(self, wanted: str, what: str) -> int:
        """Of a column that is named, or numbered from 1. RecordingError where there is none, or several."""
        names = [column.name for column in self.columns]
        found = [place for place, name in enumerate(names) if name.casefold() == wanted.casefold()]
        if not found and wanted.isdecimal() and len(wanted) < 10 and 1 <= int(wanted) <= len(names):
            return int(wanted) - 1
        if len(found) != 1:
            got = "no such one" if not found else f"{len(found)} of them; give its number"
            near = hint(wanted, names) if not found else ""
            among = f"among the columns {names_of(self.columns)}"
            told = f"expected a {what} {quoted(wanted)} {among}, got {got}{near}"
            raise RecordingError(self.path, self.header_line, told)
        return found[0]

    @abstractmethod
    def count(self, places: Sequence[int]) -> int | None:
        """Rows of these columns; None: only reading all of them tells. RecordingError where they differ."""

    @abstractmethod
    def starts(self, places: Sequence[int]) -> Sequence[int]:
        """Rows at which reading can begin without reading those before, in order; the first is 0."""

    @abstractmethod
    def blocks(self, places: Sequence[int], start: int = 0) -> Iterator[list[NDArray[Any]]]:
        """These columns from a row on (one of `starts`), in blocks of rows, each column of shape (n,).

        A gap is NaN, or NaT. RecordingError where the file holds something else than it says.
        """

    def close(self) -> None:  # noqa: B027 - most have nothing to close
        """Let go of the file."""


@contextmanager
def readable(file: RecordedFile, what: str) -> Iterator[None]:
    """Whatever a library says of a damaged file is a RecordingError; what: the kind of file."""
    try:
        yield
    except RecordingError:
        raise
    # The libraries raise whatever their parsers stumble over (struct.error, TypeError, KeyError,
    # UnboundLocalError, RuntimeError, MemoryError, ...): of a file from outside all of it means the same.
    except Exception as error:  # noqa: BLE001
        file.check_unchanged()
        said = (str(error).splitlines() or [type(error).__name__])[0][:120]
        raise RecordingError(file.path, 1, f"expected {what}, got another: {said}") from None
