"""Charge, energy, and means over a step: integrals of the readings by the trapezoid rule.

What the readings do not cover lies between two neighbours and is taken to be anything between them; how late
a reading is, is unknown within an update interval and moves the window against the waveform.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from hashlib import blake2b
from typing import TYPE_CHECKING, NamedTuple

from railwright.measures.asked import Before, before_step, beside_apertures
from railwright.measures.given_back import Jumps, Visible, gives_back, jumps_of, without_pulses
from railwright.measures.hiding import between_polls, most_missing, no_whole_reading
from railwright.measures.measure import Channel, measure
from railwright.measures.outcome import CannotMeasure, Measured
from railwright.measures.sampling import LEAST_COVERED, covered_part
from railwright.measures.swinging import overloaded
from railwright.measures.wording import amount

if TYPE_CHECKING:
    from railwright.measures.budget import Budget
    from railwright.measures.signal import Array, Signal, View
    from railwright.traces import Flags, Places

FASTER = "an instrument with a smaller error, or faster readings"
"""What would decide where an integral does not."""

LARGEST_GAP = 0.1
"""A hole in the record longer than this part of the window (and than three readings) makes it unusable:
chosen.
"""

ALIKE = 0.02
"""Edges whose values differ by less than this part of the record's range are equal edges: chosen. Taken too
large, errors add up that are not one error, and the interval is too wide.
"""

ALIKE_GAPS = 1e-9
"""Times between readings that differ by less are one [s]."""

SEEN = 3.0
"""Of the pulse that charges a capacitor, an aperture that a jump of the voltage reaches into has seen this
times as large a part, where the time between apertures is shorter than an aperture; once where it is longer.

A straight edge that begins τ before the end of an aperture a moves its mean by δ τ / 2a, and has moved by δ
at its end: 2a / τ - 1 times as far again. An edge that is longer than the time between apertures begins
anywhere in the aperture, at τ = a / 2 in the mean; of one that may lie between them it is at least once (τ =
a).
"""

LAST = 4
"""Readings at the end of a step that tell how much its current varies there (chosen)."""

MOST_PHASES = 0.95
"""Part of the phases that readings can have, for which a bound on what lies between them holds: that of the
interval.
"""

HELD = 0.1
"""Part of the largest value from which on what stands before the switching-on is held there: chosen. What an
output that is off still shows is less, a battery's voltage is more.
"""


@measure("C", "charge", ("current",), accumulates=True)
def charge(view: View) -> Measured:
    """Charge that flows into the input.

    Computed: ∫ i dt of the current's values by the trapezoid rule. Where the voltage jumps while the load
    runs on, and its current follows the voltage at once, its capacitance counts by the voltages before and
    after: C Δv over all jumps, nothing where they undo each other; readings that a jump reaches into count
    with what the load drew before and after it. What is drawn between
    apertures is taken as in them where these cover half of the time or more; where they cover less, the
    interval reaches from what they show alone to what the current limit lets through between them, unless a
    recording tells. A multimeter's are held against the supply's readings beside it, where these cover half
    of the time: what is drawn between may differ by as much as they vary.
    Window: the step, from the switching-on where it lies in the step; where something is told to the input at
    the end, a value whose aperture may reach beyond it is left out, and the last one stands up to it. Where
    it is told something as the step begins, and stood still before, all that readings show beside that is of
    the step.
    Uncertainty: 'between readings' (of what the load draws, the difference of two neighbours over the time
    that no aperture covers, or that the end of the step leaves open, and what an output that comes on may
    draw down there of what stood before), 'charging between readings' (what a capacitor may have charged
    there unseen, where it counts by what is read; wide where the voltage moves and polls leave readings out:
    nothing else tells of it), of both of which equal edges have the same and add up; 'levels between
    readings' (what the load may draw at a level of the set point so brief that it can lie where no aperture
    is: nothing, a constant power, or as a resistance does), 'charge of the input's capacitance' (where it
    counts by the voltage: its tolerance, of what it has gained in the end), 'time of the readings' (where in
    the update interval they fall, and the record's clock), 'beginning of the step' (what moves less than an
    update before it, half of that at most), 'missing samples' (anything that the limits let through, where a
    recording has a gap), 'time base of the recorder'. Where
    the supply is in its limit at two readings in succession while the voltage does not rise, a load that
    stops by itself may do so within readings and between them: that is stated beside it; so is a jump so
    short before the end that no reading of the step need show what follows.
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return integral_of_current(view, mean=False, what="charge")


@measure("J", "energy", ("voltage", "current"), accumulates=True)
def energy(view: View) -> Measured:
    """Energy that flows into the input.

    Computed: ∫ v i dt by the trapezoid rule, of the instants that both channels have; of a rehearsal's rows,
    which lie far apart on ramps, exactly for straight lines between them. What the input's capacitance takes
    at jumps counts as in the charge: C (v² after - v² before) / 2.
    Window: as of the charge.
    Uncertainty: 'between readings' to 'charge of the input's capacitance' as of the charge, 'time of the
    readings' (the window moved by how late a reading may be), 'beginning of the step' as of the charge,
    'product within an aperture' (v and i are averaged apart: Δv Δi / 6 of neighbours at most; of a jump in
    it, half of what its place there says is added, and half is left open), 'product of the outputs' (in
    parallel, each read at a time of its own: the one that carries the current, which hands over to another
    as the voltage moves, may stand at another voltage than their mean: by what that moves in an update),
    'missing samples' (anything that the limits let through, where a recording has a gap), 'time base of the
    recorder'.
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return _product(view, mean=False, what="energy")


@measure("A", "mean current", ("current",), level_of="current", mean=True, accumulates=True)
def mean_current(view: View) -> Measured:
    """Mean current.

    Computed: the charge over the window, divided by its length: a mean over time, not over values.
    Window: the step, from the switching-on where it lies in the step; of a sweep's point its second half.
    Uncertainty: 'between readings' to 'charge of the input's capacitance' as of the charge, 'time of the
    readings' (the window moved by how late a reading may be), 'beginning of the step' as of the charge,
    'missing samples' (anything that the limits let through, where a recording has a gap), 'time base of the
    recorder'.
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return integral_of_current(view, mean=True, what="mean current")


