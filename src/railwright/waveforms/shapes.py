"""Shapes: what a voltage is to do over time, as pieces, and the moves of the set point that play them.

No numpy here: a check of a document that only holds, steps and ramps must not wait for it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Literal, NamedTuple

CHORDS = 32
"""Straight lines in which one period of a sine is played. They leave it by at most 1 − cos(π/32) of its
amplitude, 0.24 % of its peak-to-peak value; four divides it, so that both peaks are met.
"""

CHORD_ERROR = 0.0025
"""Largest distance of the chords from a sine or an exponential, in parts of the whole change."""

MOST_MOVES = 1_000_000
"""Moves that one shape may come to, all its repeats counted."""

Path = tuple[str | int, ...]
"""Where something is written in a document."""

Positions = tuple[int, ...]
"""A piece among some pieces, and inside repeats among theirs."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Stay for a time [s]."""

    duration: float


@dataclass(frozen=True, slots=True)
class Jump:
    """At once to a voltage [V]."""

    voltage: float


@dataclass(frozen=True, slots=True)
class Line:
    """In a straight line to a voltage [V] in a time [s]."""

    voltage: float
    duration: float


@dataclass(frozen=True, slots=True)
class Exponential:
    """Towards a voltage [V] with a time constant [s], for a time [s]; it ends where it has got to by then."""

    voltage: float
    time_constant: float
    duration: float


@dataclass(frozen=True, slots=True)
class Ripple:
    """A sine or trapezoid about a level for a time [s]; after it the set point is at the level again.

    peak_to_peak [V]; frequency [Hz]; edge: duration of a trapezoid's whole edge [s], at most half a period
    (then it is a triangle); on: the level [V], None: the present one. Begins upwards from the level.
    """

    form: Literal["sine", "trapezoid"]
    peak_to_peak: float
    frequency: float
    duration: float
    edge: float = 0.0
    on: float | None = None


@dataclass(frozen=True, slots=True)
class Off:
    """The output switched off for a time [s], then on again and to the voltage it had."""

    duration: float


@dataclass(frozen=True, slots=True)
class Limit:
    """From here on this current limit [A]."""

    current: float


@dataclass(frozen=True, slots=True)
class Wait:
    """Everything stays until a trigger or a key comes; a run gives up after `time_out` [s]."""

    source: Literal["trigger", "key"]
    time_out: float


@dataclass(frozen=True, slots=True)
class Repeat:
    """Pieces played `times` times, with a pause [s] between."""

    pieces: tuple[Piece, ...]
    times: int
    pause: float = 0.0


Piece = Hold | Jump | Line | Exponential | Ripple | Off | Limit | Wait | Repeat

GLIDING = (Exponential, Ripple)
"""Pieces that are played in many short lines, none of which is an edge of its own."""


class ShapeMove(NamedTuple):
    """One thing done at `time` [s].

    line: the set point to `value` [V] in `over` [s] (0: a step). off; on: as it says, `value` unused. limit:
    the current limit to `value` [A]. wait: for what `piece` says. end: nothing, all pieces are over. path:
    positions of the piece and its parents among the pieces. piece: what it belongs to.
    """

    time: float
    kind: Literal["line", "on", "off", "limit", "wait", "end"]
    value: float
    over: float
    path: Positions
    piece: Piece | None


def moves(pieces: Sequence[Piece], level: float, start: float = 0.0) -> Iterator[ShapeMove]:
    """The moves that play some pieces from `start` [s] on, the set point being at `level` [V].

    The last one is of the kind 'end'.
    """
    return _played(pieces, level, start, ())


def _played(pieces: Sequence[Piece], level: float, now: float, path: Positions) -> Iterator[ShapeMove]:
    for number, piece in enumerate(pieces):
        here = (*path, number)
        if type(piece) is Hold:
            now += piece.duration
        elif type(piece) is Jump:
            level = piece.voltage
            yield ShapeMove(now, "line", level, 0.0, here, piece)
        elif type(piece) is Line:
            level = piece.voltage
            yield ShapeMove(now, "line", level, piece.duration, here, piece)
            now += piece.duration
        elif type(piece) is Exponential or type(piece) is Ripple:
            at = 0.0
            for time, voltage in _corners(level, piece):
                if voltage != level:
                    yield ShapeMove(now + at, "line", voltage, time - at, here, piece)
                at, level = time, voltage
            now += piece.duration
        elif type(piece) is Off:
            yield ShapeMove(now, "off", 0.0, 0.0, here, piece)
            now += piece.duration
            yield ShapeMove(now, "on", 0.0, 0.0, here, piece)
            yield ShapeMove(now, "line", level, 0.0, here, piece)
        elif type(piece) is Limit:
            yield ShapeMove(now, "limit", piece.current, 0.0, here, piece)
        elif type(piece) is Wait:
            yield ShapeMove(now, "wait", 0.0, 0.0, here, piece)
        elif type(piece) is Repeat:
            for turn in range(piece.times):
                if turn:
                    now += piece.pause
                for move in _played(piece.pieces, level, now, here):
                    if move.kind == "end":
                        now = move.time
                        continue
                    if move.kind == "line":
                        level = move.value
                    yield move
    yield ShapeMove(now, "end", level, 0.0, path, None)


