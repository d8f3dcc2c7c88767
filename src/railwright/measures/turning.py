"""Turn-on and turn-off voltage: the voltage at which the input current rises or falls on a ramp.

Turn-off is the start, turn-on the end, of the longest stretch of low current in the step that follows (or
precedes) high current: a step down of the supply, in which the device lives for a moment on its own
capacitor, is shorter. The voltage is that of the ramp, a straight line through its values before the
transition, at the instant at which the current is half-way between its levels before and after (IEEE 181, mid
reference level): what the transition itself does to the voltage does not count. A device that starts softly
began before: at turn-on the instant is that at which the current leaves its lower level. Voltage and current
come from the same aperture, so how late a reading is, cancels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal, NamedTuple

from railwright.measures.hiding import missing
from railwright.measures.integral import covered, same_instants
from railwright.measures.measure import measure
from railwright.measures.outcome import Beyond, CannotMeasure, Measured
from railwright.measures.swinging import OVERLOADED, SWINGS, error_of_one, starving, surely_away, unsteady
from railwright.traces import runs_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from railwright.measures.signal import Array, Signal, View

LEAST_OF_LINE = 3
"""Values through which a line tells where a level goes."""

MOST_EVEN = 10_000_000
"""Equally spaced instants of a computed trace at most; 17 min of them are 0.1 ms apart."""

AT_ONCE = 1e-3
"""The current of a load that stops falls within this [s] of its stop, else it was in a pause (chosen: what
its lead and capacitors take is shorter).
"""

LOCAL = 0.05
"""Time before and after the transition whose median is the level there [s]."""

TELLING = 4.0
"""Times LOCAL: the stretch of the ramp that tells which windows were handed over. Only a window that is left
out tells: polls every p leave one out every p / f, where f is what p lacks or exceeds of whole updates, in
parts of one. Of polls of 1.2 updates of 10 ms, one in 60 ms: three are in the stretch. Polls nearer to whole
updates than a twentieth leave out less than one in it; what they leave open is then in the interval.
"""

SOFT = 1.0 / 6.0
"""Bound of how far the middle of a soft start lies from half of its duration, in parts of it: of a current
that rises as tᵖ, the middle lies at p / (p + 1), for p from ½ to 2 (between a square root and a square).
"""

IMPROBABLE = 0.05
"""A way in which the windows can lie is left out of the bound when it is less probable than this: what an
interval of 95 % may leave out.
"""

CLEAR = 0.05
"""A value is counted as in transition when it is this part of the step away from both levels: chosen, more
than the load's current changes along the ramp from one reading to the next, and than noise. So a transition
within this part of an aperture from its edge is not seen in it.
"""


@measure("V", "turn-off voltage", ("voltage",), level_of="voltage", turns="fall", also=("current",))
def turn_off_voltage(view: View) -> Measured:
    """Voltage at which the device stops.

    Computed: the voltage of the straight line through the ramp's values within 50 ms (five values at least)
    before the current falls, at the instant at which the current is half-way between its levels before and
    after. The fall is the start of the longest stretch of low current that follows high current. It happens
    at once: where one aperture saw some of it, it lies in that, else between two. There is none where the
    supply is in its limit there while the voltage does not rise, nor where the current goes up and down while
    the voltage stays: that is no ramp. A load that pauses by itself, such as a profile, has none either,
    unless its current falls below the least it draws, less what its capacitors give.
    Window: the step.
    Uncertainty: 'instant of the transition' (times the slope of the ramp; which windows were handed over
    where polls leave some out or get some twice, is told by the ramp; and what the level before the fall has
    gone on to by then, as a load of constant power draws more), 'stairs of the ramp' (where the host
    plays it in stairs), 'bend of the ramp' (how far its values lie from the line), 'lead drop while the
    current changes'.
    Standard: IEEE 181-2011, mid reference level, for the instant; the rest is a definition of this program.
    """
    return _turning(view, falling=True)


@measure("V", "turn-on voltage", ("voltage",), level_of="voltage", turns="rise", also=("current",))
def turn_on_voltage(view: View) -> Measured:
    """Voltage at which the device starts.

    Computed: as the voltage at which it stops, at the rise that ends the longest stretch of low current, but
    at the instant at which the rise begins: half of the soft start that the device document gives before its
    middle; in a recorder's samples where the current has risen by a tenth. The level after it is taken once
    the soft start is over.
    Window: the step.
    Uncertainty: 'instant of the transition' (times the slope of the ramp), 'course of the soft start' (a
    sixth of its duration; all that the readings leave open where the document gives none), 'stairs of the
    ramp' (where the host plays it in stairs), 'bend of the ramp' (how far its values lie from the line),
    'lead drop while the current changes'.
    Standard: IEEE 181-2011, mid and 10 % reference levels, for the instants; the rest is a definition of this
    program.
    """
    return _turning(view, falling=False)


JUMPS = 3.0
"""The voltage jumps across a transition where it moves so many times as fast as on the ramp before it:
chosen, a skipped update makes a difference twice as large.
"""


def turning_instants(time: Array, current: Array) -> tuple[float | None, float | None]:
    """When a current falls to its low state, and when it rises from it, as on the axis `time`, shape (n,).

    The ends of the longest stretch of low current that has such an end, of the values that are finite; None
    where there is none.
    """
    import numpy as np

    from railwright.measures.levels import state_levels

    known = np.isfinite(current)
    time, current = time[known], current[known]
    if time.size < 3:
        return None, None
    levels = state_levels(current, 1e-9)
    if levels.low > 0.5 * levels.high:
        return None, None
    runs = runs_of(current < (levels.low + levels.high) / 2.0)
    falls = _longest(time, [run for run in runs if run[0] > 0])
    rises = _longest(time, [run for run in runs if run[1] < time.size])
    return None if falls is None else float(time[falls[0]]), None if rises is None else float(time[rises[1]])


def _longest(time: Array, runs: Sequence[tuple[int, int]]) -> tuple[int, int] | None:
    """The run that takes the longest time; None where there is none."""
    return max(runs, key=lambda run: float(time[run[1] - 1] - time[run[0]]), default=None)


def _turning(view: View, *, falling: bool) -> Measured:
    import numpy as np

    from railwright.measures.budget import Budget
    from railwright.measures.signal import over_lead

    if view.never_stops:
        raise CannotMeasure(
            "no load of this input stops and starts at a voltage of its own",
            "a load with 'starts_at' and 'stops_at' in the device document, such as a converter",
        )
    voltage = view.voltage()
    current, beside = same_instants(view.current().between(view.begin, view.end), voltage)
    covered(view, current)
    first, stop = _transition(view, current, voltage, falling=falling)
    place = first if falling else stop
    levels = _levels_beside(view, current, (first, stop), falling=falling)
    _is_fed(view, voltage, float(current.time[place]), falling=falling)
    visible = 8.0 * current.noise + 2.0 * current.step
    if (levels.before - levels.after if falling else levels.after - levels.before) <= visible:
        what = "falls" if falling else "rises"
        raise CannotMeasure(
            f"beside the instant at which the current {what} it is about the same", "a longer hold there"
        )
    ways = _ways(view, current, voltage if view.model.exact else beside, place, levels, falling=falling)
    probable = _probabilities(ways)
    best = ways[int(np.argmax(probable))]
    _runs_that_way(best.known, falling=falling)
    at = math.fsum(share * way.volts for share, way in zip(probable, ways, strict=True))
    # Each way that is not improbable counts in full: it is one of them, not their mean.
    instant = max(
        way.instant + abs(way.volts - at)
        for share, way in zip(probable, ways, strict=True)
        if share >= min(IMPROBABLE, max(probable))
    )
    budget = Budget(view)
    budget.systematic(best.known, best.weights)
    budget.noise(best.known, best.weights)
    budget.bounded("instant of the transition", instant)
    budget.bounded("course of the soft start", best.course)
    # What crosses the threshold is a stair, which stands anywhere within one stair of the line through them.
    budget.bounded("stairs of the ramp", view.stair)
    bend = float(np.max(np.abs(best.residuals))) - 3.0 * best.known.noise - best.known.step
    budget.bounded("bend of the ramp", 0.0 if view.model.exact else max(0.0, bend))
    carried = any(part.source == over_lead(view.model.lead_name) for part in voltage.systematic)
    if carried and view.model.lead is not None:
        step = abs(levels.before - levels.after) * sum(view.model.lead) / 2.0
        budget.bounded("lead drop while the current changes", step / 2.0)
    where = "falls through the middle between" if falling else "begins to rise between"
    how = f"voltage where the current {where} {levels.before:.4g} A and {levels.after:.4g} A"
    return budget.result(at, how, would_decide="an instrument with a smaller error, or a slower ramp")


def _is_fed(view: View, voltage: Signal, instant: float, *, falling: bool) -> None:
    """Raises where the supply does not feed the load as it should beside the transition: the voltage is then
    no ramp that the supply plays, and the load may stop and start again.
    """
    reach = max(LOCAL, 5.0 * (view.model.update or 0.0), 5.0 * view.interval if view.model.averages else 0.0)
    first, last = max(view.begin, instant - reach), min(view.end, instant + (reach if falling else 0.0))
    near = (voltage.time >= first) & (voltage.time <= last)
    if (starving(view) & near).any():
        raise CannotMeasure(
            f"where the current {'falls' if falling else 'rises'} {OVERLOADED}",
            "a higher current limit",
        )
    # A stop and a start of its own make it go down and up once.
    if view.model.averages and unsteady(view) >= SWINGS + 2:
        raise CannotMeasure(
            "the current goes up and down while the voltage stays: the load stops and starts by itself",
            "a recording, or a higher current limit",
        )


def _runs_that_way(ramp: Signal, *, falling: bool) -> None:
    """Raises where the voltage goes the other way: a load of constant power draws less while it rises."""
    import numpy as np

    across = np.abs(ramp.values)
    change = float(across[-1] - across[0])
    if (change if falling else -change) > 8.0 * ramp.noise + 2.0 * ramp.step:
        what, way = ("falls", "rises") if falling else ("rises", "falls")
        raise CannotMeasure(
            f"the current {what} most while the voltage {way}, as that of a load of constant power does",
            "a step in which only the voltage in question is passed",
        )


class _Beside(NamedTuple):
    """Levels of the current beside a transition [A]: `before` and `after` it, medians; and `last`, where the
    one before it has gone on to by then, as a load of constant power draws more while the voltage falls.
    """

    before: float
    after: float
    last: float


class _Way(NamedTuple):
    """What the readings say where their windows lie in one of the ways that their time stamps allow.

    volts: of the ramp at the instant. instant, course: bounds of its error by that of the instant, and by
    that of the soft start [V]. known: the ramp's values before the transition; weights: of the line through
    them; residuals: what they lie beside it [V]. longer: what the values of a longer stretch lie beside
    theirs [V]. probability: before any line is looked at.
    """

    volts: float
    instant: float
    course: float
    known: Signal
    weights: Array
    residuals: Array
    longer: Array
    probability: float


def _ways(
    view: View, current: Signal, voltage: Signal, place: int, levels: _Beside, *, falling: bool
) -> list[_Way]:
    """Every way in which the windows of the readings around the transition can lie."""
    import numpy as np

    from railwright.measures.windows import first_of_each, local_windows

    if view.model.exact or not view.model.averages:
        return [_way(view, current, voltage, place, levels, 1.0, falling=falling)]
    reach = (1.0 + TELLING) * max(LOCAL, 5.0 * (view.model.update or 0.0), 5.0 * view.interval)
    time = current.time
    near = np.flatnonzero(np.abs(time - time[place]) <= reach + (view.restart or 0.0))
    current, voltage, place = current.take(near), voltage.take(near), place - int(near[0])
    ways = []
    for windows in local_windows(view, current.time):
        rows = first_of_each(windows.middle)
        middle = windows.middle[rows]
        each = [replace(signal.take(rows), time=middle) for signal in (current, voltage)]
        own = int(np.searchsorted(rows, place, side="right")) - 1
        ways.append(_way(view, each[0], each[1], own, levels, windows.probability, falling=falling))
    return ways


def _way(
    view: View,
    current: Signal,
    voltage: Signal,
    place: int,
    levels: _Beside,
    probability: float,
    *,
    falling: bool,
) -> _Way:
    """The voltage of the ramp at the transition, where the values' times are these."""

    instant, spread, first = _crossing(view, current, place, levels.before, levels.after, falling=falling)
    if levels.last != levels.before:
        other, _, _ = _crossing(view, current, place, levels.last, levels.after, falling=falling)
        spread += abs(other - instant)
    course = 0.0
    if not falling and view.model.averages:
        began = float(current.time[first] + current.time[first + 1]) / 2.0
        instant, course = _start(instant, began, view.restart)
    known = _before(view, voltage, float(current.time[first]))
    weights = line_weights(known.time, instant)
    at = math.fsum(weights * known.values)
    slope, residuals = line_through(known.time, known.values)
    longer = residuals
    if view.model.averages:
        stretch = _before(view, voltage, float(current.time[first]), TELLING * LOCAL)
        longer = line_through(stretch.time, stretch.values)[1]
    steep = abs(slope)
    instant_error = steep * spread
    if view.model.averages:
        instant_error = max(instant_error, _beside_jump(view, voltage, first, place, levels, at, steep))
    return _Way(at, instant_error, steep * course, known, weights, residuals, longer, probability)


