"""What the supply does: whether and when one of its protections switches an input off, and whether it stays
in constant voltage.

A run knows this from the supply's status, for which it asks again and again: a trip lies between the last
question whose answer did not show it and the first answer that did. A rehearsal knows its instant. An input
whose outputs are switched off because another input tripped (a linked trip) has not tripped itself.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from railwright.measures.measure import measure
from railwright.measures.outcome import Beyond, CannotMeasure, Measured, NotAsRequired
from railwright.measures.peak import peak_current, peak_voltage
from railwright.measures.wording import amount, recording
from railwright.traces import Mode

if TYPE_CHECKING:
    from railwright.measures.signal import View
    from railwright.measures.status import SupplyStatus, Trip


class _Placed(NamedTuple):
    """The first trip that lies in a step; None: none does. sure: it certainly lies in it. until: the end of
    what is sure, where it may lie in the next step [s].
    """

    trip: Trip | None
    sure: bool = True
    until: float | None = None


def _status(view: View) -> SupplyStatus:
    """The status of an input's outputs; raises CannotMeasure where the record does not tell it."""
    if view.beside is not None or view.supply is None:
        raise CannotMeasure("the record does not hold the supply's own state", "the status that a run reads")
    for time in view.supply.went_off:
        if time <= view.end:
            raise CannotMeasure(
                f"an output was found off at {amount(time, 's')}, and the supply does not say why",
                "a supply that tells what tripped",
            )
    return view.supply


def _placed(view: View, status: SupplyStatus) -> _Placed:
    """The first trip of the record, as far as it lies in the step.

    Where the status leaves open in which of two steps it lies, it comes of what the later one does, unless
    something may have led to it in the earlier one. Raises CannotMeasure where it lies before the step.
    """
    trip = status.trips[0] if status.trips else None
    if trip is None:
        return _Placed(None)
    error = 0.0 if view.model.exact else view.model.clock
    if trip.latest < view.begin - error:
        raise CannotMeasure(
            f"the input tripped before this step, by its {trip.protection} at {amount(trip.latest, 's')}",
            "a step that begins with the input on",
        )
    if trip.earliest > view.end + error or (trip.earliest == view.end and not view.last):
        return _Placed(None)
    if trip.latest > view.end + error and not view.last:
        begun = status.begun_before(trip, 1)
        return _Placed(trip, sure=False, until=trip.earliest) if begun else _Placed(None)
    before = view.off_until is None and trip.earliest < view.begin - error
    return _Placed(trip, sure=not (before and status.begun_before(trip, 0)))


def _where(trip: Trip) -> str:
    """Between which instants a trip lies, in words."""
    return f"its {trip.protection} trips between {amount(trip.earliest, 's')} and {amount(trip.latest, 's')}"


CURRENT = recording("a recording of the current")
"""What would decide whether a limit regulates."""


@measure("s", "trip time", (), trip="time")
def trip_time(view: View) -> Measured:
    """Time until a protection of the supply switches the input off.

    Computed: from the beginning of the step, or from the switching-on of an input that was off, to the
    first trip of one of its outputs (with `by`: of that protection; where another one acts first, it
    fails). A linked trip is none. A recording does not time a trip: the output's capacitor feeds the input
    on.
    Window: the step. A requirement on it makes a trip in this step the expected end of the procedure. Where
    the status leaves open in which of two steps a trip lies, it counts in the later one, unless the status
    before it shows a limit or set points had just moved: then it cannot be told.
    Uncertainty: 'status polled' (the trip lies between the last question for the status whose answer does
    not show it and the first answer that does), 'beginning of the step' (the time of its first set point),
    'instant of switching on' (±0.5 ms, declared). A rehearsal has none.
    Standard: none; a definition of this program.
    """
    from railwright.measures.budget import Budget
    from railwright.measures.reading_model import SWITCHING_TIME

    status = _status(view)
    placed = _placed(view, status)
    trip = placed.trip
    if trip is None:
        length = view.end - view.begin
        raise Beyond(f"no protection trips in the {amount(length, 's')} of the step", length, "above")
    if not placed.sure:
        told = f"{_where(trip)}: the status does not tell in which of two steps"
        if placed.until is not None:
            raise Beyond(told, placed.until - view.begin, "above")
        raise CannotMeasure(told, "a status that is asked for more often")
    begin = max(trip.earliest, view.begin)
    latest = max(trip.latest, begin)
    middle = (begin + latest) / 2.0 - view.begin
    if status.by is not None and trip.protection != status.by:
        raise NotAsRequired(
            f"its {trip.protection} trips {amount(middle, 's')} after the beginning, not its {status.by}"
        )
    budget = Budget(view)
    budget.bounded("status polled", (latest - begin) / 2.0)
    if not view.model.exact:
        budget.bounded("beginning of the step", view.model.clock)
        if view.off_until is not None:
            budget.bounded("instant of switching on", SWITCHING_TIME)
    how = f"first trip, by its {trip.protection}"
    return budget.result(middle, how, would_decide="a status that is asked for more often")


