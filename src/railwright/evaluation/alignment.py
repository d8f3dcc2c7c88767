"""Puts an external recording on the time base of the run, by the waveform that both have seen.

For each shift the recording is averaged over the same apertures as the supply's readings; the shift with the
least squared difference wins, if it fits well. How old a reading is, is unknown within an update interval,
and with it the shift: a shift is possible where every reading may be one of the means that the recording has
within that interval, give or take both errors. All possible shifts lie within the stated uncertainty, else
the recording is refused. Where samples are missing a recording says nothing. One that differs in scale or
zero is aligned by its course alone: whether both can be right is for `contradiction` to say. Where a person
says at which shift a recording lies, nothing is searched: it is refused where no shift within the stated
bound is possible.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from railwright.evaluation.contradiction import largest_error
from railwright.measures.hiding import MISSING
from railwright.measures.outcome import CannotMeasure
from railwright.measures.reading_model import ReadingModel
from railwright.measures.signal import Place, View
from railwright.measures.wording import amount
from railwright.quantities import Uncertain, show
from railwright.traces import UNITS, VOLTAGES, Record, Traces

Array = NDArray[np.float64]

CHANNELS = ("voltage", "terminal_voltage", "current")
LEAST_QUALITY = 0.9
"""Part of the waveform's variance that must agree."""
RIVAL = 1.5
"""Another shift is a rival when its squared difference is below this many times the least one's."""
NO_CHANGE = 0.02
"""Standard deviation of what a recording holds below which nothing changes, in parts of its largest value."""
LEAST_READINGS = 4
DRIFTED = 20.0
"""By how many times as much as the readings tell an instant a clock may be off over a whole recording."""
LATE = 0.05
"""Part of an update interval by which a reading may come at another time than it says."""

MOST_MEANS = 1_000_000
"""Instants at which a recording's means are worked out, at most."""

MOST_SHIFTS = 10_000_000
"""Shifts that are tried; more would be a matter of hours."""

MOST_GIVEN = 2_000
"""Shifts that are looked at within the bound of one that is given; a wide bound has them farther apart."""

WAY_OUT = "where its time 0 is known, give it in its keys, as in 'offset: 3.7 ms ± 1 ms'"


class AlignmentError(ValueError):
    """An external recording does not match the run; one sentence for people. recording: which one, where that
    is known.
    """

    recording: Record | None = None


class _Mismatch(AlignmentError):
    """Nowhere is the recording what the run's readings are."""


@dataclass(frozen=True, slots=True)
class Alignment:
    """record: the recording on the run's time base. offset: added to its times [s]; uncertainty: bound of the
    offset's error [s]. quality: part of the variance of the supply's readings that the recording explains,
    0..1. channel: what was compared, as 'main voltage'. by_course: scale and zero were left free. drift: by
    how much, in parts, its clock runs slower than the run's; 0: by no more than the readings can tell.
    given: bound of the offset that a person gave [s]; None: it was found. Of one that is given, quality and
    drift are not known, `channel` is every one whose readings were held against it, and the uncertainty has
    what the recorder's clock may be off at the far end.
    """

    record: Record
    offset: float
    uncertainty: float
    quality: float
    channel: str
    by_course: bool = False
    drift: float = 0.0
    given: float | None = None


