"""Why a hook-up was chosen, and why others were not, in words and numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from railwright.documents.output_name import OutputName
from railwright.quantities import show
from railwright.settings.context import Draw
from railwright.settings.hookup.candidates import FULL, MOST_NAMED, Candidate, Field
from railwright.settings.hookup.obstacle import Obstacle
from railwright.settings.hookup.program import Objective


def percent(permille: int) -> str:
    """A headroom as people read it."""
    return f"{permille / 10:g} %"


def why_chosen(field: Field, chosen: Candidate, taken: Mapping[OutputName, str]) -> str:
    """What the chosen outputs give against what is needed, what else would do, and what would not.

    taken: output -> the input that it feeds.
    """
    demand, fed = field.demand, chosen.source
    need, said_by, _ = fed.needs if fed.needs is not None else Draw(0.0, "nothing", False)
    drop, top = fed.drop(need), demand.highest + fed.sensed_drop
    margins = ", ".join(
        f"{what} {100 * margin:.3g} %" if margin < 9.99 else f"{what} more than 1000 %"
        for what, margin in chosen.margins.items()
        if margin != math.inf
    )
    how = "sensed away" if fed.senses else "too little to sense"
    if demand.wish.sense == "at terminals":
        how = "not sensed, as the procedure says"
    parts = [
        f"{fed.gives} {show(fed.full_voltage, 'V')}, {show(fed.full_current, 'A')} and "
        f"{show(fed.full_power, 'W')}; {show(top, 'V')} and {show(need, 'A')} ({said_by}) are needed",
        f"room beyond the need: {margins or 'any, since nothing is drawn'}",
        f"headroom counted {percent(chosen.headroom)} (of at most {percent(FULL)})",
        f"the lead drops up to {show(drop, 'V')}, {how}" if drop else "the lead drops nothing",
        *_others(field, chosen, taken),
    ]
    return "; ".join(parts)


def _others(field: Field, chosen: Candidate, taken: Mapping[OutputName, str]) -> list[str]:
    """The other outputs: those that would do too, and what keeps the others from it."""
    seen: dict[str, str] = {}
    for each in field.admissible:
        if each.outputs != chosen.outputs and each.source.words not in seen:
            for_others = [taken[name] for name in each.outputs if name in taken and taken[name] != each.input]
            feeds = f", which feeds {for_others[0]}" if for_others else ""
            seen[each.source.words] = f"{each.source.words} (headroom {percent(each.headroom)}{feeds})"
    words = []
    if seen:
        words.append(f"would do too: {_some(list(seen.values()))}")
    not_these = [
        found[0].why
        for name, found in field.against.items()
        if found and name not in chosen.outputs and name not in seen
    ]
    if not_these:
        words.append(f"would not: {_some(not_these)}")
    return words


def _some(words: Sequence[str]) -> str:
    more = len(words) - MOST_NAMED
    return ", ".join(words[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def why_none(field: Field) -> str:
    """Why an input is not fed: what speaks against each output, or who else needs those that would do."""
    name = field.demand.name
    if field.admissible:
        able = ", ".join(dict.fromkeys(each.source.words for each in field.admissible))
        barred = _some([_all(each.obstacles) for each in by_cost(field.nearest)])
        words = f"{name} could be fed by {able}, but not beside the other inputs"
        return f"{words}; others would do but for this: {barred}" if barred else words
    near: dict[str, Sequence[Obstacle]] = {}
    for each in by_cost(field.nearest):
        near.setdefault(each.source.words, each.obstacles)
    found: dict[str, Sequence[Obstacle]] = {**near, **field.against, **near}
    each_why = [obstacles[0].why for obstacles in found.values() if obstacles]
    return f"nothing feeds {name}: {_some(each_why) or 'no output is free'}"


def by_cost(nearest: Sequence[Candidate]) -> list[Candidate]:
    """Candidates that a change would make fit, the least change first."""
    return sorted(nearest, key=lambda each: sum(obstacle.cost for obstacle in each.obstacles))


def _all(obstacles: Sequence[Obstacle]) -> str:
    return " and ".join(each.why for each in obstacles)


def describe(chosen: Sequence[Candidate]) -> str:
    """A whole assignment."""
    return "; ".join(f"{each.input} from {each.words}" for each in chosen)


def costs(best: Objective, other: Objective) -> str:
    """What another assignment costs against the best one: the first criterion in which it is worse."""
    if other.outputs != best.outputs:
        return f"it takes {other.outputs} outputs instead of {best.outputs}"
    if other.least_headroom != best.least_headroom:
        return (
            f"its smallest headroom is {percent(other.least_headroom)} instead of "
            f"{percent(best.least_headroom)}"
        )
    if other.cautions != best.cautions:
        return f"it brings {other.cautions} cautions instead of {best.cautions}"
    if other.headrooms != best.headrooms:
        return f"the sum of its headrooms is {percent(other.headrooms)} instead of {percent(best.headrooms)}"
    if other.readings != best.readings:
        return (
            f"its currents are read less finely: errors of {percent(other.readings)} together instead of "
            f"{percent(best.readings)}"
        )
    return "it costs nothing: the order of the documents decides"
