"""What an output lacks for an input whatever it is joined with: slew, point list, protections, figures."""

from __future__ import annotations

from railwright.documents.bench import Bench, Output
from railwright.documents.hook_up import AUTO
from railwright.documents.output_name import OutputName
from railwright.plan.stairs import exchange_of
from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.context import output_path
from railwright.settings.hookup.demand import Demand, ShapeNeed
from railwright.settings.hookup.group import Group, couplings_of
from railwright.settings.hookup.obstacle import (
    FIGURE,
    PROCEDURE,
    Found,
    Obstacle,
    each_of,
)
from railwright.settings.rule import Path
from railwright.settings.rules.instruments import PROTECTIONS


def slew(demand: Demand, group: Group, bench: Bench) -> Found:
    """A power-up rises more slowly than the output's programmable slew begins."""
    for name, output in each_of(group):
        if output.slew is not None and demand.slowest_rise < output.slew.low * (1 - 1e-9):
            yield Obstacle(
                f"{name} rises with {show(output.slew.low, 'V/s')} or more; "
                f"{show(demand.slowest_rise, 'V/s')} is asked for"
            )


def point_list(demand: Demand, group: Group, bench: Bench) -> Found:
    """A shape has pieces too brief for the host to time, and the output's own list cannot hold it."""
    shape = demand.shape
    if shape is None:
        return
    apart = exchange_of(group.names, bench)
    if shape.briefest >= apart * (1 - 1e-6):
        return
    step, brief = shape.step, show(shape.briefest, "s")
    for name, output in each_of(group):
        if lacks := _lacks_list(shape, name, output, bench):
            yield Obstacle(
                f"'{step}' has a piece of {brief}, which wants a point list; {lacks}",
                f"make every hold and line of '{step}' {show(apart, 's')} or longer",
                PROCEDURE,
                ("procedure", "steps", shape.number, "shape"),
            )


def _lacks_list(shape: ShapeNeed, name: OutputName, output: Output, bench: Bench) -> str:
    """Why an output's own list does not hold a shape; nothing where it does."""
    points = output.points
    if points is None:
        return f"{name} has none"
    if bench.supply_of(name).dialect.points is None:
        return f"the dialect of {name} has no commands for one"
    if couplings_of((name,), bench):
        return f"{name} is coupled with others, which its list would not take along"
    count = shape.drawn if "line" in points.between else shape.stepped
    if shape.briefest < points.dwell.low * (1 - 1e-9):
        return f"that of {name} stays {show(points.dwell.low, 's')} or more on a point"
    return f"that of {name} has {points.at_most} of {count} points" if count > points.at_most else ""


def protections(demand: Demand, group: Group, bench: Bench) -> Found:
    """The output, or its dialect, lacks a protection that the procedure asks for, or a figure of it that an
    automatic setting needs.
    """
    limits = demand.limits
    for name, output in each_of(group):
        here = output_path(name)
        settings = bench.supply_of(name).dialect.settings
        for key in PROTECTIONS:
            if getattr(limits, key) is not None and key not in settings:
                yield Obstacle(f"the dialect of {name} has no command for '{key}'", *_without(demand, key))
        if output.ovp is None:
            yield Obstacle(f"the bench names no OVP of {name}")
        elif limits.ovp == AUTO and (output.ovp.accuracy is None or figures.ovp_overshoot(output) is None):
            what = "accuracy and response of its OVP, or its rise"
            yield Obstacle(
                f"{what}, of {name}, are unknown", f"give {what}, of {name}", FIGURE, (*here, "ovp")
            )
        if limits.opp is not None and output.opp is None:
            why = f"the bench names no over-power protection of {name}"
            yield Obstacle(why, *_without(demand, "opp"))
        if limits.ocp is not None and output.ocp is None:
            why = f"the bench names no over-current protection of {name} apart from its limit"
            yield Obstacle(why, *_without(demand, "ocp"))
        if limits.at_limit == "trip":
            yield from _trip_delay(demand, name, output)
        auto = AUTO in (limits.current_limit, limits.ovp)
        if output.programming is None and auto:
            yield Obstacle(
                f"the accuracy of the set points of {name} is unknown",
                f"give 'programming' of {name}",
                FIGURE,
                here,
            )
        elif (
            output.programming is not None
            and not output.programming.current.resolution
            and limits.current_limit == AUTO
        ):
            change = f"give the resolution of the current limit of {name}"
            yield Obstacle(f"the resolution of {name} is unknown", change, FIGURE, (*here, "programming"))


def _without(demand: Demand, key: str) -> tuple[str | None, int, Path | None]:
    """The change that does without a protection, where the procedure may: OVP it must have."""
    if key == "ovp":
        return None, 0, None
    also = " and 'ocp_delay'" if key == "ocp" and demand.limits.ocp_delay is not None else ""
    words = f"leave '{key}'{also} out of the limits of {demand.name}"
    return words, PROCEDURE, (*demand.at_limits, key)


def _trip_delay(demand: Demand, name: str, output: Output) -> Found:
    delay = demand.limits.trip_delay
    if output.trip_delay is None:
        if delay == AUTO:
            change = f"give the range of the trip delay of {name}"
            yield Obstacle(f"the range of the trip delay of {name} is unknown", change, FIGURE)
    elif delay is not None and not isinstance(delay, str) and delay not in output.trip_delay:
        yield Obstacle(
            f"the trip delay of {name} ranges from {show(output.trip_delay.low, 's')} to "
            f"{show(output.trip_delay.high, 's')}; {show(delay, 's')} is asked for",
            f"write a 'trip_delay' of {demand.name} from {show(output.trip_delay.low, 's')} to "
            f"{show(output.trip_delay.high, 's')}",
            PROCEDURE,
            (*demand.at_limits, "trip_delay"),
        )


def of_output(demand: Demand, group: Group, bench: Bench) -> list[Obstacle]:
    """Obstacles of an output, taken alone, that no joining cures."""
    return [each for look in (slew, point_list, protections) for each in look(demand, group, bench)]