@measure("1", "trips", (), only_grows=True, trip="count")
def trips(view: View) -> Measured:
    """Whether a protection of the supply switches the input off: 1 or 0.

    Computed: the first trip of one of its outputs (with `by`: of that protection alone). A linked trip is
    none.
    Window: the step. `at_least: 1` makes a trip in this step the expected end of the procedure. A trip
    between two steps counts as for the trip time.
    Uncertainty: none; a count. Where the status does not tell in which of two steps the trip lies, 0 to 1.
    Standard: none; a definition of this program.
    """
    from railwright.measures.budget import Budget

    status = _status(view)
    placed = _placed(view, status)
    trip = placed.trip
    if trip is None or (status.by is not None and trip.protection != status.by):
        return Budget(view).result(0.0, "trips of the input's outputs")
    if not placed.sure:
        how = f"{_where(trip)}: in this step or in the one beside it"
        return Measured(0.0, 0.0, 1.0, (), how, would_decide="a status that is asked for more often")
    return Budget(view).result(1.0, f"first trip, by its {trip.protection}")


@measure("s", "longest time out of constant voltage", ("current",), only_grows=True, of_supply=True)
def time_out_of_cv(view: View) -> Measured:
    """Longest time on end in which the supply does not hold its voltage: its current or power limit
    regulates.

    Computed: from the mode of the outputs; a trip in the step is a time without end. Outputs in series are
    out of constant voltage while one of them is; outputs in parallel only while none of them regulates the
    voltage: one that is set a little higher stands in its limit, and another holds the voltage. What lies
    between two answers that show the same mode is taken to be in it; after the last answer before the output
    goes off, or the record ends, it may have gone back. Of a recording: 0, where the largest current stays
    below the least that the limit (in parallel: all of them together) may be, and the largest power below
    what an output gives.
    Window: the step, from the switching-on where it lies in the step.
    Uncertainty: 'status polled', at either end. A time that falls between two questions for the status is not
    seen: it can be as long as that. A rehearsal has none.
    Standard: none; a definition of this program.
    """
    from railwright.measures.budget import Budget
    from railwright.measures.status import LIMITS, ModeChange

    if view.beside is not None:
        return _below_limit(view)
    status = _status(view)
    placed = _placed(view, status)
    if placed.trip is not None and placed.sure:
        raise Beyond(f"its {placed.trip.protection} trips in the step", math.inf, "above")
    if status.modes is None:
        raise CannotMeasure("the supply does not tell what regulates its outputs", CURRENT)
    longest, halves = 0.0, (0.0, 0.0)
    unseen = 0.0 if view.model.exact else status.gap
    ends = view.end if view.last else math.inf
    changes = [*status.modes, ModeChange(Mode.OFF, ends, ends)]
    for here, following in pairwise(changes):
        if here.mode not in LIMITS:
            continue
        first = (max(here.earliest, view.begin), max(here.latest, view.begin))
        # No answer tells what regulated until it was switched off, or until the record ends.
        earlier = unseen if following.mode is Mode.OFF else 0.0
        earliest = max(first[0], min(following.earliest - earlier, view.end))
        last = (earliest, min(following.latest, view.end))
        length = (last[0] + last[1] - first[0] - first[1]) / 2.0
        if last[1] > first[0] and length > longest:
            longest, halves = length, ((first[1] - first[0]) / 2.0, (last[1] - last[0]) / 2.0)
    budget = Budget(view)
    for half in halves:
        budget.bounded("status polled", half)
    how = "longest time in the current or power limit" if longest else "no status shows a limit"
    if longest > unseen or not unseen:
        if unseen:
            how += f", but for returns that are shorter than the {amount(unseen, 's')} between two answers"
        return budget.result(longest, how)
    how = f"{how}; the status is asked for every {amount(unseen, 's')} at the longest"
    return budget.at_least(longest, unseen, how, would_decide=CURRENT)


def _below_limit(view: View) -> Measured:
    """Of a recording: 0 where its current never reaches what the limit may be. Raises CannotMeasure."""
    from railwright.measures.budget import Budget

    status = view.supply
    if status is None or status.least_limit is None:
        raise CannotMeasure("the error of the current limit is unknown", "its accuracy in the bench document")
    for trip in status.trips:
        if view.begin <= trip.latest and trip.earliest <= view.end:
            raise Beyond(f"its {trip.protection} trips in the step", math.inf, "above")
    told, decides = "a recording does not tell which of the two regulates", "the supply's own status"
    peak = peak_current(view)
    if peak.hides:
        raise CannotMeasure(f"{peak.hides}, and so may a time in the limit", peak.would_decide)
    if peak.elsewhere:
        raise CannotMeasure("the record does not cover the whole step", "a recording that covers the step")
    if peak.unseen or peak.high >= status.least_limit:
        held = f"the limit may hold {amount(status.least_limit, 'A')}"
        raise CannotMeasure(f"the current comes up to {amount(peak.high, 'A')} and {held}: {told}", decides)
    volts = peak_voltage(view) if status.power is not None else None
    if status.power is not None and (volts is None or volts.unseen or volts.high * peak.high >= status.power):
        raise CannotMeasure(
            f"the power comes near the {amount(status.power, 'W')} of an output: {told}", decides
        )
    how = f"the current stays below {amount(status.least_limit, 'A')}, the least that the limit may hold"
    return Budget(view).result(0.0, how)
