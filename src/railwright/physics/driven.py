"""The voltage against time of an output that is driven upwards while only its limits hold it back."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

from railwright.physics import halving


class Driven(NamedTuple):
    """One output whose voltage is driven upwards, and what holds it back; SI units.

    limit: the current limit, with its error. overshoot: how far the current may be above the limit before the
    limit has responded; response: time after which a tenth of that is left. power: the power limit.
    capacitance: the least that is charged directly, without a resistance before it. fastest: rate at which
    the reference rises; inf: at once. drawn: (voltage, current), at rising voltages, the least that the load
    draws there. begins: gives, for a new course, a load whose current changes with time and that is drawn
    beside `drawn` (see `Besides`). behind: capacitors that are each charged through a resistance (farads,
    ohms).
    """

    limit: float
    overshoot: float
    response: float
    power: float
    capacitance: float
    fastest: float
    drawn: tuple[tuple[float, float], ...]
    begins: Callable[[], Besides] | None = None
    behind: tuple[tuple[float, float], ...] = ()

    def course(self) -> Course:
        """The voltage against time from the first voltage of `drawn` to the last, or to where it stays.

        C dv/dt = i - I_drawn,  i = min(I_limit + z, P / v, C · fastest + I_drawn)
        dz/dt = k (I_limit - i),  k = ln 10 / response;  z: from 0 to the overshoot, with which it begins

        In equal steps of voltage, with a constant current i in each.
        """
        if (self.begins is not None or self.behind) and self.capacitance > 0.0:
            return self._followed(self.begins() if self.begins is not None else _nothing)
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

    def _followed(self, besides: Besides) -> Course:
        """The course of `course` with a load that changes with time, or capacitors behind a resistance: in
        steps of time, as the voltage may fall back.
        """
        k = math.log(10.0) / max(self.response, 1e-9)
        spare, time, v, top = self.overshoot, 0.0, self.drawn[0][0], self.drawn[-1][0]
        width, highest, moving = (top - v) / (PARTS * len(self.drawn)), v, besides(v, 0.0, 0.0, 0.0)
        levels, least = zip(*self.drawn, strict=True)
        held, drawn, over = _Held(self.behind, v), _interpolated(v, levels, least) + moving, False
        found = [(time, v, v, drawn, 0.0)]
        while v < top and len(found) < MOST and not over:
            given = min(self.limit + spare, self.power / max(v, 1e-3))
            steep = min(abs(given - drawn - held.takes(v)) / self.capacitance, self.fastest)
            took = min(max(SHORT, LATER * time), width / max(steep, SLOW))
            lasts = math.exp(-0.5 * k * took)  # of what stands above the limit, by the middle of the step
            given = min(self.limit + spare * lasts, given)
            step, charges = held.rises(v, took, given - drawn, self.capacitance, self.fastest)
            given = min(given, self.capacitance * step / took + drawn + charges)
            if given >= (self.limit + spare * lasts) * (1.0 - ROUNDED):
                spare *= lasts * lasts
            else:
                spare = max(0.0, min(self.overshoot, spare + k * took * (self.limit - given)))
            net, time, v = given - drawn, time + took, max(0.0, v + step)
            over = self.begins is None and steep < SLOW
            moving, highest = besides(v, took, drawn, net), max(highest, v)
            drawn = _interpolated(v, levels, least) + moving
            found.append((time, highest, v, drawn, charges / held.farads if held.farads else 0.0))
        times, volts, real, currents, rates = (tuple(column) for column in zip(*found, strict=True))
        stays = v < top and (over or volts[-1] <= volts[int(0.75 * len(volts))])
        return Course(
            times,
            volts,
            tuple(zip(volts, currents, strict=True)),
            stays=stays,
            real=real if real != volts else (),
            filled=tuple(zip(volts, rates, strict=True)) if held.farads else (),
        )


class _Held:
    """Capacitors that are each charged through a resistance (farads, ohms). volts: what they begin at."""

    def __init__(self, behind: Sequence[tuple[float, float]], volts: float) -> None:
        self._behind, self._volts = behind, [volts] * len(behind)
        self.farads = sum(farads for farads, _ in behind)

    def takes(self, v: float) -> float:
        """The current that flows into all of them, at a voltage before their resistances [A]."""
        taken = 0.0
        for (_, ohms), own in zip(self._behind, self._volts):  # noqa: B905 (strict costs time in each step)
            taken += (v - own) / ohms
        return taken

    def rises(
        self, v: float, took: float, net: float, capacitance: float, fastest: float
    ) -> tuple[float, float]:
        """One step of time, for a capacitor before their resistances: by how much its voltage rises [V], and
        the current that flows into them meanwhile [A].

        v: its voltage before the step [V]; took: the step [s]; net: current into it and them [A]; fastest:
        the most by which it may rise [V/s]. By the trapezoidal rule, or by backward Euler for one of
        them whose charging takes less than the step.
        """
        lags, more, each = 0.0, 0.0, []
        for (farads, ohms), own in zip(self._behind, self._volts):  # noqa: B905
            part = 0.5 if took < ohms * capacitance else 1.0
            siemens = farads / (part * took + ohms * farads)
            lags += siemens * (v - own)
            more += part * siemens
            each.append((own, part, took * siemens / farads))
        step = min((net - lags) / (capacitance / took + more), fastest * took)
        self._volts = [own + gains * (v + part * step - own) for own, part, gains in each]
        return step, lags + more * step


Besides = Callable[[float, float, float, float], float]
"""A load whose current changes with time: (voltage at the end of a step [V], its duration [s], all current
drawn in it, current that charged the capacitance in it [A]) -> what it draws at that end, beside
`Driven.drawn` [A]. It keeps its own states from step to step.
"""


def _nothing(volts: float, lasts: float, amperes: float, charges: float) -> float:
    """No such load."""
    return 0.0


SLOW, ROUNDED = 1e-3, 1e-12
"""Rate below which a voltage has come to rest, where no load changes with time [V/s]; relative rounding."""

MOST, SHORT, LATER = 2000, 50e-6, 0.02
"""Steps of a course at most; how long one lasts at most [s], or which part of the time so far."""

PARTS = 8
"""Steps of a course between two voltages at which the current that is drawn is known."""


class Course(NamedTuple):
    """A voltage that rises. volts: at the times [s], the highest so far [V]. drawn: (voltage [V], least
    current that is drawn there [A]). stays: it gets no higher than the last voltage, else it rises on. real:
    the voltages at the times, where they fall back on the way; else empty. filled: (voltage [V], rate at
    which capacitors behind a resistance rise then [V/s]); empty where there are none.
    """

    times: tuple[float, ...]
    volts: tuple[float, ...]
    drawn: tuple[tuple[float, float], ...]
    stays: bool = False
    real: tuple[float, ...] = ()
    filled: tuple[tuple[float, float], ...] = ()

    def past(self, level: float, time: float) -> float:
        """How far it rises above a level [V] within a time [s] of passing it; 0 where it does not get there.
        After the last voltage it rises on at its last rate.
        """
        if level > self.volts[-1]:
            return 0.0 if self.stays or len(self.volts) < 2 else time * self._last
        passes = _interpolated(level, self.volts, self.times) if level > self.volts[0] else 0.0
        if not self.real:
            return self._from(passes, level, time)
        steps = zip(pairwise(self.times), pairwise(self.real), strict=True)
        return max(
            (
                self._from(begin + (level - before) / (now - before) * (end - begin), level, time)
                for (begin, end), (before, now) in steps
                if before < level <= now
            ),
            default=self._from(passes, level, time),
        )

    def _from(self, passes: float, level: float, time: float) -> float:
        """How far it has risen above a level [V] a time after one instant at which it passes it [s]."""
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

    def fills_at(self, level: float) -> float:
        """How fast the capacitors behind a resistance rise when it gets to a voltage [V/s]; where there are
        none, how fast it rises itself.
        """
        if not self.filled or (self.stays and level >= self.volts[-1]):
            return self.rate_at(level)
        return _between(max(level, self.filled[0][0]), self.filled)

    def drawn_at(self, level: float) -> float:
        """The least that is drawn at a voltage [A]."""
        return _between(max(level, self.drawn[0][0]), self.drawn)

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


AGREE = 6e-5
"""Part by which a piece of a charging time may still change where it is worked out over two halves; by
quadrature of 300 drawn loads the whole is then right to 1e-6.
"""
HALVINGS, FINER = 16, 40
"""Of such a piece; and of the distance of two times between which one is sought."""


def charging_behind(farads: float, ohms: float, beside: float, current: float, swing: float) -> float:
    """Time in which a current [A] takes a capacitor C behind a resistance R, with C' beside it, up by so much
    [V], in s: i t / (C + C') + i R (C / (C + C'))² (1 - e^(-t/T)), T = R C C' / (C + C'). With a current that
    is more at times it takes no longer.
    """
    whole = farads + beside
    slope, step = current / whole, current * ohms * (farads / whole) ** 2
    constant = ohms * farads * beside / whole

    def reached(time: float) -> bool:
        settled = -math.expm1(-time / constant) if constant > 0.0 else 1.0
        return slope * time + step * settled >= swing

    return 0.0 if reached(0.0) else halving.least(reached, 0.0, swing / slope, FINER)


Look = tuple[float, float]
"""A voltage [V], and a current there [A]: what the load draws, or what is left to charge with."""

ChargingPiece = tuple[Look, Look, Look]
"""Two looks, and one half-way between them."""


def charging_pieces(looks: Sequence[Look], drawn: Callable[[float], float]) -> Iterator[ChargingPiece]:
    """From each look to the next, or over several between which the load draws the same."""
    begin = 0
    for end in range(1, len(looks)):
        low, high = looks[begin], looks[end]
        middle = (looks[end - 1][0] + high[0]) / 2.0
        between = middle, drawn(middle)
        flat = low[1] == looks[end - 1][1] == between[1] == high[1]
        if flat and end + 1 < len(looks) and looks[end + 1][1] == high[1]:
            continue
        if begin < end - 1 and not flat:
            last = looks[end - 1]
            yield low, ((low[0] + last[0]) / 2.0, low[1]), last
            low = last
        yield low, ((low[0] + high[0]) / 2.0, low[1]) if flat else between, high
        begin = end


def charging(
    limit: float, drawn: Callable[[float], float], piece: ChargingPiece, halvings: int = HALVINGS
) -> float:
    """∫ dv / (I_limit - i(v)) over a piece [V/A]: exact for a straight line, else by halves that agree."""
    (low, drawn_low), (middle, drawn_middle), (high, drawn_high) = piece
    least, between, most = limit - drawn_low, limit - drawn_middle, limit - drawn_high
    if least <= 0.0 or between <= 0.0 or most <= 0.0:
        return math.inf
    if least == between == most:
        return (high - low) / between
    whole = _straight(high - low, least, most)
    halves = _straight(middle - low, least, between) + _straight(high - middle, between, most)
    if halvings == 0 or abs(halves - whole) <= AGREE * halves:
        return halves + (halves - whole) / 3.0  # the error is of second order (Richardson)
    total = 0.0
    for begin, end in pairwise(piece):
        half = (begin[0] + end[0]) / 2.0
        total += charging(limit, drawn, (begin, (half, drawn(half)), end), halvings - 1)
    return total


def _straight(width: float, least: float, most: float) -> float:
    """∫ dv / i(v) over a width [V] in which the current goes straight from one figure to another [V/A]: its
    width by the logarithmic mean.
    """
    change = most - least
    if abs(change) < 1e-6 * least:
        return 2.0 * width / (least + most)
    return width * math.log(most / least) / change


def _interpolated(at: float, places: Sequence[float], values: Sequence[float]) -> float:
    """A value between its neighbours."""
    after = min(max(1, bisect_left(places, at)), len(places) - 1)
    return _line(at, (places[after - 1], values[after - 1]), (places[after], values[after]))


def _between(at: float, pairs: Sequence[tuple[float, float]]) -> float:
    """A value between its neighbours, of pairs of a place and a value."""
    after = min(max(1, bisect_left(pairs, at, key=itemgetter(0))), len(pairs) - 1)
    return _line(at, pairs[after - 1], pairs[after])


def _line(at: float, one: tuple[float, float], other: tuple[float, float]) -> float:
    """The value at a place on the straight line through two others (place, value)."""
    (low, value), (high, last) = one, other
    return value + (at - low) / (high - low) * (last - value) if high > low else value