# Many: where the transition lies, and what is known of the voltage and the current beside it.
def _beside_jump(
    view: View,
    voltage: Signal,
    first: int,
    place: int,
    levels: _Beside,
    at: float,
    steep: float,
) -> float:
    """How far from `at` [V] the voltage may have been where it does not go on with the ramp before the
    transition, but jumps across it: as far as the readings around it lie; 0 where it goes on. steep: the
    slope before it [V/s].
    """
    import numpy as np

    across = voltage.values[max(0, first) : place + 2]
    gaps = np.diff(voltage.time[max(0, first) : place + 2])
    lead = sum(view.model.lead or ()) / 2.0 * abs(levels.after - levels.before)
    visible = 4.0 * voltage.noise + 2.0 * voltage.step + lead
    jumps = np.abs(np.diff(across)) - visible > JUMPS * steep * gaps
    return float(np.max(np.abs(across - at))) if np.any(jumps) else 0.0


def _probabilities(ways: Sequence[_Way]) -> list[float]:
    """How probable each way is, given how well its values lie on a line. They sum up to 1."""
    import numpy as np

    known = ways[0].known
    # Noise and grid, or what is left where the ramp is no line even in the best of the ways.
    left = min(float(np.mean(np.square(way.longer))) for way in ways)
    variance = max(known.noise**2 + known.step**2 / 12.0, left, 1e-18)
    squares = np.array([float(np.sum(np.square(way.longer))) for way in ways])
    likely = np.exp(-(squares - float(np.min(squares))) / (2.0 * variance))
    together = likely * np.array([way.probability for way in ways])
    return [float(each) for each in together / float(np.sum(together))]


