"""What the columns of a recording that is evaluated leave open, as `--keys` and a reference give it."""

from __future__ import annotations

from pathlib import Path
from typing import Self

from pydantic import Field, model_validator

from railwright.documents.files import DocumentSource
from railwright.documents.model import Model, Text, fault
from railwright.documents.nodes import Unreadable, compose
from railwright.documents.recording_keys import RecordedPart
from railwright.documents.sources import DocumentErrors, Location, Problem
from railwright.quantities import UncertainInstant, parse_value, quoted
from railwright.recordings.of_inputs import CHANNELS, Given, split_channel
from railwright.traces import UNITS


class ChannelKeys(Model):
    """Where a recording has a channel of an input, such as `main_voltage`."""

    column: Text | None = Field(
        None, description="name of the column, or its number from 1; left out: it is called as the channel"
    )
    unit: Text | None = Field(None, description="unit of the column where the file has none")
    full_scale: Text | None = Field(
        None, description="voltage or current of a full-scale sample of a WAV file of whole numbers"
    )


class EvaluatedKeys(RecordedPart):
    """What the columns of a recording that `evaluate --record` takes leave open, as `--keys` gives it."""

    channels: dict[Text, ChannelKeys] = Field(
        default_factory=dict, description="channels that the names of the columns do not tell"
    )
    offset: UncertainInstant | None = Field(
        None,
        description="time of the run at which the recording's time 0 lies, with its bound: "
        "`3.7 ms ± 1 ms`; left out: it is found by the waveform",
    )

    @model_validator(mode="after")
    def _bounded(self) -> Self:
        # Two standard deviations are no bound.
        if self.offset is not None and (self.offset.certain or self.offset.distribution == "normal"):
            text = quoted(self.offset.text)
            told = f"expected a time with its bound, such as '3.7 ms ± 1 ms', got {text}"
            raise fault(f"{told}; say by how much it may be off at most", "offset")
        return self

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
