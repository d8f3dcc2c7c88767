"""The best interpolating list: straight lines that join on, in the maximum norm, meeting at any instant and
value.

The class: all continuous functions of so many straight lines. A supply that goes from point to point in lines
makes just these. Within a tolerance the lines must stay in the tunnel from so much below the waveform to so
much above it; the fewest there are by `tunnel.tunnel_lines`. The least error for a number of lines is found
by bisection over the error, of a long waveform with few of its rows at first: what few rows allow is a lower
bound of the error, what the lines found so really make an upper one, and the rows where they are worst join
the few until the bounds meet.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from railwright.waveforms.fit import Fit, deviation, just_before, tidy
from railwright.waveforms.tunnel import Flags, tunnel_lines, worst_rows
from railwright.waveforms.waveform import Array, Waveform

EXACTNESS = 1e-9
"""Where the search ends: part of the waveform's span by which the error may lie above the optimum."""

BLOCK = 256
"""Rows of which two stand for all at first: the lowest and the highest."""

LONG = 64 * BLOCK
"""From so many rows on not all are looked at in every pass."""

MOST_TURNS = 40
"""After so many times of adding rows all are looked at."""


def fewest_lines(wave: Waveform, tolerance: float) -> Fit | None:
    """The interpolating fit with the fewest lines that stays within `tolerance` [the waveform's unit, > 0].

    None where the waveform jumps by more than twice the tolerance: no lines follow a jump. Raises ValueError
    where the tolerance is none.
    """
    if not tolerance > 0.0:
        raise ValueError(f"a tolerance above 0 is needed, got {tolerance}")
    wave = tidy(wave)
    if wave.duration == 0.0:
        return Fit(wave, 1, 0.0, 0.0)
    if largest_jump(wave) > 2.0 * tolerance:
        return None
    rows, most = _Rows(wave, np.ones(wave.time.size, bool)), 1024
    while (lines := rows.lines(tolerance, most)) is None:
        if most > wave.time.size:
            raise ValueError(f"its values, up to {np.abs(wave.value).max():g}, are too far apart to be told")
        most *= 4
    made = _meeting(lines, wave.duration)
    return Fit(made, lines.shape[0], deviation(wave, made), 0.0)


def least_error_lines(wave: Waveform, points: int) -> Fit:
    """The interpolating fit of at most `points` lines with the least error, and how far it may be above it.

    Raises ValueError for no point.
    """
    if points < 1:
        raise ValueError(f"one point at least is needed, got {points}")
    wave = tidy(wave)
    span = float(np.ptp(wave.value))
    if span == 0.0:
        ends = wave.time[[0, -1]] if wave.duration else wave.time
        return Fit(Waveform(ends, np.full(ends.size, wave.value[0])), 1, 0.0, 0.0)
    # The middle of the span is one line; half the largest jump is beyond any lines.
    middle = float(wave.value.min() + 0.5 * span)
    made = Waveform(np.array([0.0, wave.duration]), np.array([middle, middle]))
    short, error, close = 0.5 * largest_jump(wave), 0.5 * span, EXACTNESS * span
    chosen = _first_rows(wave)
    for turn in range(MOST_TURNS):
        if error - short <= close:
            break
        if turn == MOST_TURNS - 2:
            chosen[:] = True
        rows = _Rows(wave, chosen)
        # While the bounds are far apart it is of no use to know one of them closely.
        near = close if chosen.all() else max(close, 0.05 * (error - short))
        short, enough, lines = rows.least(points, short, error + 0.25 * close, near)
        tried = _meeting(lines, wave.duration)
        really, worst = _worst(wave, tried, enough)
        if really < error:
            error, made = really, tried
        chosen[worst] = True
    return Fit(made, made.time.size - 1, error, max(0.0, error - short))


def largest_jump(wave: Waveform) -> float:
    """Height of the highest jump [the waveform's unit]; 0: it has none."""
    jumps = np.abs(np.diff(wave.value)[np.diff(wave.time) == 0.0])
    return float(jumps.max()) if jumps.size else 0.0


def _first_rows(wave: Waveform) -> Flags:
    """The rows to begin with: all of a short waveform, else the ends, and two of each block."""
    rows = wave.time.size
    if rows < LONG:
        return np.ones(rows, bool)
    chosen = np.zeros(rows, bool)
    whole = wave.value[: rows - rows % BLOCK].reshape(-1, BLOCK)
    begins = np.arange(0, whole.size, BLOCK)
    chosen[begins + whole.argmin(axis=1)] = chosen[begins + whole.argmax(axis=1)] = True
    chosen[[0, -1]] = True
    return chosen


def _worst(wave: Waveform, made: Waveform, beyond: float) -> tuple[float, NDArray[np.int64]]:
    """Largest deviation at any instant, and the rows to add: the worst of each block where it lies beyond a
    bound, and those around each instant where lines meet.
    """
    worst = np.empty(-(-wave.time.size // BLOCK), np.int64)
    largest = worst_rows(wave.time, wave.value, made.time, made.value, BLOCK, worst)
    meets, level = made.time, made.value
    off = np.maximum(
        np.abs(wave.at(meets[:-1]) - level[:-1]), np.abs(just_before(wave, meets[1:]) - level[1:])
    )
    row = np.clip(np.searchsorted(wave.time, meets), 1, wave.time.size - 1)
    far = np.abs(wave.value[worst] - made.at(wave.time[worst])) > beyond
    return max(largest, float(off.max())), np.concatenate((worst[far], row - 1, row))


class _Rows:
    """Rows of a waveform that are looked at, with room to work in."""

    def __init__(self, wave: Waveform, chosen: Flags) -> None:
        index = np.flatnonzero(chosen)
        self.time, self.value = wave.time[index], wave.value[index]
        self.joined = np.concatenate(([False], np.diff(index) == 1))
        self.room = np.empty((2, index.size + 2)), np.empty((2, index.size + 2))

    def lines(self, tolerance: float, most: int) -> Array | None:
        """The fewest lines (n, 5), see `tunnel_lines`; None: more than `most`."""
        lines = np.empty((most, 5))
        count = tunnel_lines(self.time, self.value, self.joined, tolerance, lines, *self.room)
        return lines[:count] if count <= most else None

    def least(self, points: int, short: float, enough: float, near: float) -> tuple[float, float, Array]:
        """An error that so many lines cannot have, one that they can, nearer than `near`, and those lines."""
        found = None
        while enough - short > near or found is None:
            middle = 0.5 * (short + enough) if enough - short > near else enough
            lines = self.lines(middle, points)
            if lines is not None:
                enough, found = middle, lines
            elif middle < enough:
                short = middle
            else:
                # Rounding: what was measured of lines found before does not quite do here.
                enough += near
        return short, enough, found


def _meeting(lines: Array, duration: float) -> Waveform:
    """The lines (n, 5) as one waveform: each meets the next within the window between them."""
    at, value, slope, opens, closes = lines.T
    above = (
        value[1:] + slope[1:] * (closes[:-1] - at[1:]) - (value[:-1] + slope[:-1] * (closes[:-1] - at[:-1]))
    )
    turn = slope[1:] - slope[:-1]
    meets = closes[:-1] - np.divide(above, turn, out=np.zeros_like(above), where=turn != 0.0)
    time = np.concatenate(([0.0], np.clip(meets, opens[:-1], closes[:-1]), [duration]))
    level = value + slope * (time[:-1] - at)
    return Waveform(time, np.append(level, value[-1] + slope[-1] * (duration - at[-1])))
