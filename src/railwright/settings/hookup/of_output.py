"""What an output lacks for an input whatever it is joined with: slew, point list, protections, figures."""

from __future__ import annotations

from railwright.documents.bench import Output
from railwright.documents.hook_up import AUTO
from railwright.plan.stairs import exchange_of
from railwright.quantities import show
from railwright.settings.constraints import current_limit, ovp, trip_delay
from railwright.settings.constraints.constraint import Missing
from railwright.settings.constraints.rise import slow_output
from railwright.settings.context import Source
from railwright.settings.hookup.demand import Demand, ShapeNeed
from railwright.settings.hookup.joinings import couplings_of
from railwright.settings.hookup.obstacle import FIGURE, PROCEDURE, Found, Obstacle, against, unknown, written
from railwright.settings.rules.instruments import PROTECTIONS


def slew(demand: Demand, source: Source) -> Found:
    """A power-up rises more slowly than the output's programmable slew begins."""
    yield from against(slow_output(source), demand.slowest_rise)


def point_list(demand: Demand, source: Source) -> Found:
    """A shape has pieces too brief for the host to time, and the output's own list cannot hold it."""
    shape = demand.shape
    if shape is None:
        return
    apart = exchange_of(source.outputs, demand.bench)
    if shape.briefest >= apart * (1 - 1e-6):
        return
    step, brief = shape.step, show(shape.briefest, "s")
    for name, output in source.outputs.items():
        if lacks := _lacks_list(demand, shape, name, output):
            yield Obstacle(
                f"'{step}' has a piece of {brief}, which wants a point list; {lacks}",
                f"make every hold and line of '{step}' {show(apart, 's')} or longer",
                PROCEDURE,
                ("procedure", "steps", shape.number, "shape"),
            )


def _lacks_list(demand: Demand, shape: ShapeNeed, name: str, output: Output) -> str:
    """Why an output's own list does not hold a shape; nothing where it does."""
    points = output.points
    if points is None:
        return f"{name} has none"
    if demand.bench.supply_of(name).dialect.points is None:
        return f"the dialect of {name} has no commands for one"
    if couplings_of((name,), demand.bench):
        return f"{name} is coupled with others, which its list would not take along"
    count = shape.drawn if "line" in points.between else shape.stepped
    if shape.briefest < points.dwell.low * (1 - 1e-9):
        return f"that of {name} stays {show(points.dwell.low, 's')} or more on a point"
    return f"that of {name} has {points.at_most} of {count} points" if count > points.at_most else ""


def protections(demand: Demand, source: Source) -> Found:
    """The output, or its dialect, lacks a protection that the procedure asks for."""
    limits = demand.limits
    for key, title in {
        "ovp": "OVP",
        "opp": "over-power protection",
        "ocp": "over-current protection",
    }.items():
        for name in source.without(key) if getattr(limits, key) is not None else ():
            yield Obstacle(f"the bench names no {title} of {name}", *_leaving_out(demand, key))
    for name in source.outputs:
        commands = demand.bench.supply_of(name).dialect.settings
        for key in PROTECTIONS:
            if getattr(limits, key) is not None and key not in commands:
                yield Obstacle(
                    f"the dialect of {name} has no command for '{key}'", *_leaving_out(demand, key)
                )


def _leaving_out(demand: Demand, key: str) -> tuple[str | None, int, tuple[str | int, ...] | None]:
    """The change that does without a protection, where the procedure may: OVP it must have."""
    if key == "ovp":
        return None, 0, None
    also = " and 'ocp_delay'" if key == "ocp" and demand.limits.ocp_delay is not None else ""
    words = f"leave '{key}'{also} out of the limits of {demand.name}"
    return words, PROCEDURE, (*demand.source.at_limits, key)


def trip(demand: Demand, source: Source) -> Found:
    """The trip delay that the procedure writes is outside the output's range."""
    if demand.limits.at_limit == "trip":
        yield from written(source, "trip_delay", trip_delay.in_range(source))


def figures(demand: Demand, source: Source) -> Found:
    """A figure of the output is unknown that an automatic setting needs."""
    limits, facts = demand.limits, []
    if limits.current_limit == AUTO:
        facts += list(current_limit.enough(source))
    if limits.ovp == AUTO and not source.without("ovp"):
        facts += list(ovp.facts(source, None))
    if limits.trip_delay == AUTO:
        facts += list(trip_delay.facts(source, None))
    lacks = {fact.path: fact for fact in facts if isinstance(fact, Missing) and fact.path[0] == "bench"}
    yield from map(unknown, lacks.values())
    for name, output in source.outputs.items():
        coarse = output.programming is not None and not output.programming.current.resolution
        if coarse and limits.current_limit == AUTO:
            change = f"give the resolution of the current limit of {name}"
            path = (*source.at_output, "programming")
            yield Obstacle(f"the resolution of {name} is unknown", change, FIGURE, path)


def of_output(demand: Demand, source: Source) -> list[Obstacle]:
    """Obstacles of an output, taken alone, that no joining cures."""
    looks = (slew, point_list, protections, trip, figures)
    return [each for look in looks for each in look(demand, source)]
