"""What protections have to let through: one case played without any of them, and what it would have taken."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from railwright.circuit.case import Case
from railwright.circuit.errors import SetErrors
from railwright.documents.bench import Output
from railwright.documents.loader import Documents
from railwright.physics.output_stage import OPP_RESPONSE
from railwright.plan.set_points import Feed, OutputSetPoints, SetPoints
from railwright.plan.timeline import Timeline
from railwright.rehearsal.rehearse import TAIL, programmed_simulation
from railwright.traces import Mode, crossing, runs_of

LONG = 0.1
"""A stretch in the limit of at least this length that is cut short by the switching off would go on [s]."""

CUT = 1e-5
"""How close to the switching off its end must lie [s]."""

NEAR = 0.02
"""Largest distance below the set voltage, in parts of it, at which an input counts as up."""

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from railwright.physics.player import PlayedSamples


@dataclass(frozen=True, slots=True)
class LeastLevel:
    """The least that would not have tripped, SI units, and the instant that decides it [s]."""

    value: float
    at: float


@dataclass(frozen=True, slots=True)
class Needed:
    """What one case asks of the protections of one input, told for the input as a whole.

    trip_delay [s]: the longest stretch in the current limit of any output, or of all together where they
    regulate in parallel; inf: it would go on. ovp [V]: the highest level that is exceeded for the OVP's
    response, the level's own error taken off. opp [W]: the same of the power. short [V]: how far it lies
    below what it must have reached at the end of a power-up; zero or less: it is up.
    """

    trip_delay: LeastLevel
    ovp: LeastLevel
    opp: LeastLevel
    short: LeastLevel


def unprotected(set_points: SetPoints) -> dict[str, Feed]:
    """Set points with which nothing trips."""
    return {name: replace(feed, trips_when=(), outputs=_free(feed)) for name, feed in set_points.items()}


def _free(feed: Feed) -> tuple[OutputSetPoints, ...]:
    return tuple(
        replace(points, at_limit="regulate", trip_delay=0.0, ovp=math.inf, opp=math.inf, ocp=math.inf)
        for points in feed.outputs
    )


def with_protection(feed: Feed, setting: str, value: float, parts: Mapping[str, float]) -> Feed:
    """A feed with one protection alone: 'trip_delay', 'ovp' or 'opp', at a value for the input as a whole."""

    def told(points: OutputSetPoints) -> OutputSetPoints:
        own = value * parts[points.output]
        if setting == "trip_delay":
            return replace(points, at_limit="trip", trip_delay=own)
        return replace(points, **{setting: own})  # type: ignore[arg-type]

    free = replace(feed, trips_when=(), outputs=_free(feed))
    return replace(free, outputs=tuple(told(points) for points in free.outputs))


def needed(
    documents: Documents,
    set_points: SetPoints,
    case: Case,
    timeline: Timeline,
    parts: Mapping[str, Mapping[str, float]],
) -> tuple[dict[str, Needed], int]:
    """What a case asks of each input's protections, and how many steps the solver took.

    What is asked where an input is required to trip does not count. parts: setting -> output -> its part of
    the input's setting. Raises SolverError.
    """
    free = unprotected(set_points)
    simulation, errors = programmed_simulation(documents, free, timeline, case)
    advance = simulation.advance(timeline.duration + TAIL)
    found = {
        name: _needed(set_points[name], documents, advance.samples[name], errors, parts, timeline)
        for name in free
    }
    return found, simulation.steps


def trips(
    documents: Documents, feed: Feed, case: Case, timeline: Timeline, beside: SetPoints | None = None
) -> bool:
    """Whether anything of one input trips in a case before it is required to. Raises SolverError.

    beside: the other inputs that coupled set points let it hang on, whose own trips do not count.
    """
    only = {**unprotected(beside or {}), feed.input: feed}
    simulation, _ = programmed_simulation(documents, only, timeline, case)
    events = simulation.advance(timeline.duration + TAIL).events
    until = _operates_until(feed.input, documents, timeline)
    return any(bool(event.kind.trip) and event.time < until for event in events)


def _operates_until(name: str, documents: Documents, timeline: Timeline) -> float:
    """When the step begins in which an input is required to trip [s]; inf: there is none."""
    step = documents.procedure.operates_until(name)
    return timeline.spans[step].start if step < len(timeline.spans) else math.inf


def _needed(
    feed: Feed,
    documents: Documents,
    samples: PlayedSamples,
    errors: Mapping[str, SetErrors],
    parts: Mapping[str, Mapping[str, float]],
    timeline: Timeline,
) -> Needed:
    nothing = LeastLevel(0.0, 0.0)
    delay, level, power = nothing, nothing, nothing
    until = _operates_until(feed.input, documents, timeline)
    samples = _up_to(samples, until)
    time = samples.time
    series = feed.arrangement == "series"
    lost = (samples.voltage - samples.terminal_voltage) / (len(feed.outputs) if series else 1)
    for limited in _in_limit(feed, samples):
        delay = _most(delay, _endless(_longest(time, limited), feed.input, timeline, time))
    for points in feed.outputs:
        output = documents.bench.output(points.output)
        volts, amperes, _ = samples.output(points.output)
        watched = volts + lost if _at_sense(output, feed) else volts
        held = held_level(time, watched, (output.ovp.response if output.ovp else None) or 0.0)
        share = parts["ovp"][points.output]
        level = _most(level, LeastLevel((held.value - errors[points.output].ovp_error) / share, held.at))
        response = output.opp.response if output.opp else None
        held = held_level(time, volts * amperes, OPP_RESPONSE if response is None else response)
        power = _most(power, LeastLevel(held.value / parts["opp"][points.output], held.at))
    return Needed(delay, level, power, _short(feed, documents, samples, timeline, until))


def _up_to(samples: PlayedSamples, until: float) -> PlayedSamples:
    """The part of samples up to a time [s]; at least their first row."""
    if until > samples.time[-1]:
        return samples
    kept = slice(0, int(np.searchsorted(samples.time, until, side="left")) + 1)
    outputs = {
        name: (volts[kept], amperes[kept], modes[kept])
        for name, (volts, amperes, modes) in samples.outputs.items()
    }
    return replace(
        samples,
        time=samples.time[kept],
        terminal_voltage=samples.terminal_voltage[kept],
        voltage=samples.voltage[kept],
        current=samples.current[kept],
        mode=samples.mode[kept],
        outputs=outputs,
    )


def _in_limit(feed: Feed, samples: PlayedSamples) -> list[NDArray[np.bool_]]:
    """When each output is in its limit, as each trips by itself; of outputs in parallel that regulate, when
    all are: the one that sets most stays in its own for as long as the others carry the rest.
    """
    limited = [samples.output(points.output)[2] == Mode.CC for points in feed.outputs]
    regulate = all(points.at_limit == "regulate" for points in feed.outputs)
    return [np.logical_and.reduce(limited)] if feed.arrangement == "parallel" and regulate else limited


def _short(
    feed: Feed, documents: Documents, samples: PlayedSamples, timeline: Timeline, until: float
) -> LeastLevel:
    """How far an input is below where it must be at the end of each of its power-ups up to a time [V].

    A limit that trips is left by then, and the set voltage is there; one that regulates may hold the input
    lower, within its operating range.
    """
    wanted = documents.device.inputs[feed.input].operating
    column = samples.voltage if feed.sense == "at load" else samples.terminal_voltage
    trips = any(points.at_limit == "trip" for points in feed.outputs)
    most = LeastLevel(-math.inf, 0.0)
    for number, span in enumerate(timeline.spans):
        if span.kind != "power_up" or feed.input not in span.inputs or span.end > until:
            continue
        # Of the power-up itself: the step after it may tell another voltage at the very instant.
        goal = next(
            (a.voltage for a in reversed(timeline.actions) if a.input == feed.input and a.step == number
             and a.kind == "line"), 0.0,
        )  # fmt: skip
        if goal == 0.0 or (not trips and goal not in wanted):  # at 0 V there is nothing to come up to
            continue
        there = (1.0 - NEAR) * goal if trips else min(wanted.low, (1.0 - NEAR) * goal)
        values = column if trips else samples.voltage
        most = _most(most, LeastLevel(there - float(np.interp(span.end, samples.time, values)), span.end))
    return most


def _most(one: LeastLevel, other: LeastLevel) -> LeastLevel:
    return other if other.value > one.value else one


def _at_sense(output: Output, feed: Feed) -> bool:
    return output.ovp is not None and output.ovp.at == "sense" and feed.sense == "at load"


def _endless(longest: LeastLevel, name: str, timeline: Timeline, time: NDArray[np.float64]) -> LeastLevel:
    """A stretch that only the switching off ends never ends by itself: inf."""
    ends = [action.time for action in timeline.actions if action.input == name and action.kind == "off"]
    until = longest.at + longest.value
    cut = any(abs(until - end) <= CUT for end in (*ends, float(time[-1])))
    return LeastLevel(math.inf, longest.at) if cut and longest.value >= LONG else longest


def _longest(time: NDArray[np.float64], holds: NDArray[np.bool_]) -> LeastLevel:
    """The longest time on end for which a condition holds; it holds from its row to the next one."""
    found = [(float(time[end] - time[begin]), float(time[begin])) for begin, end in runs_of(holds[:-1])]
    return LeastLevel(*max(found, key=lambda each: each[0], default=(0.0, 0.0)))


def held_level(time: NDArray[np.float64], values: NDArray[np.float64], hold: float) -> LeastLevel:
    """The highest level that a trace of straight lines exceeds for `hold` seconds on end, by bisection."""
    top = int(np.argmax(values))
    low, high = 0.0, float(values[top])
    if hold <= 0.0 or high <= 0.0:
        return LeastLevel(max(high, 0.0), float(time[top]))
    at = float(time[top])
    for _ in range(30):
        middle = (low + high) / 2.0
        began = _exceeds(time, values, middle, hold)
        if began is None:
            high = middle
        else:
            low, at = middle, began
    return LeastLevel(low, at)


def _exceeds(
    time: NDArray[np.float64], values: NDArray[np.float64], level: float, hold: float
) -> float | None:
    """When a trace first lies above a level for `hold` seconds on end; None: it never does."""
    for first, end in runs_of(values > level):
        begins, ends = float(time[first]), float(time[end - 1])
        if first > 0 and values[first] > values[first - 1]:
            begins = crossing(time, values, first, level)
        if end < time.size and values[end - 1] > values[end]:
            ends = crossing(time, values, end, level)
        if ends - begins >= hold:
            return begins
    return None
