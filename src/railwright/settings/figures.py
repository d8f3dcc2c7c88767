"""Figures derived from the bench's data sheets, and how figures are rounded.

A figure that the bench does not give comes back as None: unknown, never zero.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from railwright.documents.bench import CurrentAccuracy, Output, VoltageAccuracy
from railwright.physics.output_stage import CEILING as CEILING


def error(accuracy: VoltageAccuracy | CurrentAccuracy, value: float) -> float:
    """Bound of the error at a value, in the value's unit: of_value · |value| + offset."""
    return accuracy.of_value * abs(value) + accuracy.offset


def fastest_slew(output: Output) -> float | None:
    """Fastest rise of the output [V/s]: 80 % of full scale in its rise time; None: unknown."""
    return None if output.rise is None else 0.8 * output.voltage.high / output.rise


def slowest_fall(output: Output) -> float | None:
    """Fall of the output without load [V/s]: 80 % of full scale in its unloaded fall time; None: unknown."""
    return None if output.fall.unloaded is None else 0.8 * output.voltage.high / output.fall.unloaded


@dataclass(frozen=True, slots=True)
class Driven:
    """What drives one output's voltage upwards while nothing holds it back but its limits; SI units.

    limit: with its error; overshoot: how far the current may stand above it until it has responded; response:
    after which nine tenths of that are gone. capacitance: the least. fastest: rate of the reference, inf:
    it asks for all it can. drawn: (voltage, current) at rising voltages, the least that is drawn there.
    """

    limit: float
    overshoot: float
    response: float
    power: float
    capacitance: float
    fastest: float
    drawn: tuple[tuple[float, float], ...]

    def course(self) -> Course:
        """The voltage against time from the first voltage of `drawn` to the last, or to where it stays.

        C dv/dt = min(I, C · fastest + I_drawn) - I_drawn with I = min(I_limit + z, P / v), and
        dz/dt = k (I_limit - i), z at most the overshoot, which it begins with; k = ln 10 / response. In equal
        steps of voltage, in each of which i stays the same.
        """
        k = math.log(10.0) / max(self.response, 1e-9)
        spare, time, last = self.overshoot, 0.0, self.drawn[0][0]
        times, volts = [0.0], [last]
        for (low, least), (high, most) in pairwise(self.drawn):
            for n in range(PARTS):
                part = (n + 0.5) / PARTS
                v, drawn = low + part * (high - low), least + part * (most - least)
                step = (high - low) / PARTS
                wanted = self.capacitance * self.fastest + drawn if self.capacitance > 0.0 else drawn
                given = min(self.limit + spare, self.power / max(v, 1e-3), wanted)
                if given < drawn or (given == drawn < wanted):
                    return Course(tuple(times), tuple(volts), self.drawn, stays=True)
                took = self.capacitance * step / (given - drawn) if given > drawn else step / self.fastest
                if given >= self.limit + spare:  # in charge: what stands above the limit fades
                    spare *= math.exp(-k * took)
                else:
                    spare = max(0.0, min(self.overshoot, spare + k * took * (self.limit - given)))
                time, last = time + took, last + step
                times.append(time)
                volts.append(last)
        return Course(tuple(times), tuple(volts), self.drawn)


PARTS = 8
"""Steps of a course between two voltages at which the current that is drawn is known."""


@dataclass(frozen=True, slots=True)
class Course:
    """A voltage that rises: at rising times [s] rising voltages [V]; drawn: see `Driven`. stays: it gets no
    higher.
    """

    times: tuple[float, ...]
    volts: tuple[float, ...]
    drawn: tuple[tuple[float, float], ...]
    stays: bool = False

    def past(self, level: float, time: float) -> float:
        """How far it rises past a level [V] in a time [s] from the instant at which it passes it; 0: it does
        not get there. Beyond the last voltage it goes on as there.
        """
        if level > self.volts[-1]:
            return 0.0 if self.stays or len(self.volts) < 2 else time * self._last
        passes = _interpolated(level, self.volts, self.times) if level > self.volts[0] else 0.0
        until = passes + time
        if until <= self.times[-1]:
            return _interpolated(until, self.times, self.volts) - max(level, self.volts[0])
        beyond = 0.0 if self.stays else (until - self.times[-1]) * self._last
        return self.volts[-1] + beyond - max(level, self.volts[0])

    def at(self, level: float) -> float:
        """When it passes a voltage [s]; where it never does, or stays there: at its end."""
        return _interpolated(level, self.volts, self.times) if level < self.volts[-1] else self.times[-1]

    def rate_at(self, level: float) -> float:
        """How fast it rises at a voltage [V/s]."""
        if self.stays and level >= self.volts[-1]:
            return 0.0
        after = min(max(1, bisect_left(self.volts, level)), len(self.volts) - 1)
        return (self.volts[after] - self.volts[after - 1]) / (self.times[after] - self.times[after - 1])

    def drawn_at(self, level: float) -> float:
        """The least that is drawn at a voltage [A]."""
        return _interpolated(level, [volts for volts, _ in self.drawn], [least for _, least in self.drawn])

    @property
    def _last(self) -> float:
        return (self.volts[-1] - self.volts[-2]) / (self.times[-1] - self.times[-2])


