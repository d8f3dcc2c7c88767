"""The facts that more than one place states, compared.

All comparisons of physics are at exactly what is true behind the supplies, so that only the host's timing and
the grid of set points lie between the two sides. What is left over is tried again with those moved a little
(`explained`): a fact that then comes out as the other side has it hangs on less than what nobody states.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from random import Random

import numpy as np
from benchmarks.disagreement_hunt.playing import Played, first_trip

from railwright.evaluation.outcome import Outcome, Result
from railwright.measures.outcome import Measured
from railwright.physics.solver import SolverError
from railwright.plan.stairs import WATCH_EVERY
from railwright.rehearsal.rehearse import Prediction
from railwright.traces import Event, EventKind, Record

HOST = 2e-3
"""What the host's timing moves an event by [s]: exchanges with up to six outputs, of 0.2 ms each."""

LATENCY = 3e-3
"""Latency of the readings of every bench that is drawn [s]."""

VOLTS, PART = 10e-3, 2e-3
"""What a grid of set points and interpolation may move a level by: so much, and this part of it."""

NO_CURRENT, OF_LIMIT = 100e-6, 2.5e-3
"""What the solver's tolerances may leave of a current that is none: so much [A], and this part of the limit.
Some microvolts across a lead's tens of milliohms, between two of its rows; hardly what a supply reads.
"""

GRID_VOLTS, GRID_PART = 3e-3, 2e-4
"""The same of a level that is held: the outputs' grid is 1 mV, and the errors of set points must show."""

AT_ZERO = 1e-3
"""What an output that is told 0 V comes down to, within some time constants of what hangs on it [V]."""

WIDER = 2.0
"""A value lies within its stated interval, made so many times as wide: 95 % is then 4 standard deviations."""


@dataclass(frozen=True)
class Disagreement:
    """Two places that say different things of one fact. explained: it hangs on the host's timing or less."""

    fact: str
    about: str
    one: str
    other: str
    explained: bool = False

    def __str__(self) -> str:
        return f"{self.fact} of {self.about}: {self.one}; {self.other}"


def disagreements(played: Played) -> Iterator[Disagreement]:
    """Everything that two places say differently of one draw."""
    found = list(_physics(played, played.rehearsed))
    if found:
        others = list(variants(played))
        beside = tuple(beside_it(played))
        on_grid = {(each.fact, each.about) for each in _physics(played, played.rehearsed, beside)}
        for each in found:
            told = [
                any((e.fact, e.about) == (each.fact, each.about) for e in _physics(played, other))
                for other in others
            ]
            explained = (
                not all(told) or _in_turn(played, each.about) or (each.fact, each.about) not in on_grid
            )
            yield Disagreement(each.fact, each.about, each.one, each.other, explained)
    yield from _run_says(played)
    yield from _durations(played)
    yield from _outcomes(played)
    yield from _report(played)


def _in_turn(played: Played, about: str) -> bool:
    """Whether a fact is about outputs in parallel, of which the host tells one after another: on a ramp the
    first carries all of the current until it is in its limit.
    """
    return any(
        feed.arrangement == "parallel"
        and (about.startswith(name) or any(points.output == about for points in feed.outputs))
        for name, feed in played.check.settings.set_points.items()
    )


def variants(played: Played) -> Iterator[Prediction]:
    """Rehearsals with what lies between host and rehearsal moved a little: values, and who is told first."""
    offsets = [name for name in played.case if name.endswith(".voltage_offset")]
    for number in range(6):
        dice = Random(number)
        factors = {name: 1.0 + dice.uniform(-1e-3, 1e-3) for name in played.case}
        # Outputs of a group are told one after another: on a line, the later ones lag.
        skew = {name: dice.choice((-0.15, -5e-3, 0.0, 5e-3)) for name in offsets} if number else {}
        try:
            yield played.again(factors, skew)
        except SolverError:
            continue


def beside_it(played: Played) -> Iterator[Record]:
    """Rehearsals between which the truth may lie. With every set point half a step of its grid higher and
    lower: a supply has it anywhere between, and the current of a load with a steep law hangs on it. With
    changes of current limits as much earlier as the host may be late with what it tells at the same instant,
    such as OFF.
    """
    steps = {
        str(points.output): played.documents.bench.output(points.output).programming
        for feed in played.check.settings.set_points.values()
        for points in feed.outputs
    }
    for sign, earlier in ((0.5, 0.0), (-0.5, 0.0), (0.0, HOST / 8), (0.0, HOST / 4), (0.0, HOST)):
        skew = {
            f"{name}.voltage_offset": sign * programming.voltage.resolution
            for name, programming in steps.items()
            if programming and programming.voltage.resolution and f"{name}.voltage_offset" in played.case
        }
        try:
            yield played.again({}, skew, earlier).record
        except SolverError:
            continue


