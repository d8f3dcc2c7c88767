"""What speaks against feeding an input from some outputs: first what no joining cures, then of a group, then
with a lead and a place of sensing. Each is an obstacle: the reason in numbers, and the change that would part
it.

They ask what the rules of the check ask, before there is a hook-up: what is admissible here is not stopped
there. A figure that no document gives is an obstacle too: nothing is chosen on a figure that is unknown.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import chain, product
from typing import Any

from railwright.documents.bench import Output
from railwright.documents.hook_up import AUTO
from railwright.documents.output_name import OutputName
from railwright.plan.coupling import followers, tied_limits
from railwright.plan.delivery import most_points
from railwright.plan.stairs import exchange_of
from railwright.quantities import joined, round_down, round_up, show, state
from railwright.settings.constraints import current_limit, outputs, ovp, power, trip_delay
from railwright.settings.constraints.constraint import EXACT, Constraint, broken, constraints_in
from railwright.settings.constraints.rise import slow_output
from railwright.settings.context import UNITS, FedInput
from railwright.settings.group import EARTH, Group, output_path
from railwright.settings.hookup.demand import Demand, ShapeNeed
from railwright.settings.rule import Path, Unknown
from railwright.settings.rules.delivery import slower
from railwright.settings.rules.instruments import asked_of_dialects, lacks_command
from railwright.settings.windows.current_limit import ROOM_TO_CHARGE, least_limit
from railwright.settings.windows.protections import ovp_grid, ovp_window
from railwright.settings.windows.window import collision

FIGURE, PROCEDURE, PERMISSION, LEAD, UNCOUPLE = 1, 2, 3, 4, 5
"""What a change costs, where nothing fits: the smallest change is the one that costs least. A figure to be
looked up, a word in the procedure, a permission of the maker, another lead, uncoupled outputs; a further
output costs more than all of these together (program.OUTPUT).
"""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One reason against a hook-up, in numbers. change: what would part it, in the bench or the procedure,
    and what that costs; None: only another output would. where: the place of that change.
    """

    why: str
    change: str | None = None
    cost: int = 0
    where: Path | None = None


Found = Iterator[Obstacle]


def unknown(fact: Unknown) -> Obstacle:
    """A figure that the bench does not give, without which nothing is chosen."""
    _, kind, name, *rest = fact.path
    of = (
        f"lead '{name}'"
        if kind == "leads"
        else f"{name}.{rest[1]}"
        if rest[0] == "outputs"
        else f"supply {name}"
    )
    return Obstacle(f"{fact.figure} of {of} is unknown", f"give '{fact.path[-1]}' of {of}", FIGURE, fact.path)


def against(demand: Demand, facts: Iterable[Constraint | Unknown], value: float, *change: Any) -> Found:
    """The hook-up's view of constraints: what speaks against outputs with which a figure does not hold, or is
    unknown; stops that the procedure accepts do not. change: what would part it, its cost and place; none:
    only another output would.
    """
    known = demand.asked_of(facts)
    yield from (unknown(fact) for fact in known if isinstance(fact, Unknown))
    if (worst := broken(known, value)) is not None:
        yield Obstacle(worst.breach(value)[0], *change)


def written(demand: Demand, setting: str, facts: Iterable[Constraint | Unknown]) -> Found:
    """The same of a setting that the procedure writes: another value may do, if there is one that holds.

    facts: only worked out where it is written.
    """
    value = getattr(demand.limits, setting)
    if value is None or isinstance(value, str):
        return
    bounds = constraints_in(demand.asked_of(facts))
    if (worst := broken(bounds, value)) is None:
        return
    low = round_up(max((each.near for each in bounds if each.side == "low"), default=0.0), 3)
    high = min((each.near for each in bounds if each.side == "high"), default=math.inf)
    change: tuple[Any, ...] = ()
    if low < high:
        most = f" and at most {show(round_down(high, 3), UNITS[setting])}" if high < math.inf else ""
        words = f"write a '{setting}' of {demand.name} above {show(low, UNITS[setting])}{most}"
        change = (words, PROCEDURE, (*demand.source.at_limits, setting))
    yield Obstacle(worst.breach(value)[0], *change)