def swing(held: float, own: float, ohms: float, henries: float) -> float:
    """By how much the voltage of a capacitor `held` [F] gets above that of `own` [F] at the other end of a
    lead, per ampere that charges it when nothing feeds `own` any more [V/A]; negative: it stays below.

    A series R-L-C circuit whose current begins at i with L di/dt = 0, until the current has come to zero
    (textbook): i (exp(-R t / 2 L) √(L C) / C_held - R C_held / (C_own + C_held)), C of both in series, t of
    the first zero.
    """
    if held <= 0.0 or own <= 0.0:
        return 0.0
    both = own * held / (own + held)
    stays = -ohms * held / (own + held)
    slow, fast = ohms / (2.0 * henries), 1.0 / math.sqrt(henries * both)
    if slow >= fast:
        return stays
    omega = math.sqrt(fast**2 - slow**2)
    zero = (math.pi - math.atan2(omega, slow)) / omega
    return stays + math.sqrt(henries * both) / held * math.exp(-slow * zero)


def _interpolated(at: float, places: Sequence[float], values: Sequence[float]) -> float:
    """A value between its neighbours."""
    after = min(max(1, bisect_left(places, at)), len(places) - 1)
    low, high = places[after - 1], places[after]
    part = (at - low) / (high - low) if high > low else 0.0
    return values[after - 1] + part * (values[after] - values[after - 1])


def round_up(value: float, digits: int = 2) -> float:
    """A figure rounded up to so many significant digits, for what people are to write or look for."""
    return -round_down(-value, digits) if value > 0.0 else value


def round_down(value: float, digits: int = 2) -> float:
    """A figure rounded down to so many significant digits."""
    step = 10.0 ** (math.floor(math.log10(abs(value) or 1.0)) - digits + 1)
    return float(f"{math.floor(value / step + 1e-9) * step:.6g}")


def on_grid(value: float, step: float) -> bool:
    """Whether a value is a whole number of steps (to a thousandth of a step)."""
    return abs(value / step - round(value / step)) <= 1e-3


def least(holds: Callable[[float], bool], low: float, high: float, halvings: int) -> float:
    """The least value between two from which on a condition holds: from above, to a part of the interval by
    so many halvings. It holds at `high`.
    """
    for _ in range(halvings):
        middle = (low + high) / 2.0
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def tidy(value: float, low: float, high: float, step: float) -> float:
    """The roundest value near `value` within low..high that is a whole number of steps.

    Tries whole numbers of one, two and five times powers of ten, the coarsest first, and takes the first that
    is a whole number of `step` and moves the value by no more than 5 %. Where none fits, the nearest step
    inside the range; where the range holds no step at all, `value` as it is.
    """
    top = math.floor(math.log10(abs(value))) if value else 0
    for decade in range(top + 1, math.floor(math.log10(step)) - 1, -1):
        for factor in (5, 2, 1):
            coarse = factor * 10.0**decade
            candidate: float = round(round(value / coarse) * coarse, 12)
            near = low <= candidate <= high and abs(candidate - value) <= 0.05 * abs(value)
            if near and on_grid(candidate, step):
                return candidate
    return _on_step(value, low, high, step)


def two_digits(value: float, low: float, high: float, step: float) -> float:
    """The value of two digits within low..high that is a whole number of steps and lies nearest to `value`.

    Where there is none within 10 % of it, the nearest step inside the range; where the range holds no step at
    all, `value` as it is.
    """
    if value <= 0.0:
        return _on_step(value, low, high, step)
    coarse = 10.0 ** (math.floor(math.log10(value)) - 1)
    around = (round((round(value / coarse) + n) * coarse, 12) for n in range(-10, 11))
    fit = [
        each
        for each in around
        if low <= each <= high and abs(each - value) <= 0.1 * value and on_grid(each, step)
    ]
    if not fit:
        return _on_step(value, low, high, step)
    return min(fit, key=lambda each: abs(each - value))


def _on_step(value: float, low: float, high: float, step: float) -> float:
    """The nearest whole number of steps within low..high; where there is none, the value as it is."""
    ends = (math.floor(value / step) * step, math.ceil(value / step) * step)
    inside = [each for each in ends if low <= each <= high]
    if not inside:
        return value
    return round(inside[0] if abs(inside[0] - value) <= abs(inside[-1] - value) else inside[-1], 12)
