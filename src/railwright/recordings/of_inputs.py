"""A recording of a run: its columns as the channels of the run's inputs, by their names or as they are given.

A column is called `<input>_<channel>_<unit>`, as in `main_voltage_V` or `main terminal voltage [mV]`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from railwright.near_words import hint
from railwright.recordings.columns import Column, unit_factor
from railwright.recordings.recording import OpenRecording
from railwright.recordings.samples import Channel
from railwright.traces import UNITS, Record, Traces

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

CHANNEL = re.compile(r"(.+?)[ _](terminal[ _]voltage|voltage|current)", re.IGNORECASE)
_WITH_UNIT = re.compile(rf"{CHANNEL.pattern}[ _/](.+)", re.IGNORECASE)
COLUMNS = "such as 'main_voltage_V' or 'main_current_A'"
CHANNELS = "such as 'main_voltage' or 'main_current'"


@dataclass(frozen=True, slots=True)
class Given:
    """A channel that is not found by its column's name alone.

    column: name or number from 1; None: the column is called as the channel. unit: of the column, where the
    file has none. full_scale: what a full-scale sample of whole numbers stands for [V, A].
    """

    column: str | None = None
    unit: str | None = None
    full_scale: float | None = None


def split_channel(name: str) -> tuple[str, str] | None:
    """Input and channel, as `Traces` calls it; None: it is no such name."""
    found = CHANNEL.fullmatch(name)
    return None if found is None else (found[1].strip(), found[2].casefold().replace(" ", "_"))


def record_of(
    recording: OpenRecording,
    recorder: str,
    inputs: Sequence[str],
    given: Mapping[str, Given] | None = None,
    begin: float = 0.0,
    end: float | None = None,
    *,
    shown: int | None = None,
) -> Record:
    """The recording as a record of these inputs, its times as in the file. RecordingError for anything wrong.

    given: channels, as `main_voltage`, of which the file does not say enough. begin, end: the part that is
    read [s after the first sample]. shown: it is only looked at, so many samples are enough. Columns that are
    no channel of an input are left out, and named in the record's notes.
    """
    if recording.time.guessed:
        column = recording.columns[recording.time.place or 0]
        told = f"expected a unit in the column's name, as in 'time_s', got '{column.header}'"
        raise recording.refuse(told, column)
    channels, left_out = _channels(recording, inputs, given or {})
    wanted = list(channels.values())
    if shown is None:
        samples = recording.read(wanted, begin, end)
    else:
        samples = recording.thinned(wanted, begin, end, most=shown)
    # In the order of the inputs: nothing that comes of it may depend on the order of a file's columns.
    traces: dict[str, dict[str, NDArray[np.float64]]] = {
        name: {} for name in inputs if any(name == own for own, _ in channels)
    }
    for (name, channel), values in zip(channels, samples.values, strict=True):
        traces[name][channel] = values
    notes = {"left out": ", ".join(left_out)} if left_out else {}
    return Record(recorder, {name: Traces(samples.time, own) for name, own in traces.items()}, notes=notes)


def _channels(
    recording: OpenRecording, inputs: Sequence[str], given: Mapping[str, Given]
) -> tuple[dict[tuple[str, str], Channel], list[str]]:
    """Input and channel -> the column that is read; and the columns that are none of them."""
    channels: dict[tuple[str, str], Channel] = {}
    places: dict[int, str] = {}
    for name, how in given.items():
        key = split_channel(name)
        if key is None or key[0] not in inputs:
            told = "expected a channel of one of the inputs"
            raise recording.refuse(_no_input(told, inputs, CHANNELS, name, key))
        place = recording.place(name if how.column is None else how.column)
        channels[key] = _channel(recording, place, key[1], how)
        places[place] = name
    by_name, left_out = set(channels), []
    for place, column in recording.channels:
        key, unit = _split(column)
        if place in places:
            continue
        if key is None or key in by_name:
            left_out.append(column.header)
            continue
        if key[0] not in inputs:
            told = _no_input("expected a column of one of the inputs", inputs, COLUMNS, column.header, key)
            raise recording.refuse(told, column)
        if key in channels:
            told = f"expected each channel once, got '{column.header}' and another"
            raise recording.refuse(told, column)
        channels[key] = _channel(recording, place, key[1], Given(unit=unit))
    if not channels:
        told = f"expected a voltage or a current of an input, {COLUMNS}, got none"
        raise recording.refuse(f"{told}; say in 'channels' which column is which")
    return channels, left_out


def _split(column: Column) -> tuple[tuple[str, str] | None, str | None]:
    """Input and channel of a column by its name, and its unit, also one that is none."""
    key = split_channel(column.name)
    if key is None and not column.unit and (found := _WITH_UNIT.fullmatch(column.name)):
        return split_channel(column.name[: found.end(2)]), found[3]
    return key, column.unit or None


def _no_input(told: str, inputs: Sequence[str], example: str, name: str, key: tuple[str, str] | None) -> str:
    near = "" if key is None else hint(key[0], inputs)
    return f"{told} {', '.join(inputs)}, {example}, got '{name}'{near}"


def _channel(recording: OpenRecording, place: int, channel: str, how: Given) -> Channel:
    """The column as that channel. RecordingError where its unit is missing, or another."""
    column, si = recording.columns[place], UNITS[channel]
    unit = how.unit or column.unit
    if column.kind != "fraction":
        if not unit:
            told = f"expected a unit in the column's name, as in 'time_s', got '{column.header}'"
            raise recording.refuse(f"{told}; add it, or give 'unit'", column)
        if unit_factor(unit, si) is None:
            told = f"expected a unit of {si} in the column's name, got '{unit}' in '{column.header}'"
            raise recording.refuse(told, column)
    return recording.channel(place, si, unit or None, how.full_scale)
