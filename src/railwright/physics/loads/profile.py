"""Current or power over time: bursts of a radio, a recorded cycle; from a file or from points.

    i = x(τ)  or  P(τ) / v    above the compliance voltage, below it in proportion to v, nothing below 0 V

x is made of straight lines between points; two points at one time are a jump. τ runs from the first point,
from the beginning of the procedure or, where the profile has thresholds, from the moment at which the
voltage last reached `starts_at`; at `stops_at` it ends and nothing is drawn. A step of the solver ends at
every point.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Annotated, ClassVar, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from railwright.physics.loads.law import Examples, LoadKind, LoadParameters, expect_one, fault
from railwright.quantities import Amperes, Dimension, Seconds, Uncertain, UncertainRatio

REPEATS, IS_POWER, FIRST = 4, 5, 6
"""Places in p: whether it repeats, whether its values are powers, its first time."""
RUNNING, BEGAN, AT = range(3)
"""Places in q: whether the gate is open, when the present run of the points began, place of its segment."""
_Threshold = Annotated[Uncertain, Dimension("V", "uncertain", positive=True)]


class ProfilePoint(BaseModel):
    """One point of a profile."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    time: Seconds = Field(description="from the beginning of the profile")
    current: Amperes | None = Field(None, description="current drawn then")
    power: Annotated[float, Dimension("W")] | None = Field(None, description="or power drawn then")

    @model_validator(mode="after")
    def _one(self) -> Self:
        expect_one(self, "current", "power")
        return self


class Profile(LoadParameters):
    """Draws a current or a power that changes with time, as points or a file tell."""

    compliance: _Threshold | None = Field(
        None,
        description="below this voltage the current fades to zero, in proportion to the voltage; left out: "
        "unknown, and assumed as the result says",
    )
    factor: UncertainRatio | None = Field(
        None, description="all values times this, such as '100 % ± 10 %'; left out: as they are"
    )
    starts_at: _Threshold | None = Field(
        None,
        description="the profile begins when the input reaches this voltage; left out: at the beginning of "
        "the procedure",
    )
    stops_at: _Threshold | None = Field(
        None, description="it ends when the input falls to this voltage, and begins anew with the next start"
    )
    file: str | None = Field(
        None,
        description="CSV, Parquet or HDF5 file, relative to this document, with the columns 'time_s' and "
        "'current_A' or 'power_W' (any unit of these, such as 'time_ms'; without a unit: s, A, W)",
    )
    points: tuple[ProfilePoint, ...] | None = Field(
        None, description="or points; straight lines between them, two at one time are a jump"
    )
    repeats: Literal["once", "always"] = Field(
        "once", description="once: its last value stays; always: it begins anew after its last point"
    )
    in_table: ClassVar[tuple[str, ...]] = ("file", "points", "repeats")
    in_file: ClassVar[Mapping[str, tuple[Mapping[str, str], ...]]] = {
        "file": ({"time": "s"}, {"current": "A", "power": "W"})
    }
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {
        "compliance": (1.0, "compliance voltage of a profile is not given: 1 V assumed"),
        "factor": (1.0, ""),
        "starts_at": (0.0, "a profile without 'starts_at' begins with the procedure, on or off"),
        "stops_at": (0.0, ""),
    }

    @model_validator(mode="after")
    def _possible(self) -> Self:
        starts, stops = self.starts_at, self.stops_at
        if (starts is None) != (stops is None):
            missing, there = ("stops_at", "starts_at") if stops is None else ("starts_at", "stops_at")
            raise fault(f"expected both 'starts_at' and 'stops_at', got no '{missing}'; add it", there)
        if starts is not None and stops is not None and stops.high >= starts.low:
            raise fault(
                f"expected 'stops_at' wholly below 'starts_at', got {stops.text} and {starts.text}",
                "stops_at",
            )
        points = self.points
        expect_one(self, "file", "points")
        if points is None:
            return self
        if len(points) < 2 or points[-1].time <= points[0].time:
            raise fault("expected at least two points at different times in 'points'", "points")
        if len({point.power is None for point in points}) > 1:
            raise fault("expected currents or powers in 'points', got both; write one of them", "points")
        for number, (one, two) in enumerate(pairwise(points), start=2):
            if two.time < one.time:
                raise fault(
                    f"expected times in order in 'points', got point {number} at {two.time:g} s after "
                    f"{one.time:g} s",
                    "points",
                )
        return self

    def table(self) -> tuple[float, ...]:
        """Whether it repeats, whether it is a power, then time (from 0 s) and value of each point.

        ValueError where the file was not read, which loading a device document does.
        """
        if self.points is not None:
            power = self.points[0].power is not None
            rows = [(point.time, point.power if power else point.current) for point in self.points]
        else:
            columns = self.columns_of("file")
            power = columns.names[1] == "power"
            rows = [(time, value) for time, value in columns.rows]
        begins = rows[0][0]
        values = [number for time, value in rows for number in (time - begins, float(value or 0.0))]
        return (float(self.repeats == "always"), float(power), *values)


