"""The set point of one input against time, from the actions of a timeline."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from railwright.plan.timeline import Action

if TYPE_CHECKING:
    from railwright.waveforms.waveform import Waveform


class Piece(NamedTuple):
    """The set point from `start` to `stop` [s]: a straight line from `before` to `after` [V]."""

    start: float
    stop: float
    before: float
    after: float


def pieces(actions: Iterable[Action], end: float, level: float = 0.0, start: float = 0.0) -> Iterator[Piece]:
    """The set point as pieces without a gap, from `level` [V] at `start` [s] to `end` [s] at least; a jump is
    a piece of no length. An output that is off, or has just been switched on, stands at 0 V.
    """
    now = start
    for action in actions:
        if action.time > now:
            yield Piece(now, action.time, level, level)
            now = action.time
        goal = 0.0 if action.kind == "off" else action.voltage
        yield Piece(now, now + action.over, level, goal)
        now, level = now + action.over, goal
    if end > now:
        yield Piece(now, end, level, level)


def waveform(level: float, actions: Sequence[Action], start: float, duration: float) -> Waveform:
    """The set point that actions ask for, from `level` [V] at `start` [s] on, for so long [s]; its time from
    0. A line that the end cuts short gets as far as it does by then.
    """
    import numpy as np

    from railwright.waveforms.waveform import Waveform

    end = start + duration
    time, value = [0.0], [level]
    for piece in pieces(actions, end, level, start):
        if piece.start > end:
            break
        length = piece.stop - piece.start
        part = min(1.0, (end - piece.start) / length) if length > 0.0 else 1.0
        time += [piece.start - start, min(piece.stop - start, duration)]
        value += [piece.before, piece.before + (piece.after - piece.before) * part]
    # Sums of times may lie an ulp before the sum that they stand for.
    return Waveform(np.maximum.accumulate(np.array(time)), np.array(value))


def instants(first: tuple[Piece, ...], second: tuple[Piece, ...]) -> Iterator[tuple[float, float, float]]:
    """(time, first set point, second set point) at every corner of either, before and after each jump."""
    marked = heapq.merge(
        ((piece.start, piece.stop, 0, piece) for piece in first),
        ((piece.start, piece.stop, 1, piece) for piece in second),
        key=lambda each: each[:2],
    )
    now: list[Piece | None] = [None, None]

    def at(piece: Piece | None, time: float) -> float:
        if piece is None:
            return 0.0
        if piece.stop <= piece.start or time >= piece.stop:
            return piece.after
        return piece.before + (piece.after - piece.before) * (time - piece.start) / (piece.stop - piece.start)

    last = 0.0
    for start, stop, which, piece in marked:
        yield start, at(now[0], start), at(now[1], start)
        now[which] = piece
        yield start, at(now[0], start), at(now[1], start)
        last = max(last, stop)
    yield last, at(now[0], last), at(now[1], last)
