"""What reaches the outputs of a shape that they play by their own point lists."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from railwright.rehearsal.timeline import Action, Timeline

if TYPE_CHECKING:
    from railwright.waveforms.point_list import PointList
    from railwright.waveforms.waveform import Waveform


@dataclass(frozen=True, eq=False, slots=True)
class Listing:
    """A shape step's list for one input.

    step: position of the step. points: voltages of the input; an output in series has its share of them.
    count: how often it is played through.
    """

    step: int
    input: str
    points: PointList
    count: int

    @property
    def duration(self) -> float:
        """From the trigger to the end of the last dwell [s]."""
        return float(self.points.dwells.sum()) * self.count


def own_actions(timeline: Timeline, step: int, name: str) -> list[Action]:
    """What a shape step does to an input, in order; what it does at its very end is left to the next step."""
    span = timeline.spans[step]
    return [
        action
        for action in timeline.actions
        if action.input == name and span.start <= action.time < span.end and _belongs(action, step)
    ]


def _belongs(action: Action, step: int) -> bool:
    """Where an action says in which step it is written, that one decides."""
    path = getattr(action, "path", ())
    return not path or tuple(path[:2]) == ("steps", step)


def level_before(timeline: Timeline, step: int, name: str) -> float:
    """Set point of an input just before a step, and before its own actions at that instant [V]."""
    level, own = 0.0, {id(action) for action in own_actions(timeline, step, name)}
    for action in timeline.actions:
        if action.input != name or action.time > timeline.spans[step].start or id(action) in own:
            continue
        level = action.voltage if action.kind != "off" else 0.0
    return level


def asked_of(level: float, actions: Sequence[Action], start: float, duration: float) -> Waveform:
    """The set point that lines and steps ask for, from `level` [V] at `start` [s] on; its time from 0."""
    import numpy as np

    from railwright.waveforms.waveform import Waveform

    time, value = [0.0], [level]
    for action in actions:
        begin = min(action.time - start, duration)
        end = min(begin + action.over, duration)
        # A line that the end of the step cuts short gets as far as it does by then.
        part = (end - begin) / action.over if action.over > 0.0 else 1.0
        time += [begin, end]
        value += [value[-1], value[-1] + (action.voltage - value[-1]) * part]
    time.append(duration)
    value.append(value[-1])
    return Waveform(np.maximum.accumulate(np.array(time)), np.array(value))


def as_played(timeline: Timeline, listings: Iterable[Listing]) -> Timeline:
    """The timeline with the points of each list in place of what the procedure asks."""
    actions = list(timeline.actions)
    for listing in listings:
        own = {id(action) for action in own_actions(timeline, listing.step, listing.input)}
        actions = [action for action in actions if id(action) not in own]
        now, points = timeline.spans[listing.step].start, listing.points
        for _ in range(listing.count):
            for voltage, dwell in zip(points.voltages.tolist(), points.dwells.tolist(), strict=True):
                over = dwell if points.between == "line" else 0.0
                actions.append(Action(now, "line", listing.input, voltage, over))
                now += dwell
    return replace(timeline, actions=tuple(sorted(actions, key=lambda action: action.time)))
