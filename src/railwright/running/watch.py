"""What a run looks out for in each reading: modes, trips, outputs that went off by themselves, stop
conditions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from railwright.documents.procedure import StopCondition
from railwright.quantities import show
from railwright.running.outcome import Ended, InputReading
from railwright.traces import Event, Mode

GRACE = 0.1
"""For how long after switching on an output may still say that it is off [s]."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """What ends a run: how, about which input, and the cause in words."""

    ended: Ended
    input: str
    cause: str


class Watch:
    """Looks at readings one after the other. Pure but for what it remembers."""

    def __init__(self, stop_when: Sequence[StopCondition]) -> None:
        self._stop_when = tuple(stop_when)
        self._since: dict[int, float] = {}
        self._on_since: dict[str, float] = {}
        self._mode: dict[str, Mode] = {}

    def switched(self, name: str, on: bool, time: float) -> None:
        """An input was switched; from then on its readings are judged, or no longer."""
        if on:
            self._on_since[name] = time
        else:
            self._on_since.pop(name, None)
            self._mode.pop(name, None)
        for position, condition in enumerate(self._stop_when):
            if condition.input == name:
                self._since.pop(position, None)

    def see(self, reading: InputReading) -> tuple[list[Event], Alarm | None]:
        """Events in a reading, and what in it ends the run."""
        name = reading.input
        if name not in self._on_since:
            return [], None
        # A status is of now, and a reading older by its latency: nothing happens before it is switched on.
        now = max(reading.time, self._on_since[name])
        if reading.trip:
            cause = f"{name} tripped: {reading.trip}"
            event = Event(now, name, f"trips {reading.trip}", _standing(reading))
            return [event], Alarm(Ended.TRIPPED, name, cause)
        if reading.mode is Mode.OFF:
            if now - self._on_since[name] < GRACE:
                return [], None
            cause = f"{name} went off by itself, and does not say why"
            return [Event(now, name, "went off", _standing(reading))], Alarm(Ended.TRIPPED, name, cause)
        events = []
        if reading.mode is not None and reading.mode is not self._mode.get(name):
            self._mode[name] = reading.mode
            events.append(Event(now, name, f"enters {reading.mode.name}", _standing(reading)))
        return events, self._stopped(reading)

    def _stopped(self, reading: InputReading) -> Alarm | None:
        for position, condition in enumerate(self._stop_when):
            if condition.input != reading.input:
                continue
            told = _met(condition, reading)
            if told is None:
                self._since.pop(position, None)
                continue
            since = self._since.setdefault(position, reading.time)
            if reading.time - since >= condition.duration:
                lasting = f" for {show(condition.duration, 's')}" if condition.duration else ""
                return Alarm(Ended.STOPPED, reading.input, f"{reading.input}: {told}{lasting}")
        return None


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


def _standing(reading: InputReading) -> str:
    return f"at {show(reading.voltage, 'V')}, {show(reading.current, 'A')}"