def align(
    external: Record,
    own: Record,
    models: Mapping[str, ReadingModel],
    recorder: Mapping[str, ReadingModel] | None = None,
    given: Uncertain | None = None,
) -> Alignment:
    """Shift a recording onto the run's time base.

    models: how the readings of each input of `own` came about. recorder: the same of the recording, its
    clock's zero aside. given: where its time 0 lies [s of the run], with bounds; None: it is searched. Raises
    AlignmentError where the two share no channel with a transition in it, where they do not match, or where
    they match at two places; of one that is given where the readings exclude it.
    """
    pairs = _common(external, own)
    if not pairs:
        raise AlignmentError(
            f"expected a recording of an input of this run ({', '.join(own.traces)}), "
            f"'{external.origin}' holds {', '.join(external.traces) or 'nothing'}; check its column names"
        )
    ranges = {
        pair: _Ranges(external.traces[pair[0]], own.traces[pair[0]], models[pair[0]], recorder or {}, *pair)
        for pair in pairs
    }
    if given is not None:
        clock = max((each.time_base for each in (recorder or {}).values()), default=0.0)
        return _as_given(external, ranges.values(), given, clock)
    failures: list[AlignmentError] = []
    best = _best(external, ranges, pairs, failures)
    if best is None:
        mismatched = [
            pair for pair, failure in zip(pairs, failures, strict=True) if type(failure) is _Mismatch
        ]
        best = _best(external, ranges, mismatched, [], by_course=True)
    if best is None:
        raise AlignmentError(f"{failures[0]}; {WAY_OUT}")
    return best


def _as_given(external: Record, ranges: Collection[_Ranges], given: Uncertain, time_base: float) -> Alignment:
    """The recording where a person says that it lies; AlignmentError where the readings exclude that."""
    offset, bound = given.nominal, (given.high - given.low) / 2.0
    placed = f"'{external.origin}' with its time 0 at {given.text or show(offset, 's')} of the run (as given)"
    begin, end = (float(each) for each in next(iter(ranges)).time[[0, -1]])
    if not any(each.reaches(begin + given.low, end + given.high) for each in ranges):
        first, last = show(begin + offset, "s", 4), show(end + offset, "s", 4)
        raise AlignmentError(
            f"{placed} lies from {first} to {last}, where the run has no readings; correct 'offset', or "
            "leave it out"
        )
    # A measure takes a step to be covered that a recording covers within the bound of its clock.
    drifted = time_base * max(abs(begin), abs(end))
    widest, whole = max(1e-3, *(each.update for each in ranges)), bound + drifted
    if whole > widest * (1.0 + 1e-9):
        most, got = show(widest, "s", 3), show(whole, "s", 3)
        narrow = "narrow it, or " if drifted < widest else ""
        of_clock = f", {show(drifted, 's', 3)} of it by its clock since its time 0" if drifted else ""
        raise AlignmentError(
            f"{placed}: expected a bound of ± {most} at most, the readings' update interval, got ± {got}"
            f"{of_clock}: with a wider bound it is unknown which steps it covers; {narrow}leave 'offset' out"
        )
    known = [each for each in ranges if each.bounded]
    for each in known:
        # Its clock is right at its time 0, not in its middle.
        each.late += drifted - time_base * (end - begin) / 2.0
    least = max(2.0 * bound / MOST_GIVEN, 1e-9)
    step = max(least, min((max(each.update, 1e-3) / 4.0 for each in known), default=least))
    count = math.ceil(2.0 * bound / step) + 1
    shifts, step = np.linspace(offset - bound, offset + bound, count), 2.0 * bound / max(1, count - 1)
    if known:
        beyond = np.array([each.excess(shifts, step) for each in known])
        place = int(np.argmin(np.max(beyond, axis=0)))
        if np.max(beyond[:, place]) > 1.0:
            worst = known[int(np.argmax(beyond[:, place]))]
            told = worst.excluded(float(shifts[place]), step)
            raise AlignmentError(
                f"the readings exclude {placed}: {told}; correct 'offset', or leave it out to have it found"
            )
    compared = ", ".join(each.what for each in known if each.beside(offset)[0].size)
    return Alignment(moved(external, offset), offset, whole, math.nan, compared, given=bound)