def _physics(
    played: Played, rehearsed: Prediction, beside: tuple[Record, ...] = ()
) -> Iterator[Disagreement]:
    """Rehearsal against what really happened behind the supplies. beside: levels may lie between it and
    these.
    """
    trip, predicted = first_trip(played.truth.events), first_trip(rehearsed.record.events)
    over = min(played.ended, played.check.plan.duration, _begins_late(played))
    until = over if trip is None else min(over, trip.time)
    if predicted is not None and predicted.time < until - HOST:
        yield Disagreement("trip", _input(played, predicted), _told(predicted), f"none until {until:.4f} s")
        until = predicted.time
    elif trip is not None and trip.time < over + HOST:
        if predicted is None or predicted.time > trip.time + HOST:
            said = "none" if predicted is None else _told(predicted)
            yield Disagreement("trip", _input(played, trip), said, _told(trip))
        elif (
            _input(played, predicted) != _input(played, trip) or predicted.kind is not trip.kind
        ) and not _several(played, predicted, rehearsed.record.events):
            yield Disagreement("trip", _input(played, trip), _told(predicted), _told(trip))
    until -= HOST
    yield from _happens(played, rehearsed.record, until)
    yield from _switched(played, rehearsed.record, until)
    yield from _levels(played, (rehearsed.record, *beside), until)
    yield from _shapes(played, rehearsed.record, until)


def _begins_late(played: Played) -> float:
    """When the first step was to begin that began later by more than the host's timing, and says so [s]: what
    comes from there on is as much later, which a load that stops and starts adds up.
    """
    planned = {span.name: span.start for span in played.check.plan.spans}
    late = [
        planned[span.name]
        for span in played.outcome.record.spans
        if span.late > HOST and span.name in planned and span.start - planned[span.name] > HOST
    ]
    return min(late, default=math.inf)


def _several(played: Played, first: Event, events: tuple[Event, ...]) -> bool:
    """Whether another trip comes within the host's timing: which is the first is then open."""
    close = [e for e in events if e.kind.trip and abs(e.time - first.time) < HOST]
    return len({(_input(played, each), each.kind) for each in close}) > 1


def _input(played: Played, event: Event) -> str:
    """The input that an event's output feeds."""
    for name, feed in played.check.settings.set_points.items():
        if event.subject == name or any(points.output == event.subject for points in feed.outputs):
            return name
    return event.subject


def _told(event: Event) -> str:
    return f"{event.kind} of {event.subject} at {event.time:.4f} s"


def _happens(played: Played, rehearsed: Record, until: float) -> Iterator[Disagreement]:
    """Starts and stops of loads, and stretches in the limit: how many, and when."""
    kinds = (EventKind.STARTS, EventKind.STOPS, EventKind.TURNS, EventKind.FUSE_OPENS)
    for kind, name in product(kinds, rehearsed.traces):
        one, other = (
            [e.time for e in record.events if e.kind is kind and e.subject == name and e.time < until]
            for record in (rehearsed, played.truth)
        )
        # A load that stops and starts again and again may do so once more before a later OFF.
        if len(one) != len(other) and not _at_the_edge(
            one, other, min(until, _last_off(played, rehearsed, name))
        ):
            yield Disagreement(str(kind), name, f"{len(one)} times", f"{len(other)} times")
        for a, b in zip(one, other, strict=False):
            if abs(a - b) > HOST + PART * abs(a):
                yield Disagreement(f"time of {kind}", name, f"{a:.4f} s", f"{b:.4f} s")
                break


def _last_off(played: Played, record: Record, name: str) -> float:
    """When the outputs of an input have last gone off [s]; inf: never."""
    outputs = {points.output for points in played.check.settings.set_points[name].outputs}
    off = (each.time for each in record.events if each.kind is EventKind.OFF and each.subject in outputs)
    return max(off, default=math.inf)


def _at_the_edge(one: list[float], other: list[float], until: float) -> bool:
    longer = max(one, other, key=len)
    return abs(len(one) - len(other)) == 1 and longer[-1] > until - HOST


