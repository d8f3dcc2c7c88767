"""One channel over one step: values, their systematic errors over time, noise, and the weights of an
integral.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from railwright.measures.level_change import LevelChange
from railwright.measures.outcome import CannotMeasure
from railwright.measures.reading_model import Part, ReadingModel
from railwright.measures.status import SupplyStatus
from railwright.quantities import show
from railwright.traces import Traces
from railwright.waveforms.noise import noise_of, sampled
from railwright.waveforms.waveform import Waveform

Array = NDArray[np.float64]
Place = Literal["connector", "terminals"]

NOISIER = 1.2
"""A recording is told to be noisier than declared from this ratio on: an estimate is out by some per cent."""

LEVELS, ROUNDED = 8, 0.01
"""So many values on a grid show it; they are off it by at most this part of a step."""

GRID_SAMPLES = 1 << 16
"""Of about so many of its samples the grid of a recording is looked at."""

REACHED = 0.95
"""Part of a bound that a 95 % interval of it alone covers: a bound that is reached more often than not is
taken wider by that.
"""

REVERSED = 5.0
"""So far below 0 V may outputs in series be driven, by the diodes across them: six of 0.8 V (chosen) [V]."""

FEW = 6
"""Outputs in parallel of which every order is looked at."""


@dataclass(frozen=True, slots=True, eq=False)
class Systematic:
    """An error that is the same through the whole record: its largest effect on each value, shape (n,).

    The true effect is this shape times one unknown number that is uniform between -1 and 1. degrees: degrees
    of freedom, where that bound is itself in doubt.
    """

    source: str
    shape: Array
    degrees: float = math.inf

    def shaped(self, shape: Array) -> Systematic:
        """The same error with another effect."""
        return replace(self, shape=shape)


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """A channel: time of the middle of each value's aperture [s], values, systematic errors, r.m.s. noise.

    step: of its grid. noise_degrees: degrees of freedom of the noise, where it is estimated from the record.
    """

    time: Array
    values: Array
    systematic: tuple[Systematic, ...]
    noise: float
    step: float
    noise_degrees: float = math.inf

    def between(self, start: float, end: float) -> Signal:
        """The part with start <= time <= end."""
        first = int(np.searchsorted(self.time, start, side="left"))
        last = int(np.searchsorted(self.time, end, side="right"))
        return self.part(first, last)

    def part(self, first: int, last: int, zero_at: float | None = None) -> Signal:
        """The values from first up to last, after a zero at an instant [s] if one is given."""
        parts = tuple(s.shaped(s.shape[first:last]) for s in self.systematic)
        time, values = self.time[first:last], self.values[first:last]
        if zero_at is not None:
            parts = tuple(s.shaped(np.append(0.0, s.shape)) for s in parts)
            time, values = np.append(zero_at, time), np.append(0.0, values)
        return replace(self, time=time, values=values, systematic=parts)

    def take(self, index: NDArray[np.intp]) -> Signal:
        """The values at these indices."""
        parts = tuple(s.shaped(s.shape[index]) for s in self.systematic)
        return replace(self, time=self.time[index], values=self.values[index], systematic=parts)

    def evenly(self, view: View, points: int = 4001) -> Signal:
        """Values at equally spaced instants of the window; a computed trace has them where it changes."""
        time = np.linspace(view.begin, view.end, points)
        parts = tuple(s.shaped(np.interp(time, self.time, s.shape)) for s in self.systematic)
        return replace(self, time=time, values=np.interp(time, self.time, self.values), systematic=parts)

    def within(self, start: float, end: float) -> Signal:
        """The part from start to end, closed with interpolated values at both (of a computed trace)."""
        inside = (self.time > start) & (self.time < end)
        time = np.concatenate(([start], self.time[inside], [end]))
        values = np.concatenate(
            (
                [np.interp(start, self.time, self.values)],
                self.values[inside],
                [np.interp(end, self.time, self.values)],
            )
        )
        parts = tuple(s.shaped(np.interp(time, self.time, s.shape)) for s in self.systematic)
        return replace(self, time=time, values=values, systematic=parts)

    def times(self, other: Signal) -> Signal:
        """Product with another channel on the same time base, or with itself; first order in the errors.

        An error that is in both factors (of one source) stays one error.
        """
        errors: dict[str, Systematic] = {}
        for one, rest in ((self, other), (other, self)):
            for error in one.systematic:
                before = errors[error.source].shape if error.source in errors else 0.0
                errors[error.source] = error.shaped(before + error.shape * rest.values)
        parts = tuple(errors.values())
        # The noise of a product differs from value to value; the largest stands for all.
        own, others = self.noise * _largest(other.values), other.noise * _largest(self.values)
        noise = own + others if other is self else math.hypot(own, others)
        degrees = min(self.noise_degrees, other.noise_degrees)
        return Signal(self.time, self.values * other.values, parts, noise, 0.0, degrees)


READ = ("voltage", "terminal_voltage", "current")
"""Channels of a record that are read; its mode is told."""


def over_lead(name: str) -> str:
    """What a contribution is called that is there because a voltage was measured at a lead's other end."""
    return f"resistance of {name}"