def _best(
    external: Record,
    ranges: Mapping[tuple[str, str], _Ranges],
    pairs: Sequence[tuple[str, str]],
    failures: list[AlignmentError],
    *,
    by_course: bool = False,
) -> Alignment | None:
    """The best alignment by any of these channels; None: all fail, and `failures` has each one's reason."""
    best: Alignment | None = None
    for pair in pairs:
        voltages = [each for (_, channel), each in ranges.items() if channel in VOLTAGES and each.bounded]
        try:
            found = _align_channel(external, ranges[pair], voltages, by_course=by_course)
        except AlignmentError as error:
            failures.append(error)
            continue
        if best is None or found.quality > best.quality:
            best = found
        if pair[1] != "current" and best.quality >= LEAST_QUALITY:
            break
    return best


def _common(external: Record, own: Record) -> list[tuple[str, str]]:
    return [
        (name, channel)
        for channel in CHANNELS
        for name in external.traces
        if name in own.traces
        and channel in external.traces[name].columns
        and (channel in own.traces[name].columns or _other_end(channel) in own.traces[name].columns)
    ]


def _other_end(channel: str) -> str:
    return {"voltage": "terminal_voltage", "terminal_voltage": "voltage"}.get(channel, "")


def _as_recorded(traces: Traces, channel: str, model: ReadingModel) -> Array:
    """The run's values of a channel; a voltage of the lead's other end is carried over by its drop."""
    if channel in traces.columns:
        return traces.columns[channel]
    current = traces.columns.get("current", np.zeros(traces.time.size))
    drop = sum(model.lead or (0.0, 0.0)) / 2.0 * current + sum(model.drop) / 2.0
    return traces.columns[_other_end(channel)] - (drop if channel == "voltage" else -drop)


class _Allowed(NamedTuple):
    """The least and the most that a recording has around each instant of a grid, shapes (n,), and how far
    these are apart [s]; infinite where it has a hole.
    """

    grid: Array
    every: float
    low: Array
    high: Array