@measure("V", "mean voltage", ("voltage",), level_of="voltage", mean=True)
def mean_voltage(view: View) -> Measured:
    """Mean voltage.

    Computed: ∫ v dt by the trapezoid rule, divided by the length of the window.
    Window: as of the mean current.
    Uncertainty: 'between readings' (the difference of two neighbours over the time that no aperture covers,
    and what an output that comes on may draw down there of what stood before), 'levels between readings' (of
    the set point, so brief that they can lie where no aperture is), 'time of the readings' (the window moved
    by how late a reading may be), 'beginning of the step' (what moves less than an update before it, half of
    that at most), 'missing samples' (anything that the limits let through, where a recording has a gap),
    'time base of the recorder'.
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return integral(view, view.voltage(), mean=True, channels=("voltage",), what="mean voltage")


@measure("W", "mean power", ("voltage", "current"), accumulates=True)
def mean_power(view: View) -> Measured:
    """Mean power.

    Computed: the energy over the window, divided by its length.
    Window: as of the mean current.
    Uncertainty: 'between readings' to 'charge of the input's capacitance' as of the charge, 'time of the
    readings' (the window moved by how late a reading may be), 'beginning of the step' as of the charge,
    'product within an aperture' and 'product of the outputs' as of the energy, 'missing samples' (anything
    that the limits let through, where a recording has a gap), 'time base of the recorder'.
    Standard: none; the trapezoid rule, and JCGM 100 and 101 for the uncertainty.
    """
    return _product(view, mean=True, what="mean power")


def integral_of_current(view: View, *, mean: bool, what: str) -> Measured:
    """Charge over the window, or mean current; where the voltage is known, what the input's capacitance takes
    at its jumps counts by that.
    """
    current = view.current()
    own: tuple[Channel, ...] = ("current",)
    if view.model.exact or not view.model.averages:
        return integral(view, current, mean=mean, channels=own, what=what)
    try:
        current, volts = same_instants(current, view.voltage())
    except CannotMeasure:
        return integral(view, current, mean=mean, channels=own, what=what)
    return integral(view, current, mean=mean, channels=own, what=what, volts=volts)


def _product(view: View, *, mean: bool, what: str) -> Measured:
    from railwright.measures.budget import Budget
    from railwright.traces import integral_of_product

    voltage, current = view.voltage(), view.current()
    voltage, current = same_instants(voltage, current)
    if view.model.exact and view.end > view.begin:
        voltage, current = voltage.within(view.begin, view.end), current.within(view.begin, view.end)
        length = view.end - view.begin if mean else 1.0
        value = integral_of_product(voltage.time, voltage.values, current.values) / length
        how = f"{what} exactly, of straight lines between {voltage.time.size} rows of the rehearsal"
        return Budget(view).result(value, how)
    power = voltage.times(current)
    both: tuple[Channel, ...] = ("voltage", "current")
    return integral(
        view, power, mean=mean, channels=both, what=what, factors=(voltage, current), volts=voltage
    )


def same_instants(first: Signal, second: Signal) -> tuple[Signal, Signal]:
    """Both channels at the instants that both have (a lost reading of one is left out of both)."""
    import numpy as np

    if first.time.size == second.time.size:
        return first, second
    _, left, right = np.intersect1d(first.time, second.time, return_indices=True)
    return first.take(left), second.take(right)


# One piece: the contributions to one budget, each from what the lines above it found.
def integral(
    view: View,
    signal: Signal,
    *,
    mean: bool,
    channels: tuple[Channel, ...],
    what: str,
    factors: tuple[Signal, Signal] | None = None,
    volts: Signal | None = None,
) -> Measured:
    """Integral of a channel over the step by the trapezoid rule; mean: divided by the step's length.

    signal: may be a product of two channels; factors: those two, for what a product of means over an aperture
    loses. channels: what it is, or the two of which it is the product. volts: the voltage at the same
    instants, of a current or a power: its jumps charge the input's capacitor. what: what it is called. Raises
    CannotMeasure where the values do not cover the step.
    """
    import numpy as np

    from railwright.measures.budget import Budget
    from railwright.measures.signal import trapezoid_weights

    start, end = view.begin, view.end
    if end <= start:
        raise CannotMeasure("the step has no length")
    view.timing()
    before = before_step(view, signal)
    part = _of_step(view, signal.time, signal.values, view.shift()[1], before.last)
    near = signal.part(part.first, part.last, part.off_at)
    covered(view, near)
    _holds_a_reading(view, signal)
    scale = 1.0 / (end - start) if mean else 1.0
    budget = Budget(view)
    weights = trapezoid_weights(near.time, start - part.early, end)
    if before.last is not None:
        own = slice(before.first - part.first, before.last + 1 - part.first)
        weights[own] -= part.early / (before.last + 1 - before.first)
    budget.systematic(near, weights * scale)
    budget.noise(near, weights * scale)
    how = f"{what} by the trapezoid rule over {near.time.size} values in {end - start:.4g} s"
    if view.model.exact:
        return budget.result(math.fsum(weights * near.values) * scale, how)
    if not view.model.averages:
        factors = volts = None
    ways = _ways(view, signal, factors, volts, "current" in channels, before)
    value = math.fsum(way.probability * way.value for way in ways)
    if jumps := max(ways, key=lambda way: way.probability).jumps:
        how = f"{how}; the input's capacitance by the voltages before and after {jumps} jumps"
    _left_open(budget, ways, value, scale)
    if factors is not None:
        own_factors = (each.part(part.first, part.last) for each in factors)
        # Not the difference of two that are independent: the time of the readings hangs on the same two.
        budget.bounded("product of the outputs", _apart(view, *own_factors) * scale)
    briefly = beside_apertures(view, signal, channels, factors)
    budget.many("levels between readings", briefly * scale)
    budget.bounded("beginning of the step", before.open * scale)
    budget.bounded("missing samples", most_missing(view, near.time, channels) * scale)
    budget.bounded("time base of the recorder", view.model.time_base * abs(value) * scale)
    hidden = between_polls(view) or overloaded(view) or _told_late(view)
    read = "current" in channels and view.model.averages
    part_read = covered_part(*_apart_in_time(view, near)) if read else 1.0
    if LEAST_COVERED <= part_read < 1.0:
        unread = f"what is drawn between apertures, {_percent(1.0 - part_read)} of the time"
        how = f"{how}; {unread}, is taken as in them"
    volts_at_most = float(np.max(factors[0].values)) if factors is not None else 1.0
    per_ampere = volts_at_most * (end - start) * scale
    varies = _between_beside(view) if part_read < LEAST_COVERED else None
    if varies is not None:
        budget.bounded("between its apertures", (1.0 - part_read) * varies * per_ampere)
    measured = budget.result(value * scale, how, **({"would_decide": FASTER} | hidden))
    # What is not seen may be less as well as more: no lower limit is met for sure, and no upper one missed.
    measured = replace(measured, low=min(measured.low, 0.0)) if measured.unseen else measured
    if part_read >= LEAST_COVERED or varies is not None:
        return measured
    return _mostly_unread(view, measured, part_read, per_ampere)


def _apart_in_time(view: View, near: Signal) -> tuple[float, float, float]:
    """Of the readings in a step the update, the time between two that are recorded, holes counted, and the
    aperture [s].
    """
    update, _, aperture = view.timing()
    passed = float(near.time[-1] - near.time[0]) if near.time.size > 2 else 0.0
    return update, passed / max(1, near.time.size - 1), aperture


def _between_beside(view: View) -> float | None:
    """By how much the current can differ between a meter's apertures from what it is in them [A]: by what the
    run's own readings beside it vary in the step, where these cover enough of the time. None: they do not.
    """
    import numpy as np

    own = view.beside
    if own is None or not own.model.averages:
        return None
    try:
        inside = own.current().between(view.begin, view.end)
        known = inside.time.size > 2 and covered_part(*_apart_in_time(own, inside)) >= LEAST_COVERED
    except CannotMeasure:
        return None
    visible = 8.0 * inside.noise + 2.0 * inside.step
    return max(0.0, float(np.ptp(inside.values)) - visible) if known else None


def _percent(part: float) -> str:
    return f"{part * 100.0:.0f} %"


def _mostly_unread(view: View, measured: Measured, part_read: float, per_ampere: float) -> Measured:
    """What apertures that cover this part of the time say of the whole: between them the load draws anything
    from nothing to what the current limit lets through. The load's model is no bound, as the load is what is
    tested. per_ampere: the integral of 1 A that is drawn all the time.
    """
    bound = view.model.current_bound
    most = math.inf if bound is None else bound.value + bound.tolerance
    up_to = "anything" if bound is None else f"anything up to {bound.what}, {amount(bound.value, 'A')}"
    hides = f"the readings cover {_percent(part_read)} of the time: what is drawn between them is not read"
    low = min(measured.low, part_read * measured.low)
    high = max(measured.high, part_read * measured.high + (1.0 - part_read) * most * per_ampere)
    if measured.unseen:
        return replace(measured, low=low, high=high)
    return replace(
        measured,
        low=low,
        high=high,
        unseen=f"{hides}: {up_to}, or nothing",
        hides=hides,
        would_decide=f"readings that cover {_percent(LEAST_COVERED)} of the time or more, or a recording",
        open_above=bound is None,
        enclosed=True,
    )


def _apart(view: View, voltage: Signal, current: Signal) -> float:
    """By how much the mean voltage of outputs in parallel times the sum of their currents may be off the sum
    of what each gives [J]; 0: there is one.

    Each reads its voltage and its current together, up to an update before another does. Where m of n are
    read late and carry all that they can, a part of the sum lies at what the voltage moves meanwhile, beside
    the m / n of it that the mean has there. Which ones carry it, no reading of an input tells: an output that
    is on first leads in a rise, and the highest one at its end.
    """
    import numpy as np

    if view.model.summed != "current":
        return 0.0
    moves = np.maximum(0.0, np.abs(np.diff(voltage.values)) - 4.0 * voltage.noise - 2.0 * voltage.step)
    flows = np.abs(current.values[1:] + current.values[:-1]) / 2.0
    largest = sorted(
        (math.inf if each.most is None else each.most for each in view.model.current), reverse=True
    )
    count = len(largest)
    carried = [np.minimum(flows, sum(largest[:late])) - flows * late / count for late in range(1, count)]
    return float(moves @ np.max(carried, axis=0, initial=0.0)) * view.timing()[0]


def _told_late(view: View) -> dict[str, str]:
    """What is said where the input is told something so short before the end of the step that no reading
    which surely lies in it shows what follows.
    """
    update, _, aperture = view.timing()
    reach = max(update, view.interval) + aperture
    if not view.model.averages or view.told_last >= reach or view.quiet > 0.0:
        return {}
    return {
        "unseen": f"a change {amount(view.told_last, 's')} before the end of the step comes too late to be "
        f"seen for sure: a reading that shows it takes {amount(reach, 's')}",
        "would_decide": "a recording",
    }


def _holds_a_reading(view: View, signal: Signal) -> None:
    """Raises where no reading surely lies wholly in the step, unless those around it are all the same."""
    import numpy as np

    update, least, _ = view.timing()
    if not view.model.averages or view.end - view.begin >= update + least:
        return
    around = signal.between(view.begin - update - least, view.end + update + least)
    if float(np.ptp(around.values)) > 8.0 * around.noise + 2.0 * around.step:
        raise no_whole_reading(view)


def _left_open(budget: Budget, ways: Sequence[_Way], value: float, scale: float) -> None:
    """Adds what the ways in which the readings' windows can lie leave open of the integral, whose mean over
    them is `value`; scale: as in `integral`.
    """
    import numpy as np

    for source, bounds in (
        ("between readings", [(way.probability, way.between) for way in ways]),
        ("charging between readings", [(way.probability, way.charging) for way in ways]),
        ("product within an aperture", [(way.probability, way.product) for way in ways]),
    ):
        budget.many(source, _confident(bounds) * scale)
    # All edges meet the same phase of the readings: what it leaves open is one error, and so is the clock's.
    phases = 3.0 * math.fsum(way.probability * (way.value - value) ** 2 for way in ways)
    moved = max(way.moved for way in ways)
    budget.bounded("time of the readings", (math.sqrt(phases) + moved) * scale)
    gained = _confident([(way.probability, np.array([way.doubt])) for way in ways])
    budget.bounded("charge of the input's capacitance", float(gained[0]) * scale)


class _Way(NamedTuple):
    """The integral where the windows of the readings lie in one of the ways that their time stamps allow.

    moved: what the record's clock, and an aperture that is unknown, may change. jumps, doubt: over how many
    what the input's capacitance has gained counts by the voltage, and how well that is known. between,
    charging, product: bounds of what happens where no aperture is, of what a capacitor takes there, and of
    what v i loses by averaging v and i apart; one for each kind of edge.
    """

    value: float
    moved: float
    jumps: int
    doubt: float
    between: Array
    charging: Array
    product: Array
    probability: float


class _Readings(NamedTuple):
    """What every phase of the readings is worked out from.

    columns: values of the channel; of voltage and current, where it is their product; and voltage, where it
    is known; shape (k, n). noise: r.m.s. of each, shape (k,). step: of the channel's grid, of the voltage's.
    is_product, has_voltage: which columns there are. held: something stood there before it was switched on.
    jumps: of the voltage, at which the input's capacitance takes what it gives back; None: there are none.
    circulating: what outputs may drive into each other at most, in the channel's unit. stood: the column that
    is the last one before the step, whose values stood at `level`; None: from there on nothing is counted.
    """

    columns: Array
    noise: tuple[float, ...]
    step: tuple[float, float]
    is_product: bool
    has_voltage: bool
    held: bool
    jumps: Jumps | None
    circulating: float
    stood: int | None
    level: float


def _ways(
    view: View,
    signal: Signal,
    factors: tuple[Signal, Signal] | None,
    volts: Signal | None,
    is_current: bool,
    before: Before,
) -> list[_Way]:
    """The integral at every phase of the readings, with how probable it is. is_current: of a current, or of
    a product with one. before: what stood before the step.
    """
    import numpy as np

    from railwright.measures.windows import first_of_each, windows_at_phases

    update, _, aperture = view.timing()
    reach = 2.0 * (update + aperture + view.shift()[1]) + 3.0 * view.interval
    near = np.flatnonzero((signal.time > view.begin - reach) & (signal.time < view.end + reach))
    channels = [signal, *(factors or ()), *([] if volts is None else [volts])]
    columns = np.stack([channel.values[near] for channel in channels])
    noise = tuple(channel.noise for channel in channels)
    step = (signal.step, 0.0 if volts is None else volts.step)
    held = _held(view, signal.time[near], columns[0])
    has_voltage, is_product = volts is not None, factors is not None
    visible = None
    if has_voltage and gives_back(view):
        visible = _visible(channels[-1], signal if factors is None else factors[1], columns[-1])
    seen: dict[bytes, _Readings] = {}
    changed = columns[0, 1:] != columns[0, :-1]
    # What outputs drive into each other cancels in their sum only where it is read at the same time.
    circulating = view.model.circulating * is_current
    if factors is not None and circulating:
        circulating *= float(np.max(np.abs(columns[1])))
    if view.model.summed and view.interval < update:
        stood = before.place(near)
        readings = _Readings(
            columns, noise, step, is_product, has_voltage, held, None, circulating, stood, before.level
        )
        return [_way_of_several(view, signal.time[near], readings)]
    ways, contradictions = [], []
    known: dict[bytes, tuple[Array, Array, Array]] = {}
    for windows in windows_at_phases(view, signal.time[near]):
        # A window that is handed over twice says the same both times.
        contradictions.append(int(np.count_nonzero(changed[windows.middle[1:] == windows.middle[:-1]])))
        rows = first_of_each(windows.middle)
        if (key := rows.tobytes()) not in seen:
            own = columns[:, rows]
            jumps = None if visible is None else jumps_of(own[-1], visible)
            stood = before.place(near[rows])
            seen[key] = _Readings(
                own, noise, step, is_product, has_voltage, held, jumps, circulating, stood, before.level
            )
        ways.append(_way(view, windows.middle[rows], seen[key], windows.probability, known))
    fewest = min(contradictions)
    likely = [
        way.probability * math.exp(fewest - count) for way, count in zip(ways, contradictions, strict=True)
    ]
    return [
        way._replace(probability=each / math.fsum(likely)) for way, each in zip(ways, likely, strict=True)
    ]


def _visible(voltage: Signal, current: Signal, near: Array) -> Visible:
    """What is a change of a voltage: more than noise and grid, and than a level that settles moves (ALIKE of
    the range of what is near the step); and what is more than the errors of a current that is none.
    """
    import numpy as np

    least = 4.0 * current.noise + math.fsum(float(np.abs(each.shape).min()) for each in current.systematic)
    change = max(4.0 * voltage.noise + 2.0 * voltage.step, ALIKE * float(np.ptp(near)))
    return Visible(change, least, current.noise)


def _way(
    view: View,
    time: Array,
    readings: _Readings,
    probability: float,
    known: dict[bytes, tuple[Array, Array, Array]],
) -> _Way:
    """The integral, where these are the middles of the windows [s], shape (n,).

    known: bounds that were worked out at other phases: of the same windows, only moved, they are the same.
    """
    import numpy as np

    from railwright.measures.signal import integrals

    _, least, most = view.timing()
    doubt = view.model.clock + (most - least) / 4.0
    part = _of_step(view, time, readings.columns[0], doubt, readings.stood)
    back = None
    if readings.jumps is not None:
        until = min(view.end, view.end + view.quiet - view.timing()[2] / 2.0 - doubt)
        back = without_pulses(view, time, readings.columns, readings.jumps, until)
    time, columns = part.of(time, readings.columns if back is None else back.columns)
    gaps = time[1:] - time[:-1]
    # What was taken out is known by itself: nothing of it hides.
    seen = np.zeros(gaps.size, np.bool_) if back is None else back.taken_out[part.first : part.last - 1]
    if readings.is_product:
        jumped = _jumped(columns, readings)
        jumped[1:][seen] = jumped[:-1][seen] = 0.0
        columns = np.vstack((columns[:1] + jumped / 2.0, columns[1:]))
    start, end = view.begin - part.early, view.end
    # A window that lies a little early or late gains at one end what it loses at the other.
    shifts = doubt * np.array([0.0, -1.0, -0.5, 0.5, 1.0])
    shifted = integrals(time, columns[0], start + shifts, end + shifts)
    inside = (time[1:] > start) & (time[:-1] < end)
    pulled = _pulled_down(view, time, columns[0], readings)
    same = np.concatenate((columns.ravel(), inside, seen, pulled, np.rint(gaps / ALIKE_GAPS)))
    if (key := blake2b(same.data).digest()) not in known:
        known[key] = _hidden(view, gaps, columns, readings, inside, pulled, seen)
    moved = float(np.max(np.abs(shifted - shifted[0])))
    if part.early:
        moved += 2.0 * readings.circulating * view.timing()[0] / 2.0
    jumps, gained, unsure = (0, 0.0, 0.0) if back is None else (back.jumps, back.gained, back.doubt)
    between, charging, product = known[key]
    between = np.append(between, _up_to_the_end(time, columns[0], (end, least), readings.noise[0]))
    value = _shown(view, float(shifted[0]), part.early, columns[0], readings) + gained
    return _Way(value, moved, jumps, unsure, between, charging, product, probability)


def _shown(view: View, whole: float, early: float, values: Array, readings: _Readings) -> float:
    """The integral over the step, of one over the step and so much before it [s]. Where it stood at a level
    until then, a change at the beginning comes after it, wherever between two windows the trapezoid rule puts
    it: the mean is none that lies beyond all that was shown.
    """
    if readings.stood is None:
        return whole
    length, level = view.end - view.begin, readings.level
    least, most = min(level, float(values.min())) * length, max(level, float(values.max())) * length
    return min(max(whole - level * early, least), most)


def _up_to_the_end(time: Array, values: Array, of_end: tuple[float, float], noise: float) -> float:
    """Bound of what happens after the last reading that lies in a step. of_end: its end, and the least
    aperture [s].

    Where that is the last one, it stands up to the end: as much as among the LAST of them changes, over the
    time that is left. Where there is another one beyond the end, the change may come anywhere between the
    two: right after the aperture of the one, or after the end. And a value in the middle of whose aperture
    both the change and the end lie is half of it: the trapezoid before it then adds a quarter of the change
    and of the time from the one before, and what would take that off lies beyond the end.
    """
    import numpy as np

    end, least = of_end
    if time[-1] <= end or time.size < 2:
        varies = float(np.ptp(values[-LAST:])) - 4.0 * noise
        return max(0.0, varies) * max(0.0, end - least / 2.0 - float(time[-1]))
    last = int(np.searchsorted(time, end, side="right")) - 1
    if last < 0:
        return 0.0
    gap, left = float(time[last + 1] - time[last]), end - float(time[last])
    changes = max(0.0, abs(float(values[last + 1] - values[last])) - 4.0 * noise)
    taken = left**2 / (2.0 * gap) if gap > 0.0 else 0.0
    bound = changes * max(taken, left - least / 2.0 - taken)
    if last > 0 and left < least / 2.0:
        whole = max(0.0, abs(float(values[last + 1] - values[last - 1])) - 4.0 * noise)
        bound = max(bound, whole * float(time[last] - time[last - 1]) / 4.0)
    return bound


def _way_of_several(view: View, time: Array, readings: _Readings) -> _Way:
    """The integral of what several outputs read together, each on a grid of its own, asked more often than
    they take a new reading. time: of the rows [s], shape (n,), in the middle of what they may show.

    A row is then new for one output and old for the others, and no phase is right for all. But what an output
    shows stands for an update around its window's middle, wherever its grid lies: the rows are the midpoint
    rule for each output, and so for their sum. An edge lies half an interval of the rows off at most.
    """
    import numpy as np

    from railwright.measures.signal import integrals

    update, least, most = view.timing()
    doubt = view.model.clock + (most - least) / 4.0 + view.interval / 2.0
    part = _of_step(view, time, readings.columns[0], view.shift()[1], readings.stood)
    start, end = view.begin - part.early, view.end
    # What stands around an edge of the step is of either side of it: of a jump at the edge, up to half an
    # update's worth. What the next step does shows in rows that are left out of this one.
    beside = [
        readings.columns[0][(time >= instant - update) & (time <= instant + update)]
        for instant in ([end] if part.early else [start, end])
    ]
    time, columns = part.of(time, readings.columns)
    shifts = doubt * np.array([0.0, -1.0, -0.5, 0.5, 1.0])
    shifted = integrals(time, columns[0], start + shifts, end + shifts)
    moved = float(np.max(np.abs(shifted - shifted[0])))
    if part.early:
        moved += 2.0 * readings.circulating * doubt
    moved += math.fsum(float(np.ptp(each)) * update / 2.0 for each in beside if each.size)
    pulled = _pulled_down(view, time, columns[0], readings)
    inside = (time[1:] > start) & (time[:-1] < end)
    # Where a row is new, it is so for one of them: an update after that one's last.
    new = np.any(np.diff(columns) != 0.0, axis=0) | (pulled > 0.0)
    rows = np.concatenate(([0], np.flatnonzero(new) + 1))
    gaps = np.full(rows.size - 1, update)
    nowhere = np.zeros(gaps.size, np.bool_)
    hidden = _hidden(view, gaps, columns[:, rows], readings, inside[new], pulled[new], nowhere)
    # An edge is met by all outputs one after another: what load and capacitor hide is off together.
    together = hidden[0] + hidden[1]
    # Voltage and current of a row are of windows up to half an update apart: Δv Δi / 2 beside the Δv Δi / 6.
    product = 4.0 * hidden[2]
    value = _shown(view, float(shifted[0]), part.early, columns[0], readings)
    return _Way(value, moved, 0, 0.0, together, np.zeros_like(together), product, 1.0)


def _hidden(
    view: View, gaps: Array, columns: Array, readings: _Readings, inside: Flags, pulled: Array, seen: Flags
) -> tuple[Array, Array, Array]:
    """What happens where no aperture is, what a capacitor takes there, and what v i loses by averaging v and
    i apart: bounds, one for each kind of edge. pulled (n - 1,): see `_pulled_down`; seen (n - 1,): where no
    capacitor's pulse hides.
    """
    import numpy as np

    least, values = view.timing()[1], columns[0]
    # What changes between two readings: bounded by their difference over the time that no aperture covers.
    unseen = np.maximum(0.0, gaps - least)
    noise, load, taken = 2.0 * readings.noise[0], values, np.zeros(gaps.size)
    if readings.has_voltage and least > 0.0 and view.capacitance[1] > 0.0:
        # A capacitor's current that ends and a load's that begins hide more than their sum shows: each apart.
        charges = _charging_current(view, gaps, columns, readings, seen)
        load = values - charges
        taken = np.where(seen, 0.0, _into_capacitor(view, gaps, columns[-1], readings))
        taken = np.maximum(taken, np.maximum(0.0, _changes(charges) - noise) * unseen / 2.0)
    between = np.maximum(0.0, _changes(load) - noise) * unseen / 2.0 + pulled * unseen
    tolerance = 4.0 * readings.noise[0] + 2.0 * readings.step[0] + ALIKE * float(np.ptp(values))
    kinds = _kinds(values, unseen, inside, tolerance)
    product = np.zeros(0)
    if readings.is_product:
        lost = np.where(seen, 0.0, _covariance(gaps, columns, readings))
        product = _of_each_kind(lost[inside], kinds)
    return _of_each_kind(between[inside], kinds), _of_each_kind(taken[inside], kinds), product


def _held(view: View, time: Array, values: Array) -> bool:
    """Whether something stood at an input before it was switched on, as a battery's voltage does.

    time: of the rows as a `Signal` has them [s]; what they show ended by their time stamp, whichever of its
    windows it is. A later row may show the rise itself.
    """
    import numpy as np

    if view.off_until is None:
        return False
    before = int(np.searchsorted(time, view.off_until - view.model.clock + view.shift()[0], side="right")) - 1
    return before >= 0 and abs(float(values[before])) > HELD * float(np.abs(values).max())


def _pulled_down(view: View, time: Array, values: Array, readings: _Readings) -> Array:
    """How far what stands at an input before it is switched on may have fallen between the two readings
    around that: to nothing, for an output begins its rise at 0 V and may draw it down. Shape (n - 1,); 0
    elsewhere.
    """
    import numpy as np

    least = np.minimum(np.abs(values[1:]), np.abs(values[:-1]))
    if not readings.held or view.off_until is None:
        return np.zeros_like(least)
    around = (time[:-1] <= view.off_until) & (view.off_until <= time[1:])
    return np.where(around, least, 0.0)


def _charging_current(view: View, gaps: Array, columns: Array, readings: _Readings, seen: Flags) -> Array:
    """What a ramp of the voltage charges the input's capacitance with in each reading: C dv/dt [A], or times
    v [W]; of a reading in which the ramp begins or ends, by the slower of what is before and after it. Shape
    (n,). seen: as of `_hidden`.
    """
    import numpy as np

    steps = np.diff(columns[-1])
    visible = 4.0 * readings.noise[-1] + 2.0 * readings.step[1]
    slopes = np.where((np.abs(steps) > visible) & ~seen, steps / gaps, 0.0)
    left, right = np.append(0.0, slopes), np.append(slopes, 0.0)
    slower = np.where(np.abs(left) < np.abs(right), left, right)
    charging: Array = sum(view.capacitance) / 2.0 * np.where(left * right > 0.0, slower, 0.0)
    return charging * columns[-1] if readings.is_product else charging


def _into_capacitor(view: View, gaps: Array, voltage: Array, readings: _Readings) -> Array:
    """Most that the input's capacitor took where no aperture saw it: C ΔV [C], or C ΔV v [J] as a product, of
    jumps of the voltage that lie between two apertures. Shape (n - 1,).

    A short pulse of current that charges it leaves no trace in the current, but one in the voltage.
    """
    import numpy as np

    size = np.abs(np.diff(voltage))
    # An aperture that the jump reaches into has seen some of the pulse.
    beside = np.append(0.0, size[:-1]) + np.append(size[1:], 0.0)
    seen = np.where(gaps > 2.0 * view.timing()[1], 1.0, SEEN)
    hidden = np.maximum(0.0, size - seen * beside - 4.0 * readings.noise[-1] - readings.step[1])
    if readings.is_product:
        hidden = hidden * np.abs(voltage[1:] + voltage[:-1]) / 2.0
    most: Array = view.capacitance[1] * hidden
    return most


def _kinds(values: Array, unseen: Array, inside: Flags, tolerance: float) -> Places:
    """A number for every interval inside, the same for equal edges: alike before, after, and in what no
    aperture covers. Shape (k,).

    What equal edges have in common is where they lie between two apertures: their errors are equal.
    """
    import numpy as np

    numbers: Places = np.zeros(int(np.count_nonzero(inside)), dtype=np.intp)
    longest = float(np.max(unseen, initial=0.0))
    for each, apart in (
        (values[:-1][inside], tolerance),
        (values[1:][inside], tolerance),
        (unseen[inside], 0.25 * longest),
    ):
        order = np.argsort(each, kind="stable")
        ranks = np.zeros_like(numbers)
        ranks[order] = np.concatenate(([0], np.cumsum(np.diff(each[order]) > apart)))
        _, numbers = np.unique(numbers * (numbers.size + 1) + ranks, return_inverse=True)
    # A top or a notch of one value: where it lies between its neighbours is off on both sides at once.
    steps = np.diff(values)[inside]
    turns = np.flatnonzero(
        (steps[1:] * steps[:-1] < 0.0) & (np.minimum(abs(steps[1:]), abs(steps[:-1])) > tolerance)
    )
    for place in turns:
        numbers[numbers == numbers[place + 1]] = numbers[place]
    return numbers


def _of_each_kind(half_widths: Array, kinds: Places) -> Array:
    """Bounds of the sums over the intervals of each kind, whose errors are one error."""
    import numpy as np

    return np.bincount(kinds, weights=half_widths).astype(np.float64)


def _confident(parts: Sequence[tuple[float, Array]]) -> Array:
    """Of several sets of bounds, each with its probability: one that is as wide as all but a few are.

    Whether a window was left out where the current changes, hangs on the phase, which is one for the whole
    record: a mean over the phases would be too narrow for those at which it was.
    """
    import numpy as np

    ordered = sorted(parts, key=lambda part: float(np.sum(np.square(part[1]))))
    reached = np.cumsum([share for share, _ in ordered])
    place = int(np.searchsorted(reached, MOST_PHASES * reached[-1]))
    return ordered[min(place, len(ordered) - 1)][1]


class _Part(NamedTuple):
    """The values that tell of a step: those from first up to last, and how long before its start they are to
    be integrated [s]. off_at: when nothing was drawn yet before the first of them [s]; None: nothing is to be
    put there.
    """

    first: int
    last: int
    early: float
    off_at: float | None

    def of(self, time: Array, columns: Array) -> tuple[Array, Array]:
        """Times, shape (m,), and columns, shape (k, m), of this part; the first column is zero while off."""
        import numpy as np

        time, columns = time[self.first : self.last], columns[:, self.first : self.last]
        if self.off_at is None:
            return time, columns
        before = columns[:, :1].copy()
        before[0] = 0.0
        return np.concatenate(([self.off_at], time)), np.hstack((before, columns))


def _of_step(view: View, time: Array, values: Array, late: float, stood: int | None = None) -> _Part:
    """The values that tell of the step. late: bound of the error of their times [s]. stood: which is the last
    that stands for what was before it; None: none does.

    Steps begin with a set point that changes, and most end with one. What the change at the end does belongs
    to the next step: values whose aperture may reach beyond the end, and beyond what is `quiet` after it, are
    left out, and the last one stands up to it.
    Before it is switched on an input draws nothing: what a late reading puts there belongs to the step. But
    where the device itself holds a voltage before, as a battery does, that is no part of it.
    """
    import numpy as np

    if view.model.exact:
        return _Part(*_around(time, view.begin, view.end), 0.0, None)
    update, _, aperture = view.timing()
    switched = view.off_until is not None and view.off_until >= view.start - view.shift()[1]
    early = update + aperture + view.model.clock if switched else 0.0
    first, last = _around(time, view.begin - early - late, view.end)
    inside = np.abs(values[first:last])
    if switched and inside.size and inside[0] > HELD * inside.max():
        switched, early = False, 0.0
        first, last = _around(time, view.begin - late, view.end)
    # A record that was meddled with may have its times in disorder.
    if stood is not None and not switched and stood < last:
        first, early = stood, view.begin - float(time[stood])
    certain = int(
        np.searchsorted(time[first:last], view.end + view.quiet - aperture / 2.0 - late, side="right")
    )
    last = first + max(min(2, last - first), certain)
    off_at = None
    if switched and last > first:
        before = float(time[first]) - view.interval
        if time[first] > view.begin - early > before - view.interval:
            off_at = before
    return _Part(first, last, early, off_at)


def _changes(values: Array) -> Array:
    """How much the waveform may have changed in one go between two neighbours, shape (n - 1,).

    A jump inside an aperture is spread over two differences; each then counts for the whole jump, less √2.
    """
    import numpy as np

    steps = values[1:] - values[:-1]
    two = np.abs(steps[1:] + steps[:-1]) / math.sqrt(2.0)
    changes: Array = np.maximum(np.abs(steps), np.maximum(np.append(0.0, two), np.append(two, 0.0)))
    return changes


def _around(time: Array, start: float, end: float) -> tuple[int, int]:
    """Where the values inside the window begin and end, with one more on either side."""
    import numpy as np

    first = max(0, int(np.searchsorted(time, start, side="left")) - 1)
    return first, min(time.size, int(np.searchsorted(time, end, side="right")) + 1)


def covered(view: View, signal: Signal, *, seen_elsewhere: bool = False) -> None:
    """Raises CannotMeasure where the values do not span the window, or leave a hole in it.

    seen_elsewhere: what lies before the first value and after the last one is known from another record.
    """
    import numpy as np

    if signal.time.size < 2:
        view.overlaps()
        told = f"the record holds no values in {view.called}"
        raise CannotMeasure(told, "a recording that covers the step")
    if view.model.exact:
        return
    allowed = 3.0 * max(view.interval, view.model.update or 0.0)
    slack = allowed + view.shift()[1]
    edge = slack + (view.model.aperture or 0.0)
    short = signal.time[0] > view.begin + slack or signal.time[-1] < view.end - edge - view.shift()[1]
    if short and not seen_elsewhere:
        told = f"the record does not cover the whole of {view.called}"
        raise CannotMeasure(told, "a recording that covers the step")
    hole = float(np.max(np.diff(signal.time)))
    if hole > max(allowed, LARGEST_GAP * (view.end - view.begin)):
        raise CannotMeasure(
            f"the record has a hole of {hole:.3g} s in {view.called}", "a recording without holes"
        )


def _covariance(gaps: Array, columns: Array, readings: _Readings) -> Array:
    """Bounds of what v i loses by averaging v and i apart: two lines over an aperture give Δv Δi / 12, each
    way; of a jump within it, half of what `_jumped` says is added.
    """
    import numpy as np

    from railwright.measures.signal import REACHED

    steps = np.prod(np.abs(np.diff(columns[1:3])), axis=0)
    noise = 4.0 * readings.noise[1] * readings.noise[2]
    lines = np.maximum(0.0, steps - noise) / 6.0
    bounds: Array = np.maximum(lines, np.abs(_jumped(columns, readings))[1:] / 2.0 / REACHED) * gaps
    return bounds


def _jumped(columns: Array, readings: _Readings) -> Array:
    """What the mean of v i in an aperture is more than the product of the means of v and i, if both jump in
    it, shape (n,): f (1 - f) Δv Δi where f of it lies before the jump, by which it lies between its
    neighbours. What goes on before them or behind them is no jump.
    """
    import numpy as np

    steps = np.diff(columns[1:3])
    visible = 4.0 * np.array(readings.noise[1:3])[:, None]
    way, beside = np.sign(steps), np.pad(steps, ((0, 0), (1, 1)))
    behind, ahead = (
        way * np.maximum(0.0, np.abs(steps) - np.maximum(0.0, way * other) - visible)
        for other in (beside[:, :-2], beside[:, 2:])
    )
    jumped = np.zeros(columns.shape[1])
    to, on = behind[:, :-1], ahead[:, 1:]
    both = np.all(to * on > 0.0, axis=0)
    jumped[1:-1] = np.where(both, (to[0] * on[1] + on[0] * to[1]) / 2.0, 0.0)
    return jumped
