"""The bias of readings: what they miss of a rehearsal of the procedure that is read as the run was.

The readings of a supply are means over an aperture, as often as the host asks. What happens between them (a
load that hunts, a change within an aperture, stairs in step with the updates) can move a result further than
its budget knows. So can a sum of several outputs' readings, each of a time of its own, while one hands over
to another. In a rehearsal both are there, the truth and what would be read of it.

References
----------
.. [1] JCGM 100:2008, F.2.4.5: an effect that is known and not corrected for enlarges the interval (from
   memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from railwright.documents.loader import Documents
from railwright.documents.procedure import Requirement
from railwright.evaluation.evaluate import measured_points
from railwright.evaluation.outcome import NONE_KNOWN, Widenings
from railwright.grouping import grouped
from railwright.measures.outcome import Measured
from railwright.physics.solver import SolverError
from railwright.plan.plan import plan_of
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import Timeline
from railwright.rehearsal.handovers import handovers, in_turn
from railwright.rehearsal.read import (
    AS_DECLARED,
    MOST_READINGS,
    Phase,
    ReadingTimes,
    as_read,
    multimeters_read,
    reading_times,
)
from railwright.rehearsal.rehearse import Prediction, rehearse
from railwright.rehearsal.repeating import rehearse_until
from railwright.traces import EventKind, Record, span_named

Key = tuple[str, str, int]
"""Of a requirement, a source and a point of its sweep."""

PHASES = tuple(Phase(number / 8, number * 3 % 8 / 8, 0.75 if number % 2 else 0.25) for number in range(8))
"""Where readings may lie in a record, each part of an interval once for questions and for updates; and how
far apart outputs of a group update, so that each is now the earlier one, now the later one.
"""

PHASES_OF_AN_INSTANT = tuple(Phase(n * 3 % 8 / 8, n / 64, 0.75 if n % 2 else 0.25) for n in range(64))
"""The same for what happens once after switching on: an aperture that covers a peak and a lull has a mean
between them where it begins within some hundredths of an update of one instant.
"""

MOST_AT_ALL_PHASES = 100_000
"""Up to so many readings all phases are looked at; of more, as many fewer as keep the work the same."""


class Beat(NamedTuple):
    """Readings that are synchronous with a load that hunts: update and aperture of its input, and how many of
    its cycles an update lasts.
    """

    timings: Mapping[str, ReadingTimes] = AS_DECLARED
    cycles: int = 1


NO_BEAT = Beat()

Compared = tuple[Widenings, tuple[str, ...]]
"""What is found, and what could not be compared, in words."""

KEPT = 8
"""So many comparisons are kept, by content: one run is evaluated with this recording and that."""

_KEPT: dict[tuple[Any, ...], Compared] = {}

HUNTS = 4
"""Stops in a step from which on a load counts as hunting: it starts and stops by itself, again and again
(chosen).
"""

SPARE = 0.1
"""Part of a bias by which it may be larger in the device than at nominal values (chosen)."""

BEYOND = 0.1
"""Part of an interval's half by which it may miss what is true: a 95 % interval need not hold all of it."""


def widenings(documents: Documents, set_points: SetPoints, run: Record) -> Compared:
    """Of each requirement, source and point how far its interval has to reach further below and above, by
    a rehearsal at nominal values, and of inputs that several outputs feed by some in which these hand over;
    and what could not be compared, in words.

    run: its record, which tells how far apart the readings of each input were.
    """
    return widenings_at(documents, set_points, reading_intervals(documents, set_points, run))


def widenings_at(documents: Documents, set_points: SetPoints, every: Mapping[str, float]) -> Compared:
    """The same of a run whose readings of each input are so far apart [s]."""
    if not documents.procedure.requires:
        return NONE_KNOWN, ()
    if not documents.sources:
        return _compared(documents, set_points, every)
    read = ((each.content, *each.beside.items()) for each in documents.sources.values())
    key = (*read, repr(documents.procedure), repr(set_points), *every.items())
    if key not in _KEPT:
        while len(_KEPT) >= KEPT:
            del _KEPT[next(iter(_KEPT))]
        _KEPT[key] = _compared(documents, set_points, every)
    return _KEPT[key]


def _compared(documents: Documents, set_points: SetPoints, every: Mapping[str, float]) -> Compared:
    """The same. every: of each input the time between two of its readings [s]."""
    requires, plan = documents.procedure.requires, plan_of(documents, set_points)
    known: Prediction | None = None
    try:
        if plan.timeline.held:  # what comes after a hold comes when that ends, and so does what it takes
            plan, known = rehearse_until(documents, set_points)
    except SolverError as error:
        return NONE_KNOWN, (f"not compared with a rehearsal: {error}",)
    if plan.timeline.duration > MOST_READINGS * min(every.values()):
        return NONE_KNOWN, ("not compared with a rehearsal: it has too many readings",)
    several = {name for name, feed in set_points.items() if len(feed.outputs) > 1}
    groups = [each for each in requires if each.of in several]
    grows = {each.name for each in requires if each.known.only_grows}
    found: dict[Key, tuple[float, float]] = {}
    try:
        played = known or rehearse(documents, set_points, timeline=plan.played)
        _widen(found, _of_rehearsal(documents, set_points, plan.timeline, played, every, requires))
        for hunts, beat in _in_step(documents, set_points, played.record):
            _widen(found, _of_rehearsal(documents, set_points, plan.timeline, played, every, hunts, beat))
        shared = [each for each in groups if not each.known.after_switching_on]
        apart = [(turn, shared) for turn in in_turn(documents, set_points, plan.played, played) if shared]
        for case in handovers(documents, set_points, played.record) if groups else ():
            apart.append((rehearse(documents, set_points, case, plan.played), groups))
        for other, own in apart:
            handed = _of_rehearsal(documents, set_points, plan.timeline, other, every, own)
            # With the other output above it is the other way round, but for what only grows.
            either = {key: sides if key[0] in grows else (max(sides),) * 2 for key, sides in handed.items()}
            _widen(found, either)
    except SolverError as error:
        return found, (f"not compared with a rehearsal: {error}",)
    return found, ()