def _largest(values: Array) -> float:
    return float(np.max(np.abs(values))) if values.size else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """What a measure looks at: one input's record with its reading model, and the part of time that counts.

    start, end: the window [s]. switched_on: when the input's output was switched on in this step; None:
    before it. interrupted: it was on when the step began, which switched it off and on. goal: voltage that
    the procedure gives the input at the end of the step; None: unknown. at: where a voltage is meant.
    restart: shortest time in which the load comes back after a drop-out (soft start); None: unknown.
    capacitance: least and most input capacitance [F]. stops_at: lowest and highest voltage at which the load
    stops [V]; None: unknown, or it does not. starts_at: lowest voltage at which it starts [V]; 0: unknown.
    never_stops: none of its loads ever stops by itself. follows: beside what its capacitance takes, its
    current follows the voltage at once. least_running: voltages and the least current that its loads draw
    there while they run (V, A), empty: they always draw the same. away: of a rehearsal, when the load
    stopped and when it came back [s], infinite: not any more; over the whole record; None: it does not tell.
    supplied: when the input was last switched on before the end of the step, and when it was then taken down
    [s]; infinite where the record does not say. stair: height of the stairs in which the host played the
    step's lines [V]. stands: shortest time for which a level is set between two changes in the step, as
    asked [s]; infinite: there are not two. moves_off: it begins with a line of the set point. told_before:
    how long before its beginning something was last told to the input, a line of its set point ended, or a
    contact moved [s]; 0: as it begins; infinite: never. stood: the same of what was told before that, where
    something is told as it begins. changes: of its set point in the step, as asked. course: the same of all
    steps of the record. limits_moved: when its current limit is moved in them [s]. lags: it begins with a
    contact, which takes its time to move. quiet: how long after its end nothing is told to the input [s].
    told_last: how long before its end the input last jumps in it, or has its limit moved [s]; infinite:
    never. holds: highest voltage that a source in the device holds at the input [V]; 0: there is none.
    every: time between two readings that the procedure asks for [s]; 0: unknown. beside: of an external
    recording, the same window as the run's own readings show it. supply: the status of the input's outputs;
    None: nothing is known of it. last: no step of the record follows. opened: the lead was open in the
    window or a part of it, or nothing shows that it was not. called: what the window is, for people.
    """

    traces: Traces
    model: ReadingModel
    start: float
    end: float
    at: Place = "connector"
    switched_on: float | None = None
    interrupted: bool = False
    goal: float | None = None
    restart: float | None = None
    capacitance: tuple[float, float] = (0.0, 0.0)
    stops_at: tuple[float, float] | None = None
    starts_at: float = 0.0
    never_stops: bool = False
    follows: bool = False
    least_running: tuple[tuple[float, float], ...] = ()
    away: tuple[tuple[float, float], ...] | None = None
    supplied: tuple[float, float] = (-math.inf, math.inf)
    stair: float = 0.0
    stands: float = math.inf
    moves_off: bool = False
    told_before: float = math.inf
    stood: float = math.inf
    changes: tuple[LevelChange, ...] = ()
    course: tuple[LevelChange, ...] = ()
    limits_moved: tuple[float, ...] = ()
    lags: bool = False
    quiet: float = 0.0
    told_last: float = math.inf
    holds: float = 0.0
    every: float = 0.0
    beside: View | None = None
    supply: SupplyStatus | None = None
    last: bool = False
    opened: bool = False
    called: str = "this step"

    @property
    def begin(self) -> float:
        """Start of the window, or the switching-on inside it of an input that was off."""
        return self.start if self.off_until is None else max(self.start, self.off_until)

    @property
    def off_until(self) -> float | None:
        """When an input that was off before was switched on [s]; None: it was on when the step began."""
        return None if self.interrupted else self.switched_on

    @property
    def interval(self) -> float:
        """Typical time between two values of the record in the window, and not less than its recorder needs
        [s].
        """
        times = self.traces.between(self.start, self.end).time
        if times.size < 3:
            self.overlaps()
            told = f"the record holds {times.size} values in {self.called}"
            raise CannotMeasure(told, "a faster recording")
        return max(float(np.median(np.diff(times))), self.model.interval)

    @property
    def rows_of_one(self) -> int:
        """How many rows show one reading, where it is asked for more often than it is new."""
        return max(1, round((self.model.update or 0.0) / max(self.interval, 1e-9)))

    def overlaps(self) -> None:
        """Raises CannotMeasure where the whole record lies before the window, or behind it."""
        time = self.traces.time
        if time.size and (apart := max(self.start - float(time[-1]), float(time[0]) - self.end)) > 0.0:
            where = "ends {} before" if time[-1] < self.start else "begins {} after"
            raise CannotMeasure(
                f"the record {where.format(show(apart, 's', 3))} the time that is to be judged",
                "a recording that covers the step",
            )

    @property
    def carried(self) -> bool:
        """Whether the voltage is carried over the lead, by the current, from where it was measured."""
        return ("voltage" if self.at == "connector" else "terminal_voltage") not in self.traces.columns

    def timing(self) -> tuple[float, float, float]:
        """Update, least and largest aperture [s]. Raises where the update interval is unknown."""
        update = self.model.update
        if update is None:
            raise CannotMeasure(
                f"how often {_names(self.model.current)} takes a new reading is unknown",
                "the update interval in the bench document, or an external recording",
            )
        aperture = self.model.aperture
        return (update, 0.0, update) if aperture is None else (update, aperture, aperture)

    def shift(self) -> tuple[float, float]:
        """Middle of the aperture minus the record's time: best estimate, and the bound of its error [s]."""
        update, least, most = self.timing()
        return -(update / 2.0 + (least + most) / 4.0), update / 2.0 + (most - least) / 4.0 + self.model.clock

    def current(self) -> Signal:
        """The current [A], timed at the middle of each aperture."""
        return self._signal("current", self.model.current)

    def voltage(self) -> Signal:
        """The voltage [V] where it is meant; carried over the lead where it was measured at its other end.

        A diode in the lead is taken to conduct: what it drops beside its resistance counts throughout. Where
        no current surely flows through it, the input may stand at what it was charged to before, and an
        output that senses beyond it anywhere below.
        """
        wanted = "voltage" if self.at == "connector" else "terminal_voltage"
        other = "terminal_voltage" if self.at == "connector" else "voltage"
        if not self.carried:
            return self._signal(wanted, self.model.voltage)
        if other not in self.traces.columns:
            raise CannotMeasure("the record holds no voltage of this input", "a recording of its voltage")
        if self.opened:
            raise CannotMeasure(
                f"the voltage was measured at the other end of '{self.model.lead_name}', which was open, "
                "or was not seen to conduct",
                "a voltage measured at the place meant",
            )
        if self.model.lead is None:
            raise CannotMeasure(
                f"the voltage was measured at the other end of '{self.model.lead_name}', whose contact "
                "resistance is unknown",
                "the lead's contact_resistance_loop, or a voltage measured at the place meant",
            )
        measured, current = self._signal(other, self.model.voltage), self.current()
        low, high = self.model.lead
        sign = -1.0 if self.at == "connector" else 1.0
        resistance = (low + high) / 2.0
        parts = list(measured.systematic)
        parts += [s.shaped(sign * resistance * s.shape) for s in current.systematic]
        spread = sign * (high - low) / 2.0 * current.values
        parts.append(Systematic(over_lead(self.model.lead_name), spread))
        least, most = self.model.drop
        if most > least:
            half = np.full(measured.values.shape, sign * (most - least) / 2.0)
            parts.append(Systematic(f"diode in {self.model.lead_name}", half))
        held = np.zeros(measured.values.shape)
        if most > 0.0:
            held = (
                self._held(measured, current) if self.at == "connector" else self._sagged(measured, current)
            )
        if held.any():
            reach = np.abs(held) / 2.0 / REACHED
            parts.append(Systematic(f"diode in {self.model.lead_name} that may block", reach))
        return Signal(
            measured.time,
            measured.values + sign * (resistance * current.values + (least + most) / 2.0) + held / 2.0,
            tuple(parts),
            math.hypot(measured.noise, resistance * current.noise),
            measured.step,
            min(measured.noise_degrees, current.noise_degrees),
        )

    def _held(self, measured: Signal, current: Signal) -> Array:
        """By how much the connector may stand above what its side of a diode shows [V], shape (n,): that may
        block where the current is zero within its errors, and the highest voltage before was its own, or a
        source in the device holds more.
        """
        highest = np.maximum.accumulate(measured.values)
        if self.holds > 0.0:
            highest = np.maximum(highest, self.holds + self.model.drop[1])
        above = highest - measured.values
        visible = 8.0 * measured.noise + 2.0 * measured.step
        return np.where(_none_flows(current) & (above > visible), above, 0.0)

    def _sagged(self, measured: Signal, current: Signal) -> Array:
        """By how much, negative, the terminals may stand below what their output senses beyond a diode, shape
        (n,): where that blocks, nothing holds them, down to where the output's own diode conducts.
        """
        lowest = np.maximum(0.0, measured.values + self.model.drop[1] + REVERSED)
        return np.where(_none_flows(current), -lowest, 0.0)

    def _signal(self, column: str, parts: Sequence[Part]) -> Signal:
        if column not in self.traces.columns:
            raise CannotMeasure(f"the record holds no {column} of this input", f"a recording of its {column}")
        if not parts:
            raise CannotMeasure(
                f"the accuracy of the {column.replace('terminal_', '')} in '{self.model.source}' is unknown",
                "its accuracy in the bench document",
            )
        time, values = self.traces.time, self.traces.columns[column]
        finite = self._whole_rows()
        if not finite.all():
            time, values = time[finite], values[finite]
        shift = self.shift()[0] if self.model.update is not None else 0.0
        systematic, variance, step = [], 0.0, 0.0
        inside = values[(time + shift >= self.start) & (time + shift <= self.end)]
        level = math.sqrt(float(np.mean(np.square(inside)))) if inside.size else _largest(values)
        for part, carried in zip(parts, _divided(parts, values, level), strict=True):
            gain = Systematic(f"{part.name} {column} gain", part.of_value * carried, part.degrees)
            systematic.append(gain)
            grid = smallest_step(values) if part.resolution is None else part.resolution
            grid = max(grid, self._grid(values))
            for what, bound, degrees in (
                ("offset", part.offset, part.degrees),
                ("resolution", grid / 2.0, math.inf),
            ):
                # One number for all of them, which takes no memory however long the record is.
                shape = np.broadcast_to(bound, values.shape)
                systematic.append(Systematic(f"{part.name} {column} {what}", shape, degrees))
            noise = scatter(values) if part.noise is None else part.noise
            variance += max(noise, self._shown(time, values, grid)) ** 2
            step = max(step, grid)
        kept = tuple(s for s in systematic if s.shape.any())
        estimated = any(part.noise is None for part in parts) and variance > 0.0
        degrees = scatter_degrees(values.size) if estimated else math.inf
        return Signal(time + shift, values, kept, math.sqrt(variance), step, degrees)

    def _whole_rows(self) -> NDArray[np.bool_]:
        """Which rows hold a number in each channel, shape (n,): where one was lost, the row tells nothing, so
        that voltage and current always have the same instants.
        """
        whole = np.ones(self.traces.time.size, dtype=np.bool_)
        for name, values in self.traces.columns.items():
            if name in READ:
                whole &= np.isfinite(values)
        return whole

    def _shown(self, time: Array, values: Array, grid: float) -> float:
        """R.m.s. noise that a recording's samples themselves show, less that of their grid; 0: of readings,
        whose neighbours may be one reading, and of what has no errors.
        """
        if self.model.exact or self.model.update != 0.0:
            return 0.0
        if time.size < 3:
            return 0.0
        wave = Waveform(time - time[0], values)
        found = noise_of(wave) if sampled(wave) else scatter_between(time, values)
        return math.sqrt(max(0.0, found**2 - grid**2 / 12.0))

    def _grid(self, values: Array) -> float:
        """Step of the grid that a recording's samples themselves lie on; 0: of readings, and of none."""
        return 0.0 if self.model.exact or self.model.update != 0.0 else grid_of(values)

    def _noisier(self) -> Iterator[str]:
        """Where a recording is noisier, or coarser, than its recorder is said to be, in words."""
        for column, parts, unit in (
            ("voltage", self.model.voltage, "V"),
            ("terminal_voltage", self.model.voltage, "V"),
            ("current", self.model.current, "A"),
        ):
            for part in parts if column in self.traces.columns else ():
                values = self.traces.columns[column]
                finite = np.isfinite(values)
                shown = self._grid(values[finite])
                if part.resolution is not None and shown > NOISIER * part.resolution:
                    yield (
                        f"the {column.replace('_', ' ')} of {part.name} shows steps of "
                        f"{show(shown, unit, 2)}, {show(part.resolution, unit, 2)} is declared: "
                        "the larger counted"
                    )
                grid = max(part.resolution or 0.0, shown)
                found = self._shown(self.traces.time[finite], values[finite], grid)
                if part.noise is not None and found > NOISIER * part.noise:
                    yield (
                        f"the {column.replace('_', ' ')} of {part.name} shows a noise of "
                        f"{show(found, unit, 2)} "
                        f"(r.m.s.), {show(part.noise, unit, 2)} is declared: "
                        "the larger counted"
                    )

    def assumptions(self) -> tuple[str, ...]:
        """What is taken where the documents say nothing, or a recording shows something else, in words."""
        said = [*self.model.assumptions, *self._noisier()]
        if lost := int(np.count_nonzero(~self._whole_rows())):
            said.append(f"rows of the record in which a value was lost, or is no number: {lost} left out")
        for parts, word in ((self.model.voltage, "voltage"), (self.model.current, "current")):
            for part in parts:
                subject = f"of the {word} of {part.name} is unknown"
                if not part.is_given:
                    said.append(f"accuracy {subject}: no error of it is counted")
                if part.resolution is None:
                    said.append(f"resolution {subject}: smallest step in the record taken")
                if part.noise is None:
                    said.append(f"noise {subject}: taken from the record's own scatter")
        if self.model.aperture is None:
            subject = f"aperture of {_names(self.model.current)} is unknown"
            said.append(f"{subject}: anything up to the update interval taken")
        return tuple(said)


