"""What speaks against a group of outputs for an input, whatever the lead: ties, joining, isolation, ranges.

They ask what the rules of the check ask, before there is a hook-up: what is admissible here is not stopped
there. A figure that no document gives is an obstacle too: nothing is chosen on a figure that is unknown.
"""

from __future__ import annotations

from railwright.documents.bench import Bench
from railwright.documents.hook_up import AUTO
from railwright.quantities import show
from railwright.settings.context import output_path
from railwright.settings.hookup.demand import Demand
from railwright.settings.hookup.group import EARTH, Group
from railwright.settings.hookup.obstacle import (
    FIGURE,
    PERMISSION,
    PROCEDURE,
    Found,
    Obstacle,
    each_of,
    round_up,
)
from railwright.settings.rule import Path
from railwright.settings.windows.current_limit import HEADROOM


def ties(demand: Demand, group: Group, bench: Bench) -> Found:
    """A negative terminal is tied where the input must be isolated, or where the terminal is not at 0 V."""
    hot = _hot(demand, group)
    for index, (name, tie) in enumerate(zip(group.names, group.ties, strict=True)):
        if tie is None:
            continue
        if tie == EARTH and demand.input.returns == "isolated":
            yield Obstacle(f"{demand.name} is isolated; the negative terminal of {name} is tied to earth")
        elif tie == EARTH and hot[index]:
            yield Obstacle(
                f"the negative terminal of {name} is tied to earth and would not be at {demand.name}'s 0 V"
            )
    inside = [tie for tie in group.ties if tie is not None]
    if group.series and len(inside) > len(set(inside)):
        yield Obstacle(f"{group.words} would be shorted: negative terminals of theirs are joined inside")


def _hot(demand: Demand, group: Group) -> tuple[bool, ...]:
    """Which negative terminals are not at the input's 0 V."""
    if demand.input.rail == "negative":
        return (True,) * len(group.names)
    return tuple(group.series and index < len(group.names) - 1 for index in range(len(group.names)))


# what joining may cure


def joining(demand: Demand, group: Group, bench: Bench) -> Found:
    """The bench does not say that the outputs may be joined like this."""
    if group.arrangement == "alone":
        return
    lacking = [name for name, output in each_of(group) if group.arrangement not in output.may_join]
    if lacking:
        yield Obstacle(
            f"the bench does not say that {' and '.join(lacking)} may be joined in {group.arrangement}",
            f"let {group.words} be joined ('may_join' in the bench document, where the maker permits it)",
            PERMISSION,
            output_path(lacking[0]),
        )


def parallel_trip(demand: Demand, group: Group, bench: Bench) -> Found:
    """Outputs in parallel whose limit trips: the one that is set a little higher gives all that it can."""
    if group.parallel and demand.limits.at_limit == "trip":
        yield Obstacle(
            f"of {group.words}, the one set a little higher gives current up to its limit, and would trip",
            f"write 'at_limit: regulate' in the limits of {demand.name}",
            PROCEDURE,
            (*demand.at_limits, "at_limit"),
        )


def isolation(demand: Demand, group: Group, bench: Bench) -> Found:
    """Outputs in series, or with the positive terminal at 0 V, reach further from earth than is permitted."""
    if not group.series and demand.input.rail != "negative":
        return
    for name, isolated in zip(group.names, group.isolations, strict=True):
        if isolated is None:
            supply = name.supply
            yield Obstacle(
                f"how far supply {supply} is isolated from earth is unknown; {group.words} reach "
                f"{show(group.reach, 'V')}",
                f"give 'isolation' of supply {supply}",
                FIGURE,
                ("bench", "supplies", supply),
            )
        elif group.reach > isolated:
            yield Obstacle(
                f"{group.words} reach {show(group.reach, 'V')}; {name} is isolated from earth up to "
                f"{show(isolated, 'V')}"
            )


def low_end(demand: Demand, group: Group, bench: Bench) -> Found:
    """A voltage is played below the output's range."""
    below = demand.input.nominal < 0
    for (name, output), share in zip(each_of(group), group.shares, strict=True):
        if demand.lowest * share < output.voltage.low - 1e-9:
            yield Obstacle(
                f"the range of {name} begins at {show(output.voltage.low, 'V')}; "
                f"{show(demand.lowest * share, 'V')} is played on it"
                + (" (a rail below its 0 V is written in amounts, with 'rail: negative')" if below else "")
            )


