"""Where no hook-up feeds every input: the smallest change that would make one fit.

The same program, with more to choose from: candidates that a change would make admissible, at what the change
costs; outputs that are uncoupled; and for each input one more output that gives all that it asks for. The
cheapest assignment says what to change; what it leaves as it is can be hooked up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from railwright.documents.bench import Bench, Output
from railwright.documents.hook_up import AUTO
from railwright.documents.output_name import OutputName
from railwright.documents.translate import validated
from railwright.plan.stairs import STAIR
from railwright.quantities import round_up, show
from railwright.settings.group import Group
from railwright.settings.hookup.against import UNCOUPLE, Obstacle
from railwright.settings.hookup.candidates import (
    Candidate,
    Field,
    Taken,
    against_group,
    best_of_group,
    further_near,
)
from railwright.settings.hookup.demand import Demand
from railwright.settings.hookup.program import OUTPUT, ConstraintRow, rows_of, solve_in_turn
from railwright.settings.rule import Path

_UNFED = "no output of the bench can feed it"

_SCALE = 1000
"""Costs are this much larger, so that among further outputs the one for the least power is taken."""


@dataclass(frozen=True, eq=False)
class Smallest:
    """The smallest change, as what it parts, the place of the first of it, and what can be hooked up without
    it: input -> candidate.
    """

    changes: tuple[Obstacle, ...]
    where: Path
    kept: Mapping[str, Candidate]


_NARROW = 0.2
"""What an input withstands beyond what is played, in parts of that, below which the OVP has to be exact."""

EXACT_OVP = 0.05
"""Accuracy of the OVP of a further output [V]; said where it matters (ours: what good supplies have)."""


class _NotThere(OutputName):
    """What an output that the bench does not have is called in a sentence; it is at no supply."""

    def __new__(cls, text: str) -> _NotThere:
        name = str.__new__(cls, text)
        name.supply = name.output = ""
        return name


def _ideal(demand: Demand, senses: bool = True) -> Group:
    """An output that gives whatever the input asks for, as exactly as good supplies do."""
    name = _NotThere(f"one more output for {demand.name}")
    return Group({name: _any_output(senses)}, "alone", (math.inf,), (None,))


def _any_output(senses: bool) -> Output:
    voltage = {"of_value": "0.05 %", "offset": "5 mV", "resolution": "1 mV"}
    current = {"of_value": "0.1 %", "resolution": "0.1 mA"}
    return validated(
        Output,
        {
            "voltage": "-10 kV .. 10 kV",
            "current": "0 A .. 10 kA",
            "programming": {"voltage": voltage, "current": current},
            "rise": "1 ms",
            "ovp": {"level": "0 V .. 10 kV", "accuracy": f"{EXACT_OVP} V", "response": "0 s"},
            "opp": {"level": "0 W .. 100000 kW"},
            "ocp": {"level": "0 A .. 10 kA", "delay": "0 s .. 100 s"},
            "trip_delay": "0 s .. 100 s",
            **({"sense": {"compensates": "1 kV"}} if senses else {}),
            "points": {"at_most": 1_000_000_000, "dwell": "0 s .. 10000 s", "between": ["step", "line"]},
        },
    )


def _further(demand: Demand) -> tuple[Candidate | None, str]:
    """The input on one more output, and that output in words; None: no output would do."""
    # One that need not sense is asked for where its lead's drop does no harm.
    for senses in (False, True):
        kept, near = best_of_group(demand, _ideal(demand, senses))
        candidate = next(iter((*kept, *near)), None)
        if kept and "lead-drop" not in kept[0].cautions:
            break
    if candidate is None:
        return None, ""
    if demand.input.nominal < 0:
        return (
            candidate,
            f"the figures of {demand.name} in amounts, with 'rail: negative': an output's + is then its 0 V",
        )
    drop, sensed = candidate.source.drop(demand.current), candidate.source.senses
    volts = demand.highest + candidate.source.sensed_drop
    asked = demand.limits.current_limit
    amperes, beside = (
        (demand.current, " beside the error of its current limit") if asked == AUTO else (float(asked), "")
    )
    other = (
        f"another output than {', '.join(demand.wish.outputs)},"
        if demand.wish.source != AUTO
        else "one more output"
    )
    words = [
        f"{other} of {show(round_up(volts, 4), 'V')} and {show(round_up(amperes, 4), 'A')} or more{beside}"
    ]
    if sensed:
        words.append(f"that senses at the load and makes up for {show(round_up(drop), 'V')} or more")
    if demand.input.returns == "isolated" or demand.input.rail == "negative":
        words.append("whose negative terminal floats")
    withstands = demand.input.withstands_always
    if withstands is not None and withstands - volts < _NARROW * volts:
        words.append(f"with an OVP that is exact to {show(EXACT_OVP, 'V')}")
    if demand.shape is not None and demand.shape.briefest < STAIR * (1 - 1e-6):
        points, briefest = demand.shape.drawn, show(demand.shape.briefest, "s")
        words.append(f"with a point list of {points} points down to {briefest}")
    return candidate, f"{', '.join(words)}, for {demand.name}"


def smallest_change(fields: Sequence[Field], bench: Bench, taken: Taken) -> Smallest:
    """What would have to change so that every input is fed. Inputs without a change keep their hook-up.

    taken: by inputs whose hook-up is written.
    """
    options: list[tuple[Candidate, float, tuple[Obstacle, ...]]] = []
    by_power = sorted(fields, key=lambda each: each.demand.highest * each.demand.current)
    for own in fields:
        demand = own.demand
        near = (*own.nearest, *further_near(demand, taken))
        options += [(candidate, 0.0, ()) for candidate in own.admissible]
        options += [(each, 0.0, each.obstacles) for each in near]
        candidate, words = _further(demand)
        where = demand.source.at_hook_up
        if candidate is None:
            # Not even an output that gives everything could feed it.
            against = "; ".join(each.why for each in against_group(demand, _ideal(demand)))
            words = f"figures or steps of {demand.name} that an output can keep: {against}"
            where = demand.source.at_input
            candidate = Candidate(demand.fed(_ideal(demand)), 0, {}, (), 0, 0, {}, ())
        further = Obstacle(_UNFED, words, OUTPUT, where)
        options.append((candidate, float(by_power.index(own)), (further, *candidate.obstacles)))
    candidates = [candidate for candidate, _, _ in options]
    couplings = list(dict.fromkeys(each for candidate in candidates for each in candidate.coupled))
    uncouple = {coupling: len(candidates) + number for number, coupling in enumerate(couplings)}
    # What several inputs ask for, such as a figure of their supply, is one change and costs once.
    changes = list(dict.fromkeys((each.change, each.cost) for _, _, own in options for each in own))
    column_of = {change: len(candidates) + len(couplings) + number for number, change in enumerate(changes)}
    rows = rows_of(candidates, uncouple)
    rows += [
        ConstraintRow({column: 1.0, column_of[each.change, each.cost]: -1.0}, -np.inf, 0.0)
        for column, (_, _, own_changes) in enumerate(options)
        for each in own_changes
    ]
    none = [0.0] * (len(couplings) + len(changes))
    # The cheapest, among those with the fewest outputs, in the order of the documents.
    stages = (
        [price for _, price, _ in options]
        + [float(UNCOUPLE * _SCALE)] * len(couplings)
        + [float(cost * _SCALE) for _, cost in changes],
        [float(len(each.outputs)) for each in candidates] + none,
        [float(place) for place in range(len(candidates))] + none,
    )
    found = solve_in_turn(stages, rows, [1.0] * len(stages[0]))
    chosen = [option for column, option in enumerate(options) if found[column] > 0.5]
    parted = [
        (each, each.where or candidate.source.at_hook_up)
        for candidate, _, own_changes in chosen
        for each in own_changes
    ]
    kept = {candidate.input: candidate for candidate, _, own_changes in chosen if not own_changes}
    for (supply, number), column in uncouple.items():
        if found[column] > 0.5:
            touched = [name for name, each in kept.items() if (supply, number) in each.coupled]
            parted.append(_uncoupled(supply, number, bench))
            for name in touched[1:]:
                del kept[name]
    return Smallest(tuple({each.change: each for each, _ in parted}.values()), parted[0][1], kept)


def _uncoupled(supply: str, number: int, bench: Bench) -> tuple[Obstacle, Path]:
    names = ", ".join(f"{supply}.{each}" for each in bench.supplies[supply].coupled[number].outputs)
    where = ("bench", "supplies", supply, "coupled", number)
    change = f"uncouple {names} and remove them from 'coupled'"
    return Obstacle(f"{names} move together", change, UNCOUPLE, where), where
