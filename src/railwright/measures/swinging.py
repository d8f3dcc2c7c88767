"""Whether a supply's voltage swings within its readings, as where it goes into its limit again and again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from railwright.measures.outcome import CannotMeasure

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from railwright.measures.signal import Array, Signal, View

SWINGS, NEAR = 3, 0.005
"""So often is the supply seen to go into its limit or out of it, while readings stay within this part of the
level, where the voltage swings within them (chosen).
"""


OVERLOADED = (
    "the supply is in its limit, and the voltage does not rise: the load may stop and start again within "
    "readings or between them"
)
"""What is said of readings at which `starving` is true."""


STILL = 1e-3
"""A voltage that rises by less than this part from one reading to the next does not rise (chosen)."""


def starving(view: View) -> NDArray[np.bool_]:
    """At which values a supply does not feed its load as it should: it is in its limit, and the voltage does
    not rise up to the next reading, as it does where a capacitor is charged. Where polls leave out readings
    it may have risen and fallen between two of them: there it is enough that both find it in the limit. A
    load that stops by itself may then stop and start again within a reading, or between two. Shape (n,) of
    the voltage's values; nowhere, where no load stops or the status is not known.
    """
    import numpy as np

    from railwright.measures.hiding import LEFT_OUT

    voltage, limited = view.voltage(), in_limit(view)
    if view.never_stops or voltage.time.size < 2:
        return np.zeros(voltage.time.size, dtype=bool)
    across, after = np.abs(voltage.values), next_readings(view, voltage)
    visible = np.maximum(4.0 * voltage.noise + 2.0 * voltage.step, STILL * across)
    starved: NDArray[np.bool_] = across[after] <= across + visible
    if view.model.averages and view.interval > LEFT_OUT * (view.model.update or 0.0):
        starved |= limited[after]
    return starved & limited & (after > np.arange(across.size))


def in_limit(view: View) -> NDArray[np.bool_]:
    """At which values of the voltage the supply is in its limit, shape (n,); nowhere, where that is not
    known.
    """
    import numpy as np

    from railwright.measures.status import LIMITS

    voltage, modes = view.voltage(), view.traces.columns.get("mode")
    if modes is None or modes.size != voltage.time.size:
        return np.zeros(voltage.time.size, dtype=bool)
    return np.isin(modes, LIMITS)


def next_readings(view: View, voltage: Signal) -> NDArray[np.intp]:
    """Index of the next row that shows another reading, or of the last one, shape (n,)."""
    import numpy as np

    return np.minimum(np.arange(voltage.time.size) + view.rows_of_one, voltage.time.size - 1)


def _of_step(view: View, voltage: Signal) -> NDArray[np.bool_]:
    """Which values were read in the step, shape (n,)."""
    return (voltage.time >= view.begin) & (voltage.time <= view.end)


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
    own = replace(own, at="connector" if "voltage" in own.traces.columns else "terminals")
    try:
        starved = starving(own) & _of_step(own, own.voltage())
    except CannotMeasure:
        return {}  # of a current, as before: how exactly the voltage is read is not known
    if not (starved[1:] & starved[:-1]).any():
        return {}
    return {"unseen": OVERLOADED, "would_decide": "a recording"}


def turns(view: View) -> int:
    """How often the voltage turns while the supply is in its limit, up after it went down and down again: a
    load that the supply cannot feed stops and starts. 0, where the status is not known.
    """
    import numpy as np

    voltage = view.voltage()
    values = np.abs(voltage.values[_of_step(view, voltage) & in_limit(view)])
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
    own = _of_step(view, voltage)
    if not own.any():
        return 0
    across = np.abs(voltage.values)
    level = float(np.median(across[own & (across >= np.max(across[own]) / 2.0)]))
    near = own & (np.abs(across - level) <= SAME * level)
    usual = float(np.median(current.values[near])) if near.any() else 0.0
    steps = np.where(near[1:] & near[:-1], np.diff(current.values), 0.0)
    signs = np.sign(steps[np.abs(steps) > max(UNSTEADY * usual, 8.0 * current.noise)])
    return int(np.count_nonzero(signs[1:] != signs[:-1]))


WANDERS, WANDERED = 0.03, 0.01
"""Readings of the current that differ by more than this part, at one voltage of the supply, are not of a load
that runs as it did: those of a step, and of a whole record, which has more of them (chosen).
"""


class _Changes(NamedTuple):
    """Changes of the current from one reading to the next while the voltage of the supply stays, later than
    it settles: which of them there are, the number of the stretch of one voltage that each is in, when it is
    over [s], the change [A] and the voltage [V] after it, shape (n,). told, settled: readings that tell of
    it, with those beside drop-outs and without them.
    """

    are: NDArray[np.bool_]
    stretch: NDArray[np.intp]
    time: Array
    steps: Array
    volts: Array
    settled: NDArray[np.bool_]
    told: int

    def both_ways(self, chosen: NDArray[np.bool_]) -> bool:
        """Whether there are such that go up and such that go down among the chosen, shape (n,)."""
        steps = self.steps[self.are & chosen]
        return bool((steps > 0.0).any()) and bool((steps < 0.0).any())


def _at_supply(view: View, start: float, end: float) -> Array | None:
    """The supply's own voltage at the values from one time to another [V], shape (n,); the connector's where
    that is what it holds; None: unknown.
    """
    columns = view.traces.between(start, end).columns
    return columns.get("terminal_voltage", columns.get("voltage"))


def _changes(
    view: View, settles: float, apart: Sequence[tuple[float, float]], window: tuple[float, float], part: float
) -> _Changes | None:
    """Those of more than a part, from one time to another [s]; None: it is not known, or a load whose current
    varies by itself.
    """
    import numpy as np

    from railwright.measures.windows import new_rows

    volts, current, known = _at_supply(view, -math.inf, math.inf), view.current(), view.voltage()
    if view.least_running or volts is None or volts.size != current.time.size:
        return None
    rows = np.flatnonzero((current.time >= window[0]) & (current.time <= window[1]))
    rows = rows[new_rows(view, current.time[rows], current.values[rows])]
    if rows.size < SWINGS + 1:
        return None
    time, volts, amps = current.time[rows], volts[rows], current.values[rows]
    visible = 6.0 * known.noise + 2.0 * known.step
    stays = np.abs(np.diff(volts)) <= visible
    moved = np.maximum.accumulate(np.where(np.append(True, ~stays), time, time[0]))
    settled = stays & (time[1:] - moved[1:] > settles + (view.model.update or 0.0) + view.interval)
    near, told = (view.model.update or 0.0) + view.interval, np.count_nonzero(settled)
    for first, last in apart:
        settled &= (time[1:] < first - near) | (time[:-1] > last + near + settles)
    steps = np.diff(amps)
    least = np.maximum(part * np.abs(amps[1:]), 8.0 * current.noise + 2.0 * current.step)
    are = settled & (np.abs(steps) > least)
    stretch = np.cumsum(~stays)
    return _Changes(are, stretch, time[1:], steps, volts[1:], settled, int(told))


def wanders(view: View, settles: float, apart: Sequence[tuple[float, float]]) -> int:
    """How often the current changes from one reading to the next while the voltage of the supply is the same,
    up as well as down, and later than `settles` [s] after it last moved, or after a drop-out (`apart`: from
    when to when [s]): a load of constant power that runs behind a resistance draws the same all the time. 0
    for one whose current varies by itself.
    """
    import numpy as np

    if (found := _changes(view, settles, apart, (view.begin, view.end), WANDERS)) is None:
        return 0
    if 2 * np.count_nonzero(found.settled) < found.told and len(apart) >= SWINGS:
        return len(apart)  # they follow one another so closely that it hardly runs as it did
    everywhere = np.ones(found.are.size, dtype=bool)
    return int(np.count_nonzero(found.are)) if found.both_ways(everywhere) else 0


def wandered(view: View, settles: float, apart: Sequence[tuple[float, float]]) -> int:
    """How often it does so in the whole record while the input is on, at a voltage of the supply that the
    step has, too, and up as well as down while that stays: a load that stops and starts within its readings
    at one time does so at another, of which readings may be too few to tell. So does one that drops out
    again and again beside the step while that voltage stays. apart: all drop-outs, from when to when [s].
    """
    import numpy as np

    found = _changes(view, settles, apart, view.supplied, WANDERED)
    own = _at_supply(view, view.begin, view.end)
    if found is None or own is None or not own.size:
        return 0
    reach = NEAR * float(np.max(np.abs(own)))
    near = (found.volts >= np.min(own) - reach) & (found.volts <= np.max(own) + reach)
    number = 0
    for first, last in (each for each in apart if each[1] < view.begin or each[0] > view.end):
        # While the voltage stays, from the reading before it to the one after it.
        around = slice(
            max(0, int(np.searchsorted(found.time, first)) - 1), np.searchsorted(found.time, last) + 2
        )
        beside = found.stretch[around]
        number += bool(beside.size and beside[0] == beside[-1] and near[around].all())
    for stretch in np.unique(found.stretch[found.are & near]):
        chosen = near & (found.stretch == stretch)
        number += int(np.count_nonzero(found.are & chosen)) if found.both_ways(chosen) else 0
    return number


def runs_from(view: View, apart: Sequence[tuple[float, float]]) -> float:
    """Lowest voltage of the supply at which the record shows that the load runs on [V]: while it stays, the
    current does, too, in as many readings as tell otherwise of one that hunts. Infinite: at none; 0 for a
    load whose current varies by itself, of which that cannot be told. apart: as of `wanders`.
    """
    import numpy as np

    if view.least_running:
        return 0.0
    found = _changes(view, 0.0, apart, view.supplied, WANDERS)
    if found is None:
        return math.inf
    # It may be in its soft start first.
    chosen = found.settled, found.are & (found.steps > 0.0), found.are & (found.steps < 0.0)
    told, up, down = (np.bincount(found.stretch[each], minlength=found.stretch[-1] + 1) for each in chosen)
    lasting = (told - up - down >= SWINGS) & ((up == 0) | (down == 0))
    steady = lasting[found.stretch] & found.settled
    return float(np.min(np.abs(found.volts[steady]), initial=math.inf))


ELSEWHERE = 0.02
"""Part of what the procedure asks for by which a level lies off it, where it is no level that was reached."""


def is_held(view: View, level: float) -> None:
    """Raises where readings of one level [V] may be means of a voltage that swings: the supply goes into its
    limit or out of it again and again between them, or does not feed its load as it should (`starving`) at
    one that the next reading shows, too. Where that is the level that was asked for, a status that comes an
    update late tells so of one reading: it takes two in succession. Elsewhere it is enough that the supply
    is in its limit whenever the level is read: polls can meet what swings at one part of each cycle.
    """
    if view.model.exact:
        return
    if (count := swings(view, level)) >= SWINGS:
        raise CannotMeasure(
            f"the supply goes into its limit or out of it {count} times at this level: a reading is the mean "
            "of what the voltage does then",
            "a recording",
        )
    voltage = view.voltage()
    near = _near(view, voltage, level)
    starved = starving(view) & near & near[next_readings(view, voltage)]
    goal = view.goal or 0.0
    if goal != 0.0 and abs(level - goal) > ELSEWHERE * abs(goal):
        whenever = not view.never_stops and near.any() and in_limit(view)[near].all()
        found = bool(whenever or starved.any())
    else:
        found = bool((starved[1:] & starved[:-1]).any())
    if found:
        raise CannotMeasure(OVERLOADED, "a recording")


def _near(view: View, voltage: Signal, level: float) -> NDArray[np.bool_]:
    """Which values in the step show a level [V], shape (n,)."""
    import numpy as np

    near: NDArray[np.bool_] = np.abs(voltage.values - level) <= 4.0 * voltage.noise + NEAR * abs(level)
    return near & _of_step(view, voltage)


def swings(view: View, level: float) -> int:
    """How often the supply goes into its limit, or out of it, between two readings that both show the level
    [V]: it does not hold the voltage all the time then. 0, where its status is not known.
    """
    import numpy as np

    near, limited = _near(view, view.voltage(), level), in_limit(view)
    return int(np.count_nonzero((limited[1:] != limited[:-1]) & near[1:] & near[:-1]))


def error_of_one(current: Signal) -> float:
    """Bound of the error of one reading of the current [A]."""
    import numpy as np

    known = math.fsum(float(np.max(np.abs(each.shape))) for each in current.systematic)
    return known + 4.0 * current.noise + current.step


def surely_away(view: View, time: Array, amps: Array, volts: Array, error: float) -> NDArray[np.bool_]:
    """At which values the load cannot run, shape (n,): of one that draws now more and now less those below
    what it draws at least while it runs, less what the input's capacitors may give it while the voltage
    falls, and less the error of a reading [A]; of others all. Of one with pauses in which it draws nothing
    none: a current below nothing is what the device gives back, and tells nothing of it.
    """
    import numpy as np

    if not view.least_running:
        return np.ones(amps.size, dtype=bool)
    at, least = np.array(view.least_running).T
    across = np.abs(volts)
    floor = np.interp(across, at, least, left=0.0)
    given = np.zeros(amps.size)
    if amps.size > 1:
        gaps = np.maximum(np.diff(time), 1e-9)
        falls = np.append(0.0, np.maximum(0.0, -np.diff(across)) / gaps)
        given = view.capacitance[1] * np.maximum(falls, np.append(falls[1:], 0.0))
    away: NDArray[np.bool_] = (floor > 0.0) & (amps < floor - given - error)
    return away
