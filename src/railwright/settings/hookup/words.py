"""Why a hook-up was chosen, and why others were not, in words and numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from railwright.documents.output_name import OutputName
from railwright.grouping import grouped
from railwright.quantities import StatedFigure, Statement, joined, state
from railwright.settings.context import Draw
from railwright.settings.hookup.candidates import FULL, MOST_NAMED, Candidate, Field
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
    margins = [_margin(what, margin) for what, margin in chosen.margins.items() if margin != math.inf]
    how = (
        "not sensed, as the procedure says"
        if demand.wish.sense == "at terminals"
        else "sensed away"
        if fed.senses
        else "too little to sense"
    )
    return joined(
        "; ",
        [
            state(
                "{gives} {full_voltage}, {full_current} and {full_power}; {needed_voltage} and "
                "{needed_current} ({said_by}) are needed",
                gives=fed.gives,
                full_voltage=(fed.full_voltage, "V"),
                full_current=(fed.full_current, "A"),
                full_power=(fed.full_power, "W"),
                needed_voltage=(top, "V"),
                needed_current=(need, "A"),
                said_by=said_by,
            ),
            state(
                "room beyond the need: {margins}",
                margins=joined(", ", margins) or "any, since nothing is drawn",
            ),
            state(
                "headroom counted {headroom} (of at most {full})",
                headroom=percent("headroom", chosen.headroom),
                full=percent("full_headroom", FULL),
            ),
            state("the lead drops up to {drop}, {how}", drop=(drop, "V"), how=how)
            if drop
            else "the lead drops nothing",
            *_others(field, chosen, taken),
        ],
    )


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
    if not_these := [
        (str(name), (name,), found[0].why)
        for name, found in field.against.items()
        if found and name not in chosen.outputs and name not in seen
    ]:
        words.append(state("would not: {others}", others=_some(_by_reason(not_these))))
    return words


def _some(words: Sequence[str]) -> Statement:
    more, named = len(words) - MOST_NAMED, joined(", ", words[:MOST_NAMED])
    return state("{named} and {not_named} more", named=named, not_named=more) if more > 0 else named


def _by_reason(against: Sequence[tuple[str, Sequence[str], str]]) -> list[str]:
    """What speaks against some outputs (their words, their names, the reason): each reason once, with those
    that it does not name itself.
    """
    told = []
    for alike in grouped((str(each[2]), each) for each in against).values():
        why = alike[0][2]
        unnamed = dict.fromkeys(
            words for words, names, _ in alike if not all(str(name) in why for name in names)
        )
        told.append(
            state("with {outputs} {reason}", outputs=" or ".join(unnamed), reason=why) if unnamed else why
        )
    return told


def why_none(field: Field) -> Statement:
    """Why an input is not fed: what speaks against each output, or who else needs those that would do."""
    name = field.demand.name
    if field.admissible:
        able = ", ".join(dict.fromkeys(each.source.words for each in field.admissible))
        against = [
            (each.source.words, each.outputs, joined(" and ", (obstacle.why for obstacle in each.obstacles)))
            for each in by_cost(field.nearest)
        ]
        barred = _some(_by_reason(against))
        return state(
            "{input} could be fed by {outputs}, but not beside the other inputs{barred}",
            input=name,
            outputs=able,
            barred=state("; others would do but for this: {barred}", barred=barred) if barred else "",
        )
    joined_up = [(each.source.words, each.outputs, each.obstacles) for each in by_cost(field.nearest)]
    single = [(str(output), (output,), obstacles) for output, obstacles in field.against.items()]
    found = grouped((each[0], each) for each in (*joined_up, *single)).values()
    each_why = [(words, names, against[0].why) for (words, names, against), *_ in found if against]
    return state(
        "nothing feeds {input}: {why}", input=name, why=_some(_by_reason(each_why)) or "no output is free"
    )


def by_cost(nearest: Sequence[Candidate]) -> list[Candidate]:
    """Candidates that a change would make fit, the least change first."""
    return sorted(nearest, key=lambda each: sum(obstacle.cost for obstacle in each.obstacles))


def costs(best: Objective, other: Objective) -> str:
    """What another assignment costs against the best one: the first criterion in which it is worse."""
    told = {
        "outputs": state(
            "it takes {other_outputs} outputs instead of {outputs}",
            other_outputs=other.outputs,
            outputs=best.outputs,
        ),
        "least_headroom": state(
            "its smallest headroom is {other} instead of {best}",
            other=percent("other_least_headroom", other.least_headroom),
            best=percent("least_headroom", best.least_headroom),
        ),
        "cautions": state(
            "it brings {other_cautions} cautions instead of {cautions}",
            other_cautions=other.cautions,
            cautions=best.cautions,
        ),
        "harm": state(
            "its outputs reach {other_harm} times what the inputs withstand instead of {harm} times",
            other_harm=other.harm,
            harm=best.harm,
        ),
        "headrooms": state(
            "the sum of its headrooms is {other} instead of {best}",
            other=percent("other_headroom_sum", other.headrooms),
            best=percent("headroom_sum", best.headrooms),
        ),
        "readings": state(
            "its currents are read less finely: errors of {other} together instead of {best}",
            other=percent("other_reading_error", other.readings),
            best=percent("reading_error", best.readings),
        ),
    }
    differing = (words for name, words in told.items() if getattr(other, name) != getattr(best, name))
    return next(differing, "it costs nothing: the order of the documents decides")