def slew(demand: Demand, source: FedInput) -> Found:
    """A power-up rises more slowly than the output's programmable slew begins."""
    yield from against(demand, slow_output(source), demand.slowest_rise)


def point_list(demand: Demand, source: FedInput) -> Found:
    """A shape has pieces too brief for the host to time, and the output's own list cannot hold it."""
    shape = demand.shape
    if shape is None or shape.briefest >= (apart := exchange_of(source.outputs, demand.bench)) * (1 - 1e-6):
        return
    step = shape.step
    for name, output in source.outputs.items():
        if lacks := _lacks_list(demand, shape, name, output):
            yield Obstacle(
                state(
                    "'{step}' has a piece of {piece}, which wants a point list; {lacks}",
                    step=step,
                    piece=(shape.briefest, "s"),
                    lacks=lacks,
                ),
                slower(shape.written, step, apart, shape.briefest),
                PROCEDURE,
                ("procedure", "steps", shape.number, "shape"),
            )


def _lacks_list(demand: Demand, shape: ShapeNeed, name: OutputName, output: Output) -> str:
    """Why an output's own list does not hold a shape; nothing where it does."""
    points = output.points
    if points is None:
        return f"{name} has none"
    if demand.bench.supply_of(name).dialect.points is None:
        return f"the dialect of {name} has no commands for one"
    if followers(demand.bench, name):
        return f"{name} is coupled with others, which its list would not take along"
    count = shape.drawn if "line" in points.between else shape.stepped
    if shape.briefest < points.dwell.low * (1 - 1e-9):
        return state(
            "that of {output} stays {dwell} or more on a point", output=name, dwell=(points.dwell.low, "s")
        )
    most = most_points(demand.bench, name, alone=len(demand.source.outputs) == 1)
    if count <= most:
        return ""
    return state("that of {output} has {points} of {needed} points", output=name, points=most, needed=count)


def protections(demand: Demand, source: FedInput) -> Found:
    """The output, or its dialect, lacks a protection that the procedure asks for, or its range the delay."""
    limits = demand.limits
    for key, title in {
        "ovp": "OVP",
        "opp": "over-power protection",
        "ocp": "over-current protection",
    }.items():
        for name in source.without(key) if getattr(limits, key) is not None else ():
            yield Obstacle(f"the bench names no {title} of {name}", *_leaving_out(demand, key))
    for name, key in product(source.outputs, asked_of_dialects(limits)):
        if lacks_command(demand.bench, name, key):
            # A delay that the output has anyway needs no command; no trip at all, nothing of it.
            fixed = key == "trip_delay" and not lacks_command(demand.bench, name, "trip_at_limit")
            words = f"write the fixed trip delay of {name} into the bench as a range of one value"
            change = (words, FIGURE, (*output_path(name), key)) if fixed else _leaving_out(demand, key)
            yield Obstacle(f"the dialect of {name} has no command for '{key}'", *change)
    yield from written(demand, "trip_delay", trip_delay.in_range(source))


def _leaving_out(demand: Demand, key: str) -> tuple[str | None, int, tuple[str | int, ...] | None]:
    """The change that does without a protection, where the procedure may: OVP it must have."""
    if key == "ovp":
        return None, 0, None
    if key in ("trip_at_limit", "trip_delay"):
        words = f"have the limit of {demand.name} regulate"
        return words, PROCEDURE, (*demand.source.at_limits, "at_limit")
    also = " and 'ocp_delay'" if key == "ocp" and demand.limits.ocp_delay is not None else ""
    words = f"leave '{key}'{also} out of the limits of {demand.name}"
    return words, PROCEDURE, (*demand.source.at_limits, key)


def figures(demand: Demand, source: FedInput) -> Found:
    """A figure of the output is unknown that an automatic setting needs."""
    limits = demand.limits
    facts = chain(
        current_limit.enough(source) if limits.current_limit == AUTO else (),
        ovp.facts(source, None) if limits.ovp == AUTO and not source.without("ovp") else (),
        trip_delay.facts(source, None) if limits.trip_delay == AUTO else (),
    )
    lacks = {fact.path: fact for fact in facts if isinstance(fact, Unknown) and fact.path[0] == "bench"}
    yield from map(unknown, lacks.values())
    for name, output in source.outputs.items() if limits.current_limit == AUTO else ():
        if output.programming is not None and not output.programming.current.resolution:
            change = f"give the resolution of the current limit of {name}"
            yield Obstacle(
                f"the resolution of {name} is unknown", change, FIGURE, (*source.at_output, "programming")
            )