def _switched(played: Played, rehearsed: Record, until: float) -> Iterator[Disagreement]:
    """Who is energised when."""
    for output, spans in played.energised.items():
        on: list[float] = []
        for event in rehearsed.events:
            if event.subject == output and (event.kind in (EventKind.ON, EventKind.OFF) or event.kind.trip):
                on.append(event.time)
        is_so = [time for span in spans for time in span if time is not None]
        one, other = [t for t in on if t < until], [t for t in is_so if t < until]
        same = len(one) == len(other) and all(abs(a - b) < HOST for a, b in zip(one, other, strict=True))
        if not same and not _at_the_edge(one or [0.0], other or [0.0], until):
            told = [", ".join(f"{t:.4f}" for t in times) for times in (one, other)]
            yield Disagreement("energised", output, f"switched at {told[0]} s", f"at {told[1]} s")


def _levels(played: Played, rehearsed: tuple[Record, ...], until: float) -> Iterator[Disagreement]:
    """The voltage at the connector and the current, anywhere: within what they take on nearby."""
    for name, one in rehearsed[0].traces.items():
        other = played.truth.traces[name]
        at = np.arange(10e-3, until, 2e-3)
        if not at.size:
            continue
        limit = sum(points.current_limit for points in played.check.settings.set_points[name].outputs)
        none = NO_CURRENT + OF_LIMIT * limit
        for channel in ("voltage", "current"):
            bands = [_band(record.traces[name], channel, at) for record in rehearsed]
            low = np.min([band[0] for band in bands], axis=0)
            high = np.max([band[1] for band in bands], axis=0)
            values = np.interp(at, other.time, other.columns[channel])
            size = float(np.abs(one.columns[channel]).max())
            largest = np.maximum(np.abs(low), np.abs(high))
            margin = (
                (VOLTS if channel == "voltage" else none + PART * size) + PART * largest + 0.02 * (high - low)
            )
            if channel == "voltage":
                # What moves by more than the grid within the host's timing is interpolated between rows.
                margin = np.where(high - low < GRID_VOLTS, GRID_VOLTS + GRID_PART * largest, margin)
                # Told 0 V, an output is rehearsed at 0 V, or on its way there, and has its offset.
                margin = margin + np.where(np.abs(high) < AT_ZERO, VOLTS, 0.0)
            out = (values < low - margin) | (values > high + margin)
            # One instant is an edge that came later; three in a row are another level.
            run = out[:-2] & out[1:-1] & out[2:]
            if run.any():
                first = int(np.argmax(run)) + 1
                unit = "V" if channel == "voltage" else "A"
                said = f"{low[first]:.5g} .. {high[first]:.5g} {unit} at {at[first]:.4f} s"
                yield Disagreement(f"{channel} over time", name, said, f"{values[first]:.5g} {unit}")


