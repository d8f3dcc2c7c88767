"""Traces, events and named steps: the one form of what was predicted and what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class Mode(IntEnum):
    """What regulates an output at an instant."""

    OFF = 0
    CV = 1
    CC = 2
    CP = 3
    TRIPPED = 4


UNITS = {"voltage": "V", "terminal_voltage": "V", "current": "A", "mode": "1"}


@dataclass(frozen=True, slots=True, eq=False)
class Traces:
    """Channels of one input against one time base.

    time: seconds, shape (n,), never decreasing. columns: name -> values, shape (n,). The usual names:
    `voltage` at the input's connector [V], `terminal_voltage` at the supply's terminals [V], `current` [A],
    `mode` (values of `Mode`). A record holds only what was really measured.
    """

    time: NDArray[np.float64]
    columns: Mapping[str, NDArray[np.float64]]

    def __post_init__(self) -> None:
        for name, values in self.columns.items():
            if values.shape != self.time.shape:
                raise ValueError(f"channel '{name}' has {values.size} values for {self.time.size} instants")

    def between(self, start: float, end: float) -> Traces:
        """The part with start <= time <= end [s]."""
        import numpy as np

        first = int(np.searchsorted(self.time, start, side="left"))
        last = int(np.searchsorted(self.time, end, side="right"))
        return Traces(self.time[first:last], {name: v[first:last] for name, v in self.columns.items()})

    def closed(self, start: float, end: float) -> Traces:
        """The part of a computed trace from start to end [s], with interpolated values at both.

        The solver's steps are as long as it can take them: the last instant inside may be far from the end.
        `mode` is not interpolated: it is that of the instant before.
        """
        import numpy as np

        inside = self.between(start, end)
        if self.time.size == 0 or end <= start or end < self.time[0] or start > self.time[-1]:
            return inside
        ends = np.clip([start, end], self.time[0], self.time[-1])
        before = np.clip(np.searchsorted(self.time, ends, side="right") - 1, 0, self.time.size - 1)
        columns = {}
        for name, values in self.columns.items():
            first, last = values[before] if name == "mode" else np.interp(ends, self.time, values)
            columns[name] = np.concatenate(([first], inside.columns[name], [last]))
        return Traces(np.concatenate((ends[:1], inside.time, ends[1:])), columns)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at an instant [s]: `what` is a stable key, `detail` is for people."""

    time: float
    subject: str
    what: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Span:
    """A named step of the procedure in time [s]; `points`: a sweep's plateaus as (voltage, start, end).

    Of a run. whole: played to its end. late: how late its latest set point came [s]. left_out: set points
    that were not sent because the host did not keep up. time_error: bound of the error of the times at which
    its set points are recorded [s].
    """

    name: str
    kind: str
    start: float
    end: float
    inputs: tuple[str, ...]
    points: tuple[tuple[float, float, float], ...] = ()
    whole: bool = True
    late: float = 0.0
    left_out: int = 0
    time_error: float = 0.0


HOW_PLAYED = ("whole", "late", "left_out", "time_error")
"""Fields of a span that a run's folder holds under these names; one of an earlier version does not."""


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """What a run measured or a rehearsal predicts.

    origin: 'rehearsal', 'supply readings', or a recorder's name.
    """

    origin: str
    traces: Mapping[str, Traces]
    events: tuple[Event, ...] = ()
    spans: tuple[Span, ...] = ()
    notes: Mapping[str, str] = field(default_factory=dict)

    def span(self, name: str) -> Span:
        """The step of that name; KeyError where there is none."""
        for span in self.spans:
            if span.name == name:
                return span
        raise KeyError(name)


def integral_of_product(time: NDArray[np.float64], a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """∫ a b dt [unit of a times unit of b times s] where both run in straight lines between the instants.

    Exact (Simpson's rule), unlike a trapezoid of the products: rows of a computed trace are far apart on a
    ramp, where that is off by up to some per cent. All of shape (n,).
    """
    import numpy as np

    sums = 2.0 * a[:-1] * b[:-1] + a[:-1] * b[1:] + a[1:] * b[:-1] + 2.0 * a[1:] * b[1:]
    return float(np.diff(time) @ sums / 6.0)
