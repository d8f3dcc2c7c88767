"""Switching converter: constant power between a starting and a stopping voltage, with soft start.

i = s P / (η v) while it runs, 0 while it does not. It starts when v reaches `starts_at` and stops when v
falls to `stops_at`, and starts again 1 ms later at the earliest; after a start its power grows linearly over
`soft_start`. Its input capacitor is a capacitor load beside it.

With an input current limit it draws i = min(s P / (η v), I_limit); what it feeds then gets less. Below its
drop-out voltage it is a resistor: it no longer regulates, and what it feeds sinks with its input. A supply
whose own limit is lower than I_limit then finds a stable point down there: the input hangs low.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from railwright.physics.loads.law import (
    Ascent,
    Choose,
    Examples,
    LoadKind,
    LoadParameters,
    Ramp,
    Rising,
    fault,
)
from railwright.quantities import Dimension, Uncertain, UncertainRatio, UncertainSeconds, UncertainWatts

RESTART = 1e-3
"""Time after a stop before which it does not start again [s]."""
_Threshold = Annotated[Uncertain, Dimension("V", "uncertain", positive=True)]


class Converter(LoadParameters):
    """A switching converter that feeds the device; its input capacitor is a capacitor beside it."""

    output_power: UncertainWatts = Field(description="what it delivers")
    efficiency: UncertainRatio = Field(description="output power by input power")
    starts_at: _Threshold = Field(description="starts when its input reaches this voltage")
    stops_at: _Threshold = Field(description="stops when its input falls to this voltage")
    soft_start: UncertainSeconds | None = Field(
        None,
        description="time in which its power grows from zero; left out: unknown, declared in the result",
    )
    input_current_limit: Annotated[Uncertain, Dimension("A", "uncertain", positive=True)] | None = Field(
        None, description="it never draws more than this; left out: it has no such limit"
    )
    drop_out: _Threshold | None = Field(
        None,
        description="input voltage below which it no longer regulates and is a resistor; left out: with an "
        "input current limit where that begins to hold, else it regulates down to 'stops_at'",
    )
    declared: ClassVar[tuple[str, ...]] = (
        "a converter that has stopped starts again after 1 ms at the earliest",
    )
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {
        "soft_start": (1e-3, "soft start of a converter is not given: 1 ms assumed"),
        "input_current_limit": (math.inf, ""),
        "drop_out": (0.0, ""),
    }

    @model_validator(mode="after")
    def _hysteresis(self) -> Self:
        if self.stops_at.high >= self.starts_at.low:
            raise PydanticCustomError(
                "hysteresis",
                "expected 'stops_at' wholly below 'starts_at', "
                f"got {self.stops_at.text} and {self.starts_at.text}",
            )
        if self.efficiency.high > 1.0:
            raise PydanticCustomError(
                "efficiency", f"expected an efficiency up to 100 %, got {self.efficiency.text}"
            )
        if self.soft_start is not None and self.soft_start.low < 0.0:
            raise PydanticCustomError(
                "soft_start", f"expected a soft start of 0 s or more, got {self.soft_start.text}"
            )
        if self.drop_out is not None and self.drop_out.high >= self.starts_at.low:
            raise fault(
                f"expected 'drop_out' wholly below 'starts_at', got {self.drop_out.text} and "
                f"{self.starts_at.text}",
                "drop_out",
            )
        return self

    def floats(self, choose: Choose) -> tuple[dict[str, float], tuple[str, ...]]:
        """Chosen values, and the assumptions: with an input limit also where the converter drops out."""
        values, assumptions = super().floats(choose)
        if self.input_current_limit is not None and self.drop_out is None:
            sentence = (
                "drop-out voltage of a converter is not given: a resistor is assumed wherever its input "
                "current limit holds"
            )
            assumptions = (*assumptions, sentence)
        return values, assumptions


def limited(v: float, power: float, p: Sequence[float]) -> float:
    """Current at an input power that what it feeds asks for, within its limit and above drop-out [A]."""
    knee = p[6]
    if knee == 0.0 and power > p[5] * p[3]:
        knee = power / p[5]
    if knee == 0.0 or v >= knee:
        return min(power / max(v, 0.5 * p[3]), p[5])
    return min(power / knee, p[5]) * max(0.0, v) / knee


def current(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> float:
    """s P / (η v) [A]; q[0]: running, q[1]: time of its last start or stop, q[2]: 1 in soft start."""
    if q[0] == 0.0:
        return 0.0
    power = p[0] / p[1]
    if q[2] == 1.0:
        power *= (t - q[1]) / p[4]
    return limited(v, power, p)


def region(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> int:
    """0: as it is, 1: wants to start, 2: wants to stop, 3: soft start is over, 4: within its limit, 5: drops
    out.
    """
    if q[0] == 0.0:
        return 1 if v >= p[2] and t >= q[1] + RESTART else 0
    if v <= p[3]:
        return 2
    if q[2] == 1.0 and t >= q[1] + p[4]:
        return 3
    power = p[0] / p[1] * ((t - q[1]) / p[4] if q[2] == 1.0 else 1.0)
    if v < p[6] or (p[6] == 0.0 and v * p[5] < power):
        return 5
    return 4 if v * p[5] < power else 0


def enter(region: int, t: float, p: list[float], q: list[float]) -> int:
    """Start, stop, or end of the soft start."""
    if region == 1:
        q[0] = 1.0
        q[1] = t
        q[2] = 1.0 if p[4] > 0.0 else 0.0
        return 1
    if region == 2:
        q[0] = 0.0
        q[1] = t
        q[2] = 0.0
        return 2
    if region == 3:
        q[2] = 0.0
    return 0


def corner(t: float, p: list[float], q: list[float]) -> float:
    """The end of the soft start, or of the wait before the next start [s]."""
    if q[0] == 0.0:
        return q[1] + RESTART if q[1] + RESTART > t else math.inf
    return q[1] + p[4] if q[2] == 1.0 and q[1] + p[4] > t else math.inf


def heat(v: float, t: float, p: list[float], y: list[float], q: list[float]) -> float:
    """What the converter itself loses [W]; the rest goes to what it feeds."""
    return (1.0 - p[1]) * v * current(v, t, p, y, q)


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """Its current while it runs; none at or below its stopping voltage [A]."""
    drawn = limited(v, p[0] / p[1], p) if v > p[3] else 0.0
    return drawn, drawn


def at_least(v: float, risen: Ascent, p: Sequence[float]) -> float:
    """What it draws by then of its soft start, which begins where it starts [A]."""
    since = risen.since(p[2])
    if v < p[2] and since < math.inf:
        return 0.0
    return limited(v, p[0] / p[1] * (min(1.0, since / p[4]) if p[4] > 0.0 else 1.0), p)


def rising(ramp: Ramp, p: Sequence[float]) -> Rising:
    """On a ramp it starts where that passes its starting voltage, and its power grows in its soft start."""
    if ramp.stop < p[2]:
        return Rising(lambda v, t: 0.0)
    starts = p[2] / ramp.rate

    def current(v: float, t: float) -> float:
        if t < starts:
            return 0.0
        return limited(v, p[0] / p[1] * (min(1.0, (t - starts) / p[4]) if p[4] > 0.0 else 1.0), p)

    return Rising(current, (starts, starts + p[4]))


def rising_most(corners: Sequence[Sequence[float]]) -> Sequence[Sequence[float]]:
    """Of all corners of its tolerances those that may draw most on a ramp: where no input current limit and
    no drop-out bound it, the one of the greatest input power that starts first and soonest.
    """
    if any(p[5] < math.inf or p[6] > 0.0 for p in corners):
        return corners
    return [max(corners, key=lambda p: (p[0] / p[1], -p[2], -p[4], -p[3]))]


def drawing_least(corners: Sequence[Sequence[float]]) -> Sequence[Sequence[float]]:
    """Of all corners of its tolerances those that `at_least` has to look at: where no input current limit and
    no drop-out bound it, the one of the least input power that starts last and most slowly.
    """
    if any(p[5] < math.inf or p[6] > 0.0 for p in corners):
        return corners
    return [min(corners, key=lambda p: (p[0] / p[1], -p[2], -p[3], -p[4]))]


def drawing_between(corners: Sequence[Sequence[float]]) -> Sequence[Sequence[float]]:
    """Of all corners of its tolerances those between which `draws` lies: where no input current limit and no
    drop-out bound it, the one of the least input power that stops first on the way down, and the one of the
    greatest that stops last.
    """
    if any(p[5] < math.inf or p[6] > 0.0 or p[3] <= 0.0 for p in corners):
        return corners
    in_order = sorted(corners, key=lambda p: (p[0] / p[1], -p[3]))
    return [in_order[0], in_order[-1]]


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    regulating = {
        "output_power": f"{0.6 * volts * amperes} W",
        "efficiency": "86 %",
        "starts_at": f"{0.7 * volts} V",
        "stops_at": f"{0.5 * volts} V",
    }
    limited = regulating | {"input_current_limit": f"{amperes} A"}
    return {
        "": regulating,
        "within a limit": limited,
        "that drops out": limited | {"drop_out": f"{0.58 * volts} V"},
    }


KIND = LoadKind(
    "converter",
    Converter,
    sys.modules[__name__],
    flags_at_start=(0.0, -math.inf, 0.0),
    events=("starts", "stops"),
    disabled={"starts_at": math.inf, "stops_at": math.inf},
)
