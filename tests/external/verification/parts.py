"""Loads of the second judge, each with its own equations as its documentation states them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from tests.external.verification.equations import NEVER, Guard, Part


class Resistor(Part):
    """i = v / R."""

    def __init__(self, ohms: float) -> None:
        self.ohms = ohms

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        return v / self.ohms


class ConstantCurrent(Part):
    """i = I above its compliance voltage, in proportion to v below it."""

    def __init__(self, amperes: float, compliance: float = 1.0) -> None:
        self.amperes, self.compliance = amperes, compliance

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        return self.amperes * min(1.0, max(0.0, v) / self.compliance)


class Capacitor(Part):
    """C du/dt = (v - u) / ESR."""

    def __init__(self, farads: float, esr: float) -> None:
        self.farads, self.esr = farads, esr

    def start(self) -> list[float]:
        return [0.0]

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        return (v - y[0]) / self.esr

    def rates(self, t: float, v: float, y: Sequence[float]) -> list[float]:
        return [(v - y[0]) / (self.esr * self.farads)]


class Converter(Part):
    """Constant power between two thresholds, soft start, 1 ms of rest after a stop; with a current limit it
    is a resistor where that would hold.
    """

    def __init__(
        self, watts: float, starts: float, stops: float, soft: float, limit: float = math.inf
    ) -> None:
        self.watts, self.starts_at, self.stops_at, self.soft, self.limit = watts, starts, stops, soft, limit
        self.runs, self.since = False, -math.inf

    def power(self, t: float) -> float:
        """What it asks for [W]."""
        return self.watts * min(1.0, (t - self.since) / self.soft)

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        if not self.runs:
            return 0.0
        power = self.power(t)
        if power > self.limit * v:  # v < P / I: the resistor that draws I at P / I
            return self.limit * v / (power / self.limit) if v > 0.0 else 0.0
        return power / v

    def start_now(self, t: float) -> str:
        """It begins."""
        self.runs, self.since = True, t
        return "starts"

    def stop_now(self, t: float) -> str:
        """It ends."""
        self.runs, self.since = False, t
        return "stops"

    def stops(self, t: float) -> float:
        end = self.since + (self.soft if self.runs else 1e-3)
        return end if end > t else NEVER

    def at_stop(self, t: float, v: float) -> str | None:
        if not self.runs and t >= self.since + 1e-3 and v >= self.starts_at:
            return self.start_now(t)
        return None

    def guards(self) -> list[Guard]:
        if self.runs:
            return [(lambda t, v, y: self.stops_at - v, self.stop_now)]
        return [(lambda t, v, y: v - self.starts_at if t >= self.since + 1e-3 else -1.0, self.start_now)]


class Motor(Part):
    """L di/dt = v - R i - k w; J dw/dt = k i - B w - T; it stands until k i exceeds T. It never reverses."""

    def __init__(
        self, ohms: float, henries: float, constant: float, inertia: float, torque: float, viscous: float
    ) -> None:
        self.ohms, self.henries, self.constant = ohms, henries, constant
        self.inertia, self.torque, self.viscous = inertia, torque, viscous
        self.turns = False

    def start(self) -> list[float]:
        return [0.0, 0.0]

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        return y[0]

    def rates(self, t: float, v: float, y: Sequence[float]) -> list[float]:
        i, w = y
        turning = (self.constant * i - self.viscous * w - self.torque) / self.inertia if self.turns else 0.0
        return [(v - self.ohms * i - self.constant * w) / self.henries, turning]

    def break_away(self, t: float) -> str:
        """It begins to turn."""
        self.turns = True
        return "turns"

    def guards(self) -> list[Guard]:
        if self.turns:
            return []
        return [(lambda t, v, y: self.constant * y[0] - self.torque, self.break_away)]


class Lamp(Part):
    """i = v / R(T), R = R_cold (T / 293.15 K)^1.215; C dT/dt = v i - radiation, the rated power when hot."""

    def __init__(self, volts: float, watts: float, cold: float, capacity: float) -> None:
        self.watts, self.cold, self.capacity = watts, cold, capacity
        self.hot = 293.15 * (volts**2 / watts / cold) ** (1 / 1.215)

    def start(self) -> list[float]:
        return [293.15]

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        return float(v / (self.cold * (y[0] / 293.15) ** 1.215))

    def rates(self, t: float, v: float, y: Sequence[float]) -> list[float]:
        around = 293.15**4
        radiated = self.watts * (y[0] ** 4 - around) / (self.hot**4 - around)
        return [(v * self.current(t, v, y) - radiated) / self.capacity]


class Battery(Part):
    """i = (v - V(Q) - V_d) / R where that is above zero, with a straight line for V(Q); dQ/dt = i."""

    def __init__(
        self, empty: float, full: float, coulombs: float, at_start: float, ohms: float, drop: float
    ) -> None:
        self.empty, self.full, self.coulombs, self.at_start = empty, full, coulombs, at_start
        self.ohms, self.drop = ohms, drop

    def start(self) -> list[float]:
        return [self.at_start]

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        inside = self.empty + (self.full - self.empty) * y[0] / self.coulombs
        return max(0.0, v - inside - self.drop) / self.ohms

    def rates(self, t: float, v: float, y: Sequence[float]) -> list[float]:
        return [self.current(t, v, y)]


class Coil(Part):
    """L di/dt = v - R i; what is drawn is i less the freewheel diode's (-v - V_d) / R_d."""

    def __init__(self, ohms: float, henries: float, drop: float, diode: float) -> None:
        self.ohms, self.henries, self.drop, self.diode = ohms, henries, drop, diode

    def start(self) -> list[float]:
        return [0.0]

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        return y[0] - max(0.0, (-v - self.drop) / self.diode)

    def rates(self, t: float, v: float, y: Sequence[float]) -> list[float]:
        return [(v - self.ohms * y[0]) / self.henries]


