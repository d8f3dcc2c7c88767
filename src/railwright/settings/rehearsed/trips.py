"""Rehearsed rules about protections: what trips, and by how little it does not."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from railwright.documents.fixture import Fuse
from railwright.physics.loads.inside import NAME as INSIDE
from railwright.plan.set_points import Feed
from railwright.plan.timeline import Held
from railwright.quantities import Statement, show, state
from railwright.rehearsal.holding import HoldEnd, hold_end
from railwright.settings.context import FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rehearsed.view import Rehearsed, longest, rehearsed_inputs
from railwright.settings.rule import Hit, Outcome, of_every, rule, with_seen
from railwright.settings.windows.window import DELAY_MARGIN
from railwright.traces import Event, EventKind, Mode, Traces, span_named

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

WEARS = 0.5
"""Part of the way to opening that a pulse which comes again should leave (common practice, no source)."""

_OWN_LEVELS = {
    EventKind.TRIPS_OCP: ("ocp", "over-current"),
    EventKind.TRIPS_OPP: ("opp", "over-power"),
}
"""Trips of protections with a level of their own -> its key in a procedure, and what they protect from."""


@rule("trips-rehearsed", Severity.STOP)
@of_every(with_seen(rehearsed_inputs))
def trips(rehearsed: Rehearsed, source: FedInput, traces: Traces) -> Outcome:
    """A protection trips while the procedure is rehearsed, with nothing wrong, and no requirement asks for
    it.
    """
    for event in [each for each in rehearsed.trips(source) if each in rehearsed.unwanted_trips][:1]:
        key, why, remedy = _told(event, rehearsed.context.feeds[source.name], traces)
        yield Hit(
            source.name,
            (*source.at_limits, key),
            state(
                "rehearsed, at {time} in {step}: {why}",
                time=(event.time, "s"),
                step=rehearsed.step_words(event.time),
                why=why,
            ),
            remedy,
        )


def _told(event: Event, feed: Feed, traces: Traces) -> tuple[str, Statement, str]:
    """Of a trip, which key of the limits it hangs on, what trips, and what to do."""
    if event.kind is EventKind.TRIPS_OVP:
        why = state("the OVP of {output} trips", output=event.subject)
        return "ovp", why, "raise the OVP where the device withstands it"
    if event.kind in _OWN_LEVELS:
        key, name = _OWN_LEVELS[event.kind]
        why = state("the {name} protection of {output} trips", name=name, output=event.subject)
        return key, why, f"raise '{key}', leave it out, or rise more slowly"
    if event.kind is EventKind.TRIPS_LINKED:
        why = state("{output} trips because another input did", output=event.subject)
        return "trips_when", why, "look at what trips first"
    held = longest(traces.time, traces.in_limit)
    why = state(
        "the current limit of {limit} trips{stays}; the trip delay is {trip_delay}",
        limit=(feed.limit, "A"),
        stays=state(" after {held} in the limit", held=(held[1], "s")) if held else "",
        trip_delay=(feed.outputs[0].trip_delay, "s"),
    )
    return "trip_delay", why, "lengthen the trip delay, raise the current limit, or rise more slowly"


@rule("fuse-rehearsed", Severity.STOP)
@of_every(with_seen(rehearsed_inputs))
def fuse(rehearsed: Rehearsed, source: FedInput, traces: Traces) -> Outcome:
    """A fuse opens while the procedure is rehearsed, with nothing wrong."""
    for event in rehearsed.events(source, EventKind.FUSE_OPENS)[:1]:
        before = traces.columns["current"][traces.time <= event.time]
        inside = event.facts.load == INSIDE
        yield Hit(
            source.name,
            (*source.at_inside, "fuse") if inside else (*source.at_hook_up, "fixture"),
            state(
                "rehearsed, at {time} in {step}: {fuse} opens, after up to {current}",
                time=(event.time, "s"),
                step=rehearsed.step_words(event.time),
                fuse="the fuse inside"
                if inside
                else state("the fuse in '{fixture}'", fixture=source.fixture_name or ""),
                current=(float(before.max()), "A"),
            ),
            "take a slower or larger fuse, rise more slowly, or lower the current limit",
        )


@rule("fuse-pulse", Severity.CAUTION, worst=Ranking("melted"))
@of_every(with_seen(rehearsed_inputs))
def fuse_pulse(rehearsed: Rehearsed, source: FedInput, traces: Traces) -> Outcome:
    """What the rehearsal lets through comes near to opening a fuse: repeated, such pulses wear it out."""
    for placed in source.fuses:
        opened = list(rehearsed.events(source, EventKind.FUSE_OPENS))
        melted, at = most_melted(placed.fuse, traces.time, traces.columns["current"])
        if not opened and melted >= WEARS:
            yield Hit(
                source.name,
                placed.path,
                state(
                    "rehearsed, by {time} in {step} {fuse} has gone {melted:.0%} of the way to opening; "
                    "common practice leaves a pulse that comes again half of it",
                    time=(at, "s"),
                    step=rehearsed.step_words(at),
                    fuse=placed.words,
                    melted=(melted, "1"),
                ),
                "rise more slowly, lower the current limit, or take a slower or larger fuse",
            )


def most_melted(fuse: Fuse, time: Array, current: Array) -> tuple[float, float]:
    """How far a fuse has gone to opening at most, 1: it opens; and when [s]: ∫ dt / t(i) while a current
    flows that can open it, which starts anew after one that cannot. time [s], current [A]: (n,).
    """
    amperes = (np.abs(current[1:]) + np.abs(current[:-1])) / 2.0
    hot = amperes > fuse.curve[0].current
    opens = np.full(amperes.size, math.inf)
    opens[hot] = [fuse.opens_after(float(each)) for each in amperes[hot]]
    summed = np.cumsum(np.diff(time) / opens)
    # What had been gathered where it last was cold.
    before = np.maximum.accumulate(np.where(hot, 0.0, summed))
    gone = summed - before
    place = int(np.argmax(gone))
    return float(gone[place]), float(time[place + 1])


@rule("trip-delay-margin", Severity.CAUTION, on_sheet=False, worst=Ranking("ratio", lowest=True))
@of_every(with_seen(rehearsed_inputs))
def trip_delay_margin(rehearsed: Rehearsed, source: FedInput, traces: Traces) -> Outcome:
    """The longest time in the current limit comes close to the trip delay."""
    points = rehearsed.context.feeds[source.name].outputs[0]
    held = longest(traces.time, traces.in_limit)
    if points.at_limit == "trip" and held is not None and not rehearsed.trips(source):
        since, length = held
        if length * DELAY_MARGIN > points.trip_delay:
            yield Hit(
                source.name,
                (*source.at_limits, "trip_delay"),
                state(
                    "rehearsed, {input} stays in the limit for {held} in {step}; the trip delay of "
                    "{trip_delay} is only {ratio:.3g} times that",
                    input=source.name,
                    held=(length, "s"),
                    step=rehearsed.step_words(since),
                    trip_delay=(points.trip_delay, "s"),
                    ratio=(points.trip_delay / length, "1"),
                ),
                f"lengthen the delay to {show(DELAY_MARGIN * length, 's')} or more, or raise the limit",
            )


@rule("parallel-trip", Severity.STOP, worst=Ranking("held"))
@of_every(with_seen(rehearsed_inputs))
def parallel_trip(rehearsed: Rehearsed, source: FedInput, traces: Traces) -> Outcome:
    """Of outputs in parallel the one set a little higher carries the whole current up to its own limit, with
    what the others sink, and trips there; a rehearsal has them set exactly alike.
    """
    points = rehearsed.context.feeds[source.name].outputs
    if not source.parallel or points[0].at_limit != "trip" or rehearsed.trips(source):
        return
    sinks = [output.sink or 0.0 for output in source.rows]
    spare, taken = min(
        (each.current_limit - (sum(sinks) - own), sum(sinks) - own)
        for each, own in zip(points, sinks, strict=True)
    )
    held = longest(traces.time, traces.columns["current"] >= max(spare, 0.0))
    if held is not None and held[1] > points[0].trip_delay:
        yield Hit(
            source.name,
            (*source.at_limits, "at_limit"),
            state(
                "rehearsed, {input} draws {limit} or more for {held} in {step}: of {outputs} the one set "
                "a little higher gives all of it{sunk}, reaches its own limit, and trips after {delay}",
                input=source.name,
                limit=(max(spare, 0.0), "A"),
                held=(held[1], "s"),
                step=rehearsed.step_words(held[0]),
                outputs=" and ".join(source.outputs),
                sunk=state(", with {taken} that the others sink", taken=(taken, "A")) if taken else "",
                delay=(points[0].trip_delay, "s"),
            ),
            "write 'at_limit: regulate', or a current limit that each output can carry alone",
        )


@rule("stop-rehearsed", Severity.STOP, worst=Ranking("held"))
def stop_conditions(rehearsed: Rehearsed) -> Outcome:
    """A stop condition comes true while the procedure is rehearsed, with nothing wrong."""
    for index, condition in enumerate(rehearsed.context.procedure.stop_when):
        traces, bound = rehearsed.record.traces.get(condition.input), condition.bound
        if traces is None or bound is None:
            continue
        if condition.during is not None:
            span = span_named(rehearsed.record.spans, condition.during)
            if span is None:
                continue
            traces = traces.closed(span.start, span.end)
        on = (traces.columns["mode"] > Mode.OFF) & (traces.columns["mode"] < Mode.TRIPPED)
        beyond = traces.columns[bound.quantity] - bound.value
        if bound.side == "below":
            beyond = np.where(on, -beyond, -1.0)
        held = longest(*_exceeds(traces.time, beyond))
        if held is not None and held[1] > condition.duration:
            yield Hit(
                condition.input,
                ("procedure", "stop_when", index, condition.kind),
                state(
                    "rehearsed, the condition holds for {held} from {time} on, in {step}: the run would end "
                    "there",
                    held=(held[1], "s"),
                    time=(held[0], "s"),
                    step=rehearsed.step_words(held[0]),
                ),
                "correct the condition, or give it a longer 'for'",
            )


def _holds(rehearsed: Rehearsed) -> Iterator[tuple[Held, HoldEnd, str]]:
    """Each hold that something ends, how that comes in the rehearsal, and the name of its step, up to the
    first that does not last as long as it may: what comes after it begins sooner than in this rehearsal.
    """
    for held in rehearsed.context.timeline.held:
        feed = rehearsed.context.feeds.get(held.of)
        end = hold_end(held, rehearsed.record, feed is not None and feed.sense == "at terminals")
        yield held, end, rehearsed.context.timeline.spans[held.step].name
        if end.lasts < held.end - held.begin:
            return


@rule("hold-never", Severity.STOP)
def hold_never(rehearsed: Rehearsed) -> Outcome:
    """What ends a hold does not come within its time while the procedure is rehearsed: the run would end
    there, and be no pass.
    """
    for held, end, step in _holds(rehearsed):
        if end.comes == "never":
            yield Hit(
                held.of,
                ("procedure", *held.path),
                state(
                    "rehearsed, '{step}' does not end within {at_most}: {words} does not come",
                    step=step,
                    at_most=(end.lasts, "s"),
                    words=held.until.words,
                ),
                "correct the condition, or give it a longer 'at_most'",
            )


@rule("hold-at-once", Severity.STOP)
def hold_at_once(rehearsed: Rehearsed) -> Outcome:
    """What ends a hold is so from its beginning on while the procedure is rehearsed: the run would end there,
    and be no pass, as with an open lead.
    """
    for held, end, step in _holds(rehearsed):
        if end.comes == "at once":
            yield Hit(
                held.of,
                ("procedure", *held.path),
                state(
                    "rehearsed, '{step}' ends as it begins: {words} from its beginning on",
                    step=step,
                    words=held.until.words,
                ),
                "correct the condition, or begin the hold sooner, with a shorter 'settle' before it",
            )


@rule("charge-rehearsed", Severity.STOP, worst=Ranking("reached"))
def charge_limits(rehearsed: Rehearsed) -> Outcome:
    """More charge goes into an input while the procedure is rehearsed than its 'charge_at_most' lets in."""
    for name, limits in rehearsed.context.procedure.limits.items():
        traces, most = rehearsed.record.traces.get(name), limits.charge_at_most
        if traces is None or most is None:
            continue
        amperes, seconds = traces.columns["current"], np.diff(traces.time)
        on = (traces.columns["mode"][:-1] > Mode.OFF) & (traces.columns["mode"][:-1] < Mode.TRIPPED)
        goes = np.cumsum(np.where(on, 0.5 * (amperes[:-1] + amperes[1:]) * seconds, 0.0))
        if goes.size and goes[-1] > most:
            at = float(traces.time[1 + int(np.argmax(goes > most))])
            yield Hit(
                name,
                ("procedure", "limits", name, "charge_at_most"),
                state(
                    "rehearsed, {reached} go into it; beyond {most}, from {time} on, in {step}, the run "
                    "would end",
                    reached=(float(goes[-1]), "C"),
                    most=(most, "C"),
                    time=(at, "s"),
                    step=rehearsed.step_words(at),
                ),
                "end the charging earlier, or raise 'charge_at_most' where the cell bears it",
            )


def _exceeds(
    time: NDArray[np.float64], beyond: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Times [s], and whether a trace of straight lines lies above zero after each; shapes (n,) and (n - 1,).

    Rows of a computed trace are far apart on a ramp: where it crosses zero lies between two of them.
    """
    crosses = np.flatnonzero(beyond[:-1] * beyond[1:] < 0.0)
    part = beyond[crosses] / (beyond[crosses] - beyond[crosses + 1])
    at = time[crosses] + part * (time[crosses + 1] - time[crosses])
    finer = np.insert(time, crosses + 1, at)
    values = np.insert(beyond, crosses + 1, 0.0)
    return finer, np.maximum(values[:-1], values[1:]) > 0.0