def hot(demand: Demand, group: Group) -> Iterator[tuple[OutputName, str | None, bool]]:
    """Each output with what its negative terminal is tied to, and whether that is not at the input's 0 V."""
    for index, (name, tie) in enumerate(zip(group.names, group.ties, strict=True)):
        yield name, tie, demand.input.rail == "negative" or (group.series and index < group.count - 1)


def ties(demand: Demand, source: FedInput) -> Found:
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


def joining(demand: Demand, source: FedInput) -> Found:
    """The bench does not say that the outputs may be joined like this."""
    if lacking := outputs.apart(source):
        yield Obstacle(
            f"the bench does not say that {' and '.join(lacking)} may be joined in {source.arrangement}",
            f"let {source.words} be joined ('may_join' in the bench document, where the maker permits it)",
            PERMISSION,
            output_path(lacking[0]),
        )


def coupled_limits(demand: Demand, source: FedInput) -> Found:
    """Outputs of one input whose current limits move together over unequal ranges: with the same range all
    are told the same limit, which moves none of them away.
    """
    for supply, number, used in tied_limits(demand.bench, source.names):
        if len({(source.outputs[each].current.low, source.outputs[each].current.high) for each in used}) > 1:
            yield Obstacle(
                f"the current limits of {' and '.join(used)} move together over unequal ranges",
                f"uncouple {' and '.join(used)} and remove them from 'coupled'",
                UNCOUPLE,
                ("bench", "supplies", supply, "coupled", number),
            )


def parallel_trip(demand: Demand, source: FedInput) -> Found:
    """Outputs in parallel whose limit trips: the one that is set a little higher gives all that it can."""
    if source.parallel and demand.limits.at_limit == "trip":
        yield Obstacle(
            f"of {source.words}, the one set a little higher gives current up to its limit, and would trip",
            f"write 'at_limit: regulate' in the limits of {demand.name}",
            PROCEDURE,
            (*source.at_limits, "at_limit"),
        )


def isolation(demand: Demand, source: FedInput) -> Found:
    """Outputs in series, or with the positive terminal at 0 V, reach further from earth than is permitted."""
    yield from against(demand, outputs.isolated(source), source.farthest)


def low_end(demand: Demand, source: FedInput) -> Found:
    """A voltage is played below the output's range."""
    for each in against(demand, [outputs.lowest(source)], demand.lowest):
        signed = " (a rail below its 0 V is written in amounts, with 'rail: negative')"
        yield Obstacle(joined("", (each.why, signed if demand.input.nominal < 0 else "")))


def settings(demand: Demand, source: FedInput) -> Found:
    """A level or a limit that the procedure writes is not right with these outputs, whatever the lead."""
    yield from written(demand, "opp", chain(power.steady(source), power.in_range(source)))
    yield from written(demand, "ocp", current_limit.ocp_facts(source))
    yield from written(demand, "ocp_delay", current_limit.ocp_delay_in_range(source))
    if demand.limits.current_limit == AUTO:
        # Room beyond the need is preferred where outputs are compared, and cautioned of where it lacks.
        least = least_limit(source, demand.current)
        if least > source.full_current * (1.0 + EXACT):
            yield Obstacle(
                state(
                    "{gives} {full_current}; a limit that carries {needed} for sure is {least}",
                    gives=source.gives,
                    full_current=(source.full_current, "A"),
                    needed=(demand.current, "A"),
                    least=(least, "A"),
                )
            )
        return
    in_range = current_limit.range_of(source).ends()
    facts = chain(current_limit.enough(source), current_limit.device(source), in_range)
    yield from written(demand, "current_limit", facts)


# what hangs on lead and sense


def voltage(demand: Demand, source: FedInput) -> Found:
    """The voltage at the terminals is more than the group gives."""
    change = _unsensed(demand, source, demand.highest <= source.full_voltage * (1.0 + EXACT))
    yield from against(demand, [outputs.highest(source)], demand.highest, *change)


