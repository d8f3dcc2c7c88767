"""An external recording: a CSV file with `name_unit` columns (`time_s`, `main_voltage_V`, `main_current_A`).

Separator (`,` `;` tab), decimal comma, and how the header writes units (`main_voltage_mV`,
`main voltage [mV]`) are recognised; lines before the header that begin with `#` are passed over. Nothing else
is guessed.
"""

from __future__ import annotations

import codecs
import mmap
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.documents.csv_values import RecordingError as RecordingError
from railwright.documents.csv_values import Rows, Wanted, read_values
from railwright.documents.recording_table import beginning
from railwright.documents.sources import hint
from railwright.quantities import parse_value
from railwright.traces import UNITS, Record, Traces

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_BRACKETED = re.compile(r"(.+?)[ _]*[\[(]\s*([^\])]*?)\s*[\])]")
_CHANNEL = re.compile(r"(.+?)[ _](terminal[ _]voltage|voltage|current)", re.IGNORECASE)
PIECE = 1 << 20
"""Bytes that are looked at at a time."""
LONGEST_HEADER = 100_000
"""Bytes that the header's line may have."""
EXAMPLE = "such as 'time_s,main_voltage_V,main_current_A'"


@dataclass(frozen=True, slots=True)
class _Column:
    """One column that is used: time, or a channel of an input; `factor` makes it SI."""

    position: int
    input: str
    channel: str
    factor: float


def read_recording(path: Path, recorder: str, inputs: Sequence[str]) -> Record:
    """The recording as a record of these inputs, its times as in the file. RecordingError for anything wrong.

    Columns that are no channel of an input are left out, and named in the record's notes.
    """
    content, end = _content(path)
    line, header, start = _header(path, content, end)
    separator = max(",;\t", key=header.count)
    if separator not in header:
        raise RecordingError(
            path, line, f"expected a header with several columns, {EXAMPLE}, got one that has none"
        )
    names = [name.strip().strip('"').strip() for name in header.split(separator)]
    columns, ignored = _columns(path, line, names, inputs)
    comma = separator != "," and _has_decimal_comma(content, start, separator)
    rows, decimal = Rows(content, start, end), "," if comma else "."
    if start >= end:
        raise RecordingError(path, line + 1, "expected at least two samples, got none")
    wanted = [Wanted(column.position, column.factor) for column in columns]
    time, *channels = read_values(path, line, rows, separator, decimal, names, wanted)
    back = (time[1:] < time[:-1]).nonzero()[0]
    if back.size:
        told = "expected a time that never runs back, got one before the last line's"
        raise RecordingError(path, line + 2 + int(back[0]), told)
    traces: dict[str, dict[str, NDArray[np.float64]]] = {}
    for column, channel in zip(columns[1:], channels, strict=True):
        traces.setdefault(column.input, {})[column.channel] = channel
    notes = {"left out": ", ".join(ignored)} if ignored else {}
    return Record(recorder, {name: Traces(time, own) for name, own in traces.items()}, notes=notes)


def _content(path: Path) -> tuple[Any, int]:
    """The file, mapped into memory, and where its last line ends: blank lines at the end are none."""
    try:
        beginning(path)
        with path.open("rb") as stream:
            content = mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ)
    except RecordingError as error:
        raise RecordingError(path, 1, error.told.replace("recording,", "recording (a CSV file),")) from None
    except ValueError:  # nothing that could be mapped
        raise RecordingError(path, 1, f"expected a header {EXAMPLE}, got an empty file") from None
    decoder, line = codecs.getincrementaldecoder("utf-8")(), 1
    for begin in range(0, len(content), PIECE):
        piece = content[begin : begin + PIECE]
        try:
            decoder.decode(piece, final=begin + PIECE >= len(content))
        except UnicodeDecodeError as error:
            line += max(0, piece.count(b"\n", 0, max(0, error.start)))
            raise RecordingError(
                path, line, "expected text in UTF-8, got something else; export it as CSV"
            ) from None
        line += piece.count(b"\n")
    end = len(content)
    while end and content[end - 1 : end].isspace():
        end -= 1
    return content, end


def _header(path: Path, content: Any, end: int) -> tuple[int, str, int]:
    """Line number and text of the header, and where the data begin."""
    start, number = (3 if content[:3] == codecs.BOM_UTF8 else 0), 0
    while start < end:
        number += 1
        stop = content.find(b"\n", start, end)
        stop = end if stop < 0 else stop
        if stop - start > LONGEST_HEADER:
            raise RecordingError(
                path, number, f"expected a header {EXAMPLE}, got a line of {stop - start} bytes"
            )
        text = content[start:stop].decode().strip("\r ")
        start = stop + 1
        if text.strip() and not text.startswith("#"):
            return number, text, start
    raise RecordingError(path, 1, f"expected a header {EXAMPLE}, got an empty file")


def _columns(
    path: Path, line: int, names: Sequence[str], inputs: Sequence[str]
) -> tuple[list[_Column], list[str]]:
    """The columns that are used, time first, and the names of those that are not."""
    times: list[_Column] = []
    channels: list[_Column] = []
    ignored = []
    for position, name in enumerate(names):
        bare, unit = _split_unit(name)
        if bare.casefold() == "time":
            times.append(_Column(position, "", "time", _factor(path, line, name, unit, "s")))
            continue
        match = _CHANNEL.fullmatch(bare)
        if match is None:
            ignored.append(name)
            continue
        own, channel = match[1].strip(), match[2].casefold().replace(" ", "_")
        if own not in inputs:
            known = ", ".join(inputs)
            raise RecordingError(
                path, line, f"expected a column of one of the inputs {known}, got '{name}'{hint(own, inputs)}"
            )
        channels.append(_Column(position, own, channel, _factor(path, line, name, unit, UNITS[channel])))
    if len(times) != 1:
        got = "none" if not times else f"{len(times)} of them"
        raise RecordingError(path, line, f"expected one column of the time, 'time_s', got {got}")
    if not channels:
        raise RecordingError(path, line, f"expected a voltage or a current of an input, {EXAMPLE}, got none")
    seen = [(column.input, column.channel) for column in channels]
    for column, key in zip(channels, seen, strict=True):
        if seen.count(key) > 1:
            raise RecordingError(
                path, line, f"expected each channel once, got '{names[column.position]}' and another"
            )
    return [*times, *channels], ignored


def _split_unit(name: str) -> tuple[str, str]:
    """`main voltage [mV]` and `main_voltage_mV` are both ('main_voltage', 'mV') but for the space."""
    if bracketed := _BRACKETED.fullmatch(name):
        return bracketed[1].strip(), bracketed[2]
    bare, separator, unit = name.rpartition("_")
    if separator and (bare.casefold() == "time" or _CHANNEL.fullmatch(bare)):
        return bare, unit
    return name, ""


def _factor(path: Path, line: int, name: str, unit: str, wanted: str) -> float:
    if not unit:
        raise RecordingError(
            path, line, f"expected a unit in the column's name, as in 'time_s', got '{name}'"
        )
    try:
        return parse_value(f"1 {unit}", wanted)
    except ValueError:
        raise RecordingError(
            path, line, f"expected a unit of {wanted} in the column's name, got '{unit}' in '{name}'"
        ) from None


def _has_decimal_comma(content: Any, start: int, separator: str) -> bool:
    """Whether numbers are written with a comma: one of the first hundred lines shows it."""
    lines = content[start : start + 20_000].decode(errors="replace").split("\n")[:100]
    return any("," in line and "." not in line for line in lines)
