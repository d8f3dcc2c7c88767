"""How a document names a recording: the file, and what its own header leaves open."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from railwright.documents.model import Model, Text, fault
from railwright.quantities import PositiveSeconds, PositiveVolts, Seconds


class RecordedPart(Model):
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


class RecordingParts(RecordedPart):
    """What the header of a recording that is played leaves open."""

    column: Text | None = Field(
        None, description="name of the column, or its number from 1; left out: the only one it can be"
    )
    unit: Text | None = Field(None, description="unit of the column where the file has none; left out: V")
    full_scale: PositiveVolts | None = Field(
        None, description="voltage of a full-scale sample of a WAV file of whole numbers"
    )