def current(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """Value of the present segment as a current, faded below the compliance voltage p[0] [A]."""
    if v <= 0.0 or (q[RUNNING] == 0.0 and p[2] > 0.0):
        return 0.0
    at = int(q[AT])
    if at + 3 >= len(p):
        value = p[len(p) - 1]
    else:
        value = p[at + 1] + (p[at + 3] - p[at + 1]) * (t - q[BEGAN] - p[at]) / (p[at + 2] - p[at])
    value *= p[1]
    if p[IS_POWER] == 1.0:
        value /= max(v, p[0])
    return value if v >= p[0] else value * v / p[0]


def ends(p: Sequence[float], q: Sequence[float]) -> float:
    """Time at which the present segment ends [s]; inf where its last value stays."""
    at = int(q[AT])
    return q[BEGAN] + p[at + 2] if at + 3 < len(p) else math.inf


def region(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> int:
    """0: reversed, 1: fading, 2: above its compliance; 3: wants to start, 4: to stop, 5: next segment."""
    if p[2] > 0.0:
        if q[RUNNING] == 0.0 and v >= p[2]:
            return 3
        if q[RUNNING] == 1.0 and v <= p[3]:
            return 4
    if (q[RUNNING] == 1.0 or p[2] == 0.0) and t >= ends(p, q):
        return 5
    return 0 if v <= 0.0 else 2 if v >= p[0] else 1


def enter(region: int, t: float, p: Sequence[float], q: list[float]) -> int:
    """Start, stop, or the segment that holds from now on."""
    if region == 4:
        q[RUNNING] = 0.0
        return 2
    if region == 3:
        q[RUNNING], q[BEGAN], q[AT] = 1.0, t, float(FIRST)
    if region in (3, 5):
        while t >= ends(p, q):
            q[AT] += 2.0
            if int(q[AT]) + 3 >= len(p) and p[REPEATS] == 1.0:
                q[BEGAN] += p[len(p) - 2]
                q[AT] = float(FIRST)
    return 1 if region == 3 else 0


def corner(t: float, p: Sequence[float], q: Sequence[float]) -> float:
    """The next of its points [s]."""
    if q[RUNNING] == 0.0 and p[2] > 0.0:
        return math.inf
    return ends(p, q)


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """Its least and greatest current at any time [A]."""
    values = [p[at] * p[1] for at in range(FIRST + 1, len(p), 2)]
    if v <= p[3] or v <= 0.0:
        return 0.0, 0.0
    share = min(1.0, v / p[0]) / (max(v, p[0]) if p[IS_POWER] == 1.0 else 1.0)
    least = 0.0 if p[2] > 0.0 else min(values)
    return min(least, *values) * share, max(values) * share


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    points = [
        {"time": "0 s", "power": f"{0.2 * volts * amperes} W"},
        {"time": "30 ms", "power": f"{0.7 * volts * amperes} W"},
    ]
    gate = {"starts_at": f"{0.7 * volts} V", "stops_at": f"{0.4 * volts} V"}
    return {"": {"points": points, "compliance": f"{0.33 * volts} V", "repeats": "always", **gate}}


KIND = LoadKind(
    "profile",
    Profile,
    sys.modules[__name__],
    flags_at_start=(0.0, 0.0, float(FIRST)),
    events=("starts", "stops"),
    varies=True,
)