def _band(traces: object, channel: str, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest value within the host's timing of each instant."""
    time, values = traces.time, traces.columns[channel]  # type: ignore[attr-defined]
    ends = np.interp(np.stack([at - HOST, at, at + HOST]), time, values)
    low, high = ends.min(axis=0), ends.max(axis=0)
    first, last = np.searchsorted(time, at - HOST), np.searchsorted(time, at + HOST)
    for k in np.flatnonzero(last > first):
        part = values[first[k] : last[k]]
        low[k], high[k] = min(low[k], part.min()), max(high[k], part.max())
    return low, high


def _shapes(played: Played, rehearsed: Record, until: float) -> Iterator[Disagreement]:
    """What `waveform` says of each edge, and what came of it."""
    whole = [each for each in played.check.plan.spans if each.end < until]
    names = {span.name for span in whole}
    others = {(each.step, each.input): each for each in played.shapes(played.truth)}
    for one in played.shapes(rehearsed):
        if one.span.name not in names:
            continue
        other = others[one.step, one.input]
        about = f"{one.input} in '{one.span.name}'"
        for a, b in zip(one.edges, other.edges, strict=True):
            size = abs(a.asked.goal - a.asked.start)
            # What it comes to is read where the next one begins, which may lie beyond the step.
            if a.asked.until - a.asked.time < 5 * HOST or a.asked.until + one.span.start + HOST > until:
                continue
            if abs(a.after - b.after) > VOLTS + 0.02 * size and a.settled and b.settled:
                yield Disagreement("edge", about, f"to {a.after:.4f} V", f"to {b.after:.4f} V")
            if a.late is not None and b.late is not None and abs(a.late - b.late) > HOST + 0.05 * abs(a.late):
                yield Disagreement("edge's time", about, f"{a.late:.4f} s late", f"{b.late:.4f} s late")


def _run_says(played: Played) -> Iterator[Disagreement]:
    """The run's own record against what happened behind the supplies."""
    every = played.documents.procedure.record.every
    wanted = Counter(
        _input(played, event)
        for event in played.truth.events
        if event.kind.trip and event.time < played.ended
    )
    read = {event.subject: event for event in played.outcome.record.events if event.kind.trip}
    for name in wanted:
        true = next(e for e in played.truth.events if e.kind.trip and _input(played, e) == name)
        if name not in read:
            if played.ended - true.time > 0.1 + every:
                yield Disagreement("trip as read", name, "none", _told(true))
        elif not true.time - LATENCY - HOST <= read[name].time <= true.time + 0.1 + 2 * every:
            yield Disagreement("trip as read", name, _told(read[name]), _told(true))
    for name in read:
        # What the host itself switches off because another input tripped has no trip of its own.
        linked = read[name].kind is EventKind.TRIPS_LINKED
        if not linked and not any(e.kind.trip and _input(played, e) == name for e in played.truth.events):
            yield Disagreement("trip as read", name, _told(read[name]), "none")
    # What is not confirmed may be off all the same: a device that holds its voltage.
    if played.outcome.off_confirmed and any(
        spans and spans[-1][1] is None
        for output, spans in played.energised.items()
        if not _stays_on(played, output)
    ):
        yield Disagreement("off", "the run", "confirmed", "an output is still energised")


def _stays_on(played: Played, output: str) -> bool:
    """Whether the procedure says that the output stays on at the end."""
    for name, feed in played.check.settings.set_points.items():
        if any(points.output == output for points in feed.outputs):
            ending = played.documents.procedure.limits[name].at_end
            return "stays_on" in str(ending)
    return False


def _durations(played: Played) -> Iterator[Disagreement]:
    """How long each step lasts: as asked, as rehearsed, as run."""
    asked = {span.name: span for span in played.check.plan.spans}
    spans = played.outcome.record.spans
    # A step that begins late, as the run says, makes the one before it as much longer.
    for span, late in zip(spans, [*(each.late for each in spans[1:]), 0.0], strict=True):
        if not span.whole or span.end > played.ended or span.name not in asked:
            continue
        wanted = asked[span.name].end - asked[span.name].start
        if abs(span.end - span.start - wanted) > HOST + span.late + late + 2 * span.time_error:
            lasted = f"{span.end - span.start:.4f} s"
            yield Disagreement("duration", f"step '{span.name}'", f"{wanted:.4f} s", lasted)


def _outcomes(played: Played) -> Iterator[Disagreement]:
    """Each requirement as rehearsed at what is true, and as judged from the readings."""
    whole = {span.name for span in played.outcome.record.spans if span.whole and span.end <= played.ended}
    if (first := first_trip(played.rehearsed.record.events)) is not None:
        # From a trip on, which the run may not have had, the rehearsal is another story.
        whole &= {span.name for span in played.check.plan.spans if span.end < first.time}
    for one, other in zip(played.judged.results, played.evaluated.results, strict=True):
        if other.during not in whole or one.measured is None or other.measured is None:
            continue
        value, read = one.measured.value, other.measured
        about = f"'{one.requirement}', {one.measure} of {one.of} in '{one.during}'"
        said = f"{value:.6g} {one.unit}"
        interval = f"{read.value:.6g} ({read.low:.6g} .. {read.high:.6g}) {one.unit}"
        low = read.value - WIDER * (read.value - read.low)
        high = read.value + WIDER * (read.high - read.value)
        if one.measure == "restarts":
            apart = _at_edges(played, one.of, one.during)
            low, high = low - apart, high + apart
        if one.unit == "s":
            low, high = low - HOST, high + HOST
        if one.measure == "time_out_of_cv" and _returns_between_answers(played, one.of, one.during):
            low = 0.0  # of two times in the limit with so short a time between them the answers make one
        if read.unseen and one.measure in NOT_SEEN:
            low, high = -math.inf, math.inf
        if one.measure in OF_CAPACITANCE and one.of in _other_capacitance(played):
            continue
        if read.unseen and one.measure == "restarts":
            # What may hide from readings is said beside the value; no outcome rests on its absence.
            high = math.inf
        if one.measure == "time_out_of_cv" and low == 0.0:
            continue  # no outcome of the rehearsal is that of the longer time
        slack = PART * abs(value) + 1e-9
        if one.measure in ("charge", "energy"):
            # Of a step that the host played longer or shorter than planned, as `_durations` compares.
            slack += abs(value) * _longer(played, one.during)
        if not low - slack <= value <= high + slack:
            yield Disagreement("value", about, said, interval)
        elif {one.outcome, other.outcome} == {Outcome.PASS, Outcome.FAIL} and not _near(
            one, value, slack, read
        ):
            yield Disagreement("outcome", about, f"{one.outcome} at {said}", f"{other.outcome} at {interval}")


def _longer(played: Played, step: str) -> float:
    """By which part a step was played longer or shorter than planned."""
    own = played.outcome.record.span(step)
    planned = next(span for span in played.check.plan.spans if span.name == step)
    return abs((own.end - own.start) / max(planned.end - planned.start, 1e-9) - 1.0)


def _at_edges(played: Played, name: str, step: str) -> int:
    """How often the load stops or starts so near an edge of a step that readings cannot tell on which side of
    it that was: the measure says that it then counts in the step, and the rehearsal knows better. Within an
    update, an aperture and the latency; what a reading averages over may lie that much beside it.
    """
    feed = played.check.settings.set_points[name]
    readings = [played.documents.bench.output(points.output).reading for points in feed.outputs]
    reach = LATENCY + max((each.update or 0.0) + (each.aperture or 0.0) for each in readings if each)
    span = played.outcome.record.span(step)
    return sum(
        min(abs(event.time - span.start), abs(event.time - span.end)) < reach
        for event in played.truth.events
        if event.subject == name and event.kind is EventKind.STOPS
    )


def _returns_between_answers(played: Played, name: str, step: str) -> bool:
    """Whether an input's outputs come back to constant voltage in a step for less than the time between two
    questions for their status: the measure says that it does not see that.
    """
    feed, span = played.check.settings.set_points[name], played.outcome.record.span(step)
    apart = max(played.documents.procedure.record.every, WATCH_EVERY) + 2.0 * HOST
    back: dict[str, float] = {}
    for event in played.truth.events:
        if not any(points.output == event.subject for points in feed.outputs):
            continue
        if event.kind is EventKind.ENTERS_CV:
            back[event.subject] = event.time
        elif event.kind in (EventKind.ENTERS_CC, EventKind.ENTERS_CP):
            brief = event.time - back.get(event.subject, -math.inf) < apart
            if brief and span.start < event.time < span.end + HOST:
                return True
    return False


INTEGRALS = ("charge", "energy", "mean_current", "mean_power")

NOT_SEEN = ("low_state_level", "high_state_level", "mean_voltage", *INTEGRALS)
"""Measures of which anything may have hidden where something is said to."""

OF_CAPACITANCE = ("restarts", "turn_off_voltage", *INTEGRALS)
"""Measures that count with the capacitance in the device document; their documentation says so."""


def _other_capacitance(played: Played) -> set[str]:
    """Inputs whose capacitance is not what their document says."""
    return {name.partition(".")[0] for name in played.overloads if name.endswith(".capacitance")}


def _near(one: Result, value: float, slack: float, read: Measured) -> bool:
    """Whether a value lies so near a limit that both outcomes may be right: within what set points are off,
    or, as the simple rule looks at no uncertainty, a limit within the stated interval of the readings.
    """
    limits = [limit for limit in (one.lower, one.upper) if limit is not None]
    return any(abs(limit - value) <= slack or read.low <= limit <= read.high for limit in limits)


def _report(played: Played) -> Iterator[Disagreement]:
    """The report against the evaluation and the run."""
    said, judged = played.reported, played.evaluated
    if said["outcome"] != judged.outcome.value:
        yield Disagreement("outcome as reported", "the whole", said["outcome"], judged.outcome.value)
    results = said["evaluation"]["requirements"]
    for one, other in zip(results, judged.results, strict=True):
        if one["outcome"] != other.outcome.value:
            about = f"'{other.requirement}'"
            yield Disagreement("outcome as reported", about, one["outcome"], other.outcome.value)
    if bool(said["run"]["off_confirmed"]) != played.outcome.off_confirmed:
        yield Disagreement("off as reported", "the run", str(said["run"]["off_confirmed"]), "of the run")
    if played.outcome.as_required == said["run"]["ended_early"]:
        yield Disagreement("end as reported", "the run", str(said["run"]["ended"]), played.outcome.cause)