def _transition(view: View, current: Signal, voltage: Signal, *, falling: bool) -> tuple[int, int]:
    """The stretch of low current that begins (falling) or ends (rising) with the transition: the first value
    of it, and the first after it.
    """
    import numpy as np

    from railwright.measures.levels import state_levels

    levels = state_levels(current.values, max(8.0 * current.noise + 2.0 * current.step, 1e-9))
    volts = voltage.between(view.begin, view.end).values
    error = max((float(np.max(s.shape)) for s in current.systematic), default=0.0)
    least = max(2.0 * error, 10.0 * current.noise)
    running = levels.high > least
    threshold = (levels.low + levels.high) / 2.0
    one = not levels.two_states or levels.low > 0.5 * levels.high
    if one and levels.low > least:
        # It runs at two levels, and may stop for less long than it is at the lower of them.
        threshold, one = 0.5 * levels.low, not np.any(current.values < 0.5 * levels.low)
    if one:
        if falling and running:
            raise _never("falls", "below", float(np.min(volts)))
        if not falling and not running and not view.least_running:
            raise _never("rises", "above", float(np.max(volts)))
        state = "high" if running else "low"
        raise CannotMeasure(f"the current is {state} through the whole step", "a step with a ramp across")
    low = current.values < threshold
    across = np.interp(current.time, voltage.time, np.abs(voltage.values))
    away = surely_away(view, current.time, current.values, across, error_of_one(current))
    runs = [each for each in runs_of(low) if _stopped(view, current.time, each, away, falling=falling)]
    if not runs:
        raise CannotMeasure(
            "what the load draws by itself now more and now less does not tell whether it stopped",
            "a recording of the load's own output, or a step in which the load stops while it draws",
        )
    longest = _longest(current.time, [(a, b) for a, b in runs if (a > 0 if falling else b < low.size)])
    if longest is None:
        if falling:
            raise CannotMeasure(
                "the current is low from the start of the step", "a step that begins above it"
            )
        after = voltage.between(float(current.time[runs[-1][0]]), view.end)
        raise _never("rises", "above", float(np.max(after.values)))
    return longest


