"""Whether the readings follow a line that the outputs play by their own slew: a slew that the supply takes
for another one is asked back as it was set, and shows here alone.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from railwright.quantities import show
from railwright.running.outcome import InputReading
from railwright.traces import Mode

PART, LEAST = 0.25, 1.0
"""How far a reading may lie beside the line: part of its change, and in any case [V]: drops, errors."""

LINES, SETTLES = 2.0, 0.2
"""When it is there at the latest after the line began: so many times its duration, and so long [s]."""

EARLY = 0.02
"""How much sooner than it was told a line may have begun [s]."""


class _Line(NamedTuple):
    """A line that an input was told: since when [s], from where to where [V], at which slew [V/s]."""

    since: float
    start: float
    goal: float
    slew: float


class Followed:
    """Looks at readings one after the other. differences: input -> what first did not follow, for people."""

    def __init__(self) -> None:
        self._lines: dict[str, _Line] = {}
        self._last: dict[str, float] = {}
        self.differences: dict[str, str] = {}

    def told(self, name: str, time: float, goal: float, slew: float | None) -> None:
        """An input was told to go to a voltage [V] at a time [s], at a slew [V/s]; None: in a jump."""
        self.forget(name)
        if slew is not None:
            self._lines[name] = _Line(time, self._last.get(name, 0.0), goal, slew)

    def forget(self, name: str) -> None:
        """Something else rules the voltage of an input from now on."""
        self._lines.pop(name, None)

    def see(self, reading: InputReading) -> None:
        """One reading. It is late in CV alone, and on its way up: a current limit, or a capacitor that
        nothing discharges, holds a line back, too.
        """
        name = reading.input
        self._last[name] = reading.voltage
        line = self._lines.get(name)
        if line is None or name in self.differences:
            return
        change = line.goal - line.start
        allowed = max(PART * abs(change), LEAST)
        if abs(change) < 2.0 * allowed:
            return
        duration, after = abs(change) / line.slew, reading.time - line.since
        late = after - reading.age > LINES * duration + SETTLES and change > 0.0 and reading.mode is Mode.CV
        if late and reading.voltage < line.goal - allowed:
            there = line.goal
        elif 0.0 < after < duration - EARLY:
            there = line.start + math.copysign(line.slew, change) * (after + EARLY)
            if math.copysign(1.0, change) * (reading.voltage - there) <= allowed:
                return
        else:
            return
        asked = f"{show(line.goal, 'V')} at {show(line.slew, 'V/s')}, from {show(line.start, 'V')}"
        read = f"{show(reading.voltage, 'V')} was read {show(after, 's')} later, not {show(there, 'V')}"
        self.differences[name] = (
            f"{name} was told {asked}; {read}: its supply takes the slew for another one, or something holds "
            "the voltage"
        )
