"""Which inputs are confirmed off while a procedure is played: judged as the guard judges, by the readings."""

from __future__ import annotations

import math

from railwright.guard.judged_off import judge_off
from railwright.guard.off_level import STEADY
from railwright.guard.off_plan import Look, OffPlan
from railwright.running.outcome import InputReading


class OffWatch:
    """Sees every reading of a run; `plan` says what counts as off."""

    def __init__(self) -> None:
        self.plan: OffPlan | None = None
        self.missing: dict[str, str] = {}
        """Input -> what is missing for it to count as off, by its last reading."""
        self.said_off: dict[str, float] = {}
        """Input -> when its outputs were first read to say that they are off, and have said so since [s]."""
        self._known_since: dict[str, float] = {}
        self._since: dict[str, float] = {}
        self._last: dict[str, float] = {}

    def switched(self, name: str, time: float) -> None:
        """An input was switched and said so at that time [s]: what was read of it before tells nothing."""
        self._known_since[name] = time
        for told in (self.missing, self.said_off, self._since, self._last):
            told.pop(name, None)

    def see(self, reading: InputReading) -> None:
        """One reading of an input."""
        asked = reading.time if reading.asked is None else reading.asked
        if min(asked, reading.time) < self._known_since.get(reading.input, -math.inf):
            return
        each = (
            next((one for one in self.plan.inputs if one.name == reading.input), None) if self.plan else None
        )
        if each is None:
            return
        read = {
            name: Look(name in reading.off, voltage, current) for name, voltage, current in reading.outputs
        }
        looks = [read[output.name] for output in each.outputs if output.name in read]
        if len(looks) < len(each.outputs):
            return
        judged = judge_off(each, looks)
        self.missing[each.name] = judged.missing
        if judged.off:
            self.said_off.setdefault(each.name, reading.time)
        else:
            self.said_off.pop(each.name, None)
        if self.missing[each.name]:
            self._since.pop(each.name, None)
        else:
            self._since.setdefault(each.name, reading.time)
        self._last[each.name] = reading.time

    def confirmed(self, name: str) -> bool:
        """Whether it was read to be off for as long as the guard asks for."""
        return self._last.get(name, -math.inf) - self._since.get(name, math.inf) >= STEADY
