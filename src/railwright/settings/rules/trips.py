"""Rules about trips that are required: can the protection act, can its time be told, and what is then not
played.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from railwright.documents.procedure import Requirement
from railwright.plan.linking import look_interval
from railwright.plan.set_points import Feed
from railwright.plan.stairs import exchange_of
from railwright.quantities import state
from railwright.settings.context import Context
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Path, of_every, rule, with_seen
from railwright.settings.rules.requirements import required_in

SWITCHED = {"current limit": "at_limit", "OCP": "ocp", "OPP": "opp", "OVP": "ovp"}
"""Protections that a procedure can use -> their key among an input's limits."""


def _expecting(context: Context) -> Iterator[tuple[Path, Requirement, Feed | None]]:
    """Requirements that ask for a trip, where they stand, and what feeds their input."""
    return (
        (path, required, feed) for path, required, _, feed in required_in(context) if required.expects_trip
    )


def _used(feed: Feed, protection: str) -> bool:
    """Whether a protection is used on the outputs of an input."""
    used = getattr(feed.outputs[0], SWITCHED[protection])
    return used == "trip" if protection == "current limit" else math.isfinite(used)


@rule("trip-not-armed", Severity.STOP)
@of_every(_expecting)
def trip_not_armed(path: Path, required: Requirement, feed: Feed | None) -> Outcome:
    """A requirement asks for a trip by a protection that the procedure does not use."""
    if feed is not None and required.by in SWITCHED and not _used(feed, required.by):
        key = SWITCHED[required.by]
        told = "at_limit: trip" if key == "at_limit" else key
        yield Hit(
            required.of,
            (*path, "by"),
            state(
                "'{requirement}' asks for a trip by the {protection} of {input}, which is not used",
                requirement=required.name,
                protection=required.by,
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
