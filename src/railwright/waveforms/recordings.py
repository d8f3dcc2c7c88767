"""From a recording's samples to a waveform, and on to a shape's pieces: few lines within a bound."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from railwright.quantities.parsing import SMALLEST
from railwright.waveforms.fit import just_before, tidy
from railwright.waveforms.fit_lines import fewest_lines
from railwright.waveforms.fit_samples import FEWEST, breaks_refined, levels_of, lines_of
from railwright.waveforms.noise import noise_of, stretches_of
from railwright.waveforms.shapes import Hold, Jump, Line, Piece
from railwright.waveforms.tunnel import Flags
from railwright.waveforms.waveform import Array, Waveform


class NoRecording(ValueError):
    """Samples that make no waveform; `row` is where that shows, counted from 0."""

    def __init__(self, row: int, told: str) -> None:
        super().__init__(told)
        self.row, self.told = row, told


def from_samples(
    time: Array, value: Array, begin: float = 0.0, end: float | None = None
) -> tuple[Waveform, tuple[str, ...]]:
    """The waveform of samples (n,) at times (n,) [s after the recording's first], or its part from begin to
    end [s].

    time: rising or staying from row to row; finite, as value is. Of a part, one sample on either side of it
    suffices. Gives what was made of the times beside it, for people. Two samples at one time are a jump.
    Raises NoRecording where there are no two times, or where two are nearer than anything that is played.
    """
    if time.size < 2 or time[-1] == time[0]:
        raise NoRecording(0, f"expected samples at two times at least, got {time.size} at one")
    gaps = np.diff(time)
    near = np.flatnonzero((gaps > 0.0) & (gaps < SMALLEST))
    if near.size:
        told = f"expected samples at one time or {SMALLEST:g} s apart at least, got two that are nearer"
        raise NoRecording(int(near[0]) + 1, told)
    notes = []
    usual, longest = float(np.median(gaps)), float(gaps.max())
    if usual > 0.0 and longest > 10.0 * usual:
        notes.append(
            f"a gap of {longest:.6g} s at {time[int(gaps.argmax())]:.6g} s, where samples are usually "
            f"{usual:.3g} s apart: a straight line over it"
        )
    whole, until = Waveform(time - time[0], value), time[-1] if end is None else min(end, time[-1])
    if begin <= time[0] and until >= time[-1]:
        return whole, tuple(notes)
    inside = (time > begin) & (time < until)
    ends = whole.at(np.array([begin, until]) - time[0])
    return (
        Waveform(
            np.concatenate(([0.0], time[inside] - begin, [until - begin])),
            np.concatenate((ends[:1], value[inside], ends[1:])),
        ),
        tuple(notes),
    )


PART = 0.0025
"""Deviation with which lines stand for a recording, in parts of its span: as chords do for other shapes."""

MOST_LINES = 10_000
"""Lines that may stand for one recording; where that is too few, they deviate by more, and it is said."""


@dataclass(frozen=True, eq=False, slots=True)
class FittedLines:
    """A recording as few straight lines and jumps.

    wave: what they make. points: lines. error: largest deviation from the samples apart from jumps [their
    unit], noise and all; rms: the same, r.m.s. over the samples. noise: estimated r.m.s. of the samples' own
    noise, which is not followed; 0: none shows. jumps: edges that happen at once.
    """

    wave: Waveform
    points: int
    error: float
    rms: float
    noise: float
    jumps: int


LEVEL_ROWS = 8
"""A line of fewer samples is not made level."""

SURE = 4.0
"""A line that rises by less than so many standard errors of its rise is level."""

LARGE = 128
"""Power of two beyond which numbers are divided by it before they are squared and summed."""

CLEAN = 0.2
"""Part of the bound that counts as noise where there is none to speak of."""


def few_lines(wave: Waveform, part: float = PART, most: int = MOST_LINES) -> FittedLines:
    """Few lines that stand for samples, their jumps kept; at most so many.

    Edges between two samples, or with one sample on the way, are jumps (`noise.stretches_of`). Without noise
    to speak of the lines between jumps are the fewest within a part of the span; where more would be needed,
    the deviation is doubled until they are enough. Levels are those of the least squares, as far as that
    keeps within the deviation, and a line that is all but level is level. Where noise is more than that, the
    lines follow what stands out of it.
    """
    wave = tidy(wave)
    powers = _power(wave.time), _power(wave.value)
    if powers != (0, 0):
        near = Waveform(np.ldexp(wave.time, -powers[0]), np.ldexp(wave.value, -powers[1]))
        return _as_large(few_lines(near, part, most), *powers)
    noise = noise_of(wave)
    parts = stretches_of(wave, noise, most)
    if parts.begin.size > most:
        raise ValueError(f"at most {most} stretches without a jump can be played, got {parts.begin.size}")
    tolerance = part * float(np.ptp(wave.value))
    wide = noise * (1.0 + math.sqrt(2.0 * math.log(max(2, wave.time.size))))
    noisy = wide > tolerance
    each = list(zip(*(a.tolist() for a in (parts.begin, parts.end, parts.opens, parts.closes)), strict=True))
    bound = wide if noisy else tolerance
    while True:
        made = [_stretch(wave, begin, end, opens, closes, bound) for begin, end, opens, closes in each]
        if sum(time.size - 1 for time, _ in made) <= most:
            break
        bound *= 2.0
    if noisy:
        room = most - sum(time.size - 1 for time, _ in made)
        pieces: list[tuple[Array, Array]] = []
        for (begin, end, opens, closes), (time, value) in zip(each, made, strict=True):
            rows = wave.time[begin:end], wave.value[begin:end]
            found = _through_noise(*rows, opens, closes, time, value, noise, tolerance, room)
            room -= sum(one.size - 1 for one, _ in found) - (time.size - 1)
            pieces += found
    else:
        pieces = [
            _without_noise(wave.time[begin:end], wave.value[begin:end], opens, closes, time, value, bound)
            for (begin, end, opens, closes), (time, value) in zip(each, made, strict=True)
        ]
    time = np.concatenate([one for one, _ in pieces])
    whole = Waveform(np.maximum.accumulate(time), np.concatenate([one for _, one in pieces]))
    kept = np.concatenate([np.arange(begin, end) for begin, end, _, _ in each])
    off = _away(wave, kept, whole, parts.closes[:-1])
    jumps = int(np.count_nonzero(np.diff(whole.time) == 0.0))
    rms = float(np.sqrt(np.mean(off**2)))
    return FittedLines(whole, time.size - len(pieces), float(np.abs(off).max()), rms, noise, jumps)


def _power(each: Array) -> int:
    """Power of two by which numbers are to be divided so that no square of them is beyond any number."""
    power = int(np.frexp(np.abs(each).max())[1])
    return power if abs(power) > LARGE else 0


def _as_large(made: FittedLines, time: int, value: int) -> FittedLines:
    """Lines whose time and value were divided by these powers of two as they are."""
    wave = Waveform(np.ldexp(made.wave.time, time), np.ldexp(made.wave.value, value))
    error, rms, noise = (math.ldexp(each, value) for each in (made.error, made.rms, made.noise))
    return FittedLines(wave, made.points, error, rms, noise, made.jumps)


def _stretch(
    wave: Waveform, begin: int, end: int, opens: float, closes: float, bound: float
) -> tuple[Array, Array]:
    """The fewest lines (m + 1 instants, as many levels) through rows within a bound, from opens to closes."""
    time, value = wave.time[begin:end], wave.value[begin:end]
    if begin + 1 == end or bound == 0.0:
        ends = np.array([opens, closes])
        return ends, np.full(2, value[0])
    fit = fewest_lines(Waveform(time - time[0], value), bound)
    assert fit is not None  # a stretch has no jump
    meets = fit.wave.time + time[0]
    meets[0], meets[-1] = opens, closes
    return meets, fit.wave.value


# Many: a stretch's samples and instants, the lines to begin with, and what counts as noise and as level.
def _through_noise(
    time: Array,
    value: Array,
    opens: float,
    closes: float,
    meets: Array,
    prior: Array,
    noise: float,
    tolerance: float,
    room: int,
) -> list[tuple[Array, Array]]:
    """The lines of one stretch by what stands out of noise; several where there are jumps in it.

    room: lines that there may be more than there are.
    """
    if time.size < 2 * FEWEST:
        return [(meets, _levelled(time, value, meets, prior, math.inf, noise, tolerance))]
    breaks = np.searchsorted(time, meets[:-1])
    breaks[0] = 0
    breaks = breaks_refined(time, value, breaks, noise, tolerance, meets.size - 1 + max(0, room))
    instants, jumps = lines_of(time, value, breaks, noise, tolerance)
    instants[0], instants[-1] = opens, closes
    found = []
    for first, last in zip(np.append(0, jumps), np.append(jumps, instants.size - 1), strict=True):
        own = instants[first : last + 1]
        rows = slice(*np.searchsorted(time, own[[0, -1]]).tolist())
        if last == instants.size - 1:
            rows = slice(rows.start, time.size)
        levels = np.interp(own, time, value)
        found.append((own, _levelled(time[rows], value[rows], own, levels, math.inf, noise, tolerance)))
    return found


def _without_noise(
    time: Array, value: Array, opens: float, closes: float, meets: Array, prior: Array, bound: float
) -> tuple[Array, Array]:
    """The lines of one stretch within a bound, as few as those given: those of the least squares, where they
    keep within it.
    """
    found = _through_noise(time, value, opens, closes, meets, prior, CLEAN * bound, bound, 0)
    if len(found) == 1 and found[0][0].size <= meets.size:
        own, levels = found[0]
        if np.abs(np.interp(time, own, levels) - value).max() <= bound:
            return own, levels
    return meets, _levelled(time, value, meets, prior, bound, 0.0)


def _levelled(
    time: Array,
    value: Array,
    meets: Array,
    prior: Array,
    bound: float,
    noise: float,
    tolerance: float | None = None,
) -> Array:
    """Levels where lines through samples meet: of the least squares, all but level lines level, as far as
    that keeps within the bound; prior: levels that do.

    noise: r.m.s. of the samples' own. tolerance: what counts as level in any case, None: half the bound.
    """
    if time.size == 1 or np.ptp(value) == 0.0:
        return np.full(meets.size, value[0])
    free = np.arange(meets.size)
    levels = levels_of(time, value, meets, prior, free)
    even = 0.5 * (bound if tolerance is None else tolerance)
    if math.isinf(even):
        even = 0.0
    level = _level_lines(time, meets, levels, even, noise)
    same = np.concatenate(([0], np.cumsum(~level)))
    flat = levels_of(time, value, meets, prior, same) if level.any() else levels
    if math.isinf(bound):
        return flat
    base = np.where(np.append(level, False) | np.append(False, level), flat, prior)
    for goal, start in ((flat, base), (levels, prior)):
        for share in (1.0, 0.75, 0.5, 0.25, 0.0):
            tried: Array = goal if share == 1.0 else start + share * (goal - start)
            if np.abs(np.interp(time, meets, tried) - value).max() <= bound:
                return tried
    return prior


def _level_lines(time: Array, meets: Array, levels: Array, even: float, noise: float) -> Flags:
    """Which lines (m,) are all but level: longer ones first, and none beside another."""
    rows = np.diff(np.searchsorted(time, meets, side="right"))
    change = np.abs(np.diff(levels))
    small = (rows >= LEVEL_ROWS) & (
        change <= np.maximum(even, SURE * noise * np.sqrt(12.0 / np.maximum(rows, 1)))
    )
    level = np.zeros(rows.size, bool)
    for line in sorted(np.flatnonzero(small).tolist(), key=lambda line: -rows[line]):
        level[line] = not level[max(0, line - 1) : line + 2].any()
    return level


def _away(wave: Waveform, kept: NDArray[np.int64], made: Waveform, jumps: Array) -> Array:
    """How far the lines are from the rows that count (m,), from both sides where they jump at such a row."""
    time, value = wave.time[kept], wave.value[kept]
    before = np.isin(time, jumps) & (np.diff(time, append=np.inf) == 0.0)
    result: Array = np.where(before, just_before(made, time), made.at(time)) - value
    return result


def as_pieces(wave: Waveform) -> tuple[Piece, ...]:
    """A waveform as pieces of a shape: at once to its first value, then its lines and jumps."""
    pieces: list[Piece] = [Jump(float(wave.value[0]))]
    level = float(wave.value[0])
    for over, value in zip(np.diff(wave.time).tolist(), wave.value[1:].tolist(), strict=True):
        if over == 0.0:
            pieces.append(Jump(value))
        elif value == level:
            pieces.append(Hold(over))
        else:
            pieces.append(Line(value, over))
        level = value
    return tuple(pieces)
