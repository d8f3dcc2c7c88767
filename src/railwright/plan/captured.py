"""A captured waveform on the outputs: its edges that they cannot follow, and what set points make of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from railwright.plan.sending import as_reached, as_sent, send_times
from railwright.plan.set_point import waveform
from railwright.plan.stairs import AT_ONCE, stairs_of, too_steep
from railwright.plan.timeline import Action
from railwright.quantities import state

if TYPE_CHECKING:
    from railwright.waveforms.figures import PlayedFigures
    from railwright.waveforms.waveform import Waveform

SMALLER = 0.5
"""An edge is one, and no part of a ringing, where what goes back right beside it is at most this part."""

FLATTER = 0.25
"""What follows a brief edge in its direction is no part of it where its slope is at most this part."""

MOST_RMS = 0.05
"""R.m.s. deviation from which on a capture is not what is played, in parts of its span."""

MOST_LEVEL = 0.1
"""Deviation of a flat stretch's mean from which on it is not, in parts of the span; edges up to this height
may be lost, others not.
"""


def is_captured(actions: Sequence[Action]) -> bool:
    """Whether a recording is played."""
    return any("recording" in action.path for action in actions)


def far_off(figures: PlayedFigures, span: float) -> str:
    """In which figure what is told is no longer the capture of that span [V]; '': in none."""
    if figures.missing:
        return state(
            "{missing} of its {edges} edges are not played", missing=figures.missing, edges=figures.edges
        )
    if figures.level > MOST_LEVEL * span:
        return state(
            "a flat stretch is off by {level_error}, more than {part:.0%} of its span",
            level_error=(figures.level, "V"),
            part=(MOST_LEVEL, "1"),
        )
    if figures.steady > MOST_RMS * span:
        return state(
            "it is off by {rms} r.m.s., more than {part:.0%} of its span",
            rms=(figures.steady, "V"),
            part=(MOST_RMS, "1"),
        )
    return ""


@dataclass(slots=True)
class _Run:
    """Lines one way, by their positions from first to before end: so much height [V], in so long [s]."""

    first: int
    end: int
    height: float
    length: float


def with_jumps(
    actions: Sequence[Action], level: float, fastest: float | None, brief: float
) -> tuple[Action, ...]:
    """The actions with jumps in place of the edges that outputs cannot follow, each at the instant at which
    the edge crosses half its height.

    level: set point before [V]. fastest: highest slew [V/s], above which lines are an edge; None: there is no
    slew, and lines that follow each other one way within `brief` [s] are, also where a far flatter end comes
    after it. What goes up and down in turn, as ringing does, stays as it is.
    """
    runs = _runs(actions, level, fastest, brief)
    result: list[Action] = []
    done = 0
    for number, run in enumerate(runs):
        beside = [
            abs(other.height)
            for other in runs[max(0, number - 1) : number] + runs[number + 1 : number + 2]
            if other.end == run.first or other.first == run.end
        ]
        if any(height > SMALLER * abs(run.height) for height in beside):
            continue
        start = actions[run.end - 1].voltage - run.height
        edge = run if fastest is not None else _brief_part(actions, run, start, brief)
        if edge is None:
            continue
        first, last = actions[edge.first], actions[edge.end - 1]
        at = _half(actions[edge.first : edge.end], start, start + 0.5 * edge.height)
        result += actions[done : edge.first]
        result.append(replace(first, time=at, voltage=last.voltage, over=0.0))
        done = edge.end
    return (*result, *actions[done:])


def _runs(actions: Sequence[Action], level: float, fastest: float | None, brief: float) -> list[_Run]:
    """Lines that are too steep, or too short, by those that follow each other one way."""
    runs: list[_Run] = []
    for number, action in enumerate(actions):
        change, over = action.voltage - level, action.over
        level = action.voltage
        if over <= 0.0 or change == 0.0:
            continue
        if over >= brief if fastest is None else abs(change) <= fastest * over:
            continue
        if runs and runs[-1].end == number and runs[-1].height * change > 0.0:
            before = actions[number - 1]
            if abs(before.time + before.over - action.time) < AT_ONCE:
                runs[-1].end = number + 1
                runs[-1].height += change
                runs[-1].length += over
                continue
        runs.append(_Run(number, number + 1, change, over))
    return runs


def _brief_part(actions: Sequence[Action], run: _Run, start: float, brief: float) -> _Run | None:
    """The lines at the beginning of a run that together are brief; None: it goes on nearly as steeply."""
    length, end = 0.0, run.first
    while end < run.end and length + actions[end].over < brief:
        length += actions[end].over
        end += 1
    height = actions[end - 1].voltage - start
    rest, longer = abs(run.height - height), run.length - length
    if end < run.end and rest * length > FLATTER * abs(height) * longer:
        return None
    return _Run(run.first, end, height, length)


def _half(lines: Sequence[Action], start: float, middle: float) -> float:
    """When lines one way from a level cross another [s]."""
    level = start
    for line in lines:
        if (line.voltage - middle) * (level - middle) <= 0.0:
            return line.time + line.over * (middle - level) / (line.voltage - level)
        level = line.voltage
    return lines[-1].time


def by_set_points(
    actions: Sequence[Action],
    level: float,
    slews: tuple[float, float] | None,
    apart: float,
    start: float,
    duration: float,
) -> Waveform:
    """What the outputs are told by a host that sends each set point at its time, or as soon as it can again;
    one that is late as the next is due is left out (`sending.send_times`). On the clock that begins at
    `start` [s], for a duration.

    Arguments else as of `host.by_host`.
    """
    asked: list[Action] = []
    stands = level
    for action in actions:
        stairs = stairs_of(action, stands, slews, apart)
        if stairs:
            asked += [replace(action, time=time, voltage=voltage, over=0.0) for time, voltage in stairs]
        elif slews and too_steep(action, stands, slews):
            asked.append(replace(action, over=abs(action.voltage - stands) / slews[1]))
        else:
            asked.append(action)
        stands = action.voltage
    times = send_times(asked, {action.input: apart for action in asked})
    return waveform(level, as_reached(as_sent(asked, times, level), level), start, duration)