def _divided(parts: Sequence[Part], values: Array, level: float) -> list[Array]:
    """What each part carries of the values, shapes (n,). Where no share is known: each up to its most, in the
    order in which their gains make a value of this level the most uncertain.
    """
    most = [part.most for part in parts if part.most is not None]
    if len(most) < len(parts) or not most:
        return [part.share * values for part in parts]
    gains = [part.of_value for part in parts]

    def filled(order: Sequence[int], sizes: Array) -> list[Array]:
        """In an order; the last one carries whatever is left."""
        carried, left = [np.zeros_like(sizes)] * len(parts), sizes
        for place in order:
            carried[place] = left if place == order[-1] else np.minimum(left, most[place])
            left = left - carried[place]
        return carried

    def variance(order: Sequence[int]) -> float:
        each = zip(gains, filled(order, np.array([level])), strict=True)
        return sum((gain * float(own[0])) ** 2 for gain, own in each)

    # More than a few have too many orders: then each leads once, and those with larger gains follow first.
    behind = sorted(range(len(parts)), key=lambda place: -gains[place])
    led = ((first, *(place for place in behind if place != first)) for first in behind)
    worst = max(itertools.permutations(behind) if len(parts) <= FEW else led, key=variance)
    return [np.copysign(own, values) for own in filled(worst, np.abs(values))]


