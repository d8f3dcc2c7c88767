"""DC motor with permanent magnets: winding, back-EMF, inertia, friction; at standstill it sticks.

    L di/dt = v - R i - k ω
    J dω/dt = k i - B ω - (T_friction + T_load) sign(ω)

The load torque opposes the motion, like the dry friction does, and is what the shaft delivers. The rotor
breaks away where k |i| exceeds both together, and stops where ω passes zero and k i cannot turn it on.
"""

from __future__ import annotations

import cmath
import math
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Annotated, ClassVar, NamedTuple

from pydantic import Field

from railwright.physics import halving
from railwright.physics.loads.law import Examples, Follower, LoadKind, LoadParameters, Ramp, Rising
from railwright.quantities import Dimension, Uncertain

REST = 1e-4
"""Time constant with which what little speed is left when it sticks ends [s]."""
SETTLED, HALVINGS = 30.0, 50
"""Time constants of the winding after which its current has settled; halvings for when it breaks away."""
LATER = (0.1, 0.2, 0.4, 0.7, 1.0, 1.5, 2.2, 3.0, 5.0)
"""When the current is looked at after the voltage has risen, in time constants of the winding."""


class Motor(LoadParameters):
    """A brushed DC motor: it draws its stall current until it turns, and feeds back when it is driven."""

    resistance: Annotated[Uncertain, Dimension("ohm", "uncertain", positive=True)] = Field(
        description="resistance between its terminals: stall current = voltage by resistance"
    )
    torque_constant: Annotated[Uncertain, Dimension("N*m/A", "uncertain", positive=True)] = Field(
        description="torque per current, which is also voltage per speed: no-load speed = voltage by it"
    )
    inertia: Annotated[Uncertain, Dimension("kg*m**2", "uncertain", positive=True)] = Field(
        description="moment of inertia of the rotor and of what it turns"
    )
    inductance: Annotated[Uncertain, Dimension("H", "uncertain", positive=True)] | None = Field(
        None,
        description="inductance between its terminals; left out: unknown, and assumed as the result says",
    )
    friction: Annotated[Uncertain, Dimension("N*m", "uncertain", nonnegative=True)] | None = Field(
        None, description="dry friction: torque constant times no-load current; left out: unknown"
    )
    viscous_friction: Annotated[Uncertain, Dimension("N*m*s", "uncertain", nonnegative=True)] | None = Field(
        None, description="friction torque per speed (in rad/s); left out: unknown"
    )
    load_torque: Annotated[Uncertain, Dimension("N*m", "uncertain", nonnegative=True)] | None = Field(
        None, description="torque of what it drives, against its motion; left out: it turns freely"
    )
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {
        "inductance": (1e-3, "inductance of a motor is not given: 1 mH assumed"),
        "friction": (0.0, "dry friction of a motor is not given: none assumed"),
        "viscous_friction": (0.0, "viscous friction of a motor is not given: none assumed"),
        "load_torque": (0.0, ""),
    }


def dry(p: Sequence[float]) -> float:
    """Torque against any motion [N m]."""
    return p[4] + p[6]


def current(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """Current in the winding, a state of its own [A]."""
    return y[0]


def derivatives(
    v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float], dy: list[float]
) -> None:
    """y[0]: current [A], y[1]: speed [rad/s]; q[0]: 1 or -1 where it turns, 0 where it sticks."""
    dy[0] = (v - p[0] * y[0] - p[1] * y[1]) / p[3]
    if q[0] == 0.0 and dry(p) > 0.0:
        dy[1] = -y[1] / REST
    else:
        dy[1] = (p[1] * y[0] - p[5] * y[1] - dry(p) * q[0]) / p[2]


