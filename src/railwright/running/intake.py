"""What the guard tells while a run goes on: readings into the record, and whatever in them ends the run."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

from railwright.guard.link import GuardLink
from railwright.records.ended import Ended
from railwright.running.end_run import EndRun
from railwright.running.holding import Holding
from railwright.running.multimeters import Multimeters
from railwright.running.off_watch import OffWatch
from railwright.running.outcome import InputReading
from railwright.running.polling import Polling
from railwright.running.recorder import RunRecorder
from railwright.running.relays import RunRelays
from railwright.running.rig import Rig
from railwright.running.watch import Alarm, Watch
from railwright.traces import EventKind


class Intake:
    """Takes in what has come. looks: outputs are looked at so many times for each reading that is recorded.

    expects_trip: (input, step, protection) -> whether the procedure requires that trip. rows: input -> the
    last row of its record, counted from 0. missed: rows that were left out.
    """

    # Many: where readings come from, and everyone who is told of them.
    def __init__(
        self,
        link: GuardLink,
        rig: Rig,
        recorder: RunRecorder,
        watch: Watch,
        polling: Polling,
        looks: int,
        off_watch: OffWatch,
        multimeters: Multimeters,
        relays: RunRelays,
        holding: Holding,
        expects_trip: Callable[[str, str, str], bool] = lambda name, step, protection: False,
    ) -> None:
        self.rows: dict[str, int] = {}
        self.missed = 0
        self._link, self._rig, self._recorder = link, rig, recorder
        self._watch, self._polling, self._looks = watch, polling, looks
        self._off_watch, self._expects_trip = off_watch, expects_trip
        self._multimeters, self._relays, self._holding = multimeters, relays, holding
        self._alarms: list[Alarm] = []

    def take_in(self) -> None:
        """Everything that the guard has told since; what it shows may end the run."""
        while self._link.inbox:
            self._taken(self._link.inbox.popleft())

    def _taken(self, message: dict[str, Any]) -> None:
        if message["kind"] == "off begun":
            raise EndRun(Ended.STOPPED, message["why"])
        if message["kind"] != "poll":
            return
        if message["name"] in self._multimeters.drivers:
            self._multimeters.understand(message)
            return
        if message["name"] in self._relays.drivers:
            self._relays.understand(message)
            return
        seen = self._polling.understand(message)
        for position, raw in seen.readings:
            self._read(position, raw)
        if self._alarms:
            self._end_by_alarms()
        if seen.differences:
            told = "; ".join(seen.differences)
            raise EndRun(Ended.CHANGED, f"{told}: changed at its panel, or by another program")

    def _read(self, position: int, raw: InputReading) -> None:
        """One reading, recorded where it is one of those that the procedure asks for; what it shows."""
        row = position // self._looks
        if row <= self.rows.get(raw.input, -1):
            asked, exchange = raw.since(-self._recorder.at(0.0))
            reading = replace(raw, time=self._recorder.at(raw.time), asked=asked, exchange=exchange)
        else:
            self.count(raw.input, row)
            reading = self._recorder.reading(raw)
        self._off_watch.see(reading)
        self._holding.see(reading)
        self._relays.see(reading)
        events, alarm = self._watch.see(reading)
        self._recorder.add_all(events)
        if alarm is not None:
            self._alarms.append(alarm)

    def count(self, name: str, row: int) -> None:
        """Rows of the record that were left out, because the supply did not answer in time for them."""
        self.missed += max(0, row - self.rows.get(name, -1) - 1)
        self.rows[name] = row

    def close(self, last: int) -> None:
        """Rows up to `last` that have not come are left out."""
        for name in self._rig.set_points:
            self.count(name, max(self.rows.get(name, -1), last))

    def _end_by_alarms(self) -> None:
        alarms, self._alarms = self._alarms, []
        linked = self._linked(alarm.input for alarm in alarms if alarm.ended is Ended.TRIPPED)
        for alarm in alarms:
            if alarm.ended is not Ended.TRIPPED:
                self._recorder.event(EventKind.STOP_CONDITION, alarm.input, alarm.cause, alarm.time)
        first = min(alarms, key=lambda alarm: alarm.ended is not Ended.TRIPPED)
        ended = Ended.EXPECTED_TRIP if self._all_expected(alarms) else first.ended
        raise EndRun(ended, "; ".join(alarm.cause for alarm in alarms), linked)

    def _all_expected(self, alarms: Sequence[Alarm]) -> bool:
        """Whether nothing has happened but trips that the procedure requires, and that inputs have gone off
        that are linked to them.
        """
        expected = {
            alarm.input
            for alarm in alarms
            if any(self._expects_trip(alarm.input, step, alarm.protection) for step in alarm.steps)
        }
        followers = {
            alarm.input
            for alarm in alarms
            if alarm.protection in ("", EventKind.TRIPS_LINKED.trip)
            and expected.intersection(self._rig.set_points[alarm.input].trips_when)
        }
        return bool(expected) and {alarm.input for alarm in alarms} == expected | followers

    def _linked(self, tripped: Iterable[str]) -> dict[str, str]:
        """Linked trips: inputs that are on and go off with those that tripped, each with the one that takes
        it along.
        """
        found: dict[str, str] = {}
        gone = list(dict.fromkeys(tripped))
        for source in gone:  # grows
            for name, feed in self._rig.set_points.items():
                if source in feed.trips_when and name not in gone:
                    gone.append(name)
                    found[name] = source
        return {name: source for name, source in found.items() if name in self._rig.on}