def _in_step(
    documents: Documents, set_points: SetPoints, record: Record
) -> Iterator[tuple[list[Requirement], Beat]]:
    """Of each input that hunts in a step its requirements there, and readings that cover the same part of
    each of its cycles: within the tolerances of its parts the device may hunt at that rate, and no reading
    shows it.
    """
    asked = grouped(((each.of, each.during), each) for each in documents.procedure.requires)
    for (name, step), own in asked.items():
        span = span_named(record.spans, step)
        if span is None or name not in set_points:
            continue
        own_stops = (e.time for e in record.events if e.subject == name and e.kind is EventKind.STOPS)
        stops = [time for time in own_stops if span.start <= time <= span.end]
        if len(stops) < HUNTS:
            continue
        period = (stops[-1] - stops[0]) / (len(stops) - 1)
        update, aperture = reading_times(documents.bench, set_points[name].names)
        if cycles := round(update / period):
            # How many cycles an aperture covers is in doubt, too: with half a cycle over it misses most.
            halves = 2 * math.floor(aperture / period) + 1
            yield list(own), Beat({name: (cycles * period, halves / 2.0 * period)}, cycles)


def reading_intervals(documents: Documents, set_points: SetPoints, run: Record) -> dict[str, float]:
    """Of each input the usual time between two of its readings in the procedure [s]; where there are none, as
    asked for.
    """
    # While inputs empty at the end they are read at the pace of that.
    end = run.spans[-1].end if run.spans else math.inf
    found = dict.fromkeys(set_points, documents.procedure.record.every)
    for name in found.keys() & run.traces.keys():
        time = run.traces[name].time
        if (time := time[time <= end]).size > 2:
            # To three digits: one run is then as the next.
            found[name] = float(f"{np.median(np.diff(time)):.3g}")
    return found


# Many: a rehearsal with what it was made of, and how it is read.
def _of_rehearsal(
    documents: Documents,
    set_points: SetPoints,
    timeline: Timeline,
    played: Prediction,
    every: Mapping[str, float],
    requires: Sequence[Requirement],
    beat: Beat = NO_BEAT,
) -> Widenings:
    """The same of some requirements by one rehearsal. beat: how it is read otherwise than declared."""
    record = played.record
    true = measured_points(documents, set_points, record, {}, requires)
    part = MOST_AT_ALL_PHASES * min(every.values()) / timeline.duration if timeline.duration else 1.0
    found: dict[Key, tuple[float, float]] = {}
    for phases, once in ((PHASES, False), (PHASES_OF_AN_INSTANT, True)):
        own = [each for each in requires if each.known.after_switching_on is once]
        for phase in phases[: max(1, round(len(phases) * part))] if own else ():
            at = phase._replace(updated=phase.updated / beat.cycles)
            read = as_read(record, documents, set_points, timeline, every, at, played.shares, beat.timings)
            meters = multimeters_read(documents, record, phase)
            _widen(found, widenings_of(true, measured_points(documents, set_points, read, meters, own)))
    return found


def widenings_of(true: Mapping[Key, Measured], shown: Mapping[Key, Measured]) -> Widenings:
    """The same of what is measured in a rehearsal as it is, by whatever source, and as it is read."""
    values = {(name, point): measured.value for (name, _, point), measured in true.items()}
    found: dict[Key, tuple[float, float]] = {}
    for key, measured in shown.items():
        name, _, point = key
        if (value := values.get((name, point))) is not None:
            _widen(found, {key: _widening(value, measured)})
    return found


def _widen(found: dict[Key, tuple[float, float]], more: Widenings) -> None:
    """Let what is found reach as far as more does, on each side."""
    for key, (below, above) in more.items():
        if below or above:
            known = found.get(key, (0.0, 0.0))
            found[key] = max(known[0], below), max(known[1], above)


def _widening(true: float, shown: Measured) -> tuple[float, float]:
    """How far an interval has to reach further below and above, so that it reaches beyond what is true by
    half of what it had on that side and a part of what is missed; 0 where it holds that as it is.
    """
    value, low, high = shown.value, shown.low, shown.high
    if true < low - BEYOND * (value - low):
        return (value + low) / 2 - true + SPARE * (value - true), 0.0
    if true > high + BEYOND * (high - value):
        return 0.0, true - (value + high) / 2 + SPARE * (true - value)
    return 0.0, 0.0
