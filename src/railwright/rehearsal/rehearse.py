"""Rehearsal of a procedure by computation: predicted traces and events, and the main figures of inputs."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from railwright.assumptions import Assumption
from railwright.circuit.case import NOMINAL, Case
from railwright.circuit.errors import SetErrors
from railwright.documents.loader import Documents
from railwright.frozen import freeze
from railwright.plan.contacts import (
    contact_moves,
    contacts_of,
    kind_of,
    pin_moves,
    starts_active,
    subjects_of,
)
from railwright.plan.coupling import OutputAction, all_changes
from railwright.plan.current_limits import limit_actions
from railwright.plan.linking import program_takes
from railwright.plan.required_trip import ends
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.sources import fed_sources
from railwright.plan.stairs import slew_range
from railwright.plan.timeline import Action, Timeline, timeline_of
from railwright.rehearsal.circuit import build_circuit, output_errors
from railwright.traces import Event, EventKind, Record, Span, Traces, integral_of_product, runs_of

if TYPE_CHECKING:
    from railwright.physics.circuit import Circuit
    from railwright.physics.player import PlayedSamples
    from railwright.physics.simulation import Advance, Simulation
    from railwright.traces import Array

TAIL = 0.5
"""How long a rehearsal goes on after the last step [s], to show the voltages fall."""


@dataclass(frozen=True, slots=True)
class InputResult:
    """What happened to one input, SI units.

    peak_current, peak_at: over the whole rehearsal. inrush_peak, inrush_charge [C], inrush_i2t [A²s]: during
    its power-up, as `powered_up` has it; None: it was not powered up. time_in_limit: in CC or CP, altogether;
    first_time_in_limit: the first stretch of it. peak_voltage: at the connector; settled_voltage: there, when
    the power-up ends. tripped: the first trip of its outputs, and when; None: nothing tripped. starts, stops:
    of its converters.
    """

    peak_current: float
    peak_at: float
    inrush_peak: float | None
    inrush_charge: float | None
    inrush_i2t: float | None
    time_in_limit: float
    first_time_in_limit: float
    peak_voltage: float
    settled_voltage: float | None
    tripped: EventKind | None
    tripped_at: float | None
    starts: int
    stops: int


Shares = Mapping[str, Mapping[str, "tuple[Array, Array]"]]
"""Of each input that several outputs feed: output -> voltage [V] and current [A] at its own terminals, at the
instants of the input's traces.
"""


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """A predicted record (origin 'rehearsal') with the assumptions it rests on, each input's result, and what
    each output of a group has of it.
    """

    record: Record
    assumptions: tuple[Assumption, ...]
    inputs: Mapping[str, InputResult]
    steps: int
    shares: Shares

    def __post_init__(self) -> None:
        freeze(self, "inputs", "shares")


def rehearse(
    documents: Documents,
    set_points: SetPoints,
    case: Case = NOMINAL,
    timeline: Timeline | None = None,
    tail: float = TAIL,
) -> Prediction:
    """Play the procedure's timeline (or another) on the circuit of the documents, with these set points.

    case: picks the value of every uncertain quantity. A trip that the procedure requires, and that comes
    before any other, ends it as it ends a run: everything is switched off, and its step is the last one.
    Raises `railwright.physics.solver.SolverError`, which names time, state and element, where the circuit
    cannot be solved.
    """
    if timeline is None:
        timeline = timeline_of(documents.procedure, documents.device)
    circuit, assumptions = build_circuit(documents, set_points, case)
    errors, more = output_errors(documents, set_points, case)

    def play(timeline: Timeline, end: float) -> tuple[Advance, int]:
        from railwright.physics.simulation import Simulation

        simulation = Simulation(circuit, rested=True)
        program_outputs(simulation, documents, set_points, timeline, errors)
        return simulation.advance(end), simulation.steps

    advance, steps = play(timeline, timeline.duration + tail)
    spans, procedure = timeline.spans, documents.procedure
    if (found := ends(procedure, spans, advance.events)) is not None:
        trip, position = found
        at = trip.event.time
        every, cause = procedure.record.every, set_points[trip.input]
        off = at + max(program_takes(feed, cause, documents.bench, every) for feed in set_points.values())
        advance, again = play(_off_at(timeline, at, off, tuple(set_points)), off + tail)
        steps += again
        spans = (*spans[:position], replace(spans[position], end=at, whole=False))
    traces = {name: traces_of(samples) for name, samples in advance.samples.items()}
    driven = pin_events(documents, timeline, spans[-1].end if spans else 0.0)
    events = tuple(sorted((*advance.events, *driven), key=lambda event: event.time))
    record = Record("rehearsal", traces, events, spans)
    powered = {name: powered_up(documents, set_points, timeline, spans, name) for name in traces}
    results = {
        name: _result(set_points[name], own, advance.events, spans, powered[name])
        for name, own in traces.items()
    }
    shares = {
        name: {output: (volts, amperes) for output, (volts, amperes, _) in samples.outputs.items()}
        for name, samples in advance.samples.items()
        if len(samples.outputs) > 1
    }
    return Prediction(record, (*assumptions, *more), results, steps, shares)


def pin_events(documents: Documents, timeline: Timeline, until: float) -> list[Event]:
    """When pins of the device become active or inactive, up to a time [s]."""
    return [
        Event(moved.time, subject, kind_of(moved.lies, moved.closed), text=f"pin '{moved.lies.pin}'")
        for moved in (pin_moves(documents, timeline) if documents.device.pins else ())
        for subject in subjects_of(moved.lies, documents.device)
        if moved.time <= until
    ]


def _off_at(timeline: Timeline, trip: float, off: float, inputs: tuple[str, ...]) -> Timeline:
    """A timeline up to a trip [s], after which every input is switched off."""
    return replace(
        timeline,
        actions=(
            *(action for action in timeline.actions if action.time <= trip),
            *(Action(off, "off", name) for name in inputs),
        ),
        limits=tuple(limit for limit in timeline.limits if limit.time <= trip),
        contacts=tuple(contact for contact in timeline.contacts if contact.time <= trip),
        duration=off,
    )


def programmed_simulation(
    documents: Documents,
    set_points: SetPoints,
    timeline: Timeline,
    case: Case = NOMINAL,
    change: Callable[[Circuit], Circuit] = lambda circuit: circuit,
) -> tuple[Simulation, dict[str, SetErrors]]:
    """A simulation from rest with everything set that is played, and the setting errors of each output.
    change: applied to the circuit before.
    """
    from railwright.physics.simulation import Simulation

    circuit, _ = build_circuit(documents, set_points, case)
    errors, _ = output_errors(documents, set_points, case)
    simulation = Simulation(change(circuit), rested=True)
    program_outputs(simulation, documents, set_points, timeline, errors)
    return simulation, errors


def program_outputs(
    simulation: Simulation,
    documents: Documents,
    set_points: SetPoints,
    timeline: Timeline,
    errors: Mapping[str, SetErrors],
) -> None:
    """Set the limits and the timed actions of every output, each with its own setting errors.

    Coupled set points and limits move with each other, whatever their outputs feed. Jumps are played at the
    highest slew that the outputs can be programmed to, as in a run; a line at the slew that leads from the
    set point before it in the procedure to its end in its time, wherever the output stands.
    """
    bench, slewest = documents.bench, dict[str, float]()
    for feed in set_points.values():
        slews = slew_range(feed, bench)
        for points in feed.outputs:
            fastest = slewest[points.output] = slews[1] * points.share if slews else math.inf
            own = errors[points.output]
            simulation.set(
                points.output,
                rise=fastest,
                fall=fastest,
                current_limit=own.limit(points.current_limit),
                at_limit=points.at_limit,
                trip_delay=points.trip_delay,
                ovp=points.ovp + own.ovp_error,
                opp=points.opp,
                ocp=points.ocp,
                ocp_delay=points.ocp_delay,
            )
    for limit in limit_actions(bench, set_points, timeline):
        asked = errors[limit.output].limit(limit.current)
        simulation.set(limit.output, at=limit.time, current_limit=asked)
    for pin in documents.device.pins:
        if not starts_active(documents.device, documents.procedure, pin):
            simulation.drive_pin(pin, False)
    for moved in contact_moves(contacts_of(documents, set_points), timeline):
        if moved.lies.pin:
            simulation.drive_pin(moved.lies.pin, moved.lies.enables(moved.closed), at=moved.time)
        else:
            simulation.change_lead(moved.lies.input, at=moved.time, opened=not moved.closed)
    sources = fed_sources(documents.procedure, documents.device)
    behind = {output for name in sources & set_points.keys() for output in set_points[name].names}
    for change in all_changes(bench, set_points, timeline):
        _act(simulation, change, errors, slewest[change.output], at_standing=change.output in behind)


def _act(
    simulation: Simulation,
    change: OutputAction,
    errors: Mapping[str, SetErrors],
    fastest: float,
    at_standing: bool,
) -> None:
    output, at = change.output, change.time
    if change.kind == "off":
        simulation.set(output, at=at, on=False)
        return
    voltage = errors[output].voltage(change.voltage)
    if change.over > 0.0 and change.slew == 0.0:
        simulation.set(output, at=at, line=(voltage, change.over))
        return
    slew = change.slew if change.over > 0.0 else fastest
    on = True if change.kind == "on" else None
    if on and at_standing:
        # The line at the same instant leads it to its voltage.
        simulation.set(output, at=at, rise=slew, fall=slew, on=on, at_standing=True)
        return
    simulation.set(output, at=at, rise=slew, fall=slew, on=on, voltage=voltage)


def traces_of(samples: PlayedSamples) -> Traces:
    """The channels of an input that was played."""
    # All are columns of one array that nothing else uses: nobody shall make it writable again.
    if samples.time.base is not None:
        samples.time.base.flags.writeable = False
    return Traces(
        samples.time,
        {
            "voltage": samples.voltage,
            "terminal_voltage": samples.terminal_voltage,
            "current": samples.current,
            "mode": samples.mode.astype(float),
        },
    )


def powered_up(
    documents: Documents, set_points: SetPoints, timeline: Timeline, spans: Sequence[Span], name: str
) -> tuple[float, float] | None:
    """Start and end of an input's first power-up [s]; where the contact in its lead is open then, the end of
    the step in which it closes. None: it is not powered up in any of these steps.
    """
    span = next((each for each in spans if each.kind == "power_up" and name in each.inputs), None)
    if span is None:
        return None
    contacts = contacts_of(documents, set_points)
    end = span.end
    for lies in (each for each in contacts.values() if each.input == name):
        moves = list(contact_moves({lies.name: lies}, timeline))
        before = [move.closed for move in moves if move.time <= span.end]
        after = [move.change.step for move in moves if move.time > span.end and move.closed]
        if after and after[0] < len(spans) and not [lies.starts_closed, *before][-1]:
            end = spans[after[0]].end
    return span.start, end


def _result(
    feed: Feed,
    traces: Traces,
    events: tuple[Event, ...],
    spans: tuple[Span, ...],
    powered: tuple[float, float] | None,
) -> InputResult:
    import numpy as np

    # What follows the procedure's end, where everything is switched off, is no part of what it did.
    end = spans[-1].end if spans else float(traces.time[-1])
    traces = traces.closed(float(traces.time[0]), end)
    time, current = traces.time, traces.columns["current"]
    limited = traces.in_limit[:-1]
    gaps = np.diff(time)
    first = next((float(time[end] - time[begin]) for begin, end in runs_of(limited)), 0.0)
    highest = int(np.argmax(current))
    inrush = traces.closed(*powered) if powered else None
    known = inrush is not None and inrush.time.size > 1
    amperes = inrush.columns["current"] if inrush is not None and known else current[:0]
    seconds = inrush.time if inrush is not None and known else time[:0]
    subjects = {feed.input, *feed.names}
    own = [event for event in events if event.subject in subjects and event.time <= end]
    trip = next((event for event in own if event.kind.trip), None)
    return InputResult(
        peak_current=float(current[highest]),
        peak_at=float(time[highest]),
        inrush_peak=float(amperes.max()) if known else None,
        inrush_charge=float(np.trapezoid(amperes, seconds)) if known else None,
        inrush_i2t=integral_of_product(seconds, amperes, amperes) if known else None,
        time_in_limit=float(gaps[limited].sum()),
        first_time_in_limit=first,
        peak_voltage=float(traces.columns["voltage"].max()),
        settled_voltage=float(inrush.columns["voltage"][-1]) if inrush is not None and known else None,
        tripped=trip.kind if trip else None,
        tripped_at=trip.time if trip else None,
        starts=sum(event.kind is EventKind.STARTS for event in own),
        stops=sum(event.kind is EventKind.STOPS for event in own),
    )
