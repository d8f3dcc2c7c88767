"""Whether a supply's voltage swings within its readings, as where it goes into its limit again and again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from railwright.measures.signal import View

SWINGS, NEAR = 3, 0.005
"""So often is the supply seen to go into its limit or out of it, while readings stay within this part of the
level, where the voltage swings within them (chosen).
"""


OVERLOADED = "the supply is in its limit, and the voltage does not rise"
"""What is said of readings at which `starving` is true."""


def starving(view: View, level: float | None = None) -> NDArray[np.bool_]:
    """At which values a supply does not feed its load as it should: it is in its limit, and the voltage does
    not rise up to the next reading, as it does where a capacitor is charged. Where polls leave out readings
    it may have risen and fallen between two of them: there it is enough that both find it in the limit. A
    load that stops by itself may then stop and start again within a reading, or between two. Shape (n,) of
    the voltage's values; nowhere, where no load stops or the status is not known.

    level: only readings of this level that the next one shows, too [V].
    """
    import numpy as np

    from railwright.measures.hiding import LEFT_OUT
    from railwright.measures.status import LIMITS

    voltage = view.voltage()
    modes = view.traces.columns.get("mode")
    if view.never_stops or modes is None or modes.size != voltage.time.size or voltage.time.size < 2:
        return np.zeros(voltage.time.size, dtype=bool)
    across, limited = np.abs(voltage.values), np.isin(modes, LIMITS)
    # The next reading that is another one, or the last one.
    apart = view.rows_of_one
    places = np.arange(across.size)
    after = np.minimum(places + apart, across.size - 1)
    limited &= after > places
    found = limited & (across[after] <= across + 4.0 * voltage.noise + 2.0 * voltage.step)
    if view.model.averages and view.interval > LEFT_OUT * (view.model.update or 0.0):
        found |= limited & np.isin(modes, LIMITS)[after]
    if level is not None:
        near = np.abs(voltage.values - level) <= 4.0 * voltage.noise + NEAR * abs(level)
        found &= near & near[after]
    own = (voltage.time >= view.begin) & (voltage.time <= view.end)
    starved: NDArray[np.bool_] = found & own
    return starved


def overloaded(view: View) -> dict[str, str]:
    """What is said of a mean over the step where the supply does not feed its load as it should, at two
    readings in succession: readings that meet the same part of each cycle, or as much of it, are all off
    alike, whatever their neighbours say. A multimeter's readings are means as well; the status is that of the
    supply's readings beside them.
    """
    if not view.model.averages:
        return {}
    own = view
    if "mode" not in view.traces.columns and view.beside is not None:
        # A multimeter knows no status, and perhaps no voltage: the supply's readings tell of both.
        own = view.beside
    if "mode" not in own.traces.columns:
        return {}
    # Whether the voltage rises is seen at either end of the lead, also of one that is not known.
    starved = starving(replace(own, at="connector" if "voltage" in own.traces.columns else "terminals"))
    if not (starved[1:] & starved[:-1]).any():
        return {}
    return {
        "unseen": f"{OVERLOADED}: the load may stop and start again within readings or between them",
        "would_decide": "a recording",
    }


ELSEWHERE = 0.02
"""Part of what the procedure asks for by which a level lies off it, where it is no level that was reached."""


def overloaded_at(view: View, level: float) -> bool:
    """Whether the supply does not feed its load as it should while readings are at one level [V]: they may
    be means of what swings. Where that is the level that was asked for, a status that comes an update late
    tells so of one reading: it takes two in succession.
    """
    starved = starving(view, level)
    if view.goal and abs(level - view.goal) > ELSEWHERE * abs(view.goal):
        return bool(starved.any())
    return bool((starved[1:] & starved[:-1]).any())


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