def _corners(level: float, piece: Exponential | Ripple) -> Iterable[tuple[float, float]]:
    if isinstance(piece, Exponential):
        return exponential_corners(level, piece)
    return ripple_corners(level if piece.on is None else piece.on, piece)


def exponential_corners(level: float, piece: Exponential) -> list[tuple[float, float]]:
    """Corners (time [s], voltage [V]) of chords of an exponential from `level`, the first at its beginning.

    The chords are of equal error, at most `CHORD_ERROR` of the whole change: the second derivative falls with
    the time constant, so their length grows as exp(t / 2τ).
    """
    change, tau = level - piece.voltage, piece.time_constant
    span = -math.expm1(-piece.duration / (2.0 * tau))
    count = max(1, math.ceil(2.0 * span / math.sqrt(8.0 * CHORD_ERROR)))
    times = [-2.0 * tau * math.log1p(-span * k / count) for k in range(count)]
    times.append(piece.duration)
    return [(time, piece.voltage + change * math.exp(-time / tau)) for time in times]


def _period(piece: Ripple) -> list[tuple[float, float]]:
    """Corners of one period about zero, in parts of period and amplitude; from (0, 0) to (1, 0)."""
    if piece.form == "sine":
        return [(k / CHORDS, math.sin(2.0 * math.pi * k / CHORDS)) for k in range(CHORDS)] + [(1.0, 0.0)]
    half = piece.edge * piece.frequency / 2.0
    return [(0.0, 0.0), (half, 1.0), (0.5 - half, 1.0), (0.5 + half, -1.0), (1.0 - half, -1.0), (1.0, 0.0)]


def ripple_corners(level: float, piece: Ripple) -> Iterator[tuple[float, float]]:
    """Corners (time [s], voltage [V]) of a ripple about `level`; the last is at `level` at its end."""
    amplitude, period, end = piece.peak_to_peak / 2.0, 1.0 / piece.frequency, piece.duration
    shape = [(part * period, level + amplitude * part_of) for part, part_of in _period(piece)]
    whole = round(end * piece.frequency)
    turns = whole if abs(end * piece.frequency - whole) < 1e-9 else math.ceil(end * piece.frequency)
    before = (0.0, level)
    yield before
    for turn in range(turns):
        for time, voltage in shape[1:]:
            now = turn * period + time
            if now > end * (1.0 + 1e-12):
                if end > before[0]:
                    part = (end - before[0]) / (now - before[0])
                    yield end, before[1] + part * (voltage - before[1])
                yield end, level
                return
            before = (min(now, end), voltage)
            yield before
    if before[1] != level:
        yield end, level


def count_of(pieces: Sequence[Piece]) -> float:
    """Most moves that some pieces come to, without playing them; a float, as it may be beyond any bound.

    Each turn of a repeat counts as one at least: it is gone through, though nothing may move in it.
    """
    total = 0.0
    for piece in pieces:
        if isinstance(piece, Repeat):
            total += piece.times * max(1.0, count_of(piece.pieces))
        elif isinstance(piece, Ripple):
            total += (CHORDS if piece.form == "sine" else 6) * (piece.duration * piece.frequency + 1.0)
        elif isinstance(piece, Exponential):
            total += 2.0 / math.sqrt(8.0 * CHORD_ERROR) + 1.0
        elif not isinstance(piece, Hold):
            total += 3.0 if isinstance(piece, Off) else 1.0
    return total


def duration_of(pieces: Sequence[Piece]) -> float:
    """Time that some pieces take, waiting left out [s]."""
    return math.fsum(_duration(piece) for piece in pieces)


def _duration(piece: Piece) -> float:
    if isinstance(piece, Repeat):
        return piece.times * duration_of(piece.pieces) + (piece.times - 1) * piece.pause
    return 0.0 if isinstance(piece, Jump | Limit | Wait) else piece.duration


def flat(pieces: Sequence[Piece]) -> Iterator[Piece]:
    """Every piece, those inside repeats once, the repeats themselves left out."""
    return chain.from_iterable(flat(p.pieces) if isinstance(p, Repeat) else (p,) for p in pieces)