class _Ranges:
    """One channel of a recording beside the run's readings of it, and which shifts they allow.

    A reading is the mean over an aperture that ended within half an update of `ends`. bounded: the errors of
    both are known.
    """

    def __init__(
        self,
        fine: Traces,
        coarse: Traces,
        model: ReadingModel,
        recorder: Mapping[str, ReadingModel],
        name: str,
        channel: str,
    ) -> None:
        self.what, self.unit = f"{name} {channel.replace('_', ' ')}", UNITS[channel]
        self.update = model.update if model.update is not None else float(np.median(np.diff(coarse.time)))
        self.aperture = max(model.aperture if model.aperture is not None else self.update, 1e-9)
        self.time, self.values = fine.time, fine.columns[channel]
        seen = _as_recorded(coarse, channel, model)
        keep = np.isfinite(seen)
        self.ends, self.readings = coarse.time[keep] - self.update / 2.0, seen[keep]
        self.integral, self.holes = _integral(self.time, self.values), _holes(self.time)
        self.late = (0.5 + LATE) * self.update
        self.error, self.bounded = self._errors(fine, coarse, model, recorder.get(name), channel)

    def _errors(
        self,
        fine: Traces,
        coarse: Traces,
        model: ReadingModel,
        recorder: ReadingModel | None,
        channel: str,
    ) -> tuple[Array, bool]:
        """By how much each reading and the recording may differ, shape (n,), and whether that is known."""
        try:
            if (
                recorder is None
                or model.update is None
                or model.aperture is None
                or not self.time.size * self.readings.size
            ):
                raise CannotMeasure("the errors are unknown", "")
            self.late += recorder.time_base * float(self.time[-1] - self.time[0]) / 2.0
            error = _largest_error(coarse, model, channel)
            if error.size != self.readings.size:
                raise CannotMeasure("voltage and current were not read together", "")
            return error + float(np.max(_largest_error(fine, recorder, channel))), True
        except CannotMeasure:
            unknown = 1e-3 * max(1e-12, float(np.ptp(self.values)) if self.values.size else 0.0)
            return np.full(self.readings.size, unknown), False

    def scaled(self, shift: float) -> _Ranges:
        """The same with the recording's scale and zero as they fit best at this shift."""
        made, (recorded, readings) = copy(self), self.beside(shift)
        slope, zero = np.polyfit(recorded, readings, 1)
        made.values = slope * self.values + zero
        made.integral = _integral(self.time, made.values)
        return made

    def means(self, ends: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Means over the aperture up to these instants of the recording, shape (n,); and where no sample is
        missing in it.
        """
        begins = ends - self.aperture
        means = (np.interp(ends, self.time, self.integral) - np.interp(begins, self.time, self.integral)) / (
            self.aperture
        )
        return means, np.interp(ends, *self.holes) == np.interp(begins, *self.holes)

    def changes_outside_holes(self) -> bool:
        """Whether it has holes and is as one reading here and as another there, with no hole between them."""
        edges, lost = self.holes
        grid = np.linspace(self.time[0] + self.aperture, self.time[-1], 2_000)
        means, whole = self.means(grid)
        before = np.interp(grid, edges, lost)
        pieces = (means[whole & (before == each)] for each in np.unique(before[whole]))
        return lost.size == 1 or any(_changes(piece, self.values) for piece in pieces)

    def beside(self, shift: float) -> tuple[Array, Array]:
        """What was recorded, and what was read, at each reading that lies in the recording, shapes (n,)."""
        first = int(np.searchsorted(self.ends, self.time[0] + shift + self.aperture, side="left"))
        last = int(np.searchsorted(self.ends, self.time[-1] + shift, side="right"))
        recorded, whole = self.means(self.ends[first:last] - shift)
        return recorded[whole], self.readings[first:last][whole]

    def excess(self, shifts: Array, step: float) -> Array:
        """By how much the worst reading lies beyond all that the recording has within half an update of it,
        in parts of both errors, at each shift or at one that differs by at most half a step. Shape (n,).
        """
        allowed = self._allowed(step)
        return np.array([np.max(self._nearest(shift, allowed)[2], initial=0.0) for shift in shifts])

    def _allowed(self, step: float) -> _Allowed:
        length = float(self.time[-1] - self.time[0])
        every = max(step / 8.0, self.update / 64.0, length / MOST_MEANS, 1e-9)
        grid = np.arange(self.time[0] + self.aperture, self.time[-1], every)
        means, whole = self.means(grid)
        around = math.ceil((self.late + step / 2.0) / every) + 1
        low = _lowest(np.where(whole, means, -np.inf), around)
        high = -_lowest(np.where(whole, -means, -np.inf), around)
        return _Allowed(grid, every, low, high)

    def _nearest(self, shift: float, allowed: _Allowed) -> tuple[slice, Array, Array]:
        """Which readings lie in the recording at a shift, what of that the recording allows is nearest to
        each, and by how much the two differ in parts of both errors, shapes (n,).
        """
        grid = allowed.grid
        if not grid.size:
            return slice(0), np.empty(0), np.empty(0)
        first = int(np.searchsorted(self.ends, grid[0] + shift, side="left"))
        last = int(np.searchsorted(self.ends, grid[-1] + shift, side="right"))
        inside = slice(first, max(first, last))
        place = np.rint((self.ends[inside] - (shift + grid[0])) / allowed.every).astype(np.intp)
        values = self.readings[inside]
        nearest = np.clip(values, allowed.low[place], allowed.high[place])
        return inside, nearest, np.abs(values - nearest) / self.error[inside]

    def excluded(self, shift: float, step: float) -> str:
        """What was read and what was recorded where the two are farthest apart at a shift, for people."""
        inside, nearest, beyond = self._nearest(shift, self._allowed(step))
        worst = int(np.argmax(beyond))
        at = show(float(self.ends[inside][worst] + self.update / 2.0), "s", 4)
        read = amount(float(self.readings[inside][worst]), self.unit)
        recorded = amount(float(nearest[worst]), self.unit)
        error = amount(float(self.error[inside][worst]), self.unit)
        return (
            f"{self.what} was read as {read} at {at} of the run, and the recording has {recorded} there at "
            f"best, but their combined error bound is {error}"
        )

    def reaches(self, begin: float, end: float) -> bool:
        """Whether this span [s of the run] and that of the readings meet."""
        return bool(self.ends.size) and begin <= self.ends[-1] and self.ends[0] <= end


def _largest_error(traces: Traces, model: ReadingModel, channel: str) -> Array:
    """By how much each value of a channel can be off, shape (n,). CannotMeasure where that is unknown."""
    at: Place = "terminals" if channel == "terminal_voltage" else "connector"
    view = View(traces, model, -math.inf, math.inf, at=at)
    return largest_error(view.current() if channel == "current" else view.voltage())


def _lowest(values: Array, around: int) -> Array:
    """The least of so many values before and after each, shape (n,); nobody knows what is beyond the ends."""
    found = np.pad(values, around, constant_values=-np.inf)
    width, wanted = 1, 2 * around + 1
    while 2 * width <= wanted:
        found, width = np.minimum(found[:-width], found[width:]), 2 * width
    rest = wanted - width
    return np.minimum(found[: values.size], found[rest : rest + values.size])


def _holes(time: Array) -> tuple[Array, Array]:
    """Edges of the holes of a recording [s], and how much is missing up to each [s], for `np.interp`."""
    apart, before = np.diff(time), _before_holes(time)
    edges = np.concatenate((time[:1], np.stack((time[before], time[before + 1])).T.ravel()))
    lost = np.cumsum(np.stack((np.zeros(before.size), apart[before])).T.ravel())
    return edges, np.concatenate(([0.0], lost))


def _before_holes(time: Array) -> NDArray[np.intp]:
    """Numbers of the samples behind which samples are missing."""
    apart = np.diff(time)
    return np.flatnonzero(apart > MISSING * np.median(apart)) if apart.size else np.empty(0, np.intp)


def _changes(values: Array, of: Array) -> bool:
    """Whether a part of a recording's values holds a change."""
    return float(np.std(values)) >= NO_CHANGE * max(1e-12, float(np.max(np.abs(of))))


def _align_channel(
    external: Record, own: _Ranges, voltages: Sequence[_Ranges], *, by_course: bool
) -> Alignment:
    what, update, aperture = own.what, own.update, own.aperture
    if own.time.size < 10 or own.readings.size < LEAST_READINGS or own.time[0] == own.time[-1]:
        raise AlignmentError(f"'{external.origin}' and the run share too few values of {what} to be aligned")
    if not _changes(own.values, own.values):
        raise AlignmentError(
            f"'{external.origin}' holds no change of {what}, so there is nothing to align it by"
        )
    step = max(update, 1e-3) / 4.0
    cost = _Cost(own, by_course=by_course)
    shifts, costs = _tried(external, cost, step, what)
    groups = [] if by_course else [voltages, [own]] if own.bounded else []
    for compared in filter(None, groups):
        beyond = np.max([each.excess(shifts, step) for each in compared], axis=0)
        if possible := bool(np.any(beyond <= 1.0)):
            break
    else:
        possible = False
    place = int(np.argmin(np.where(beyond <= 1.0, costs, np.inf) if possible else costs))
    shift, least = _refine(cost, shifts[place], step)
    explained = 1.0 - least / cost.variance
    if explained < LEAST_QUALITY:
        if not own.changes_outside_holes():
            raise _Mismatch(
                f"'{external.origin}' holds no change outside its holes that readings of {what} could show, "
                "so there is nothing to align it by"
            )
        raise _Mismatch(
            f"'{external.origin}' does not match the run: at best {max(0.0, explained) * 100:.0f} % of its "
            f"{what} agrees, {LEAST_QUALITY * 100:.0f} % are needed; check that it is a recording of this run"
        )
    limit = 1.0
    if not possible:
        compared = [own.scaled(shift) if by_course else own]
        beyond = compared[0].excess(shifts, step)
        limit = max(1.0, RIVAL * float(compared[0].excess(np.array([shift]), step)[0]))
        beyond[costs < RIVAL * max(least, cost.floor)] = 0.0
    reach = 2.0 * (update + aperture)
    rivals = shifts[(beyond <= limit) & (np.abs(shifts - shift) > reach)]
    if rivals.size:
        raise AlignmentError(
            f"'{external.origin}' matches the run at {shift:.3f} s and at {rivals[0]:.3f} s alike ({what}); "
            "record a longer part, or one that happens only once, without missing samples"
        )
    width = _width(cost, shift, least, update)
    near = np.linspace(shift - reach, shift + reach, 257)
    alike = np.max([each.excess(near, near[1] - near[0]) for each in compared], axis=0) <= limit
    farthest = float(np.max(np.abs(near[alike] - shift), initial=0.0)) + float(near[1] - near[0]) / 2.0
    uncertainty = max(update / 2.0 + 2.0 * width / math.sqrt(cost.enough), farthest)
    drift = _drift(cost, shift, least, max(update, aperture))
    if abs(drift) * cost.length < 2.0 * uncertainty:
        drift = 0.0
    return Alignment(
        moved(external, shift), float(shift), uncertainty, min(1.0, explained), what, by_course, drift
    )


def _tried(external: Record, cost: _Cost, step: float, what: str) -> tuple[Array, Array]:
    """Every shift that counts, and its cost, shapes (n,), n >= 1. AlignmentError where there is none."""
    shifts = _shifts(cost, step)
    if shifts is None:
        long, run = show(cost.length, "s", 3), show(float(cost.ends[-1] - cost.ends[0]), "s", 3)
        raise AlignmentError(
            f"'{external.origin}' is {long} long, too much to align to a run of {run}; cut out its part with "
            "'begin' and 'end'"
        )
    costs = np.fromiter((cost(shift) for shift in shifts), np.float64, shifts.size)
    counts = np.isfinite(costs)
    if not counts.any():
        raise AlignmentError(f"'{external.origin}' is too short against the readings of {what} to be aligned")
    return shifts[counts], costs[counts]


def _shifts(cost: _Cost, step: float) -> Array | None:
    """Shifts to try [s]: those at which enough readings lie inside the recording. None: too many."""
    time, ends, enough = cost.time, cost.ends, cost.enough
    if enough > ends.size:
        return np.empty(0)
    least = float(ends[0] - time[-1] + cost.aperture)
    # The same instants whichever of them count.
    first = math.floor((float(ends[enough - 1] - time[-1]) - least) / step)
    last = math.ceil((float(ends[-enough] - time[0]) - cost.aperture - least) / step)
    if last - first >= MOST_SHIFTS:
        return None
    return least + step * np.arange(max(0, first), last + 1, dtype=np.float64)


def moved(record: Record, offset: float) -> Record:
    """A record with so much added to its times [s]."""
    traces = {name: Traces(each.time + offset, each.columns) for name, each in record.traces.items()}
    events = tuple(replace(event, time=event.time + offset) for event in record.events)
    spans = tuple(replace(span, start=span.start + offset, end=span.end + offset) for span in record.spans)
    return replace(record, traces=traces, events=events, spans=spans)


def _integral(time: Array, values: Array) -> Array:
    """∫ of straight lines from the first instant on, shape (n,); made in place, for a record may be long."""
    integral = np.zeros(time.size)
    steps = integral[1:]
    np.subtract(time[1:], time[:-1], out=steps)
    steps *= values[1:] + values[:-1]
    steps /= 2.0
    np.cumsum(steps, out=steps)
    return integral


class _Cost:
    """Mean squared difference between the readings and the recording averaged over their apertures, for a
    shift; by_course: as a part of the readings' own variance, at the scale and zero that make it least.
    """

    def __init__(self, ranges: _Ranges, *, by_course: bool = False) -> None:
        self.by_course, self.ranges = by_course, ranges
        time, self.ends, self.aperture = ranges.time, ranges.ends, ranges.aperture
        self.time = time
        self.length = length = float(time[-1] - time[0])
        interval = float(np.median(np.diff(self.ends)))
        edges = ranges.holes[0][1:]
        missing = float(np.sum(edges[1::2] - edges[::2] + self.aperture))
        # A shift counts where nearly the whole recording lies inside the run, as far as the run can show it.
        shown = min(max(0.0, length - missing), float(self.ends[-1] - self.ends[0]))
        self.enough = max(LEAST_READINGS, int(0.8 * shown / interval))
        grid = np.arange(time[0] + self.aperture, time[-1], max(interval / 4.0, length / 2000.0))
        averaged, whole = ranges.means(grid)
        self.variance = max(1e-18, float(np.var(averaged[whole]))) if whole.any() else 1e-18
        self.floor = 1e-4 * self.variance

    def stretched(self, by: float) -> _Cost:
        """The cost of the same recording with all times since its first sample so many times as long."""
        made, ranges = copy(self), copy(self.ranges)
        begin = self.time[0]
        made.time = ranges.time = begin + (self.time - begin) * by
        ranges.integral = self.ranges.integral * by
        ranges.holes = begin + (self.ranges.holes[0] - begin) * by, self.ranges.holes[1]
        made.ranges = ranges
        return made

    def __call__(self, shift: float) -> float:
        recorded, readings = self.ranges.beside(shift)
        if readings.size < self.enough:
            return float("inf")
        if self.by_course:
            return self.variance * _unexplained(recorded, readings)
        difference = recorded - readings
        return float(np.mean(difference * difference))


def _unexplained(recorded: Array, readings: Array) -> float:
    """Part of the variance of the readings that no rising straight line of what was recorded explains."""
    own, other = recorded - np.mean(recorded), readings - np.mean(readings)
    together = float(own @ other)
    squares = float(own @ own) * float(other @ other)
    return 1.0 - together * together / squares if together > 0.0 and squares > 0.0 else float("inf")


def _refine(cost: _Cost, shift: float, step: float) -> tuple[float, float]:
    """The least of the cost near a shift, by steps that are halved down to a microsecond."""
    least = cost(shift)
    while step > 1e-6:
        for candidate in (shift - step, shift + step):
            value = cost(candidate)
            if value < least:
                shift, least = candidate, value
                break
        else:
            step /= 2.0
    return float(shift), least


def _drift(cost: _Cost, shift: float, least: float, blurred: float) -> float:
    """By how much, in parts, the recorder's clock runs slower than the run's, where that lowers the squared
    difference to what noise does; else 0.

    blurred: how well the readings tell an instant [s]. The clock may be off by DRIFTED times as much over the
    recording: with more, it would not have been aligned.
    """
    if cost.length <= 0.0:
        return 0.0
    best, drift = least, 0.0
    step = blurred / 2.0 / cost.length
    while step * cost.length > blurred / 50.0:
        moved = False
        for candidate in (drift - step, drift + step):
            if abs(candidate) * cost.length > DRIFTED * blurred:
                continue
            _, value = _refine(cost.stretched(1.0 + candidate), shift, blurred / 4.0)
            if value < best:
                best, drift, moved = value, candidate, True
                break
        if not moved:
            step /= 2.0
    return drift if best * RIVAL < max(least, cost.floor) else 0.0


def _width(cost: _Cost, shift: float, least: float, update: float) -> float:
    """How far the shift can move before the squared difference doubles [s], at most one update interval."""
    limit = 2.0 * max(least, 1e-6 * cost.variance)
    for reach in np.linspace(0.02, 1.0, 50) * max(update, 1e-4):
        if min(cost(shift - reach), cost(shift + reach)) > limit:
            return float(reach)
    return float(max(update, 1e-4))
