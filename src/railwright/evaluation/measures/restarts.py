"""Restarts: how often the input current drops out and comes back.

A drop-out is a stretch in which the current is below half of its usual value, or, where it is shorter than
the readings can show wholly, a dip of at least a fifth. A dip while the supply's voltage is falling to a
lower set point is the input capacitor feeding the load, and no drop-out unless the current stays away when
the voltage has settled.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from railwright.evaluation.budget import Budget
from railwright.evaluation.levels import state_levels
from railwright.evaluation.measures.integral import covered
from railwright.evaluation.measures.turning import low_stretches
from railwright.evaluation.outcome import Measured
from railwright.evaluation.signal import Array, CannotMeasure, Signal, View
from railwright.evaluation.wording import amount, rate

LONG_DIP = 0.5
SHORT_DIP = 0.2
BLOCK = 1e-3
"""Samples closer than this are averaged to this: what is shorter is no drop-out [s]."""
AROUND = 5
"""Values on either side whose median is the usual value for a short dip."""
PHASES = 64


def restarts(view: View) -> Measured:
    """Number of drop-outs of the current in the step."""
    current, voltage = view.current(), view.voltage()
    inside = (current.time >= view.begin) & (current.time <= view.end)
    covered(view, current.take(np.flatnonzero(inside)))
    if current.time.size != voltage.time.size:
        raise CannotMeasure("voltage and current were not recorded together", "a recording of both")
    time, amps, volts = _blocks(current.time[inside], current.values[inside], voltage.values[inside])
    usual = _usual(amps, current)
    runs = _drop_outs(amps, volts, usual, _falling_by(volts, voltage))
    seen = len(runs)
    shortest = _shortest_seen(view, time)
    how = f"drop-outs of the current below {amount(usual * LONG_DIP, 'A')} among {time.size} values"
    restart = view.restart
    budget = Budget(view)
    if (
        view.model.exact
        or not view.model.averages
        or (restart is not None and _always_seen(view, time, restart))
    ):
        if restart is not None and view.model.averages:
            how += f"; a restart, with its soft start of {amount(restart, 's')}, always shows"
        return budget.result(float(seen), how)
    unseen = f"a drop-out shorter than {amount(shortest, 's')} can fall between the readings"
    return budget.result(float(seen), how, unseen=unseen, would_decide=rate(shortest / 20.0))


def _blocks(time: Array, amps: Array, volts: Array) -> tuple[Array, Array, Array]:
    """Fine records as means over blocks of BLOCK; slow ones as they are. Shape (m,) each."""
    if time.size < 2 or float(np.median(np.diff(time))) >= BLOCK:
        return time, amps, volts
    grid = np.arange(time[0], time[-1], BLOCK)
    if grid.size < 2:
        return time, amps, volts
    means = []
    for values in (amps, volts):
        steps = np.diff(time) * (values[1:] + values[:-1]) / 2.0
        integral = np.concatenate(([0.0], np.cumsum(steps)))
        means.append(np.diff(np.interp(grid, time, integral)) / BLOCK)
    return (grid[1:] + grid[:-1]) / 2.0, means[0], means[1]


def _usual(amps: Array, current: Signal) -> float:
    levels = state_levels(amps, max(8.0 * current.noise + 2.0 * current.step, 1e-9))
    usual = (
        levels.high
        if not levels.two_states
        else float(np.median(amps[amps > (levels.low + levels.high) / 2.0]))
    )
    typical = float(np.median(amps))
    usual = typical if typical > LONG_DIP * usual else usual
    if usual <= max(10.0 * current.noise, 5.0 * current.step):
        raise CannotMeasure("the current is too small for its drop-outs to show", "a finer current reading")
    return usual


def _falling_by(volts: Array, voltage: Signal) -> float:
    """A voltage falls when it is lower than the value before by more than this [V]."""
    return max(4.0 * voltage.noise + 2.0 * voltage.step, 1e-3 * float(np.median(np.abs(volts))))


def _drop_outs(amps: Array, volts: Array, usual: float, falling_by: float) -> list[tuple[int, int]]:
    low = amps < LONG_DIP * usual
    low |= amps < (1.0 - SHORT_DIP) * _local_median(amps)
    falling = np.concatenate(([False], np.diff(volts) < -falling_by))
    # The values beside a fall hold a part of it in their apertures.
    beside = falling | np.concatenate((falling[1:], [False])) | np.concatenate(([False], falling[:-1]))
    high_before = np.maximum.accumulate(amps >= LONG_DIP * usual)
    return [
        (a, b) for a, b in low_stretches(low) if bool(high_before[a]) and bool(np.any(~beside[a:b])) and a > 0
    ]


def _local_median(values: Array) -> Array:
    padded = np.pad(values, AROUND, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * AROUND + 1)
    medians: NDArray[np.float64] = np.median(windows, axis=1)
    return medians


def _gap(view: View, time: Array) -> tuple[float, float]:
    """Time between two apertures, and the aperture [s]."""
    update, least, _ = view.timing()
    interval = float(np.median(np.diff(time)))
    period = interval if interval > 1.5 * update else max(update, interval)
    return max(0.0, period - least), least


def _shortest_seen(view: View, time: Array) -> float:
    """Length of a full drop-out that shows wherever it falls: the gap, and SHORT_DIP of an aperture on either
    side.
    """
    gap, aperture = _gap(view, time)
    return gap + 2.0 * SHORT_DIP * aperture


def _always_seen(view: View, time: Array, soft_start: float) -> bool:
    """Whether the soft start after even the shortest drop-out lowers a reading by SHORT_DIP, wherever it
    falls.
    """
    gap, aperture = _gap(view, time)
    if aperture <= 0.0:
        return False
    period = gap + aperture
    start = np.linspace(0.0, period, PHASES, endpoint=False)[:, None]
    windows = period * np.arange(-1, int(np.ceil(soft_start / period)) + 2)[None, :]

    def missing(until: Any) -> Any:
        inside = np.clip(until - start, 0.0, soft_start)
        return inside - inside**2 / (2.0 * soft_start)

    deficit = (missing(windows + aperture) - missing(windows)) / aperture
    return bool(np.min(np.max(deficit, axis=1)) > SHORT_DIP)
