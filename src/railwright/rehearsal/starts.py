"""How the first start of each input ends, by its operating points: with the limit that would free it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from railwright.circuit.case import NOMINAL, Case, QuantityName
from railwright.documents.loader import Documents
from railwright.plan.contacts import pin_courses, states_within, switched_on
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import timeline_of
from railwright.quantities import Uncertain
from railwright.rehearsal.circuit import build_circuit, output_errors

if TYPE_CHECKING:
    from railwright.physics.start_up import Start


HARDEST_AT_LOW = (
    "efficiency",
    "starts_at",
    "soft_start",
    "voltage_gain",
    "voltage_offset",
    "limit_gain",
    "limit_offset",
)
"""Quantities that ask for more current, or let less through, the lower they are."""


def hardest(name: QuantityName, value: Uncertain) -> float:
    """The case in which a start needs the highest current limit: those of `HARDEST_AT_LOW` at their lower
    bound, all others at their upper one.
    """
    return value.low if name.field in HARDEST_AT_LOW else value.high


def starts(
    documents: Documents, set_points: SetPoints, case: Case = NOMINAL, seek: bool = True
) -> dict[str, Start]:
    """How the first power-up of each input ends that the procedure powers up, by the input's name.

    A point in the limit counts as reached from the lower end of the operating range on, or from 2 % below
    the set voltage where that is lower. seek: also look for the limits that free it (some 0.5 s an input that
    needs it). A limit that trips is taken as one that regulates.
    """
    from railwright.physics.start_up import NEAR, start_up

    circuit, _ = build_circuit(documents, set_points, case)
    errors, _ = output_errors(documents, set_points, case)
    found: dict[str, Start] = {}
    timeline = timeline_of(documents.procedure, documents.device)
    rises = {
        action.input: (action.voltage, abs(action.voltage) / action.over if action.over > 0.0 else math.inf)
        for action in reversed(timeline.actions)
        if action.kind == "line"
    }
    courses = pin_courses(documents, timeline)
    for branch in circuit.branches:
        on = switched_on(timeline, branch.name)[:1]
        active = {pin for pin, each in courses.items() for a, b, _ in on if True in states_within(each, a, b)}
        loads = tuple(each for each in branch.loads if not each.pin or each.pin in active)
        voltage, rise = rises.get(branch.name, (0.0, math.inf))
        feed = set_points[branch.name]
        limits = [errors[points.output].limit(points.current_limit) for points in feed.outputs]
        limit = sum(limits) if feed.arrangement == "parallel" else min(limits)
        if voltage <= 0.0 or limit <= 0.0:
            continue
        low = min(documents.device.inputs[branch.name].operating.low, (1.0 - NEAR) * voltage)
        found[branch.name] = start_up(replace(branch, loads=loads), voltage, limit, rise, low, seek)
    return found
