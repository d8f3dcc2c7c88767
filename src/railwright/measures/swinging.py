"""Whether a supply's voltage swings within its readings, as where it goes into its limit again and again."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from railwright.measures.signal import View

SWINGS, NEAR = 3, 0.005
"""So often is the supply seen to go into its limit or out of it, while readings stay within this part of the
level, where the voltage swings within them (chosen).
"""


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
