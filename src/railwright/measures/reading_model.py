"""How the values of a record came about: accuracy, resolution, noise, and when and how long each was taken.

A reading handed over at time t (latency already taken off by the recorder) is the mean over an aperture that
ended between t - update and t. A sample of an external recorder is the value at its instant. Whatever the
documents do not say stays None and is either assumed, in words, or makes a measure inconclusive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from railwright.measures.sampling import averaged

if TYPE_CHECKING:
    from railwright.physics.surge import SurgePath

SWITCHING_TIME = 0.5e-3
"""Declared bound of the time between switching an output on and the instant that the record gives for it [s].
"""


@dataclass(frozen=True, slots=True)
class Part:
    """One instrument's share in a channel: bounds of the error ±(of_value · value + offset), step, r.m.s.
    noise. share: of the value that it carries. most: of outputs in parallel, of which one leads up to its
    limit and no document tells which, the most that it carries [A]; None: its share is known. degrees: of
    freedom of the bounds; infinite: they are not in doubt. is_given: whether the bench gives the bounds;
    where it does not they stand at 0, and are not known.
    """

    name: str
    of_value: float
    offset: float
    resolution: float | None = None
    noise: float | None = None
    share: float = 1.0
    most: float | None = None
    degrees: float = math.inf
    is_given: bool = True


@dataclass(frozen=True, slots=True)
class HidingBound:
    """What can hide between readings is at most this, give or take the tolerance; and what sets it."""

    value: float
    tolerance: float
    what: str


@dataclass(frozen=True, slots=True)
class ReadingModel:
    """How one input's readings came about. Times in seconds; None: unknown.

    voltage, current: the instruments' shares; empty: accuracy unknown. update: time between two new readings
    (0: every sample is new). aperture: averaging time. clock: bound of the error of the record's time against
    the named steps. lead: (low, high) loop resistance; None: unknown. drop: (low, high)
    of a series diode in it before any current flows. current_bound, voltage_bound: what
    hides between readings can be anything up to it. surge: what a current goes through until the limit holds
    it. interval: least time between two samples of a recorder; 0: unknown. time_base: bound of the relative
    error of the record's clock. summed: the channel that is the sum of several outputs' readings, each of a
    time of its own. circulating: the most that outputs in parallel drive into each other [A]; 0: they do not
    sink. exact: the values are the truth (a rehearsal).
    """

    source: str
    voltage: tuple[Part, ...] = ()
    current: tuple[Part, ...] = ()
    update: float | None = None
    aperture: float | None = None
    clock: float = 0.0
    lead: tuple[float, float] | None = None
    lead_name: str = "lead"
    drop: tuple[float, float] = (0.0, 0.0)
    current_bound: HidingBound | None = None
    voltage_bound: HidingBound | None = None
    surge: SurgePath | None = None
    interval: float = 0.0
    time_base: float = 0.0
    summed: str = ""
    circulating: float = 0.0
    exact: bool = False
    assumptions: tuple[str, ...] = field(default=())

    @property
    def averages(self) -> bool:
        """Whether a reading is a mean over an aperture (known or not) and not the value at an instant."""
        return averaged(self.aperture)


def exact_model(source: str, lead: tuple[float, float] | None = None) -> ReadingModel:
    """Of a record that is the truth, or a prediction: nothing to be uncertain about."""
    perfect = (Part(source, 0.0, 0.0, 0.0, 0.0),)
    return ReadingModel(source, perfect, perfect, 0.0, 0.0, lead=lead, exact=True)