def _as_it_can(
    demand: Demand, key: str, unit: str, ends: tuple[float, float]
) -> tuple[str | None, int, Path | None]:
    """The change of a level to one that the outputs can be set to, where such a level may be right."""
    least, withstands = demand.highest, demand.input.withstands_always
    if key == "opp":
        least *= demand.current
    elif key == "ocp":
        least = demand.current
    if ends[1] <= least or (key == "ovp" and withstands is not None and ends[0] >= withstands):
        return None, 0, None
    low, high = show(max(ends[0], least), unit), show(ends[1], unit)
    words = f"write an '{key}' of {demand.name} between {low} and {high}"
    return words, PROCEDURE, (*demand.at_limits, key)


def levels(demand: Demand, group: Group, bench: Bench) -> Found:
    """A level that the procedure writes is outside what the output can be set to."""
    limits = demand.limits
    for index, (name, output) in enumerate(each_of(group)):
        share, part = group.shares[index], group.parts[index]
        asked = [
            ("OVP", "ovp", "V", limits.ovp, share, output.ovp.level if output.ovp else None),
            (
                "over-power protection",
                "opp",
                "W",
                limits.opp,
                part * share,
                output.opp.level if output.opp else None,
            ),
            (
                "over-current protection",
                "ocp",
                "A",
                limits.ocp,
                part,
                output.ocp.level if output.ocp else None,
            ),
        ]
        for what, key, unit, value, portion, reach in asked:
            if value is None or isinstance(value, str) or reach is None or value * portion in reach:
                continue
            yield Obstacle(
                f"the {what} of {name} ranges from {show(reach.low, unit)} to {show(reach.high, unit)}; "
                f"{show(value * portion, unit)} is asked for",
                *_as_it_can(demand, key, unit, (reach.low / portion, reach.high / portion)),
            )
        if limits.ocp_delay is not None and output.ocp is not None:
            delay = limits.ocp_delay
            if delay not in output.ocp.delay if output.ocp.delay else delay > 0.0:
                yield Obstacle(
                    f"the over-current protection of {name} has no delay of {show(delay, 's')}",
                    f"leave 'ocp_delay' out of the limits of {demand.name}",
                    PROCEDURE,
                    (*demand.at_limits, "ocp_delay"),
                )


def current(demand: Demand, group: Group, bench: Bench) -> Found:
    """The current limit that is needed, or written, is more than the group can be set to, or too inexact."""
    need = demand.current
    asked = demand.limits.current_limit
    if asked == AUTO:
        least = HEADROOM * need
        least += group.limit_error(least) or 0.0
        if least > group.full_current:
            yield Obstacle(f"{group.gives} {show(group.full_current, 'A')}; {show(least, 'A')} is needed")
        return
    limit = float(asked)
    for name, output, part in zip(group.names, group.rows, group.parts, strict=True):
        if limit * part not in output.current:
            yield Obstacle(
                f"the current limit of {name} ranges from {show(output.current.low, 'A')} to "
                f"{show(output.current.high, 'A')}; {show(limit * part, 'A')} is asked for"
            )
    wrong = group.limit_error(limit) or 0.0
    at_most = demand.input.current.at_most
    if limit - wrong < need:
        yield Obstacle(
            f"the limit of {group.words} may be as low as {show(limit - wrong, 'A')}; {show(need, 'A')} is "
            f"needed",
            f"raise 'current_limit' of {demand.name} to {show(round_up(HEADROOM * need + wrong), 'A')} or "
            "more",
            PROCEDURE,
            (*demand.at_limits, "current_limit"),
        )
    if at_most is not None and limit + wrong > at_most:
        yield Obstacle(
            f"the limit of {group.words} may be as high as {show(limit + wrong, 'A')}; the input bears "
            f"{show(at_most, 'A')}",
            f"lower 'current_limit' of {demand.name} to {show(at_most - wrong, 'A')} or less",
            PROCEDURE,
            (*demand.at_limits, "current_limit"),
        )


LOOKS = (ties, joining, parallel_trip, isolation, low_end, levels, current)


def of_group(demand: Demand, group: Group, bench: Bench) -> list[Obstacle]:
    """Obstacles of a group that hang on neither lead nor sense."""
    return [each for look in LOOKS for each in look(demand, group, bench)]
