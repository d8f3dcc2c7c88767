"""The best stepping list: levels held one after the other, in the maximum norm, changed at any instant.

A level can serve a stretch within a tolerance where the waveform's values there span twice the tolerance at
most. The longest stretch from the left again and again is best: whatever other stretches there were, these
reach as far with as many (the usual exchange argument). One pass, linear in the rows. The least error for a
number of points is found by bisection over the error, down to two neighbouring numbers: with one the pass
needs too many points, with the other it does not.
"""

from __future__ import annotations

import math

import numpy as np

from railwright.compilation import FLOAT, GIVEN, VECTOR, compiled
from railwright.waveforms.compiled import compiled_entry
from railwright.waveforms.fit import Fit, tidy
from railwright.waveforms.waveform import Array, Waveform


def least_error_steps(wave: Waveform, points: int) -> Fit:
    """The stepping fit of at most `points` levels with the least error, to the last bit (gap 0).

    Raises ValueError for no point.
    """
    if points < 1:
        raise ValueError(f"one point at least is needed, got {points}")
    wave = tidy(wave)
    time, value = wave.time, wave.value
    breaks, levels = np.empty(points), np.empty(points)
    enough, short = float(np.ptp(value)), -1.0
    if enough and _steps(time, value, 0.0, breaks, levels)[0] <= points:
        enough = 0.0
    while short < (below := math.nextafter(enough, -1.0)) and enough > 0.0:
        middle = min(0.5 * (max(short, 0.0) + enough), below)
        count, spanned = _steps(time, value, middle, breaks, levels)
        if count <= points:
            # What it really spans is a span of values that occurs: often the bisection ends with it.
            enough = min(spanned, middle)
        else:
            short = middle
    count, spanned = _steps(time, value, enough, breaks, levels)
    if wave.duration == 0.0:
        return Fit(wave, 1, 0.0, 0.0)
    edges = np.concatenate(([0.0], breaks[: count - 1], [wave.duration]))
    made = Waveform(np.repeat(edges, 2)[1:-1], np.repeat(levels[:count], 2))
    return Fit(made, count, 0.5 * spanned, 0.0)


@compiled
def _greedy(time: Array, value: Array, span: float, breaks: Array, levels: Array) -> tuple[int, float]:
    """What `_steps` gives. Apart from it: a loop is a third slower in a function that may also raise."""
    low = high = value[0]
    count, spanned, most = 1, 0.0, breaks.size
    for row in range(1, time.size):
        x = value[row]
        if low <= x <= high:
            continue
        if max(x, high) - min(x, low) <= span:
            low, high = min(x, low), max(x, high)
            continue
        before, length = value[row - 1], time[row] - time[row - 1]
        while max(x, high) - min(x, low) > span:
            begins, at = x, time[row]
            if length > 0.0:
                # A straight line leaves the span within this row: the next level begins right there.
                begins = low + span if x > high else high - span
                at -= length * min(max((x - begins) / (x - before), 0.0), 1.0)
                low, high = min(begins, low), max(begins, high)
            breaks[count - 1], levels[count - 1] = at, 0.5 * (low + high)
            spanned = max(spanned, high - low)
            low = high = begins
            count += 1
            if count > most:
                return count, spanned
        low, high = min(x, low), max(x, high)
    levels[count - 1] = 0.5 * (low + high)
    return count, max(spanned, high - low)


@compiled_entry(GIVEN, GIVEN, FLOAT, VECTOR, VECTOR)
def _steps(time: Array, value: Array, span: float, breaks: Array, levels: Array) -> tuple[int, float]:
    """Levels of the greedy fit: how many, and the largest span of values that one of them stands for.

    breaks, levels (most,): where each ends, and what it is. It stops at the first level beyond `most`. Raises
    ValueError where sizes do not fit together.
    """
    if time.size < 1 or value.size != time.size or breaks.size < 1 or levels.size != breaks.size:
        raise ValueError("time and value, breaks and levels: expected as many of each, one at least")
    return _greedy(time, value, span, breaks, levels)
