"""Puts an external recording on the time base of the run, by the waveform that both have seen.

For each possible shift the recording is averaged over the same apertures as the supply's readings; the shift
with the least squared difference wins, if it fits well and no other fits nearly as well. How old a reading
is, is unknown within an update interval, and with it the shift. A recording that differs in scale or zero is
aligned by its course alone: whether both can be right is for `contradiction` to say.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from railwright.measures.reading_model import ReadingModel
from railwright.quantities import show
from railwright.traces import Record, Traces

Array = NDArray[np.float64]

CHANNELS = ("voltage", "terminal_voltage", "current")
LEAST_QUALITY = 0.9
"""Part of the waveform's variance that must agree."""
RIVAL = 1.5
"""Another shift is a rival when its squared difference is below this many times the least one's."""
LEAST_READINGS = 4
DRIFTED = 20.0
"""By how many times as much as the readings tell an instant a clock may be off over a whole recording."""
MOST_SHIFTS = 10_000_000
"""Shifts that are tried; more would be a matter of hours."""


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
    """

    record: Record
    offset: float
    uncertainty: float
    quality: float
    channel: str
    by_course: bool = False
    drift: float = 0.0


def align(external: Record, own: Record, models: Mapping[str, ReadingModel]) -> Alignment:
    """Shift a recording onto the run's time base.

    models: how the readings of each input of `own` came about. Raises AlignmentError where the two share no
    channel with a transition in it, where they do not match, or where they match at two places.
    """
    pairs = _common(external, own)
    if not pairs:
        raise AlignmentError(
            f"expected a recording of an input of this run ({', '.join(own.traces)}), "
            f"'{external.origin}' holds {', '.join(external.traces) or 'nothing'}; check its column names"
        )
    failures: list[AlignmentError] = []
    best = _best(external, own, models, pairs, failures)
    if best is None:
        mismatched = [
            pair for pair, failure in zip(pairs, failures, strict=True) if type(failure) is _Mismatch
        ]
        best = _best(external, own, models, mismatched, [], by_course=True)
    if best is None:
        raise AlignmentError(str(failures[0]))
    return best


# Many: what is aligned to what, by which of it and how, and what failed.
def _best(
    external: Record,
    own: Record,
    models: Mapping[str, ReadingModel],
    pairs: Sequence[tuple[str, str]],
    failures: list[AlignmentError],
    *,
    by_course: bool = False,
) -> Alignment | None:
    """The best alignment by any of these channels; None: all fail, and `failures` has each one's reason."""
    best: Alignment | None = None
    for name, channel in pairs:
        try:
            found = _align_channel(external, own, models[name], name, channel, by_course=by_course)
        except AlignmentError as error:
            failures.append(error)
            continue
        if best is None or found.quality > best.quality:
            best = found
        if channel != "current" and best.quality >= LEAST_QUALITY:
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


def _align_channel(
    external: Record, own: Record, model: ReadingModel, name: str, channel: str, *, by_course: bool
) -> Alignment:
    fine, coarse = external.traces[name], own.traces[name]
    what = f"{name} {channel.replace('_', ' ')}"
    update = model.update if model.update is not None else float(np.median(np.diff(coarse.time)))
    aperture = model.aperture if model.aperture is not None else update
    values = fine.columns[channel]
    seen = _as_recorded(coarse, channel, model)
    keep = np.isfinite(seen)
    windows_end, readings = coarse.time[keep] - update / 2.0, seen[keep]
    if fine.time.size < 10 or readings.size < LEAST_READINGS:
        raise AlignmentError(f"'{external.origin}' and the run share too few values of {what} to be aligned")
    integral = _integral(fine.time, values)
    if float(np.std(values)) < 0.02 * max(1e-12, float(np.max(np.abs(values)))):
        raise AlignmentError(
            f"'{external.origin}' holds no change of {what}, so there is nothing to align it by"
        )
    cost = _Cost(fine.time, integral, windows_end, readings, max(aperture, 1e-9), by_course=by_course)
    shifts = _shifts(cost, max(update, 1e-3) / 4.0)
    if shifts is None:
        long, run = show(cost.length, "s", 3), show(float(windows_end[-1] - windows_end[0]), "s", 3)
        raise AlignmentError(
            f"'{external.origin}' is {long} long, too much to align to a run of {run}; cut out its part with "
            "'begin' and 'end'"
        )
    costs = np.fromiter((cost(shift) for shift in shifts), np.float64, shifts.size)
    if not np.isfinite(costs).any():
        raise AlignmentError(f"'{external.origin}' is too short against the readings of {what} to be aligned")
    place = int(np.nanargmin(np.where(np.isfinite(costs), costs, np.nan)))
    shift, least = _refine(cost, shifts[place], max(update, 1e-3) / 4.0)
    explained = 1.0 - least / cost.variance
    if explained < LEAST_QUALITY:
        raise _Mismatch(
            f"'{external.origin}' does not match the run: at best {max(0.0, explained) * 100:.0f} % of its "
            f"{what} agrees, {LEAST_QUALITY * 100:.0f} % are needed; is it a recording of this run?"
        )
    rivals = shifts[
        (costs < RIVAL * max(least, cost.floor)) & (np.abs(shifts - shift) > 2.0 * (update + aperture))
    ]
    if rivals.size:
        raise AlignmentError(
            f"'{external.origin}' matches the run at {shift:.3f} s and at {rivals[0]:.3f} s alike ({what}); "
            "record a longer part, or one that happens only once"
        )
    width = _width(cost, shift, least, update)
    uncertainty = update / 2.0 + 2.0 * width / math.sqrt(cost.enough)
    drift = _drift(cost, shift, least, max(update, aperture))
    if abs(drift) * cost.length < 2.0 * uncertainty:
        drift = 0.0
    return Alignment(
        moved(external, shift), float(shift), uncertainty, min(1.0, explained), what, by_course, drift
    )


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

    def __init__(
        self,
        time: Array,
        integral: Array,
        ends: Array,
        readings: Array,
        aperture: float,
        *,
        by_course: bool = False,
    ) -> None:
        self.by_course = by_course
        self.time, self.integral, self.ends, self.readings = time, integral, ends, readings
        self.aperture = aperture
        self.length = length = float(time[-1] - time[0])
        interval = float(np.median(np.diff(ends)))
        # A shift counts where nearly the whole recording lies inside the run, as far as the run can show it.
        self.enough = max(LEAST_READINGS, int(0.8 * min(length, float(ends[-1] - ends[0])) / interval))
        grid = np.arange(time[0] + aperture, time[-1], max(interval / 4.0, length / 2000.0))
        averaged = (np.interp(grid, time, integral) - np.interp(grid - aperture, time, integral)) / aperture
        self.variance = max(1e-18, float(np.var(averaged)))
        self.floor = 1e-4 * self.variance

    def stretched(self, by: float) -> _Cost:
        """The cost of the same recording with all times since its first sample so many times as long."""
        made = copy(self)
        made.time = self.time[0] + (self.time - self.time[0]) * by
        made.integral = self.integral * by
        return made

    def __call__(self, shift: float) -> float:
        first = int(np.searchsorted(self.ends, self.time[0] + shift + self.aperture, side="left"))
        last = int(np.searchsorted(self.ends, self.time[-1] + shift, side="right"))
        if last - first < self.enough:
            return float("inf")
        ends = self.ends[first:last] - shift
        top = np.interp(ends, self.time, self.integral)
        bottom = np.interp(ends - self.aperture, self.time, self.integral)
        recorded, readings = (top - bottom) / self.aperture, self.readings[first:last]
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
