"""What a run looks out for in each reading: modes, trips, outputs that went off by themselves, stop
conditions, and, after switching off, when the voltage has fallen.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from railwright.documents.procedure import StopCondition
from railwright.documents.repeating import ReadingBound
from railwright.quantities import show
from railwright.records.ended import Ended
from railwright.running.followed import Followed
from railwright.running.outcome import InputReading
from railwright.running.totals import Totals
from railwright.traces import UNPROVED, Event, EventKind, Facts, Mode, enters, trips

GRACE = 0.1
"""For how long after switching on an output may still say that it is off [s]."""


NO_LAST_TRIP = (EventKind.TRIPS_LINKED.trip, EventKind.TRIPS_OTP.trip)
"""Trips that an output may show for the first time although it had not tripped when it was switched off."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """What ends a run: how, about which input, the cause in words, and the time of the reading [s].

    protection: that which tripped; empty: none did, or it is not told which. steps: those in which the trip
    may have happened, as far as the status tells.
    """

    ended: Ended
    input: str
    cause: str
    time: float
    protection: str = ""
    steps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Waiting:
    """A mode that was seen, until there is a reading of it: a status is of now, what is read with it older.

    before: the reading before the one that showed it; None for the first mode after switching on. within: the
    bounds of its instant [s]; None: not known.
    """

    time: float
    mode: Mode
    before: InputReading | None
    within: tuple[float, float] | None

    def event(self, name: str, after: InputReading | None) -> Event:
        facts = _facts(self.before)._replace(within=self.within)
        facts = (
            facts._replace(unread=True)
            if after is None
            else facts._replace(voltage=after.voltage, current=after.current)
        )
        return Event(self.time, name, enters(self.mode), facts)


class Watch:
    """Looks at readings one after the other. Pure but for what it remembers.

    An event has the time of the first reading that shows it. It is handed out when a reading has come whose
    whole averaging lies after that, or when there will be none.

    off_below: input -> voltage below which it has fallen [V]. fell_after: input -> from its switching-off to
    the first reading below that [s]; not of one that fell before, or went off by itself. unproved: whether
    nobody has provoked a trip of an input. charge_at_most: input -> the most charge that may go into it [C].
    """

    def __init__(
        self,
        stop_when: Sequence[StopCondition],
        off_below: Mapping[str, float] | None = None,
        unproved: Callable[[str, str], bool] = lambda name, trip: False,
        charge_at_most: Mapping[str, float] | None = None,
    ) -> None:
        self._unproved = unproved
        self.followed = Followed()
        self._stop_when = tuple(stop_when)
        self._off_below = dict(off_below or {})
        self._charge_at_most = dict(charge_at_most or {})
        self._totals = {name: Totals(name) for name in self._charge_at_most}
        self._off_since: dict[str, float] = {}
        self._waiting: dict[str, _Waiting] = {}
        self._last: dict[str, InputReading] = {}
        self.fell_after: dict[str, float] = {}
        self._since: dict[int, float] = {}
        self._on_since: dict[str, float] = {}
        self._known_since: dict[str, float] = {}
        self._mode: dict[str, Mode] = {}
        self._gone: set[str] = set()
        """Inputs that were told to have gone off by themselves, until they are switched again."""
        self._fell_itself: set[str] = set()
        """Inputs that had gone off by themselves when they were switched off."""
        self._step, self._step_since, self._step_before = "", 0.0, ""
        self._status_gap = 0.0
        self._sought: tuple[str, ReadingBound, float] | None = None
        self._found_since: float | None = None
        self.found = False
        """Whether what `look_for` was told of has been read since."""

    def look_for(self, name: str, bound: ReadingBound | None, duration: float) -> None:
        """Look from now on whether an input is read beyond a bound for so long [s]; None: no longer."""
        self._sought = None if bound is None else (name, bound, duration)
        self._found_since, self.found = None, False

    def _seek(self, reading: InputReading) -> None:
        if self._sought is None or self._sought[0] != reading.input:
            return
        _, bound, duration = self._sought
        if not bound.met(reading.voltage, reading.current):
            self._found_since = None
            return
        if self._found_since is None:
            self._found_since = reading.time
        self.found = self.found or reading.time - self._found_since >= duration

    def step_begins(self, name: str, time: float) -> None:
        """A step begins: conditions that are for one step only are judged on readings wholly inside it."""
        self._step_before = self._step
        self._step, self._step_since = name, time
        self._status_gap = 0.0
        for position, condition in enumerate(self._stop_when):
            if condition.during is not None:
                self._since.pop(position, None)

    def switches(self, name: str) -> None:
        """The command that switches an input is on its way: what its outputs say until then is no news."""
        self._known_since[name] = math.inf

    def switched(self, name: str, on: bool, time: float, done: float = -math.inf) -> list[Event]:
        """An input was switched; from then on its readings are judged, or no longer. Gives what waited.

        done: when all of its outputs had answered, in the record's time [s]. A state that was read
        before that, and is looked at only now, tells nothing of what was switched.
        """
        events = self._settled(name)
        if not on:
            self.followed.forget(name)
        self._fell_itself.discard(name)
        if name in self._gone and not on:
            self._fell_itself.add(name)
        self._gone.discard(name)
        self._known_since[name] = done
        self._off_since.pop(name, None)
        self.fell_after.pop(name, None)
        if on:
            self._on_since[name] = time
        else:
            self._on_since.pop(name, None)
            self._mode.pop(name, None)
            if name in self._off_below:
                self._off_since[name] = time
        for position, condition in enumerate(self._stop_when):
            if condition.input == name:
                self._since.pop(position, None)
        return events

    def see(self, reading: InputReading) -> tuple[list[Event], Alarm | None]:
        """Events in a reading, and what in it ends the run."""
        name = reading.input
        self.followed.see(reading)
        before, self._last[name] = self._last.get(name), reading
        if name in self._totals and (name in self._on_since or self._totals[name].charge):
            self._totals[name].see(reading, True)
        within = self._within(reading, before)
        if within is not None:
            self._status_gap = max(self._status_gap, within[1] - within[0])
        if name in self._off_since:
            found = [*self._tripped_last(reading, before), *self._fallen(reading, before)]
            return found, self._switched_on(reading)
        if name not in self._on_since:
            return [], self._switched_on(reading)
        if name in self._gone:
            return [], None
        if reading.asked is not None and reading.asked < self._on_since[name]:
            return [], None  # asked before it was switched on, and taken in after
        # A status is of now, and a reading older by its latency: nothing happens before it is switched on.
        now = max(reading.time, self._on_since[name])
        if reading.trip:
            self._gone.add(name)
            facts = _facts(before)._replace(within=within, unproved=self._unproved(name, reading.trip))
            named = f"{reading.trip}, {UNPROVED}" if facts.unproved else reading.trip
            cause = f"{name} tripped: {named}{self._likely_of_trip(reading)}"
            event = Event(now, name, trips(reading.trip), facts)
            alarm = Alarm(Ended.TRIPPED, name, cause, now, reading.trip, self._steps_of(within))
            return [*self._settled(name), event], alarm
        sure = reading.asked is None or reading.asked > self._known_since[name]
        if reading.off and sure:
            self._gone.add(name)
            cause = (
                f"{name}: {', '.join(reading.off)} is off without a trip: switched off at its panel, by "
                "another program, or by itself"
            )
            event = Event(now, name, EventKind.WENT_OFF, _facts(before))
            return [*self._settled(name), event], Alarm(Ended.STOPPED, name, cause, now)
        if reading.mode is Mode.OFF:
            if not sure or now - self._on_since[name] < GRACE:
                return [], None
            self._gone.add(name)
            # Its own state does not say off, so that it may as well be told by another bit, or word.
            cause = (
                f"{name}: by its status nothing regulates it: it went off by itself and does not say why, or "
                "what regulates it is told otherwise than its dialect says"
            )
            event = Event(now, name, EventKind.WENT_OFF, _facts(before))
            return [*self._settled(name), event], Alarm(Ended.TRIPPED, name, cause, now)
        self._seek(reading)
        events = self._modes(reading, before, now, within)
        return events, self._charged(reading) or self._stopped(reading)

    def _switched_on(self, reading: InputReading) -> Alarm | None:
        """What an output of an input that is off says of itself, where that is on."""
        on = [output for output, _, _ in reading.outputs if output not in reading.off]
        known = self._known_since.get(reading.input, -math.inf)
        if not on or reading.asked is None or reading.asked <= known:
            return None
        cause = (
            f"{reading.input}: {', '.join(on)} is on, and this run has not switched it on: switched on at "
            "its panel, or by another program"
        )
        return Alarm(Ended.CHANGED, reading.input, cause, reading.time)

    def _modes(
        self,
        reading: InputReading,
        before: InputReading | None,
        now: float,
        within: tuple[float, float] | None,
    ) -> list[Event]:
        """A change of mode that has waited for its reading, and one that is new and need not wait."""
        name, mode = reading.input, reading.mode
        changed = mode is not None and mode is not self._mode.get(name)
        events = self._settled(name) if changed else []
        if mode is not None and changed:
            self._waiting[name] = _Waiting(now, mode, before if name in self._mode else None, within)
            self._mode[name] = mode
        waiting = self._waiting.get(name)
        if waiting is not None and reading.time - waiting.time >= reading.age:
            events += self._settled(name, reading)
        return events

    def _settled(self, name: str, after: InputReading | None = None) -> list[Event]:
        """What waits for an input, with a reading that lies wholly after it, or, as it is over, without."""
        waiting = self._waiting.pop(name, None)
        return [] if waiting is None else [waiting.event(name, after)]

    def _tripped_last(self, reading: InputReading, before: InputReading | None) -> list[Event]:
        """A trip between the last status and the switching-off, which only a status after that shows."""
        name, kind = reading.input, reading.trip
        if not kind or kind in NO_LAST_TRIP or before is None or before.trip or before.exchange is None:
            return []
        known = self._known_since.get(name, -math.inf)
        off = max(self._off_since[name], known if math.isfinite(known) else -math.inf)
        within = (min(before.exchange[0], off), off)
        facts = _facts(before)._replace(within=within, unproved=self._unproved(name, kind))
        return [Event(off, name, trips(kind), facts)]

    def _fallen(self, reading: InputReading, before: InputReading | None) -> list[Event]:
        """The first reading after switching off that lies below what counts as off."""
        name, off_at = reading.input, self._off_since[reading.input]
        threshold = self._off_below[name]
        if reading.time < off_at or abs(reading.voltage) >= threshold:
            return []
        del self._off_since[name]
        facts = Facts(below=threshold, voltage=reading.voltage)
        fallen = before is not None and before.time < off_at and abs(before.voltage) < threshold
        if not fallen and name not in self._fell_itself:
            after = self.fell_after[name] = reading.time - off_at
            facts = facts._replace(after=after)
        if before is not None and before.time >= off_at:
            last = (before.voltage, before.current)
            facts = facts._replace(before=last, ago=reading.time - before.time)
        return [Event(reading.time, name, EventKind.FELL, facts)]

    def _charged(self, reading: InputReading) -> Alarm | None:
        """Whether more charge has gone into an input than may."""
        name = reading.input
        if (most := self._charge_at_most.get(name)) is None:
            return None
        if (charge := self._totals[name].charge) <= most:
            return None
        cause = f"{name}: {show(charge, 'C')} have gone into it, 'charge_at_most' is {show(most, 'C')}"
        return Alarm(Ended.STOPPED, name, cause, reading.time)

    def _stopped(self, reading: InputReading) -> Alarm | None:
        for position, condition in enumerate(self._stop_when):
            if condition.input != reading.input:
                continue
            if not self._judged(condition, reading):
                continue
            told = _met(condition, reading)
            if told is None:
                self._since.pop(position, None)
                continue
            since = self._since.setdefault(position, reading.time)
            if reading.time - since >= condition.duration:
                lasting = f" for {show(condition.duration, 's')}" if condition.duration else ""
                during = f" during '{condition.during}'" if condition.during is not None else ""
                cause = f"{reading.input}: {told}{lasting}{during}{_likely(condition)}"
                return Alarm(Ended.STOPPED, reading.input, cause, reading.time)
        return None

    def _judged(self, condition: StopCondition, reading: InputReading) -> bool:
        """Whether a condition looks at this reading: one for a single step only at what lies wholly in it."""
        if condition.during is None:
            return True
        return condition.during == self._step and reading.time - reading.age >= self._step_since

    def _within(self, reading: InputReading, before: InputReading | None) -> tuple[float, float] | None:
        """Between which instants what a status shows for the first time has happened [s]: from the question
        before it, or the switching on, to its answer. None: of an input that is off, or not known.
        """
        on = self._on_since.get(reading.input)
        if reading.exchange is None or on is None:
            return None
        first = on if before is None or before.exchange is None else max(on, before.exchange[0])
        return min(first, reading.exchange[1]), reading.exchange[1]

    def status_gap(self, end: float) -> float:
        """Longest time in the step that ends at `end` [s] in which the status of an input that is on was not
        known: from one question for it to the answer of the next one, or to the step's end.
        """
        asked = (self._last[name].exchange for name in self._on_since if name in self._last)
        return max([self._status_gap, *(end - exchange[0] for exchange in asked if exchange is not None)])

    def _steps_of(self, within: tuple[float, float] | None) -> tuple[str, ...]:
        """The steps in which something may have happened: this one, and the one before it where the bounds
        reach into that.
        """
        reaches = within is not None and within[0] < self._step_since
        return (self._step, self._step_before) if reaches else (self._step,)

    def _likely_of_trip(self, reading: InputReading) -> str:
        """What a trip likely comes from, by the first condition that speaks of it."""
        for condition in self._stop_when:
            named = condition.trips in ("any", reading.trip) and condition.input == reading.input
            if named and condition.during in (None, self._step):
                return _likely(condition)
        return ""


def _met(condition: StopCondition, reading: InputReading) -> str | None:
    """The condition in words where the reading meets it."""
    for value, unit, what, above, below in (
        (reading.current, "A", "current", condition.current_above, condition.current_below),
        (reading.voltage, "V", "voltage", condition.voltage_above, condition.voltage_below),
    ):
        if above is not None and value > above:
            return f"{what} {show(value, unit)} above {show(above, unit)}"
        if below is not None and value < below:
            return f"{what} {show(value, unit)} below {show(below, unit)}"
    return None


def _likely(condition: StopCondition) -> str:
    return "" if condition.likely is None else f"; likely: {condition.likely}"


def _facts(before: InputReading | None) -> Facts:
    """What was read before an output went off: what is read with the news lies before it or across it."""
    return Facts() if before is None else Facts(before=(before.voltage, before.current))
