"""Rules about what stands between a lead and an input: fuses, switches, what their data sheets leave open."""

from __future__ import annotations

import math

from railwright.quantities import show
from railwright.settings.context import Context
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, Unknown, rule


@rule("fuse-below-need", Severity.STOP)
def fuse_below_need(context: Context) -> Outcome:
    """A fuse opens at what normal operation draws."""
    for source in context.sources.values():
        fuse = source.fixture.fuse if source.fixture else None
        if fuse is None:
            continue
        if source.needs is None:
            yield Unknown(source.name, source.at_input, "what the input draws", "the fuse against it")
            continue
        need, need_from, _ = source.needs
        time = fuse.opens_after(need)
        if math.isfinite(time):
            yield Hit(
                source.name,
                (*source.at_hook_up, "fixture"),
                f"{need_from} is {show(need, 'A')}, at which the fuse in '{source.hook_up.fixture}' opens "
                f"after {show(time, 's')}; it bears {show(fuse.curve[0].current, 'A')} for any time",
                "take a larger fuse",
            )


@rule("fuse-before-trip", Severity.CAUTION)
def fuse_before_trip(context: Context) -> Outcome:
    """At the current limit a fuse opens, and nothing has switched the output off before."""
    for source, feed in context.having("current_limit", "trip_delay"):
        fuse = source.fixture.fuse if source.fixture else None
        if fuse is None:
            continue
        limit = source.limit(feed)
        most = limit + (source.limit_error(limit) or 0.0)
        time, points = fuse.opens_after(most), feed.outputs[0]
        delay = points.trip_delay if points.at_limit == "trip" else math.inf
        if source.ocp(feed) < limit:
            delay = min(delay, points.ocp_delay)
        if time < delay:
            until = (
                f"{show(delay, 's')} pass before the output trips"
                if math.isfinite(delay)
                else ("the output regulates there and does not trip")
            )
            yield Hit(
                source.name,
                (*source.at_hook_up, "fixture"),
                f"the limit lets {show(most, 'A')} through (with programming error), at which the fuse in "
                f"'{source.hook_up.fixture}' opens after {show(time, 's')}; {until}",
                "lower the current limit, trip sooner, or mind that a fault costs the fuse",
            )


@rule("switch-open", Severity.CAUTION)
def switch_open(context: Context) -> Outcome:
    """A switch in the lead stands open: nothing that is played reaches the input."""
    for source in context.sources.values():
        if source.fixture is not None and source.fixture.opened:
            yield Hit(
                source.name,
                (*source.at_fixture, "switch"),
                f"the switch in '{source.hook_up.fixture}' is open, and nothing in a procedure closes it: "
                f"{source.name} stays without supply",
                "write 'starts: closed', or make sure that this is meant",
            )


@rule("fixture-resistance", Severity.NOTE)
def fixture_resistance(context: Context) -> Outcome:
    """Part of a fixture is not counted in the lead's drop, since its resistance is not given."""
    for source in context.sources.values():
        for part in source.fixture.unknown if source.fixture else ():
            what = f"resistance of the {part} in '{source.hook_up.fixture}'"
            yield Unknown(source.name, (*source.at_fixture, part), what, "its part in the lead's drop")