class Bursts(Part):
    """A current that jumps at given times of a period; straight lines between, fading below a compliance."""

    def __init__(self, points: Sequence[tuple[float, float]], compliance: float) -> None:
        self.points, self.compliance = points, compliance
        self.period = points[-1][0]
        self.turn, self.at = 0, 0

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        (a, u), (b, w) = self.points[self.at : self.at + 2]
        amperes = u + (w - u) * (t - self.turn * self.period - a) / (b - a)
        return amperes * min(1.0, max(0.0, v) / self.compliance)

    def stops(self, t: float) -> float:
        return self.turn * self.period + self.points[self.at + 1][0]

    def at_stop(self, t: float, v: float) -> str | None:
        while t >= self.stops(t):
            self.at += 1
            if self.at + 1 == len(self.points):
                self.turn, self.at = self.turn + 1, 0
        return None


class Leds(Part):
    """v = (R + N r) i + N m ln(1 + i / I_s), solved by Newton's method for the junctions' voltage."""

    def __init__(self, count: int, volts: float, amperes: float, series: float, slope: float) -> None:
        self.m = 2.0 * 0.025852
        ohmic = slope - self.m / amperes
        self.saturation = amperes / math.expm1((volts - ohmic * amperes) / self.m)
        self.ohms, self.count = series + count * ohmic, count
        self.guess = 0.0

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        if v <= 0.0:
            return 0.0
        scale = self.count * self.m
        most = scale * math.log1p(v / (self.ohms * self.saturation))
        u = min(self.guess or v, v, most)  # voltage of all junctions
        for _ in range(100):
            e = math.exp(u / scale)
            step = (self.ohms * self.saturation * (e - 1.0) + u - v) / (
                self.ohms * self.saturation * e / scale + 1.0
            )
            u -= step
            if abs(step) < 1e-14 * (1.0 + abs(u)):
                break
        self.guess = u
        return self.saturation * math.expm1(u / scale)


class Table(Part):
    """Straight lines between points of current over voltage."""

    def __init__(self, points: Sequence[tuple[float, float]]) -> None:
        self.points = points

    def current(self, t: float, v: float, y: Sequence[float]) -> float:
        points = self.points
        if v >= points[-1][0]:
            return points[-1][1]
        for (a, i), (b, k) in pairwise(points):
            if v < b:
                return i + (k - i) * max(0.0, v - a) / (b - a)
        return points[-1][1]