def _stopped(
    view: View, time: Array, low: tuple[int, int], away: NDArray[np.bool_], *, falling: bool
) -> bool:
    """Whether the load stopped in a stretch of low current: as a rehearsal knows, or where it cannot run with
    its current, `away`. One that draws now more and now less may also pause by itself, and stop or start in
    its pause: the stretch then has to begin (falling) or end with the stop or the start.
    """
    first, last = low[0], low[1] - 1
    begin, end = float(time[first]), float(time[last])
    if view.away is not None and not view.least_running:
        return any(stop <= end and start >= begin for stop, start in view.away)
    if view.away is not None and falling:
        least = float(time[max(0, first - 1)]) - AT_ONCE
        return any(least <= stop <= begin for stop, _ in view.away)
    if view.away is not None:
        least, most = end - AT_ONCE - (view.restart or 0.0), float(time[min(low[1], time.size - 1)])
        return any(least <= start <= most for _, start in view.away)
    # The value beside the transition may have seen a part of it.
    beside = view.rows_of_one
    edge = slice(first, first + 1 + beside) if falling else slice(max(first, last - beside), last + 1)
    return bool(away[first : last + 1][edge.start - first : edge.stop - first].any())


def _never(word: str, side: Literal["above", "below"], bound: float) -> Beyond:
    return Beyond(f"the current never {word}: if at all, this happens {side} {bound:.4g} V", bound, side)


