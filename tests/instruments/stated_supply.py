"""A supply whose outputs are named by a letter among the parameters, which says all of an output in one
answer of several fields, takes messages up to a length, and tells by a query of its own that its mains came
back. With a parser of its own.

    LAMP A,1  LAMP A?  VOLT A,12.0  VOLT? A  CURR 1.5,A  CURR? A  OVER A,20  OVER? A  TRIP A,1  TRIP? A
    STAT? A  1,CV,12.003,0.512,0 (on, what regulates, volts, amperes, and a digit: 1 over-voltage, 2 limit)
    LATE? A  0.100  FREE A  WOKE? (YES after its mains came back, until asked)  FAULT?  WHO?
    REG? (a register: 8 after its mains came back, until REGCLR)

A message longer than it takes is lost whole, and is an error. An answer's fields stand apart by what `apart`
says.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.instruments.terse_supply import Spoken

DIALECT = """\
dialect: stated
addressing: parameter
called: {1: A, 2: B}
compound: true
words: {"on": "1", "off": "0"}
instrument:
  identify: "WHO?"
  next_error: "FAULT?"
  power_on: {query: "WOKE?", words: "YES", nothing: "NO"}
identification: {fields: [maker, model, version], parted_by: "/"}
settings:
  output: {command: "LAMP {channel}", query: "LAMP {channel}?"}
  voltage: VOLT
  current_limit: {command: "CURR {value},{channel}", query: "CURR? {channel}", lowest: 0.01}
  ovp: OVER
  trip_at_limit: TRIP
  trip_delay: {query: "LATE?"}
actions: {clear_trips: FREE}
readings: {both: {query: "STAT?", fields: [other, other, voltage, current, other]}}
status:
  mode: {query: "STAT?", field: 2, words: {CV: CV, CC: CC}}
  trips: {query: "STAT?", field: 5, words: {OVP: "1", current limit: "2"}, nothing: "0"}
"""
DELAY = 0.1
"""Its trip delay [s]."""


@dataclass
class StatedOutput:
    """One output into a resistor [ohm]."""

    resistance: float = 24.0
    on: bool = False
    tripped: int = 0
    volts: float = 0.0
    amperes: float = 0.01
    over: float = 40.0
    trips: bool = False
    limited: float = math.inf
    """Since when its limit is exceeded [s]."""

    def now(self, time: float) -> tuple[str, float, float]:
        """What regulates it, its voltage and its current."""
        wanted = self.volts / self.resistance
        if self.on and self.volts > self.over:
            self.on, self.tripped = False, 1
        self.limited = min(self.limited, time) if self.on and wanted > self.amperes else math.inf
        if self.trips and time - self.limited > DELAY:
            self.on, self.tripped, self.limited = False, 2, math.inf
        if not self.on:
            return "NO", 0.0, 0.0
        if wanted > self.amperes:
            return "CC", self.amperes * self.resistance, self.amperes
        return "CV", self.volts, wanted


@dataclass
class StatedSupply(Spoken):
    """takes: longest message [bytes]. deep: how many errors it has for what it refuses. refuses: a command
    that it takes no more. ends: an error ends the message that it is in. most: volts that it takes. identity,
    apart: as it answers. took: (when [s], message).
    """

    outputs: dict[str, StatedOutput] = field(
        default_factory=lambda: {"A": StatedOutput(), "B": StatedOutput()}
    )
    takes: int = 1000
    deep: int = 1
    refuses: str = "?"
    ends: bool = True
    apart: str = ","
    most: float = 36.0
    identity: str = "Quay/T-5/1.0"
    woke: bool = True
    register: int = 8
    clock: Callable[[], float] = time.monotonic
    connections: int = 0
    highest: float = 0.0
    errors: list[str] = field(default_factory=list)
    took: list[tuple[float, str]] = field(default_factory=list)

    def take(self, line: str, connected: float) -> str | None:
        now = self.clock()
        self.took.append((now, line))
        if len(line) + 1 > self.takes:
            self.errors.append('-363,"Input buffer overrun"')
            return None
        answers = []
        for unit in line.split(";"):
            try:
                answer = self._done(unit.removeprefix(":"), now)
            except (KeyError, ValueError):
                self.errors += [f'-100,"Command error {n};{unit}"' for n in range(self.deep)]
                if self.ends:
                    return None
                answer = None
            answers += [] if answer is None else [answer]
        return ";".join(answers) if answers else None

    def restart(self) -> None:
        """Its mains were away for a moment: it comes back as it was."""
        self.woke, self.register = True, 8

    def _done(self, unit: str, now: float) -> str | None:
        """One command or question. KeyError, ValueError: it is none."""
        if unit.startswith(self.refuses):
            raise ValueError(unit)
        word, _, rest = unit.partition(" ")
        if word in ("WHO?", "FAULT?", "WOKE?", "REG?") and not rest:
            return self._whole(word)
        if unit == "REGCLR":
            self.register = 0
            return None
        if unit.endswith("?") and word == "LAMP":
            return str(int(self._at(rest[:-1], now).on))
        if word.endswith("?"):
            return self._asked(word[:-1], self._at(rest, now), now)
        given = rest.split(",")
        if word == "CURR":
            given = given[::-1]
        output = self._at(given[0], now)
        if word == "FREE" and len(given) == 1:
            output.tripped = 0
            return None
        (number,) = (float(each) for each in given[1:])
        self._set(word, output, number)
        return None

    def _at(self, name: str, now: float) -> StatedOutput:
        self.outputs[name].now(now)
        return self.outputs[name]

    def _whole(self, word: str) -> str:
        if word == "WHO?":
            return self.identity
        if word == "WOKE?":
            self.woke, woke = False, self.woke
            return "YES" if woke else "NO"
        if word == "REG?":
            return str(self.register + 1)
        return self.errors.pop(0) if self.errors else '0,"none"'

    def _asked(self, word: str, output: StatedOutput, now: float) -> str:
        mode, volts, amperes = output.now(now)
        if word == "STAT":
            shown = (int(output.on), mode, f"{volts:.3f}", f"{amperes:.3f}", output.tripped)
            return self.apart.join(map(str, shown))
        of = {"VOLT": output.volts, "CURR": output.amperes, "OVER": output.over, "LATE": DELAY}
        return str(int(output.trips)) if word == "TRIP" else f"{of[word]:.3f}"

    def _set(self, word: str, output: StatedOutput, number: float) -> None:
        if word == "LAMP" and number in (0, 1):
            output.on = number == 1 and not output.tripped
        elif word == "VOLT" and 0.0 <= number <= self.most:
            output.volts = number
            self.highest = max(self.highest, number)
        elif word == "CURR" and number >= 0.01:
            output.amperes = number
        elif word == "OVER":
            output.over = number
        elif word == "TRIP" and number in (0, 1):
            output.trips = number == 1
        elif word != "IDLE":  # taken, and nothing comes of it
            raise ValueError(word)
