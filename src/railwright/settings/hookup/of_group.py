"""What speaks against a group of outputs for an input: ties, joining, ranges, and, with a lead and a place of
sensing, voltage, power, drop, current, OVP.

They ask what the rules of the check ask, before there is a hook-up: what is admissible here is not stopped
there. A figure that no document gives is an obstacle too: nothing is chosen on a figure that is unknown.
"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.hook_up import AUTO
from railwright.quantities import show
from railwright.settings.constraints import current_limit, ocp, outputs, power
from railwright.settings.constraints import ovp as levels
from railwright.settings.constraints.constraint import Constraint, Missing, constraints_in
from railwright.settings.context import Source
from railwright.settings.figures import round_down, round_up
from railwright.settings.group import EARTH, Group, output_path
from railwright.settings.hookup.demand import Demand
from railwright.settings.hookup.obstacle import (
    LEAD,
    PERMISSION,
    PROCEDURE,
    Found,
    Obstacle,
    against,
    unknown,
    written,
)
from railwright.settings.windows import ovp
from railwright.settings.windows.current_limit import HEADROOM, ROOM_TO_CHARGE
from railwright.settings.windows.window import collision


def hot(demand: Demand, group: Group) -> Iterator[tuple[str, str | None, bool]]:
    """Each output with what its negative terminal is tied to, and whether that is not at the input's 0 V."""
    for index, (name, tie) in enumerate(zip(group.names, group.ties, strict=True)):
        yield name, tie, demand.input.rail == "negative" or (group.series and index < group.count - 1)


def ties(demand: Demand, source: Source) -> Found:
    """A negative terminal is tied where the input must be isolated, or where the terminal is not at 0 V."""
    for name, tie, off_zero in hot(demand, source):
        if tie == EARTH and demand.input.returns == "isolated":
            yield Obstacle(f"{demand.name} is isolated; the negative terminal of {name} is tied to earth")
        elif tie == EARTH and off_zero:
            yield Obstacle(
                f"the negative terminal of {name} is tied to earth and would not be at {demand.name}'s 0 V"
            )
    inside = [tie for tie in source.ties if tie is not None]
    if source.series and len(inside) > len(set(inside)):
        yield Obstacle(f"{source.words} would be shorted: negative terminals of theirs are joined inside")


# what joining may cure


def joining(demand: Demand, source: Source) -> Found:
    """The bench does not say that the outputs may be joined like this."""
    if lacking := outputs.apart(source):
        yield Obstacle(
            f"the bench does not say that {' and '.join(lacking)} may be joined in {source.arrangement}",
            f"let {source.words} be joined ('may_join' in the bench document, where the maker permits it)",
            PERMISSION,
            output_path(lacking[0]),
        )


def parallel_trip(demand: Demand, source: Source) -> Found:
    """Outputs in parallel whose limit trips: the one that is set a little higher gives all that it can."""
    if source.parallel and demand.limits.at_limit == "trip":
        yield Obstacle(
            f"of {source.words}, the one set a little higher gives current up to its limit, and would trip",
            f"write 'at_limit: regulate' in the limits of {demand.name}",
            PROCEDURE,
            (*source.at_limits, "at_limit"),
        )


def isolation(demand: Demand, source: Source) -> Found:
    """Outputs in series, or with the positive terminal at 0 V, reach further from earth than is permitted."""
    yield from against(outputs.isolated(source), source.reach)


def low_end(demand: Demand, source: Source) -> Found:
    """A voltage is played below the output's range."""
    for each in against([outputs.lowest(source)], demand.lowest):
        signed = " (a rail below its 0 V is written in amounts, with 'rail: negative')"
        yield Obstacle(each.why + (signed if demand.input.nominal < 0 else ""))


