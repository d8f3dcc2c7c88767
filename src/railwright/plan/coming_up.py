"""How each input comes up for the first time: switched on, and led to its voltage at once or by stages."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from railwright.plan.set_point import pieces
from railwright.plan.timeline import Action, Timeline


class Stage(NamedTuple):
    """From `time` [s] on the set point of an input goes from `before` to `voltage` [V] in `over` seconds, and
    then stays for `held` seconds. step: position of the step in which it begins.
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
    """An input that is first switched on at `time` [s], in the step at a position, and led up from 0 V.

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
        if action.kind == "on" or action.input in own:
            own.setdefault(action.input, []).append(action)
    # In order of the first action of each, which is its 'on'.
    return tuple(
        ComingUp(name, actions[0].time, actions[0].step, tuple(_stages(actions, timeline.duration)))
        for name, actions in own.items()
    )


def _stages(actions: Sequence[Action], end: float) -> list[Stage]:
    """The stages of one input, from its first 'on' on; end: of the procedure [s]."""
    first = [action for action in actions if action.step == actions[0].step]
    # A power-up that leads to a voltage is all of it: what comes after it is the test.
    played = first if any(action.voltage for action in first) else actions
    begins = [action.time for action in played]
    found: list[Stage] = []
    for piece in pieces(played, end, 0.0, begins[0]):
        if abs(piece.after) < abs(piece.before):
            break
        if piece.after == piece.before:
            if found and piece.stop > piece.start:
                found[-1] = found[-1]._replace(held=piece.stop - piece.start + found[-1].held)
        elif found and not found[-1].held:  # goes on where the one before it ended
            over = piece.stop - found[-1].time
            found[-1] = found[-1]._replace(voltage=piece.after, over=over)
        else:
            step = played[bisect_right(begins, piece.start) - 1].step
            found.append(
                Stage(
                    played[0].input,
                    piece.start,
                    step,
                    piece.before,
                    piece.after,
                    piece.stop - piece.start,
                    0.0,
                )
            )
    return found