def _none_flows(current: Signal) -> NDArray[np.bool_]:
    """Where a current may be none, within its errors, shape (n,)."""
    error = np.full(current.values.shape, 4.0 * current.noise + current.step)
    for each in current.systematic:
        error += np.abs(each.shape)
    return current.values <= error


def _names(parts: Sequence[Part]) -> str:
    return " and ".join(part.name for part in parts) or "the instrument"


def smallest_step(values: Array) -> float:
    """Smallest difference between two values of a record: its resolution, where no document gives it."""
    levels = np.unique(values)
    return float(np.min(np.diff(levels))) if levels.size > 1 else 0.0


def grid_of(values: Array) -> float:
    """Step of the grid that samples lie on; 0: they show none.

    Shown by LEVELS different values at least, all whole steps apart, of which most neighbours in size are one
    step apart: levels that a device takes are not.
    """
    levels = np.unique(values[:: max(1, values.size // GRID_SAMPLES)])
    if levels.size < LEVELS:
        return 0.0
    gaps = np.diff(levels)
    step = float(np.median(gaps))
    parts = gaps / step
    whole = np.abs(parts - np.round(parts)) <= ROUNDED
    return step if whole.all() and float(np.min(parts)) > 1.0 - ROUNDED else 0.0


def scatter_between(time: Array, values: Array) -> float:
    """R.m.s. noise of values at any instants, shape (n,): from what each lies beside the straight line
    through its neighbours (median absolute deviation).
    """
    width = time[2:] - time[:-2]
    part = np.where(width > 0.0, (time[1:-1] - time[:-2]) / np.where(width > 0.0, width, 1.0), 0.5)
    beside = values[1:-1] - (1.0 - part) * values[:-2] - part * values[2:]
    return float(np.median(np.abs(beside) / np.sqrt(1.0 + (1.0 - part) ** 2 + part**2))) * 1.4826


def scatter(values: Array) -> float:
    """R.m.s. noise from the differences of neighbours, robust against steps (median absolute deviation)."""
    if values.size < 3:
        return 0.0
    return float(np.median(np.abs(np.diff(values)))) * 1.4826 / math.sqrt(2.0)


def scatter_degrees(count: int) -> float:
    """Degrees of freedom of `scatter` of so many values.

    ½ (mean / standard deviation)² of it, from 8000 samples each of 10 to 1000 normal values: 0.31 to 0.36 of
    n - 1; the median of differences uses less of them than a standard deviation does.
    """
    return max(1.0, 0.31 * (count - 1))


def trapezoid_weights(time: Array, start: float, end: float) -> Array:
    """Weights w with Σ w x = ∫ x dt over [start, end], x piecewise linear, held at its ends. Shape (n,).

    time: shape (n,), n >= 1, never decreasing. Σ w = end - start.
    """
    inner = time[(time > start) & (time < end)]
    corners = np.concatenate(([start], inner, [end]))
    width = np.diff(corners)
    corner_weights = np.zeros(corners.size)
    corner_weights[:-1] += width / 2.0
    corner_weights[1:] += width / 2.0
    place = np.clip(corners, time[0], time[-1])
    right = np.clip(np.searchsorted(time, place, side="left"), 1, max(1, time.size - 1))
    if time.size == 1:
        return np.array([end - start])
    left = right - 1
    gap = time[right] - time[left]
    fraction = np.where(gap > 0.0, (place - time[left]) / np.where(gap > 0.0, gap, 1.0), 1.0)
    weights = np.zeros(time.size)
    np.add.at(weights, left, corner_weights * (1.0 - fraction))
    np.add.at(weights, right, corner_weights * fraction)
    return weights


def integrals(time: Array, values: Array, starts: Array, ends: Array) -> Array:
    """∫ x dt over each [start, end], x piecewise linear, held at its ends: Σ w x with the weights of
    `trapezoid_weights`, for many windows at once. Shape of starts.

    time, values: shape (n,), n >= 1, time never decreasing. starts, ends: [s].
    """
    if time.size == 1:
        held: Array = values[0] * (ends - starts)
        return held
    gaps, steps = time[1:] - time[:-1], values[1:] - values[:-1]
    sums = np.concatenate(([0.0], np.cumsum(gaps * (values[:-1] + values[1:]) / 2.0)))
    instants = np.stack((starts, ends))
    place = np.minimum(np.maximum(instants, time[0]), time[-1])
    left = np.maximum(np.minimum(np.searchsorted(time, place, side="left") - 1, time.size - 2), 0)
    passed, gap = place - time[left], gaps[left]
    slope = steps[left] / np.where(gap > 0.0, gap, 1.0)  # two rows at one time: a jump
    beyond = np.where(instants < time[0], values[0], values[-1]) * (instants - place)
    # From the first value on to each instant.
    upto: Array = sums[left] + passed * (values[left] + slope * passed / 2.0) + beyond
    found: Array = upto[1] - upto[0]
    return found
