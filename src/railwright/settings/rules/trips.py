"""Rules about what ends a run early. Stop conditions: can they be reached, and does normal operation reach
them? Trips that are required: can the protection act, can its time be told, and what is then not played.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from railwright.documents.procedure import Requirement, StopCondition
from railwright.plan.linking import look_interval
from railwright.plan.set_points import Feed
from railwright.plan.stairs import exchange_of
from railwright.quantities import state
from railwright.settings.context import Context, Draw, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Path, of_every, rule, with_seen
from railwright.settings.rules.requirements import required_in


def _conditions(context: Context) -> Iterator[tuple[Path, StopCondition, FedInput]]:
    """Stop conditions of inputs that are hooked up: where each is written, and its input."""
    return (
        (("procedure", "stop_when", index), condition, context.sources[condition.input])
        for index, condition in enumerate(context.procedure.stop_when)
        if condition.input in context.sources
    )


@rule("stop-out-of-reach", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(_conditions))
def stop_out_of_reach(context: Context, path: Path, condition: StopCondition, source: FedInput) -> Outcome:
    """A stop condition can never come true: a limit or a protection acts first."""
    if (feed := context.feeds.get(condition.input)) is None:
        return
    most = source.at_most(feed.limit)
    level = source.ovp_with_error(feed.ovp)
    why: str = ""
    match condition.bound:
        case ("current", "above", bound) if bound >= most:
            why = state(
                "{condition} is not below the current limit, {limit} with its error",
                condition=(bound, "A"),
                limit=(most, "A"),
            )
        case ("voltage", "above", bound) if bound >= min(level, source.reach):
            why = state(
                "{condition} is out of reach: {bound} {highest}",
                condition=(bound, "V"),
                bound="the OVP trips by" if level <= source.reach else "the outputs reach at most",
                highest=(min(level, source.reach), "V"),
            )
        case ("current", "below", bound) if bound <= 0.0:
            why = state("the current does not fall below {condition}", condition=(bound, "A"))
        case ("voltage", "below", bound) if bound <= 0.0:
            why = state("the voltage does not fall below {condition}", condition=(bound, "V"))
    if why:
        yield Hit(
            source.name,
            (*path, condition.kind),
            state("{why}: it never stops anything", why=why),
            "correct or remove the condition",
        )


@rule("stop-in-normal", Severity.CAUTION, on_sheet=False)
@of_every(_conditions)
def stop_in_normal(path: Path, condition: StopCondition, source: FedInput) -> Outcome:
    """A stop condition comes true in normal operation."""
    why: str = ""
    need, need_from, _ = source.needs or Draw(0.0, "", False)
    match condition.bound:
        case ("current", "above", bound) if source.needs is not None and need > bound:
            why = state(
                "{origin} is {needed}, above {condition}",
                origin=need_from,
                needed=(need, "A"),
                condition=(bound, "A"),
            )
        case ("voltage", "above", bound) if (
            above := source.played.longest_above(bound)
        ) > condition.duration:
            why = state(
                "the procedure stays above {condition} for {duration}",
                condition=(bound, "V"),
                duration=(above, "s"),
            )
        case ("voltage", "below", bound):
            below = [level for level in source.played.levels if level.voltage < bound]
            if below:
                why = state(
                    "'{step}' plays {level}, below {condition}",
                    step=below[0].step,
                    level=(below[0].voltage, "V"),
                    condition=(bound, "V"),
                )
    # What is drawn in one step a rehearsal tells: rule stop-rehearsed.
    if why and condition.during is None:
        yield Hit(
            source.name,
            (*path, condition.kind),
            state("{why}: the run would end early", why=why),
            "correct the condition",
        )


@rule(
    "stop-unseen", Severity.CAUTION, on_sheet=False, worst=Ranking("duration", over="interval", lowest=True)
)
@of_every(with_seen(_conditions))
def stop_unseen(context: Context, path: Path, condition: StopCondition, source: FedInput) -> Outcome:
    """A stop condition asks for a duration shorter than a reading takes: it is judged on one reading."""
    slowest = max([*source.updates, context.procedure.record.every])
    if 0 < condition.duration < slowest:
        yield Hit(
            source.name,
            (*path, "for"),
            state(
                "for {duration}; a reading comes every {interval}",
                duration=(condition.duration, "s"),
                interval=(slowest, "s"),
            ),
            "ask for one reading's time or more; a faster stop is the current limit's task",
        )


SWITCHED = {
    "current limit": ("trip_delay", "at_limit: trip"),
    "OCP": ("ocp", "ocp"),
    "OPP": ("opp", "opp"),
    "OVP": ("ovp", "ovp"),
}
"""Protections that a procedure can use -> the setting that each has then, and what to write for it."""


def _expecting(context: Context) -> Iterator[tuple[Path, Requirement, Feed | None]]:
    """Requirements that ask for a trip, where they stand, and what feeds their input."""
    return (
        (path, required, feed) for path, required, _, feed in required_in(context) if required.expects_trip
    )


@rule("trip-not-armed", Severity.STOP)
@of_every(_expecting)
def trip_not_armed(path: Path, required: Requirement, feed: Feed | None) -> Outcome:
    """A requirement asks for a trip by a protection that the procedure does not use."""
    setting, told = SWITCHED.get(required.by or "", ("", ""))
    if feed is not None and setting and not math.isfinite(feed.value(setting)):
        yield Hit(
            required.of,
            (*path, "by"),
            state(
                "'{requirement}' asks for a trip by the {protection} of {input}, which is not used",
                requirement=required.name,
                protection=required.by or "",
                input=required.of,
            ),
            f"write '{told}' in the limits of {required.of}, or name the protection that is to trip",
        )


@rule("trip-status-slow", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(_expecting))
def trip_status_slow(context: Context, path: Path, required: Requirement, feed: Feed | None) -> Outcome:
    """The status is asked for too seldom to decide a required trip time."""
    polled = look_interval(context.procedure.record.every)
    if feed is None or required.known.trip != "time":
        return
    limits = [limit for limit in required.limits if limit is not None]
    room = limits[1] - limits[0] if len(limits) > 1 else limits[0]
    interval = polled + exchange_of(feed.names, context.bench)
    if interval > room / 3.0:
        yield Hit(
            required.of,
            (*path, "measure"),
            state(
                "the status of {input} is asked for every {polled}: when a trip comes is known to "
                "{interval}; '{requirement}' leaves {room}",
                input=required.of,
                polled=(polled, "s"),
                interval=(interval, "s"),
                requirement=required.name,
                room=(room, "s"),
            ),
            "expect 'inconclusive' unless the margin is large, or record more often",
        )


@rule("trip-step-short", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(_expecting))
def trip_step_short(context: Context, path: Path, required: Requirement, feed: Feed | None) -> Outcome:
    """A trip may come later than its step lasts: where it has not come by then, nothing is decided."""
    _, latest = required.limits
    span = context.timeline.spans[context.procedure.position(required.during)]
    if required.known.trip == "time" and latest is not None and span.end - span.start < latest:
        yield Hit(
            required.of,
            (*path, "during"),
            state(
                "'{requirement}' permits {permitted}; '{step}' lasts {duration}",
                requirement=required.name,
                permitted=(latest, "s"),
                step=required.during,
                duration=(span.end - span.start, "s"),
            ),
            f"lengthen '{required.during}'",
        )


@rule("trip-ends-run", Severity.CAUTION, on_sheet=False)
def trip_ends_run(context: Context) -> Outcome:
    """A required trip ends the run before what another requirement needs is played."""
    position, expecting = context.procedure.position, (required for _, required, _ in _expecting(context))
    trip = min(expecting, key=lambda each: position(each.during), default=None)
    if trip is None:
        return
    from railwright.evaluation.played import judged_up_to_trip

    ends = position(trip.during)
    for index, required in enumerate(context.procedure.requires):
        step, cut = position(required.during), ""
        if required.expects_trip and (step > ends or required.of != trip.of):
            cut, remedy = "only one trip comes in a run", "ask for each trip in a procedure of its own"
        elif step == ends and not judged_up_to_trip(required.known):
            cut = state("'{step}' is not played to its end", step=required.during)
            remedy = "ask for it in an earlier step"
        if cut:
            yield Hit(
                required.of,
                ("procedure", "requires", index, "during"),
                state(
                    "the trip that '{trip}' asks for ends the run in '{step}': {cut}, and '{requirement}' "
                    "comes out inconclusive",
                    trip=trip.name,
                    step=trip.during,
                    cut=cut,
                    requirement=required.name,
                ),
                remedy,
            )


@rule("trip-leaves-out", Severity.NOTE)
def trip_leaves_out(context: Context) -> Outcome:
    """A required trip ends the run before the step of a requirement, which is then not judged."""
    position = context.procedure.position
    ends = min((position(required.during) for _, required, _ in _expecting(context)), default=math.inf)
    for index, required in enumerate(context.procedure.requires):
        if position(required.during) > ends and not required.expects_trip:
            yield Hit(
                required.of,
                ("procedure", "requires", index, "during"),
                state(
                    "'{requirement}' is judged only where the required trip does not come: it ends the run "
                    "before '{step}'",
                    requirement=required.name,
                    step=required.during,
                ),
                "ask for it in an earlier step where it must be judged",
            )
