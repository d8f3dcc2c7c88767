"""What has gone into an input since its run began, and between what it lay, from its readings alone."""

from __future__ import annotations

import math

from railwright.running.outcome import InputReading


class Totals:
    """Counts readings of one input, as they come. Constant memory.

    charge [C], energy [J]: between readings voltage and current run in straight lines. voltage, current: the
    lowest and the highest that was read while it was on [V, A].
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.charge = self.energy = 0.0
        self.voltage = self.current = (math.inf, -math.inf)
        self._last: InputReading | None = None

    def see(self, reading: InputReading, on: bool) -> None:
        """One more reading; on: whether the input was on then, and had been for a while."""
        if reading.input != self.name:
            return
        last, self._last = self._last, reading
        if on:
            self.voltage = min(self.voltage[0], reading.voltage), max(self.voltage[1], reading.voltage)
            self.current = min(self.current[0], reading.current), max(self.current[1], reading.current)
        if last is None or last.time >= reading.time:
            return
        time, volts, amperes = reading.time - last.time, reading.voltage, reading.current
        self.charge += 0.5 * (last.current + amperes) * time
        crossed = last.voltage * amperes + volts * last.current
        self.energy += (2.0 * (last.voltage * last.current + volts * amperes) + crossed) * time / 6.0
