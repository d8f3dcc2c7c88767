"""Whether an output's own readings contradict the set point at which it stands: in CV that is its voltage.

What moves, or was told late, is read beside it for a while, and more than it may stand at an output that
gives nothing. What counts is therefore several readings in a row, long after the set point was told, that do
not come nearer; or fewer between others that stand at the set point, where they lie above it while current
flows out: a load can pull a voltage down for so short a time, and none pushes one up that it draws on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from railwright.documents.figures import error_bound
from railwright.evaluation.contradiction import RecordShown, place_of, shown_by
from railwright.evaluation.outcome import SET_POINT, Contradiction
from railwright.evaluation.reading import known_resistance, series_drop
from railwright.evaluation.views import EXACT, Case, settled_levels
from railwright.measures.outcome import CannotMeasure
from railwright.measures.signal import Array
from railwright.traces import Mode, runs_of

FEWEST_BESIDE = 5
"""Readings in a row that must lie beside a set point: what is told late, or moves, is read so for fewer."""

LEAST_BESIDE = 0.1
"""What a reading may lie beside it besides all bounds [V]: thermal voltages, a sense lead's own drop."""

RISES, UNKNOWN_RISE = 3.0, 0.1
"""So many times its rise an output is given to come to a set point; its rise where
the bench gives none [s].
"""


class _Beside(NamedTuple):
    """Readings in a row beside a set point: from when to when [s], and of the one that is farthest from it
    when [s], by how much beyond the bound, what is read, the set point, and what both may be off by [V].
    """

    first: float
    last: float

    at: float
    apart: float
    read: float
    level: float
    bound: float


def beside_set_points(case: Case) -> tuple[Contradiction, ...]:
    """Of each input the worst contradiction between its readings and its set point."""
    found = (_of(case, name) for name in case.own.record.traces)
    return tuple(each for each in found if each is not None)


def _of(case: Case, name: str) -> Contradiction | None:
    """Where readings in a row, in CV, lie beside the one set point at which the output stands by then, and do
    not move towards it; None: nowhere, or the documents do not say how exactly it is set and read.

    More than its set point may stand at it while it gives nothing: its capacitor, or the device, holds that.
    """
    source, bench = case.own, case.documents.bench
    feed = source.feeds.get(name)
    if source.record.origin in EXACT or feed is None or not feed.outputs:
        return None
    outputs = [bench.output(each.output) for each in feed.outputs]
    set_with = [each.programming.voltage if each.programming is not None else None for each in outputs]
    try:
        at = place_of(source, name)  # where it is sensed, there it is read, and stands
        read = shown_by(source, name, "voltage", at, ())
        drawn = shown_by(source, name, "current", at, ())
    except CannotMeasure:
        return None
    traces = source.record.traces[name]
    if (
        "mode" not in traces.columns  # its dialect does not ask for it
        or None in set_with
        or not math.isfinite(read.reach)
        or not (traces.time.size == read.time.size == drawn.time.size)
    ):
        return None
    in_cv, gives = traces.columns["mode"] == Mode.CV, drawn.values > drawn.error
    known = known_resistance(bench, feed)
    worst: list[_Beside] = []
    for begins, ends, level, change in settled_levels(case, name):
        settled = settled_at(case, name, begins, change, read.reach)
        error = sum(
            error_bound(accuracy, level * each.share)
            for accuracy, each in zip(set_with, feed.outputs, strict=True)
            if accuracy is not None
        )
        drop = math.inf if known is None else known[1] * np.abs(drawn.values) + series_drop(bench, feed)[1]
        bound = read.error + error + np.where(read.values > level, drop, 0.0) + LEAST_BESIDE
        beyond = np.abs(read.values - level) > bound
        beyond &= gives | (read.values < level)
        still = in_cv & (read.time > settled) & (read.time < ends - 2.0 * read.reach - read.interval)
        beyond &= still
        worst += _stand_still(read, bound, level, beyond)
        worst += _stand_out(read, bound, level, beyond & (read.values > level), still & ~beyond)
    if not worst:
        return None
    most = max(worst, key=lambda each: each.apart)
    return Contradiction(
        name,
        "voltage",
        (source.name, SET_POINT),
        (most.read, most.level),
        most.bound,
        most.at,
        min(each.first for each in worst),
        max(each.last for each in worst),
    )


def settled_at(case: Case, name: str, begins: float, change: float, reach: float) -> float:
    """From when on readings of an input are those of the set point that it was told at `begins` [s], another
    by `change` [V] than the one before. reach: as of `RecordShown`.
    """
    outputs = [case.documents.bench.output(each.output) for each in case.own.feeds[name].outputs]
    own_rise = max((each.rise or UNKNOWN_RISE for each in outputs), default=0.0)
    # A jump is played at the highest slew; what is slower is a line, and over when its time is.
    slews = [each.slew.high for each in outputs if each.slew is not None]
    return begins + 2.0 * reach + RISES * own_rise + (change / min(slews) if slews else 0.0)


def _stand_still(
    read: RecordShown, bound: Array, level: float, beyond: NDArray[np.bool_]
) -> Iterator[_Beside]:
    """Of rows beyond, those in a row that last long enough and do not move towards the set point [V]."""
    for first, past in runs_of(beyond):
        beside = np.abs(read.values[first:past] - level)
        nearer = float(beside[0] - beside[-1]) > float(np.max(read.error[first:past]))
        lasts = float(read.time[past - 1] - read.time[first]) >= 2.0 * read.reach
        if past - first < FEWEST_BESIDE or nearer or not lasts:
            continue
        yield _farthest(read, bound, level, first, past)


def _stand_out(
    read: RecordShown, bound: Array, level: float, above: NDArray[np.bool_], stands: NDArray[np.bool_]
) -> Iterator[_Beside]:
    """Of rows above the set point [V], fewer in a row than may move, those between two that stand at it."""
    for first, past in runs_of(above):
        between = first > 0 and past < above.size and bool(stands[first - 1]) and bool(stands[past])
        if between and past - first < FEWEST_BESIDE:
            yield _farthest(read, bound, level, first, past)


def _farthest(read: RecordShown, bound: Array, level: float, first: int, past: int) -> _Beside:
    """What rows in a row show where they lie farthest beside a set point [V]."""
    at = first + int(np.argmax(np.abs(read.values[first:past] - level)))
    value, most = float(read.values[at]), float(bound[at])
    spans = float(read.time[first]), float(read.time[past - 1]), float(read.time[at])
    return _Beside(*spans, abs(value - level) - most, value, level, most)
