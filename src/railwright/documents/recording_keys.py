"""How a document names a recording: the file, and what its own header leaves open."""

from __future__ import annotations

from pathlib import Path
from typing import Self

from pydantic import Field, model_validator

from railwright.documents.files import DocumentSource
from railwright.documents.model import File, Model, Text, fault
from railwright.documents.nodes import Unreadable, compose
from railwright.documents.sources import DocumentErrors, Location, Problem
from railwright.quantities import PositiveSeconds, PositiveVolts, Seconds, parse_value, quoted
from railwright.recordings.of_inputs import CHANNELS, Given, split_channel
from railwright.traces import UNITS


class _Part(Model):
    """The time base of a recording, and the part of it that is meant."""

    time: Text | None = Field(
        None, description="name of the column of the time, or its number from 1; s, where it has no unit"
    )
    interval: PositiveSeconds | None = Field(
        None, description="time between two samples, where the file has no time"
    )
    begin: Seconds = Field(0.0, description="where the part that is used begins, after the first sample")
    end: PositiveSeconds | None = Field(None, description="where it ends; left out: with the last sample")

    @model_validator(mode="after")
    def _times(self) -> Self:
        if self.time is not None and self.interval is not None:
            raise fault("expected 'time' or 'interval', got both; remove one", "interval")
        if self.end is not None and self.end <= self.begin:
            raise fault("expected 'end' after 'begin', got it before; correct one of them", "end")
        return self


class RecordingParts(_Part):
    """What the header of a recording that is played leaves open."""

    column: Text | None = Field(
        None, description="name of the column, or its number from 1; left out: the only one it can be"
    )
    unit: Text | None = Field(None, description="unit of the column where the file has none; left out: V")
    full_scale: PositiveVolts | None = Field(
        None, description="voltage of a full-scale sample of a WAV file of whole numbers"
    )


class RecordingKeys(RecordingParts):
    """A recording: CSV, Parquet, HDF5 (with the extra `hdf5`) or WAV. What is left out is recognised, and the
    result says as what.
    """

    recording: File = Field(description="the file, relative to this document")


class ChannelKeys(Model):
    """Where a recording has a channel of an input, such as `main_voltage`."""

    column: Text | None = Field(
        None, description="name of the column, or its number from 1; left out: it is called as the channel"
    )
    unit: Text | None = Field(None, description="unit of the column where the file has none")
    full_scale: Text | None = Field(
        None, description="voltage or current of a full-scale sample of a WAV file of whole numbers"
    )


class EvaluatedKeys(_Part):
    """What the columns of a recording that `evaluate --record` takes leave open, as `--keys` gives it."""

    channels: dict[Text, ChannelKeys] = Field(
        default_factory=dict, description="channels that the names of the columns do not tell"
    )

    @model_validator(mode="after")
    def _channels(self) -> Self:
        self.given()
        return self

    def given(self) -> dict[str, Given]:
        """The channels as the reader takes them."""
        return {name: _given(name, keys) for name, keys in self.channels.items()}


def _given(name: str, keys: ChannelKeys) -> Given:
    key = split_channel(name)
    if key is None:
        raise fault(f"expected a channel {CHANNELS}, got {quoted(name)}", "channels")
    scale = None
    if keys.full_scale is not None:
        try:
            scale = parse_value(keys.full_scale, UNITS[key[1]])
        except ValueError as error:
            raise fault(str(error), "channels") from None
        if scale <= 0.0:
            raise fault(f"expected 'full_scale' above zero, got {quoted(keys.full_scale)}", "channels")
    return Given(keys.column, keys.unit, scale)


def evaluated_keys(text: str, called: str) -> EvaluatedKeys:
    """The keys that a text has, written as in a document: `{interval: 20 us, begin: 1 s}`.

    called: how messages call the text. DocumentErrors with everything that is wrong with it.
    """
    from railwright.documents.translate import check

    if not text.strip():
        return EvaluatedKeys()
    try:
        root, problems = compose(text, called)
    except Unreadable as error:
        raise DocumentErrors([error.problem]) from None
    if root is None or root.kind != "mapping":
        told = "expected keys with values such as '{interval: 20 us}', got another text"
        raise DocumentErrors([Problem(Location(called, 1, 1), told)])
    keys, wrong = check(
        EvaluatedKeys, DocumentSource(called, Path(called), text.encode(), root, bool(problems))
    )
    if keys is None or problems or wrong:
        raise DocumentErrors([*problems, *wrong])
    return keys
