"""Rules about what stands between a lead and an input: fuses, switches, what their data sheets leave open."""

from __future__ import annotations

import math

from railwright.plan.set_points import Feed
from railwright.quantities import state
from railwright.settings.constraints.trip_delay import fuse
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Unknown, of_every, rule, with_seen
from railwright.settings.rules.judge import having, inputs, judged


@rule("fuse-below-need", Severity.STOP, worst=Ranking("needed", over="continuous"))
@of_every(inputs)
def fuse_below_need(source: FedInput) -> Outcome:
    """A fuse opens at what normal operation draws."""
    fused = source.fixture.fuse if source.fixture else None
    if fused is None:
        return
    if source.needs is None:
        yield Unknown(source.name, source.at_input, "what the input draws", "the fuse against it")
        return
    need, need_from, _ = source.needs
    time = fused.opens_after(need)
    if math.isfinite(time):
        yield Hit(
            source.name,
            (*source.at_hook_up, "fixture"),
            state(
                "{origin} is {needed}, at which the fuse in '{fixture}' opens after {opening_time}; it "
                "bears {continuous} for any time",
                origin=need_from,
                needed=(need, "A"),
                fixture=source.fixture_name or "",
                opening_time=(time, "s"),
                continuous=(fused.curve[0].current, "A"),
            ),
            "take a larger fuse",
        )


@rule("fuse-before-trip", Severity.CAUTION)
@of_every(having("current_limit", "trip_delay"))
def fuse_before_trip(source: FedInput, feed: Feed) -> Outcome:
    """At the current limit a fuse opens, and nothing has switched the output off before."""
    limit, points = feed.limit, feed.outputs[0]
    delay = points.trip_delay if points.at_limit == "trip" else math.inf
    if feed.ocp < limit:
        delay = min(delay, points.ocp_delay)
    yield from judged(source, fuse(source, limit), (delay, (*source.at_hook_up, "fixture")))


@rule("switch-open", Severity.CAUTION)
@of_every(with_seen(inputs))
def switch_open(context: Context, source: FedInput) -> Outcome:
    """A switch in the lead stands open, and no step closes it: nothing that is played reaches the input."""
    closed = {change.contact for change in context.timeline.contacts if change.closed}
    contact = context.bench.contact_in(source.fixture_name) if context.bench.relays else None
    if source.fixture is not None and source.fixture.opened and contact not in closed:
        yield Hit(
            source.name,
            (*source.at_fixture, "switch"),
            state(
                "the switch in '{fixture}' is open, and nothing in the procedure closes it: {input} stays "
                "without supply",
                fixture=source.fixture_name or "",
                input=source.name,
            ),
            "write 'starts: closed', or check that this is intended",
        )


@rule("fixture-resistance", Severity.NOTE)
@of_every(inputs)
def fixture_resistance(source: FedInput) -> Outcome:
    """Part of a fixture is not counted in the lead's drop, since its resistance is not given."""
    for part in source.fixture.unknown if source.fixture else ():
        yield Unknown(
            source.name,
            (*source.at_fixture, part),
            f"resistance of the {part} in '{source.fixture_name}'",
            "its part in the lead's drop",
        )