def settings(demand: Demand, source: Source) -> Found:
    """A level or a limit that the procedure writes is not right with these outputs, whatever the lead."""
    yield from written(source, "opp", [*power.steady(source), *power.in_range(source)])
    yield from written(source, "ocp", ocp.facts(source))
    if not source.without("ocp"):
        yield from written(source, "ocp_delay", ocp.delay_in_range(source))
    if demand.limits.current_limit == AUTO:
        least = source.at_most(HEADROOM * demand.current)
        if least > source.full_current:
            yield Obstacle(f"{source.gives} {show(source.full_current, 'A')}; {show(least, 'A')} is needed")
        return
    facts = (current_limit.enough, current_limit.device, current_limit.in_range)
    yield from written(source, "current_limit", [each for fact in facts for each in fact(source)])


# what hangs on lead and sense


def voltage(demand: Demand, source: Source) -> Found:
    """The voltage at the terminals is more than the group gives."""
    yield from against([outputs.highest(source)], demand.highest)


def power_drawn(demand: Demand, source: Source) -> Found:
    """The power drawn is more than the group gives while no output gives more than its own."""
    needed = demand.power(source.resistance if source.senses else None)
    yield from against(constraints_in(power.given(source)), needed)


def sense(demand: Demand, source: Source) -> Found:
    """An output cannot sense at the load, or not make up for the lead's drop."""
    for name in outputs.sensing(source):
        words, place = f"write 'sense: at terminals' for {demand.name}", (*source.at_hook_up, "sense")
        yield Obstacle(f"{name} cannot sense at the load", words, PROCEDURE, place)
    drop, need = source.drop(demand.current), demand.current
    fixed = source.drop(0.0) + need * (source.fixture.resistance.high if source.fixture else 0.0)
    for fact in outputs.made_up_for(source):
        room = (fact.near - fixed) / need if isinstance(fact, Constraint) and need > 0.0 else 0.0
        words = (
            f"a lead of at most {show(round_down(room), 'ohm')} (both ways, contacts and warmth counted) "
            f"for {demand.name}"
        )
        yield from against([fact], drop, *((words, LEAD, source.at_lead) if room > 0.0 else ()))


def lead(demand: Demand, source: Source) -> Found:
    """The lead carries less than the current limit lets through."""
    asked = demand.limits.current_limit
    limit = source.at_most(HEADROOM * demand.current) if asked == AUTO else float(asked)
    for fact in current_limit.lead(source):
        more = f"{show(round_up(source.at_most(limit)), 'A')} or more"
        if isinstance(fact, Constraint):
            words = f"a lead with a 'permitted_current' of {more} for {demand.name}"
            yield from against([fact], limit, words, LEAD, source.at_lead)
        elif AUTO in (demand.wish.lead, asked):
            lacks = unknown(fact)
            yield Obstacle(lacks.why, f"{lacks.change} ({more} is needed)", lacks.cost, lacks.where)


def ovp_level(demand: Demand, source: Source) -> Found:
    """No OVP level, or not the one that is written, lies between what is played and what is withstood."""
    asked = demand.limits.current_limit
    limit = ROOM_TO_CHARGE * demand.current if asked == AUTO else float(asked)
    facts = list(levels.facts(source, limit))
    yield from written(source, "ovp", facts)
    if demand.limits.ovp != AUTO or _roomy(source, facts):
        return
    window = ovp.window(source, limit)
    if pair := window.colliding():
        why, _ = collision(window, pair)
        yield Obstacle(f"with {source.words} and lead '{source.lead_name}', {why}")


def _roomy(source: Source, facts: list[Constraint | Missing]) -> bool:
    """Whether an OVP level has room without a closer look at its window: some steps of its grid."""
    bounds = constraints_in(facts)
    low = max((each.near for each in bounds if each.side == "low"), default=0.0)
    step = 5 * ovp.grid(source)
    return len(bounds) == len(facts) and all(each.near > low + step for each in bounds if each.side == "high")


LOOKS = (ties, joining, parallel_trip, isolation, low_end, settings)
WITH_LEAD = (voltage, power_drawn, sense, lead, ovp_level)


def of_group(demand: Demand, source: Source) -> list[Obstacle]:
    """Obstacles of a group that hang on neither lead nor sense."""
    return [each for look in LOOKS for each in look(demand, source)]


def with_lead(demand: Demand, source: Source) -> Found:
    """Obstacles that hang on lead and sense."""
    for look in WITH_LEAD:
        yield from look(demand, source)
