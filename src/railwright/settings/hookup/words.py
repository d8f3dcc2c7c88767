"""Why a hook-up was chosen, and why others were not, in words and numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from railwright.documents.output_name import OutputName
from railwright.quantities import StatedFigure, Statement, joined, state
from railwright.settings.context import Draw
from railwright.settings.hookup.candidates import FULL, MOST_NAMED, Candidate, Field
from railwright.settings.hookup.obstacle import Obstacle
from railwright.settings.hookup.program import Objective


def percent(name: str, permille: int) -> Statement:
    """A headroom as people read it, as a figure of this name."""
    return Statement(f"{permille / 10:g} %", (StatedFigure(name, permille / 1000, "1"),))


def why_chosen(field: Field, chosen: Candidate, taken: Mapping[OutputName, str]) -> Statement:
    """What the chosen outputs give against what is needed, what else would do, and what would not.

    taken: output -> the input that it feeds.
    """
    demand, fed = field.demand, chosen.source
    need, said_by, _ = fed.needs if fed.needs is not None else Draw(0.0, "nothing", False)
    drop, top = fed.drop(need), demand.highest + fed.sensed_drop
    margins = joined(
        ", ",
        (_margin(what, margin) for what, margin in chosen.margins.items() if margin != math.inf),
    )
    how = "sensed away" if fed.senses else "too little to sense"
    if demand.wish.sense == "at terminals":
        how = "not sensed, as the procedure says"
    parts = [
        state(
            "{gives} {full_voltage}, {full_current} and {full_power}; {needed_voltage} and {needed_current} "
            "({said_by}) are needed",
            gives=fed.gives,
            full_voltage=(fed.full_voltage, "V"),
            full_current=(fed.full_current, "A"),
            full_power=(fed.full_power, "W"),
            needed_voltage=(top, "V"),
            needed_current=(need, "A"),
            said_by=said_by,
        ),
        state("room beyond the need: {margins}", margins=margins or "any, since nothing is drawn"),
        state(
            "headroom counted {headroom} (of at most {full})",
            headroom=percent("headroom", chosen.headroom),
            full=percent("full_headroom", FULL),
        ),
        state("the lead drops up to {drop}, {how}", drop=(drop, "V"), how=how)
        if drop
        else "the lead drops nothing",
        *_others(field, chosen, taken),
    ]
    return joined("; ", parts)


def _margin(what: str, margin: float) -> Statement:
    """What is left of one quantity beyond the need, in parts of it."""
    printed = f"{100 * margin:.3g} %" if margin < 9.99 else "more than 1000 %"
    return Statement(f"{what} {printed}", (StatedFigure(f"{what}_margin", margin, "1"),))


def _others(field: Field, chosen: Candidate, taken: Mapping[OutputName, str]) -> list[str]:
    """The other outputs: those that would do too, and what keeps the others from it."""
    seen: dict[str, str] = {}
    for each in field.admissible:
        if each.outputs != chosen.outputs and each.source.words not in seen:
            for_others = [taken[name] for name in each.outputs if name in taken and taken[name] != each.input]
            feeds = f", which feeds {for_others[0]}" if for_others else ""
            seen[each.source.words] = state(
                "{outputs} (headroom {headroom}{feeds})",
                outputs=each.source.words,
                headroom=percent("other_headroom", each.headroom),
                feeds=feeds,
            )
    words: list[str] = []
    if seen:
        words.append(state("would do too: {others}", others=_some(list(seen.values()))))
    not_these = [
        found[0].why
        for name, found in field.against.items()
        if found and name not in chosen.outputs and name not in seen
    ]
    if not_these:
        words.append(state("would not: {others}", others=_some(not_these)))
    return words


def _some(words: Sequence[str]) -> Statement:
    more, named = len(words) - MOST_NAMED, joined(", ", words[:MOST_NAMED])
    return state("{named} and {not_named} more", named=named, not_named=more) if more > 0 else named


def why_none(field: Field) -> Statement:
    """Why an input is not fed: what speaks against each output, or who else needs those that would do."""
    name = field.demand.name
    if field.admissible:
        able = ", ".join(dict.fromkeys(each.source.words for each in field.admissible))
        barred = _some([_all(each.obstacles) for each in by_cost(field.nearest)])
        words = state(
            "{input} could be fed by {outputs}, but not beside the other inputs", input=name, outputs=able
        )
        if not barred:
            return words
        return state("{words}; others would do but for this: {barred}", words=words, barred=barred)
    near: dict[str, Sequence[Obstacle]] = {}
    for each in by_cost(field.nearest):
        near.setdefault(each.source.words, each.obstacles)
    found: dict[str, Sequence[Obstacle]] = {**near, **field.against, **near}
    each_why = [obstacles[0].why for obstacles in found.values() if obstacles]
    why = _some(each_why) or "no output is free"
    return state("nothing feeds {input}: {why}", input=name, why=why)


def by_cost(nearest: Sequence[Candidate]) -> list[Candidate]:
    """Candidates that a change would make fit, the least change first."""
    return sorted(nearest, key=lambda each: sum(obstacle.cost for obstacle in each.obstacles))


def _all(obstacles: Sequence[Obstacle]) -> Statement:
    return joined(" and ", (each.why for each in obstacles))


def describe(chosen: Sequence[Candidate]) -> str:
    """A whole assignment."""
    return "; ".join(f"{each.input} from {each.words}" for each in chosen)


def costs(best: Objective, other: Objective) -> str:
    """What another assignment costs against the best one: the first criterion in which it is worse."""
    if other.outputs != best.outputs:
        return state(
            "it takes {other_outputs} outputs instead of {outputs}",
            other_outputs=other.outputs,
            outputs=best.outputs,
        )
    if other.least_headroom != best.least_headroom:
        return state(
            "its smallest headroom is {other} instead of {best}",
            other=percent("other_least_headroom", other.least_headroom),
            best=percent("least_headroom", best.least_headroom),
        )
    if other.cautions != best.cautions:
        return state(
            "it brings {other_cautions} cautions instead of {cautions}",
            other_cautions=other.cautions,
            cautions=best.cautions,
        )
    if other.headrooms != best.headrooms:
        return state(
            "the sum of its headrooms is {other} instead of {best}",
            other=percent("other_headroom_sum", other.headrooms),
            best=percent("headroom_sum", best.headrooms),
        )
    if other.readings != best.readings:
        return state(
            "its currents are read less finely: errors of {other} together instead of {best}",
            other=percent("other_reading_error", other.readings),
            best=percent("reading_error", best.readings),
        )
    return "it costs nothing: the order of the documents decides"
