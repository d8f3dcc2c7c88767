"""What an input's capacitance takes at a jump of the voltage, and gives back at the jump back.

A capacitor that is charged by a jump draws a short pulse, of which apertures see a part that hangs on where
between them the jump falls: anything from nothing to more than there was. At equal edges that part is the
same each time, so its error adds up. But what a capacitor holds hangs on its voltage alone: Q = C v and
E = C v²/2, whatever the course. Over jumps that undo each other nothing of it remains, whatever C is; of the
rest, that is as much as the capacitance and the levels before and after say. So the pulses are taken out of
the readings, each of which keeps what the load itself draws, and what the capacitor has gained in the whole
step is added.

This needs a load whose current follows the voltage at once, and nothing that keeps the capacitor from giving
back. The pulses themselves have to be such as the documents say: none larger than C ΔV, none the other way.

References
----------
.. [1] JCGM 100:2008 (GUM), 3.2.4: a known systematic effect is corrected; 5.2.2: what results have in common.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from railwright.measures.signal import Array, View
    from railwright.traces import Flags, Places


LONGEST = 3
"""Readings that a jump reaches into lie in so many intervals at most. What takes longer is a ramp, of whose
course apertures see most.
"""


class Visible(NamedTuple):
    """A change of the voltage [V], and what is more than no current [A]; r.m.s. noise of the current [A]."""

    change: float
    current: float
    noise: float


class GivenBack(NamedTuple):
    """Readings without the pulses of so many jumps. columns: shape (k, n). gained: what the capacitance has
    gained in the step [C or J], within ±doubt. taken_out (n - 1,): intervals beside replaced values.
    """

    jumps: int
    columns: Array
    gained: float
    doubt: float
    taken_out: Flags


class Jumps(NamedTuple):
    """Jumps of the voltage, each from a level to another. before, after, shape (j,): the readings of the
    levels. rows, shape (j, LONGEST + 1): the readings between them; given: which of those there are.
    """

    before: Places
    after: Places
    rows: Places
    given: Flags
    visible: Visible

    def part(self, chosen: Flags) -> Jumps:
        """Those of them that are chosen."""
        return Jumps(
            self.before[chosen], self.after[chosen], self.rows[chosen], self.given[chosen], self.visible
        )


def gives_back(view: View) -> bool:
    """Whether what an input's capacitance takes at a jump comes back at the next one, as far as the documents
    say; not while it is being switched on.
    """
    return (
        view.off_until is None
        and view.follows
        and view.capacitance[1] > 0.0
        and view.model.drop == (0.0, 0.0)
        and view.timing()[1] > 0.0
    )


def without_pulses(view: View, time: Array, columns: Array, jumps: Jumps, until: float) -> GivenBack | None:
    """Readings without what a capacitor took and gave back at jumps; None: at none of them.

    time: middles of the apertures [s], shape (n,). columns: of a current: it and the voltage; of a power: it,
    voltage, current, and the voltage again. jumps: of that voltage. until: middle of the last aperture that
    surely belongs to the step [s].
    """
    import numpy as np

    voltage, current = columns[-1], columns[2 if len(columns) > 2 else 0]
    jumps = jumps.part(_in_step(view, time, voltage, jumps, until))
    if not jumps.before.size or not _runs_on(view, voltage, current, jumps):
        return None
    passed = _passed(voltage, jumps)
    pulses = np.where(jumps.given, current[jumps.rows] - _between(current, jumps, passed), 0.0)
    change = voltage[jumps.after] - voltage[jumps.before]
    size = np.sign(change)
    seen = size * view.timing()[1] * np.sum(pulses, axis=1)
    # Each pulse is a difference of two readings.
    noise = (
        4.0 * jumps.visible.noise * view.timing()[1] * np.sqrt(2.0 * np.count_nonzero(jumps.given, axis=1))
    )
    low, high = view.capacitance
    if np.any(seen > high * np.abs(change) + noise) or np.any(seen < -noise):
        return None
    weights = (time[jumps.rows + 1] - time[jumps.rows - 1]) / 2.0
    shown = float(np.sum(size[:, None] * weights * pulses)) / float(np.sum(np.abs(change)))
    capacitance = min(max(shown, low), high)
    levels = (voltage[jumps.before] + voltage[jumps.after]) / 2.0 if len(columns) > 2 else 1.0
    gained = float(np.sum(change * levels))
    kept = columns.copy()
    for column in kept:
        column[jumps.rows[jumps.given]] = _between(column, jumps, passed)[jumps.given]
    taken_out = np.zeros(time.size - 1, dtype=np.bool_)
    taken_out[jumps.rows[jumps.given]] = True
    taken_out[jumps.rows[jumps.given] - 1] = True
    doubt = max(high - capacitance, capacitance - low) * abs(gained)
    return GivenBack(change.size, kept, capacitance * gained, doubt, taken_out)


def jumps_of(voltage: Array, visible: Visible) -> Jumps | None:
    """Where a voltage goes from one level to another in at most LONGEST intervals; None: nowhere.

    The reading next to a change may hold some of it, less than is visible: levels are those of the readings
    beyond.
    """
    import numpy as np

    steps = np.diff(voltage)
    way = np.where(np.abs(steps) > visible.change, np.sign(steps), 0.0)
    if not way.any():
        return None
    bounds = np.flatnonzero(np.diff(np.concatenate(([np.nan], way, [np.nan]))) != 0.0)
    first, last = bounds[:-1], bounds[1:]
    inner = (way[first] != 0.0) & (last - first <= LONGEST) & (first >= 1) & (last < way.size)
    first, last = first[inner], last[inner]
    # Both neighbours stand, and no level is that of a reading which another jump reaches.
    alone = (way[first - 1] == 0.0) & (way[last] == 0.0)
    alone[1:] &= first[1:] - 1 >= last[:-1] + 1
    alone &= (voltage[last + 1] - voltage[first - 1]) * way[first] > visible.change
    first, last = first[alone], last[alone]
    rows = first[:, None] + np.arange(LONGEST + 1)[None, :]
    given = rows <= last[:, None]
    return Jumps(first - 1, last + 1, np.where(given, rows, first[:, None]), given, visible)


def _passed(voltage: Array, jumps: Jumps) -> Array:
    """How much of a jump each reading has seen passed, 0 to 1; shape (j, LONGEST + 1)."""
    import numpy as np

    before, after = voltage[jumps.before][:, None], voltage[jumps.after][:, None]
    return np.clip((voltage[jumps.rows] - before) / (after - before), 0.0, 1.0)


def _between(column: Array, jumps: Jumps, passed: Array) -> Array:
    """What the load draws in the readings of a jump, if it follows the voltage: partly what it drew before,
    partly what it draws after it.
    """
    values: Array = (1.0 - passed) * column[jumps.before][:, None] + passed * column[jumps.after][:, None]
    return values


def _in_step(view: View, time: Array, voltage: Array, jumps: Jumps, until: float) -> Flags:
    """Which jumps belong to the step: those that may be over after its start, with which its first one comes.
    Readings may be an update earlier or later than is taken here. until: see `without_pulses`.
    """
    import numpy as np

    update, _, aperture = view.timing()
    # At the latest as the first reading of the level after it begins; where the one before that has seen part
    # of a jump, so much of its aperture before it.
    seen, whole = voltage[jumps.after - 2], voltage[jumps.after] - voltage[jumps.before]
    part = np.clip((voltage[jumps.after] - seen) / whole, 0.0, 1.0)
    met = (1.0 - part) * np.abs(whole) > jumps.visible.change
    over = np.where(met, time[jumps.after - 2] + part * aperture, time[jumps.after - 1]) - aperture / 2.0
    flags: Flags = (over > view.begin - update) & (time[jumps.after] <= until)
    return flags


def _runs_on(view: View, voltage: Array, current: Array, jumps: Jumps) -> bool:
    """Whether a load that stops by itself runs on through all jumps: it draws a visible current on both
    sides, and the voltage stays above where it stops.
    """
    import numpy as np

    if view.never_stops:
        return True
    if view.stops_at is None:
        return False
    sides = np.concatenate((jumps.before, jumps.after))
    return bool(np.all((voltage[sides] > view.stops_at[1]) & (current[sides] > jumps.visible.current)))
