"""Rehearsed rules about how the device comes up and runs."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest

import numpy as np

from railwright.grouping import grouped
from railwright.plan.contacts import disabled_within
from railwright.plan.timeline import Action
from railwright.quantities import joined, show, state
from railwright.rehearsal.restarting import endless_restarts
from railwright.settings.context import FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.group import output_path
from railwright.settings.rehearsed.view import Rehearsed, rehearsed_inputs
from railwright.settings.rule import Hit, Outcome, Path, of_every, rule, with_seen
from railwright.traces import EventKind, Span, Traces

ALIKE = 1.01
"""Ratio of two limits below which they are told as one."""

SETTLED = 0.02
"""Largest distance from the set point, in parts of it, at which an input counts as settled."""
SMALLEST = 1e-3
"""The same at 0 V, where the bench does not say how exactly a voltage is set [V] (chosen)."""


def _freed(rehearsed: Rehearsed, source: FedInput) -> tuple[str, str]:
    """Why a start does not reach its point, as a further clause, and what would let it; at the worst of the
    tolerances.
    """
    start = rehearsed.start(source.name)
    if start is None or start.outcome == "reaches its point":
        # Its first power-up gets there: something later took it down.
        return "", _to_carry(rehearsed, source)
    why = state("; at the worst of the tolerances: {reason}", reason=start.reason)
    if start.frees is None and start.surely is None:
        return why, (
            f"no current limit of {', '.join(source.outputs)} frees it: take a stronger output, or a lead "
            "with less resistance"
        )
    quick, slow = "with the rise and the capacitors as they are", "however slowly it rises"
    found = {quick: start.frees, slow: start.surely}
    if start.frees and start.surely and start.surely < ALIKE * start.frees:
        found = {slow: max(start.frees, start.surely)}
    limits = " or ".join(
        f"one above {show(source.at_most(limit), 'A')} frees it, {words}"
        for words, limit in found.items()
        if limit is not None
    )
    return why, f"raise the current limit, where device and lead bear it: {limits}"


def _limited_between_starts(rehearsed: Rehearsed, source: FedInput) -> bool:
    """Whether an output was in its limit between the first and the last start of a step with many."""
    traces = rehearsed.record.traces[source.name]
    time, limited = traces.time, traces.in_limit
    starts = [event.time for event in rehearsed.events(source, EventKind.STARTS)]
    own = [
        [start for start in starts if span.start <= start <= span.end]
        for span in map(rehearsed.record.span, _restarting(rehearsed, source))
    ]
    return any((limited & (time >= each[0]) & (time <= each[-1])).any() for each in own)


def _to_carry(rehearsed: Rehearsed, source: FedInput) -> str:
    """The current limit that carries the converters' greatest draw, just above where they stop; where none of
    its loads has such a draw and no limit held, what else lets the voltage fall.
    """
    needed = [drawn for _, drawn in source.load.just_above_stopping]
    if not needed and _restarting(rehearsed, source) and not _limited_between_starts(rehearsed, source):
        return (
            "the current jumps faster than the lead carries it, and no limit holds it back: write the "
            "capacitor at the input into 'load', or take a shorter lead"
        )
    if not needed:
        return "raise the current limit"
    limit = show(source.at_most(max(needed)), "A")
    return f"a current limit above {limit} frees it, where device and lead bear it"


def _set_point(rehearsed: Rehearsed, name: str, time: float) -> float:
    """What is asked for at a time [s] of an input [V]; of a line that goes on, its end."""
    before = (each for each in rehearsed.context.sources[name].played.actions if each.time <= time)
    return [0.0, *(0.0 if each.kind == "off" else each.voltage for each in before)][-1]


def _restarting(rehearsed: Rehearsed, source: FedInput) -> dict[str, int]:
    """Steps in which a converter restarts for ever, and how often it starts there."""
    return endless_restarts(rehearsed.record, (source.name, *source.outputs))


def _starting(rehearsed: Rehearsed, source: FedInput) -> str:
    """What starts, by the kind of the load as the events have it."""
    kinds = dict.fromkeys(event.facts.load for event in rehearsed.events(source, EventKind.STARTS))
    return " and ".join(f"the {kind.replace('_', ' ')}" for kind in kinds if kind) or "the load"


@rule("restarts-for-ever", Severity.STOP)
@of_every(with_seen(rehearsed_inputs))
def restarts_for_ever(rehearsed: Rehearsed, source: FedInput, traces: Traces) -> Outcome:
    """A converter starts, pulls its input down against the current limit, stops, and starts again."""
    for name, count in list(_restarting(rehearsed, source).items())[:1]:
        why, remedy = _freed(rehearsed, source)
        yield Hit(
            source.name,
            (*source.at_limits, "current_limit"),
            state(
                "rehearsed, {load} starts {starts} times in '{step}' at the limit of {limit}{why}",
                load=_starting(rehearsed, source),
                starts=count,
                step=name,
                limit=(rehearsed.context.feeds[source.name].limit, "A"),
                why=why,
            ),
            remedy,
        )


@rule("hangs-low", Severity.STOP, worst=Ranking("reached", over="set_point", lowest=True))
@of_every(with_seen(rehearsed_inputs))
def hangs_low(rehearsed: Rehearsed, source: FedInput, traces: Traces) -> Outcome:
    """At the end of a step the input hangs in the limit, below its operating range, though more is set."""
    # One that is fed by its limit is meant to work in it.
    if source.fed_current is None:
        limited, restarting = traces.in_limit, _restarting(rehearsed, source)
        for span, index, asked in _ends(rehearsed, source, traces, "power_up", "hold"):
            voltage, operating = float(traces.columns["voltage"][index]), source.input.operating
            if (
                span.name not in restarting
                and limited[index]
                and asked in operating
                and voltage < operating.low
            ):
                why, remedy = _freed(rehearsed, source)
                yield Hit(
                    source.name,
                    (*source.at_limits, "current_limit"),
                    state(
                        "rehearsed, at the end of '{step}' the input hangs at {reached} in the current "
                        "limit; {set_point} is set{why}",
                        step=span.name,
                        reached=(voltage, "V"),
                        set_point=(asked, "V"),
                        why=why,
                    ),
                    remedy,
                )
                break


def _ends(
    rehearsed: Rehearsed, source: FedInput, traces: Traces, *kinds: str
) -> Iterator[tuple[Span, int, float]]:
    """Steps of these kinds in which an input has a part, the row of their end, and what is set there [V]."""
    for span in rehearsed.record.spans:
        if source.name in span.inputs and span.kind in kinds:
            end = int(traces.time.searchsorted(span.end, side="left"))
            index = min(max(end - 1, 0), traces.time.size - 1)
            yield span, index, _set_point(rehearsed, source.name, float(traces.time[index]))


def _untripped(rehearsed: Rehearsed) -> Iterator[tuple[FedInput, Traces, str]]:
    """Inputs of which no output trips, with their traces and the column of the voltage that is set."""
    return (
        (source, traces, "voltage" if source.senses else "terminal_voltage")
        for source, traces in rehearsed_inputs(rehearsed)
        if not rehearsed.trips(source)
    )


def _fed(source: FedInput, traces: Traces, index: int) -> bool:
    """Whether an input that is to be fed with a constant current is fed with it at a row of its traces."""
    return source.fed_current is not None and bool(traces.in_limit[index])


@rule("not-settled", Severity.CAUTION, worst=Ranking("reached", over="set_point", lowest=True))
@of_every(with_seen(_untripped))
def not_settled(rehearsed: Rehearsed, source: FedInput, traces: Traces, column: str) -> Outcome:
    """At the end of a power-up an input has not reached the voltage that is set."""
    for span, index, asked in _ends(rehearsed, source, traces, "power_up"):
        reached = float(traces.columns[column][index])
        close = max(SETTLED * abs(asked), source.voltage_error(asked) or SMALLEST)
        if abs(reached - asked) > close and not _fed(source, traces, index):
            yield Hit(
                source.name,
                ("procedure", "steps", rehearsed.record.spans.index(span), "power_up"),
                state(
                    "rehearsed, {reached} is reached at the end of '{step}'; {set_point} is set",
                    reached=(reached, "V"),
                    step=span.name,
                    set_point=(asked, "V"),
                ),
                "lengthen 'settle', or raise the current limit",
            )


@rule(
    "not-reached", Severity.CAUTION, on_sheet=False, worst=Ranking("reached", over="set_point", lowest=True)
)
@of_every(with_seen(_untripped))
def not_reached(rehearsed: Rehearsed, source: FedInput, traces: Traces, column: str) -> Outcome:
    """Within a segment of a shape, or at a point of a sweep, the voltage does not get to what is set."""
    told: set[Path] = set()
    stored = f" ({show(source.holding, 'F')} hold it up)" if source.holding else ""
    for action, start, until in _moves(rehearsed, source):
        goal, arrives = action.voltage, action.time + action.over
        path: Path = ("procedure", *(action.path or ("steps", action.step, "sweep")))
        part = traces.closed(arrives, until)
        seen = part.columns[column]
        if path in told or until <= arrives or not seen.size or _fed(source, part, -1):
            continue
        falls = goal < start
        reached = float(seen.min() if falls else seen.max())
        missing = reached - goal if falls else goal - reached
        if missing > SETTLED * max(abs(goal), abs(goal - start)):
            told.add(path)
            yield Hit(
                source.name,
                path,
                state(
                    "rehearsed, '{step}' sets {set_point}; in the {time} until the next change {input} gets "
                    "only {way} to {reached}",
                    step=rehearsed.context.timeline.spans[action.step].name,
                    set_point=(goal, "V"),
                    time=(until - action.time, "s"),
                    input=source.name,
                    way="down" if falls else "up",
                    reached=(reached, "V"),
                ),
                f"take a supply that sinks current, put a bleeder across the input{stored}, or give it longer"
                if falls
                else "raise the current limit, or give it longer",
            )


def _moves(rehearsed: Rehearsed, source: FedInput) -> Iterator[tuple[Action, float, float]]:
    """Every move of an input's set voltage within a shape or a sweep, from which voltage it begins [V], and
    until when it is kept [s]. Of steps that the host cannot keep 'host-cannot-keep' tells: what is set there
    is not what is asked.
    """
    timeline = rehearsed.context.timeline
    actions = [each for each in timeline.actions if each.input == source.name]
    level = 0.0
    # A required trip ends what is played: there are no more spans after its step.
    spans = rehearsed.record.spans
    for action, following in zip_longest(actions, actions[1:]):
        span = timeline.spans[action.step]
        before, level = level, 0.0 if action.kind == "off" else action.voltage
        kept = action.step < len(spans) and not spans[action.step].left_out and not spans[action.step].late
        if kept and action.kind == "line" and span.kind in ("shape", "sweep") and before != level:
            changes = span.end if following is None else following.time
            yield action, before, min(span.end, changes, rehearsed.record.played_until)


@rule(
    "steady-current-rehearsed", Severity.CAUTION, on_sheet=False, worst=Ranking("drawn", over="declared_high")
)
@of_every(with_seen(rehearsed_inputs))
def steady_current(rehearsed: Rehearsed, source: FedInput, traces: Traces) -> Outcome:
    """The mean current of a hold lies outside the declared steady current, and no pin disables a part of the
    load meanwhile.
    """
    declared = source.input.current.steady
    if declared is None or rehearsed.trips(source):
        return
    for span in rehearsed.record.spans:
        part = traces.closed(span.start, span.end)
        asked = _set_point(rehearsed, source.name, (span.start + span.end) / 2)
        length = float(part.time[-1] - part.time[0]) if part.time.size else 0.0
        context = rehearsed.context
        if disabled_within(context.documents, context.timeline, source.name, span.start, span.end):
            continue
        if span.kind == "hold" and length > 0.0 and asked in source.input.operating:
            mean = float(np.trapezoid(part.columns["current"], part.time)) / length
            if mean not in declared:
                yield Hit(
                    source.name,
                    (*source.at_input, "current", "steady"),
                    state(
                        "rehearsed, '{step}' draws {drawn} on average; {declared_low} to {declared_high} is "
                        "declared",
                        step=span.name,
                        drawn=(mean, "A"),
                        declared_low=(declared.low, "A"),
                        declared_high=(declared.high, "A"),
                    ),
                    "correct the declared current or the load model",
                )
                break


@rule("order-rehearsed", Severity.CAUTION)
def order(rehearsed: Rehearsed) -> Outcome:
    """An input comes up while the one before it is still below its operating range."""
    traces_of = rehearsed.record.traces
    for index, wanted in enumerate(rehearsed.context.device.order):
        first, second = traces_of.get(wanted.after), traces_of.get(wanted.then)
        if first is None or second is None:
            continue
        low = rehearsed.context.device.inputs[wanted.after].operating.low
        works = rehearsed.context.device.inputs[wanted.then].operating.low
        voltage = second.columns["voltage"]
        # Else it is kept below its operating range all the time.
        if voltage.max(initial=0.0) >= works:
            time = float(second.time[np.flatnonzero(voltage > 0.1 * works)[0]])
            before = float(np.interp(time, first.time, first.columns["voltage"]))
            if before < low:
                yield Hit(
                    wanted.then,
                    ("device", "order", index),
                    state(
                        "rehearsed, {then} comes up at {time} while {after} is still at {reached}, below "
                        "{low}",
                        then=wanted.then,
                        time=(time, "s"),
                        after=wanted.after,
                        reached=(before, "V"),
                        low=(low, "V"),
                    ),
                    "lengthen the gap, or let the first input rise faster",
                )


@rule("not-rehearsed", Severity.NOTE)
def not_rehearsed(rehearsed: Rehearsed) -> Outcome:
    """An input has no set points: the others were rehearsed without it."""
    for name, source in rehearsed.context.sources.items():
        if name not in rehearsed.context.feeds:
            yield Hit(
                name,
                source.at_limits,
                state(
                    "{input} has no set points: the rehearsal left it out, and played {others} without it; "
                    "interactions were not checked",
                    input=name,
                    others=", ".join(rehearsed.context.feeds),
                ),
                "resolve the stop findings about it, and check again",
            )


@rule("assumed", Severity.NOTE)
def assumed(rehearsed: Rehearsed) -> Outcome:
    """The rehearsal had to assume figures that no document gives."""
    sources = rehearsed.context.sources
    outputs = {str(name): name for source in sources.values() for name in source.outputs}
    each_once = dict.fromkeys(rehearsed.assumptions)
    for subject, all_made in grouped((made.subject or "rehearsal", made) for made in each_once).items():
        path: Path = output_path(outputs[subject]) if subject in outputs else ("procedure", "procedure")
        if subject in sources:
            of_lead = any(each.part == "lead" for each in all_made)
            path = sources[subject].at_lead if of_lead else sources[subject].at_input
        yield Hit(
            subject,
            path,
            joined("; ", (each.text for each in all_made)),
            "give what is known in the document it belongs to",
        )
