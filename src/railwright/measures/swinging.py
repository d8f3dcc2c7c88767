"""Whether a supply's voltage swings within its readings, as where it goes into its limit again and again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from railwright.measures.signal import View

SWINGS, NEAR = 3, 0.005
"""So often is the supply seen to go into its limit or out of it, while readings stay within this part of the
level, where the voltage swings within them (chosen).
"""


HUNTS = (
    "the supply is in its limit at a voltage at which the load may stop and start again and again: a reading "
    "is the mean of what it does then"
)
"""What is said of readings of a load that may hunt (`may_hunt`)."""


def turns(view: View) -> int:
    """How often the voltage turns while the supply is in its limit, up after it went down and down again: a
    load that the supply cannot feed stops and starts. 0, where the status is not known.
    """
    import numpy as np

    from railwright.measures.status import LIMITS

    voltage = view.voltage()
    modes = view.traces.columns.get("mode")
    if modes is None or modes.size != voltage.time.size:
        return 0
    own = (voltage.time >= view.begin) & (voltage.time <= view.end) & np.isin(modes, LIMITS)
    values = np.abs(voltage.values[own])
    visible = 8.0 * voltage.noise + 2.0 * voltage.step
    steps = np.diff(values)
    signs = np.sign(steps[np.abs(steps) > visible])
    return int(np.count_nonzero(signs[1:] != signs[:-1]))


UNSTEADY, SAME = 0.25, 0.05
"""Readings of the current that differ by more than this part of their median, at a voltage that is the same
within that part, are not of a load that draws the same all the time (chosen).
"""


def unsteady(view: View) -> int:
    """How often the current goes up and down again from one reading to the next while the voltage stays. 0
    for a load whose current varies by itself.
    """
    import numpy as np

    voltage, current = view.voltage(), view.current()
    if view.least_running or voltage.time.size != current.time.size:
        return 0
    own = (voltage.time >= view.begin) & (voltage.time <= view.end)
    if not own.any():
        return 0
    across = np.abs(voltage.values)
    level = float(np.median(across[own & (across >= np.max(across[own]) / 2.0)]))
    near = own & (np.abs(across - level) <= SAME * level)
    usual = float(np.median(current.values[near])) if near.any() else 0.0
    steps = np.where(near[1:] & near[:-1], np.diff(current.values), 0.0)
    signs = np.sign(steps[np.abs(steps) > max(UNSTEADY * usual, 8.0 * current.noise)])
    return int(np.count_nonzero(signs[1:] != signs[:-1]))


WANDERS = 0.03
"""Readings of the current that differ by more than this part, at one voltage of the supply, are not of a load
that runs as it did (chosen).
"""


def wanders(view: View, settles: float, apart: Sequence[tuple[float, float]]) -> int:
    """How often the current changes from one reading to the next while the voltage of the supply is the same,
    up as well as down, and later than `settles` [s] after it last moved, or after a drop-out (`apart`: from
    when to when [s]): a load of constant power that runs behind a resistance draws the same all the time. 0
    for one whose current varies by itself.
    """
    import numpy as np

    from railwright.measures.windows import new_rows

    column = "terminal_voltage" if "terminal_voltage" in view.traces.columns else "voltage"
    volts, current, known = view.traces.columns.get(column), view.current(), view.voltage()
    if view.least_running or volts is None or volts.size != current.time.size:
        return 0
    rows = np.flatnonzero((current.time >= view.begin) & (current.time <= view.end))
    rows = rows[new_rows(view, current.time[rows], current.values[rows])]
    if rows.size < SWINGS + 1:
        return 0
    time, volts, amps = current.time[rows], volts[rows], current.values[rows]
    visible = 6.0 * known.noise + 2.0 * known.step
    stays = np.abs(np.diff(volts)) <= visible
    since = np.maximum.accumulate(np.where(np.append(True, ~stays), time, time[0]))
    settled = stays & (time[1:] - since[1:] > settles + (view.model.update or 0.0) + view.interval)
    near, told = (view.model.update or 0.0) + view.interval, np.count_nonzero(settled)
    for first, last in apart:
        settled &= (time[1:] < first - near) | (time[:-1] > last + near + settles)
    if 2 * np.count_nonzero(settled) < told and len(apart) >= SWINGS:
        return len(apart)  # they follow one another so closely that it hardly runs as it did
    steps = np.diff(amps)
    least = np.maximum(WANDERS * np.abs(amps[1:]), 8.0 * current.noise + 2.0 * current.step)
    changes = settled & (np.abs(steps) > least)
    both = bool((steps[changes] > 0.0).any()) and bool((steps[changes] < 0.0).any())
    return int(np.count_nonzero(changes)) if both else 0


def may_hunt(view: View, level: float) -> bool:
    """Whether the load may stop and start within readings that show this level [V]: the supply is in its
    limit all the time that they do, and the load, once it has stopped, is not back yet at that level.
    """
    import numpy as np

    from railwright.measures.status import LIMITS

    voltage = view.voltage()
    modes = view.traces.columns.get("mode")
    if view.starts_at is None or view.stops_at is None or not view.model.averages:
        return False
    if modes is None or modes.size != voltage.time.size:
        return False
    visible = 4.0 * voltage.noise + NEAR * abs(level)
    own = (voltage.time >= view.begin) & (voltage.time <= view.end)
    near = own & (np.abs(voltage.values - level) <= visible)
    limited = bool(near.any()) and bool(np.isin(modes[near], LIMITS).all())
    return limited and view.stops_at[0] - visible <= abs(level) <= view.starts_at + visible


def swings(view: View, level: float) -> int:
    """How often the supply goes into its limit, or out of it, between two readings that both show the level
    [V]: it does not hold the voltage all the time then. 0, where its status is not known.
    """
    import numpy as np

    from railwright.measures.status import LIMITS

    voltage = view.voltage()
    modes = view.traces.columns.get("mode")
    if modes is None or modes.size != voltage.time.size:
        return 0
    own = (voltage.time >= view.begin) & (voltage.time <= view.end)
    near = own & (np.abs(voltage.values - level) <= 4.0 * voltage.noise + NEAR * abs(level))
    limited = np.isin(modes, LIMITS)
    changed = limited[1:] != limited[:-1]
    return int(np.count_nonzero(changed & near[1:] & near[:-1]))
