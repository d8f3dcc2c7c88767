"""How each input comes up for the first time: switched on, and led to its voltage at once or by stages."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from railwright.plan.set_point import pieces
from railwright.plan.timeline import Action, Timeline

ROUNDING = 1e-6
"""By how much the slopes of one line may differ that is written in pieces."""


class Stage(NamedTuple):
    """From `time` [s] on the set point of an input goes from `before` to `voltage` [V] in `over` seconds, and
    then stays for `held` seconds; 0: it goes on at once, at another rate. step: position of the step in which
    it begins.
    """

    input: str
    time: float
    step: int
    before: float
    voltage: float
    over: float
    held: float

    @property
    def rate(self) -> float | None:
        """Its mean rate [V/s]; None: as fast as the output does it."""
        return abs(self.voltage - self.before) / self.over if self.over > 0.0 else None


class ComingUp(NamedTuple):
    """An input that is switched on at `time` [s], in the step at a position, and led up from 0 V for the
    first time. One that was switched off again at 0 V did not come up.

    stages: what the power-up itself does; where that leaves it at 0 V, everything after it that leads further
    away from 0 V, until something leads back. Empty: it stays at 0 V.
    """

    input: str
    time: float
    step: int
    stages: tuple[Stage, ...]

    @property
    def at_once(self) -> Stage | None:
        """The rise to its voltage, where the power-up itself leads it there."""
        return self.stages[0] if self.stages and self.stages[0].step == self.step else None


def coming_up(timeline: Timeline) -> tuple[ComingUp, ...]:
    """Every input that is switched on, in order of time."""
    own: dict[str, list[Action]] = {}
    for action in timeline.actions:
        before = own.get(action.input, [])
        if action.kind == "on" and (not before or _went_unused(before)):
            own[action.input] = [action]
        elif before and before[-1].kind != "off":
            before.append(action)
    ups = (
        ComingUp(name, actions[0].time, actions[0].step, tuple(_stages(actions, timeline.duration)))
        for name, actions in own.items()
    )
    return tuple(sorted(ups, key=lambda up: up.time))


def _went_unused(actions: Sequence[Action]) -> bool:
    """Whether these actions leave an input off that stood at 0 V: coming up begins with the next 'on'."""
    return actions[-1].kind == "off" and not any(action.voltage for action in actions[:-1])


def _stages(actions: Sequence[Action], end: float) -> list[Stage]:
    """The stages of one input, from its 'on' to its 'off'; end: of the procedure [s]."""
    first = [action for action in actions if action.step == actions[0].step]
    # A power-up that leads to a voltage is all of it: what comes after it is the test.
    played = first if any(action.voltage for action in first) else actions
    begins = [action.time for action in played]
    found: list[Stage] = []
    for piece in pieces(played, end, 0.0, begins[0]):
        if abs(piece.after) < abs(piece.before):
            break
        over = piece.stop - piece.start
        if piece.after == piece.before:
            if found and over > 0.0:
                found[-1] = found[-1]._replace(held=over + found[-1].held)
            continue
        step = played[bisect_right(begins, piece.start) - 1].step
        stage = Stage(played[0].input, piece.start, step, piece.before, piece.after, over, 0.0)
        if found and not found[-1].held and _alike(found[-1].rate, stage.rate):
            found[-1] = found[-1]._replace(voltage=stage.voltage, over=piece.stop - found[-1].time)
        else:
            found.append(stage)
    return found


def _alike(first: float | None, second: float | None) -> bool:
    """Whether two rates [V/s] differ by rounding at most; two jumps (None) at the same instant are one."""
    if first is None or second is None:
        return first is second
    return math.isclose(first, second, rel_tol=ROUNDING)