def _even_points(view: View) -> int:
    """Equally spaced instants at which a computed trace is looked at: 0.1 ms apart, or `MOST_EVEN`."""
    return min(MOST_EVEN, max(2001, int((view.end - view.begin) / 1e-4)))


def _levels_beside(view: View, current: Signal, low: tuple[int, int], *, falling: bool) -> _Beside:
    """Medians of the current within LOCAL (at least three values) before and after the transition, at which
    the stretch of low current begins or ends; what lies beyond its other end is of another transition.
    """
    import numpy as np

    first, stop = low
    instant = float(current.time[first if falling else stop])
    other = math.inf if falling else -math.inf
    if falling and stop < current.time.size:
        other = float(current.time[stop])
    elif not falling and first > 0:
        other = float(current.time[first])
    if view.model.exact:
        current = current.evenly(view, _even_points(view))
    time = current.time
    reach = max(LOCAL, 5.0 * (view.model.update or 0.0))
    margin = 1.5 * view.interval if view.model.averages else 0.0
    before = (time < instant - margin) & (time >= instant - margin - reach)
    # A soft start takes its time: the level after it is taken once it is over.
    settle = margin + (0.0 if falling else view.restart or 0.0)
    after = (time > instant + settle) & (time <= instant + settle + reach)
    if falling:
        after &= time < other
    else:
        before &= time >= other
    if np.count_nonzero(before) < 2 or np.count_nonzero(after) < 2:
        raise CannotMeasure("the transition lies at the edge of the step", "a longer hold around the ramp")
    levels = [float(np.median(current.values[each])) for each in (before, after)]
    last = levels[0]
    if falling and view.model.averages and np.count_nonzero(before) >= LEAST_OF_LINE:
        last = _goes_on_to(time[before], current.values[before], instant, levels[0], current)
    return _Beside(levels[0], levels[1], last)


def _goes_on_to(time: Array, values: Array, instant: float, level: float, current: Signal) -> float:
    """What a level of the current has gone on to by an instant [A]: by the line through its values, or
    through their reciprocals, as the current of a load of constant power has it on a ramp; whichever leads
    farther. The level itself, where that is no more than what its values vary by.
    """
    import numpy as np

    weights, varies = line_weights(time, instant), float(np.std(line_through(time, values)[1]))
    found = [math.fsum(weights * values)]
    least = 8.0 * current.noise + 2.0 * current.step
    if np.all(values > least) and (inverse := math.fsum(weights / values)) > 0.0:
        found.append(1.0 / inverse)
    last = max(found, key=lambda each: abs(each - level))
    return last if abs(found[0] - level) > 4.0 * (varies + current.noise) + current.step else level


def _start(middle: float, began: float, soft: float | None) -> tuple[float, float]:
    """Instant at which a rise begins [s], and the bound of its error [s], from that of its middle.

    began: the earliest that the readings leave open. soft: duration of the soft start; None: unknown.
    """
    if soft is None:
        return (began + middle) / 2.0, max(0.0, middle - began) / 2.0
    return middle - soft / 2.0, SOFT * soft