def region(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> int:
    """0: as it is, 1: breaks away forwards, 2: backwards, 3: stops."""
    against, driving = dry(p), p[1] * y[0]
    if against == 0.0:
        return 0
    if q[0] == 0.0:
        return 1 if driving > against else 2 if driving < -against else 0
    return 3 if q[0] * y[1] <= 0.0 and q[0] * driving < against else 0


def enter(region: int, t: float, p: Sequence[float], q: list[float]) -> int:
    """It turns, or stands."""
    if region == 0:
        return 0
    q[0] = 1.0 if region == 1 else -1.0 if region == 2 else 0.0
    return 2 if region == 3 else 1


def stored(p: Sequence[float], y: Sequence[float]) -> float:
    """½ L i² + ½ J ω² [J]."""
    return 0.5 * p[3] * y[0] ** 2 + 0.5 * p[2] * y[1] ** 2


def heat(v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
    """Winding and friction [W]; what the load torque takes goes to the shaft."""
    return p[0] * y[0] ** 2 + p[5] * y[1] ** 2 + p[4] * abs(y[1])


def draws(v: float, p: Sequence[float]) -> tuple[float, float]:
    """Current at its steady speed [A]; where it cannot turn, its stall current."""
    stalled = v / p[0]
    if p[1] * abs(stalled) <= dry(p):
        return stalled, stalled
    against = dry(p) if v > 0.0 else -dry(p)
    speed = (p[1] * v / p[0] - against) / (p[1] ** 2 / p[0] + p[5])
    turning = (v - p[1] * speed) / p[0]
    return turning, turning


def turning(p: Sequence[float]) -> float:
    """Capacitance [F] that its rotor is as it slows down on an input that is no longer fed: J / k²."""
    return p[2] / p[1] ** 2


def inertia(p: Sequence[float]) -> float:
    """Capacitance [F] that draws as much beside the settled current while the voltage rises: J / k², and more
    where winding and inertia swing.

    Like a series R-L-C circuit with C = J / k², α = R / 2 L, ω² = 1 / L C - α² (textbook): at a rate r its
    current begins C r below where it ends, with a slope of r / R at most when it breaks away, so that it gets
    as far past it as exp(-α t) (-cos ω t + (1 / R C - α) / ω · sin ω t) · C r has its first maximum.
    """
    farads = p[2] / p[1] ** 2
    fades, resonates = 0.5 * p[0] / p[3], 1.0 / math.sqrt(p[3] * farads)
    if fades >= resonates:
        return farads
    omega, slope = math.sqrt(resonates**2 - fades**2), 1.0 / (p[0] * farads)
    angle = math.atan2(slope, -0.5 * resonates**2 / omega)
    swings = (slope - fades) / omega * math.sin(angle) - math.cos(angle)
    return farads * (1.0 + math.exp(-fades * angle / omega) * swings)


def rising(ramp: Ramp, p: Sequence[float]) -> Rising:
    """Its current on a ramp: a winding until its torque exceeds the dry one, from then on a winding in series
    with C = J / k², across which the viscous friction is a conductance B / k² (textbook).
    """
    ohms, henries, stands = p[0] + ramp.ohms, p[3], dry(p) / p[1]
    lag, winding = henries / ohms, ramp.through(ohms, henries)
    settled = ramp.over + SETTLED * lag
    if winding(settled) <= stands:
        return Rising(lambda v, t: winding(t), (settled,), winds=True)
    breaks = (
        halving.least(lambda time: winding(time) > stands, 0.0, settled, HALVINGS) if stands > 0.0 else 0.0
    )
    turning = _Turning(ohms, henries, p[2] / p[1] ** 2, p[5] / p[1] ** 2, stands)
    first = turning.course(0.0, ramp.at(breaks), ramp.rate if breaks < ramp.over else 0.0)
    end = max(0.0, ramp.over - breaks)
    after = turning.course(first(end)[1], ramp.stop, 0.0, first(end)[0]) if breaks < ramp.over else first

    def current(v: float, t: float) -> float:
        if t <= breaks:
            return winding(t)
        return first(t - breaks)[0] if t <= ramp.over else after(t - max(breaks, ramp.over))[0]

    return Rising(current, (breaks, *(ramp.over + part * lag for part in LATER)), winds=True)


class _Turning(NamedTuple):
    """A rotor that turns: L di/dt = v - R i - e, i = I_dry + C de/dt + G e, e = k ω."""

    ohms: float
    henries: float
    farads: float
    siemens: float
    stands: float

    def course(
        self, emf: float, volts: float, rate: float, amperes: float | None = None
    ) -> Callable[[float], tuple[float, float]]:
        """Time since [s] -> its current [A] and back-EMF [V], from these at first [V, A], on a voltage that
        begins at `volts` [V] and changes at a rate [V/s]; amperes: None: what the dry torque needs.
        """
        inertia, damping = self.henries * self.farads, self.henries * self.siemens + self.ohms * self.farads
        stiffness = 1.0 + self.ohms * self.siemens
        slope = rate / stiffness
        level = (volts - self.ohms * self.stands - damping * slope) / stiffness
        begins = 0.0 if amperes is None else amperes - self.stands
        away, changes = emf - level, (begins - self.siemens * emf) / self.farads - slope
        root = cmath.sqrt((0.5 * damping / inertia) ** 2 - stiffness / inertia) or 1e-6 * damping / inertia
        one, two = -0.5 * damping / inertia + root, -0.5 * damping / inertia - root
        part = (changes - two * away) / (one - two)

        def at(time: float) -> tuple[float, float]:
            first, second = part * cmath.exp(one * time), (away - part) * cmath.exp(two * time)
            now = level + slope * time + (first + second).real
            speeds = slope + (one * first + two * second).real
            return self.stands + self.farads * speeds + self.siemens * now, now

        return at


def rising_most(corners: Sequence[Sequence[float]]) -> Sequence[Sequence[float]]:
    """Of all corners of its tolerances those that may draw most on a ramp: the most to turn by the least
    torque constant; either end of what lets it swing.
    """
    return _extreme(corners, min, max)


def follower(start: float, p: Sequence[float]) -> Follower:
    """L di/dt = v - R i - e, C de/dt = i - G e - I_dry by implicit steps (backward Euler); see `_Turning`."""
    farads, siemens, stands = p[2] / p[1] ** 2, p[5] / p[1] ** 2, dry(p) / p[1]
    amperes = draws(start, p)[0] if start > 0.0 else 0.0
    emf = start - p[0] * amperes

    def step(v: float, lasts: float) -> float:
        nonlocal amperes, emf
        winding = p[3] + lasts * p[0]
        if emf > 0.0 or amperes > stands:
            turning = farads + lasts * siemens
            driven = p[3] * amperes + lasts * v - lasts * (farads * emf - lasts * stands) / turning
            now = driven / (winding + lasts**2 / turning)
            speeds = (farads * emf + lasts * (now - stands)) / turning
            if speeds > 0.0:
                amperes, emf = now, speeds
                return amperes
        amperes, emf = (p[3] * amperes + lasts * v) / winding, 0.0
        return amperes

    return step


def drawing_least(corners: Sequence[Sequence[float]]) -> Sequence[Sequence[float]]:
    """Of all corners of its tolerances those that may draw least while it is driven upwards: the least to
    turn by the greatest torque constant; either end of what lets it swing.
    """
    return _extreme(corners, max, min)


def _extreme(
    corners: Sequence[Sequence[float]],
    constant: Callable[[Iterable[float]], float],
    to_turn: Callable[[Iterable[float]], float],
) -> Sequence[Sequence[float]]:
    """The corners with one end of the torque constant, and one end of everything that it has to turn."""
    turn = [to_turn(p[field] for p in corners) for field in (2, 4, 5, 6)]
    wanted = [constant(p[1] for p in corners), *turn]
    return [p for p in corners if [p[1], p[2], p[4], p[5], p[6]] == wanted]


def examples(volts: float, amperes: float) -> Examples:
    """Loads that draw about so much, as a document writes them."""
    constant = volts / 600.0
    free = {
        "resistance": f"{volts / (6.0 * amperes)} ohm",
        "torque_constant": f"{constant} N*m/A",
        "inertia": f"{1e-3 * constant**2 * amperes / volts * 60.0} kg*m**2",
    }
    return {"": free | {"friction": f"{0.2 * constant * amperes} N*m"}, "without friction": free}


KIND = LoadKind(
    "dc_motor",
    Motor,
    sys.modules[__name__],
    states=("current", "speed"),
    flags_at_start=(0.0,),
    events=("turns", "stands"),
)