def _unsensed(
    demand: Demand, source: FedInput, does: bool
) -> tuple[str, int, tuple[str | int, ...]] | tuple[()]:
    """The change that leaves the lead's drop to the input, where it was to be sensed away and where without
    that the outputs would do.
    """
    if not source.senses or not does:
        return ()
    return f"write 'sense: at terminals' for {demand.name}", PROCEDURE, (*source.at_hook_up, "sense")


def power_drawn(demand: Demand, source: FedInput) -> Found:
    """The power drawn is more than the group gives while no output gives more than its own."""
    facts = constraints_in(power.given(source))
    bare = broken(demand.asked_of(facts), demand.power(None)) is None
    needed = demand.power(source.warm if source.senses else None)
    yield from against(demand, facts, needed, *_unsensed(demand, source, bare))


def sense(demand: Demand, source: FedInput) -> Found:
    """An output cannot sense at the load, or not make up for the lead's drop."""
    for name in outputs.sensing(source):
        yield Obstacle(f"{name} cannot sense at the load", *_unsensed(demand, source, True))
    drop, need = source.drop(demand.current), demand.current
    fixed = source.drop(0.0) + need * (source.fixture.resistance.high if source.fixture else 0.0)
    for fact in outputs.made_up_for(source):
        room = (fact.near - fixed) / need if isinstance(fact, Constraint) and need > 0.0 else 0.0
        words = (
            f"a lead of at most {show(round_down(room), 'ohm')} (both ways, contacts and warmth counted) "
            f"for {demand.name}"
        )
        yield from against(demand, [fact], drop, *((words, LEAD, source.at_lead) if room > 0.0 else ()))


def lead(demand: Demand, source: FedInput) -> Found:
    """The lead carries less than the current limit lets through."""
    asked = demand.limits.current_limit
    limit = least_limit(source, demand.current) if asked == AUTO else float(asked)
    for fact in current_limit.lead(source):
        more = f"{show(round_up(source.at_most(limit)), 'A')} or more"
        if isinstance(fact, Constraint):
            words = f"a lead with a 'permitted_current' of {more} for {demand.name}"
            yield from against(demand, [fact], limit, words, LEAD, source.at_lead)
        elif AUTO in (demand.wish.lead, asked):
            lacks = unknown(fact)
            yield Obstacle(lacks.why, f"{lacks.change} ({more} is needed)", lacks.cost, lacks.where)


def ovp_level(demand: Demand, source: FedInput) -> Found:
    """No OVP level, or not the one that is written, lies between what is played and what is withstood."""
    asked = demand.limits.current_limit
    limit = ROOM_TO_CHARGE * demand.current if asked == AUTO else float(asked)
    facts = list(ovp.facts(source, limit))
    yield from written(demand, "ovp", facts)
    if demand.limits.ovp != AUTO or _roomy(source, facts):
        return
    found = ovp_window(source, limit)
    if pair := found.colliding():
        why, _ = collision(found, pair)
        yield Obstacle(
            state(
                "with {outputs} and lead '{lead}', {why}",
                outputs=source.words,
                lead=source.lead_name,
                why=why,
            )
        )


def _roomy(source: FedInput, facts: list[Constraint | Unknown]) -> bool:
    """Whether an OVP level has room without a closer look at its window: some steps of its grid."""
    bounds = constraints_in(facts)
    low = max((each.near for each in bounds if each.side == "low"), default=0.0)
    step = 5 * ovp_grid(source)
    return len(bounds) == len(facts) and all(each.near > low + step for each in bounds if each.side == "high")


Look = Callable[[Demand, FedInput], Found]

OF_OUTPUT: tuple[Look, ...] = (slew, point_list, protections, figures)
"""Obstacles of an output, taken alone, that no joining cures."""
OF_GROUP: tuple[Look, ...] = (
    ties,
    joining,
    coupled_limits,
    parallel_trip,
    isolation,
    low_end,
    settings,
)
"""Obstacles of a group that hang on neither lead nor sense."""
WITH_LEAD: tuple[Look, ...] = (voltage, power_drawn, sense, lead, ovp_level)
"""Obstacles that hang on lead and sense."""


def obstacles(looks: Iterable[Look], demand: Demand, source: FedInput) -> Found:
    """What speaks against feeding an input like this, one after the other."""
    return chain.from_iterable(look(demand, source) for look in looks)