def _crossing(
    view: View, current: Signal, place: int, before: float, after: float, *, falling: bool
) -> tuple[float, float, int]:
    """Instant of the half-way crossing [s], the bound of its error [s], and the index of the value before.

    Samples: interpolated between the two around the crossing. Means over apertures: the instant of the ideal
    step that has the same mean over the values in transition; off by what may have happened in the times that
    no aperture covers.
    """
    import numpy as np

    span = after - before
    fraction = (current.values - before) / span
    if not view.model.averages:
        index = max(1, place)
        middle = 0.5 if falling else CLEAR if view.model.exact else 2.0 * CLEAR
        crossed = np.flatnonzero(fraction[max(1, place - 3) :] >= middle)
        if crossed.size:
            index = max(1, place - 3) + int(crossed[0])
        low, high = fraction[index - 1], fraction[index]
        part = float(np.clip((middle - low) / (high - low), 0.0, 1.0)) if high != low else 0.5
        width = float(current.time[index] - current.time[index - 1])
        noise = current.noise / abs(span) * width / max(1e-9, abs(float(high - low)))
        spread = 0.0 if view.model.exact else min(width, width / 2.0 * 0.1 + noise)
        if missing(view, current.time[index - 1 : index + 1]):
            spread = width / 2.0
        return float(current.time[index - 1]) + part * width, spread, index - 1
    first = place
    while first > 0 and fraction[first - 1] > CLEAR:
        first -= 1
    first = max(0, first - 1)
    last = place
    while last < fraction.size - 1 and fraction[last] < 1.0 - CLEAR:
        last += 1
    _, least, most = view.timing()
    if falling and least == most and last - first <= 2:
        # It falls at once. Where an aperture saw some of that, the fall lies in it, by how much is missing;
        # where none did, between two, or so near to the edge of one that it saw nothing.
        if last - first == 2:
            inside = 0.5 - float(fraction[first + 1])
            return float(current.time[first + 1]) + inside * least, CLEAR * least, first
        apart = float(current.time[last] - current.time[first])
        middle = float(current.time[first]) + apart / 2.0
        return middle, max(0.0, apart - least) / 2.0 + CLEAR * least, first
    edges = (current.time[1:] + current.time[:-1]) / 2.0
    remaining = math.fsum(
        float(edges[j] - edges[j - 1]) * (1.0 - min(1.0, max(0.0, float(fraction[j]))))
        for j in range(first + 1, last)
    )
    begin = float(edges[first])
    # Of a change over a time that nothing covers, all that is known is that it happened there.
    gaps = np.maximum(0.0, np.diff(current.time[first : last + 1]) - least)
    steps = np.concatenate(([0.0], np.clip(fraction[first + 1 : last], 0.0, 1.0), [1.0]))
    changes = np.abs(np.diff(steps))
    return begin + remaining, math.fsum(gaps * changes) / 2.0, first


def _before(view: View, voltage: Signal, end: float, stretch: float = LOCAL) -> Signal:
    """The voltage within a stretch [s], five values at least, before the transition."""
    import numpy as np

    if view.model.exact:
        even = voltage.evenly(view, _even_points(view))
        return even.between(end - LOCAL, end - 1e-4)
    known = voltage.between(view.begin, end + 1e-9)
    count = max(5, int(np.count_nonzero(known.time >= end - stretch)))
    if known.time.size < 3:
        raise CannotMeasure("the transition lies at the start of the step", "a longer hold before the ramp")
    return known.take(np.arange(max(0, known.time.size - count), known.time.size))


def line_through(time: Array, values: Array) -> tuple[float, Array]:
    """Slope of the least-squares line through values at `time`, and what they lie beside it. Shapes (n,)."""
    import numpy as np

    apart, beside = time - np.mean(time), values - np.mean(values)
    spread = float(np.sum(apart**2))
    slope = float(np.sum(apart * beside)) / spread if spread > 0.0 else 0.0
    return slope, beside - slope * apart


def line_weights(time: Array, instant: float) -> Array:
    """Weights of the least-squares line through values at `time`, evaluated at an instant. Shape (n,)."""
    import numpy as np

    centre = float(np.mean(time))
    spread = float(np.sum((time - centre) ** 2))
    tilt = (instant - centre) / spread if spread > 0.0 else 0.0
    weights: Array = 1.0 / time.size + tilt * (time - centre)
    return weights
