"""What every kind of recording is once its file is open: named columns with units, read only when wanted."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.documents.csv_values import RecordingError
from railwright.documents.sources import hint
from railwright.quantities.units import USUAL
from railwright.regular import LARGEST_RECORDING, Unfit, size_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

_WORDS = {"sec": "s", "second": "s", "seconds": "s", "volt": "V", "volts": "V", "msec": "ms", "usec": "us"}
_BRACKETED = re.compile(r"(.*?)[ _]*[\[(]\s*([^\])]*?)\s*[\])]")
_TIMES = re.compile(
    r"t|(?:date[ _]?)?(?:time|zeit)(?:[ _]?stamp)?|timestamp|tijd|temps|tiempo|tid", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Head:
    """A column: its name without the unit, and its unit as written ('' where none is)."""

    name: str
    unit: str = ""

    @property
    def looks_like_time(self) -> bool:
        return bool(_TIMES.fullmatch(self.name)) or known_unit(self.unit, "s") is not None


@dataclass(frozen=True, slots=True)
class Table:
    """A recording's columns. read: gives columns by their places, numbers or datetime64, as they stand in the
    file. interval: between two samples [s], where the file says it. first_line: of the samples, for messages.
    guessed: what was recognised in it, for people.
    """

    path: Path
    heads: tuple[Head, ...]
    read: Callable[[Sequence[int]], list[NDArray[Any]]]
    interval: float | None = None
    first_line: int = 1
    guessed: tuple[str, ...] = ()

    def place(self, wanted: str, what: str) -> int:
        """Of a column that is named, or numbered from 1. RecordingError where there is none, or several."""
        names = [head.name for head in self.heads]
        found = [place for place, name in enumerate(names) if name.casefold() == wanted.casefold()]
        if not found and wanted.isdecimal() and 1 <= int(wanted) <= len(names):
            return int(wanted) - 1
        if len(found) != 1:
            got = "no such one" if not found else f"{len(found)} of them; give its number"
            raise RecordingError(
                self.path,
                1,
                f"expected a {what} '{wanted}' among the columns {', '.join(names[:20])}, got "
                f"{got}{hint(wanted, names) if not found else ''}",
            )
        return found[0]


def beginning(path: Path) -> bytes:
    """The first four bytes of a recording. RecordingError where it is no file, or one that is too large."""
    try:
        size_of(path, LARGEST_RECORDING)
        with path.open("rb") as stream:
            return stream.read(4)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RecordingError(path, 1, f"expected a recording, got none: {reason}; correct the path") from None
    except Unfit as error:
        raise RecordingError(path, 1, f"expected a recording, got {error}") from None
    except ValueError:  # a null character in the path
        raise RecordingError(path, 1, "expected a recording, got a path that no file can have") from None


def known_unit(unit: str, si: str) -> float | None:
    """What a unit as written is in an SI unit; None: it is none of that kind."""
    power = USUAL[si].get(_WORDS.get(unit.casefold(), unit).replace("μ", "µ"))
    return None if power is None else 10.0**power


def split_head(text: str) -> Head:
    """A column's name with its unit: `time [ms]`, `U (mV)`, `U/V`, `main_voltage_mV`."""
    text = text.strip().strip('"').strip()
    if bracketed := _BRACKETED.fullmatch(text):
        return Head(bracketed[1].strip(), bracketed[2])
    for separator in ("/", "_", " in "):
        name, found, unit = text.rpartition(separator)
        if found and name.strip() and is_unit(unit.strip()):
            return Head(name.strip(), unit.strip())
    return Head(text)


def is_unit(text: str) -> bool:
    """Whether a text is a unit of something that recordings hold."""
    return any(known_unit(text, si) is not None for si in ("s", "V", "A", "W"))
