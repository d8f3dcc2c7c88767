"""One output through one lead into an electronic load: what is looked at, in which order.

First that nothing else is connected, then that the OVP acts, by lowering its level at a low voltage. Only
then come higher voltages, currents, and the sense leads: one that lies wrong takes the output to its ceiling,
where only the OVP ends it. Everything is off again between two looks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Literal

from railwright.circuit.leads import lead_resistance
from railwright.dialects.dialect import Value
from railwright.dialects.operation import Setting
from railwright.dialects.proofs import ALWAYS
from railwright.documents.bench import Bench, Output, Reading
from railwright.documents.output_name import OutputName
from railwright.instruments.electronic_load import ElectronicLoadDriver
from railwright.instruments.errors import InstrumentError
from railwright.instruments.off_entries import no_current
from railwright.instruments.provoking import Connected, Provocation, Provoking
from railwright.instruments.supply import OutputReading, OutputSetting, SupplyDriver
from railwright.proving.lines import ProofLine, ProvedFigure, bound_of, compared, within
from railwright.quantities import show
from railwright.traces import Mode

LOW_VOLTAGE = 3.0
"""At which protections and sense leads are looked at [V], where the OVP's lowest level allows it."""

HIGHEST = 60.0
"""No higher voltage is set [V]: beyond it, bare ends may not be touched (IEC 61140)."""

LEVELS = (0.5, 0.9)
"""Parts of the highest voltage at which levels are looked at, beside the low one."""

MOST_OF_IT = 0.9
"""Part of what the least able of output, lead and load bears that is used."""

UNKNOWN_COMPLIANCE = 1.0
"""Voltage below which a load cannot draw what is set, where the bench does not say [V]."""

READINGS = 8
"""Readings that are averaged."""

EVERY = 0.02
"""Least interval between two of them [s]."""

SETTLES = 0.3
"""So long after a change it is read [s]."""

COMES = 5.0
"""Longest that something may take to come [s]."""

TRIP_DELAY = 0.2
"""Trip delay at which the trip is timed [s], where the output's range allows it."""

DELAY_WITHIN, DELAY_SLACK = 0.05, 0.02
"""Part of a trip delay, and time [s], by which it may differ: no data sheet here gives its accuracy."""

SMALL = 0.05
"""Part of the current that is used as a limit while nothing should flow."""

REVERSED = 0.2
"""Voltage below zero at the load from which its lead is reversed [V]: more than its reading is off by, less
than the forward voltage of a diode.
"""

OVERLOAD = 1.5
"""How many times its limit the load asks of an output."""

REST_OVP = 1.2
"""OVP level above the voltage that is set, in parts of it."""


Quantity = Literal["voltage", "current"]
VOLTAGE: Literal["voltage"] = "voltage"
CURRENT: Literal["current"] = "current"


class NotUnplugged(Exception):
    """Something other than the load draws from the output, or the lead does not lead to the load."""


@dataclass
class StageProof:
    """Looks at one output, with a guard armed that switches it and the load off. `lines`: what it found.

    sleep: lets time pass [s]; now: the clock [s].
    """

    bench: Bench
    name: OutputName
    lead: str
    supply: SupplyDriver
    load: ElectronicLoadDriver
    sleep: Callable[[float], None]
    now: Callable[[], float]
    lines: list[ProofLine] = field(default_factory=list)
    provoked: list[Provocation] = field(default_factory=list)
    exchange: float = 0.0
    """Longest exchange of the last readings [s]."""
    not_off: str = ""
    """What showed that the output did not go off; '' where nothing did."""

    def __post_init__(self) -> None:
        self.own = self.name.output
        self.output: Output = self.bench.output(self.name)
        compliance = self.load.load.compliance or UNKNOWN_COMPLIANCE
        least = max(LOW_VOLTAGE, 3.0 * compliance)
        if self.output.ovp is not None:
            least = max(least, 2.2 * self.output.ovp.level.low)
        self.top = MOST_OF_IT * min(self.output.voltage.high, self.load.load.voltage.high, HIGHEST)
        self.low_voltage = min(least, self.top)
        lead = self.bench.leads[self.lead]
        bears = [self.output.current.high, self.load.load.current.high / OVERLOAD]
        bears += [lead.permitted_current] if lead.permitted_current is not None else []
        powers = [self.output.power, self.load.load.power]
        bears += [power / self.low_voltage for power in powers if power is not None]
        self.current = MOST_OF_IT * min(bears)

    def go(self) -> None:
        """Everything, in order. NotUnplugged where something else is connected; InstrumentError."""
        try:
            self._rest()
            self._unplugged()
            self._provoke("open")
            lacks = [each.provoked for each in self.provoked if each.provoked in ALWAYS and not each.proved]
            if lacks:
                why = f"{', '.join(lacks)} of {self.name} did not come: nothing more is tried on it"
                self.lines.append(ProofLine("everything else", self.lead, passed=None, why=why))
                return
            self._levels()
            self._drop()
            self._sensed()
            self._current_limit()
            self._trip()
            self._provoke("overloaded")
        finally:
            with suppress(InstrumentError):
                self._rest()

    # What is looked at

    def _unplugged(self) -> None:
        """No current with the load off, off and on; and the load sees the output's voltage."""
        what, at = "nothing else connected", f"{self.lead}, load off"
        before, _ = self._means()
        self._put("ovp", self._ovp_above(self.low_voltage))
        self._energise(self.low_voltage, max(SMALL * self.current, self.output.current.low))
        supply, load = self._means()
        read = ProvedFigure(f"current of {self.name}", supply.current, no_current(self.output))
        self._rest()
        # A load that is connected reversed conducts through its transistors' diode, on or off.
        turned = load.voltage < -REVERSED
        for each in (before,) if turned else (before, supply):
            if abs(each.current) > no_current(self.output):
                flows = show(abs(each.current), "A")
                why = f"{flows} flow with the load off: something else is connected; unplug the device"
                self.lines.append(ProofLine(what, at, "A", (read,), passed=False, why=why))
                raise NotUnplugged(f"{self.name}: {why}")
        if not turned:
            self.lines.append(ProofLine(what, at, "A", (read,)))
        seen = self._three(VOLTAGE, self.low_voltage, supply, load)[-1]
        if load.voltage < 0.5 * self.low_voltage:
            told = "reversed at the load" if turned else "not connected to the load"
            there, here = show(load.voltage, "V"), show(supply.voltage, "V")
            why = f"{self.lead} is {told}: {there} there, {here} at {self.name}"
            self.lines.append(ProofLine("lead to the load", at, "V", (seen,), passed=False, why=why))
            raise NotUnplugged(why)

    def _provoke(self, connected: Connected) -> None:
        """What the dialect says, at a low voltage; with the load drawing more than the limit, or off."""
        current = 0.2 * self.current
        if connected == "overloaded":
            self.load.draw(OVERLOAD * current)
            self.load.take_on()
        work = Provoking(self.supply, self.own, self.low_voltage, current, self.sleep, self.now)
        for seen in self._seen_of(work, connected):
            self.provoked.append(seen)
            at = f"{show(self.low_voltage, 'V')}, {show(current, 'A')}"
            why = f"{seen.provoked} of {self.name} does not come: {seen.wrong}" if seen.wrong else ""
            if seen.provoked == "OVP" and seen.wrong:
                why = f"OVP of {self.name} does not act, or is not told: {seen.wrong}"
            line = ProofLine(f"provoked: {seen.provoked}", at, passed=seen.proved, why=why, seen=seen.seen)
            self.lines.append(line)
        self._rest()

    def _seen_of(self, work: Provoking, connected: Connected) -> Iterator[Provocation]:
        """What comes, and that it did not go off, whatever ends it."""
        try:
            yield from work.go(connected)
        finally:
            self.not_off = self.not_off or work.not_off

    @property
    def ovp_acts(self) -> bool:
        """Whether the OVP was seen to act."""
        return any(each.provoked == "OVP" and each.proved for each in self.provoked)

    def _levels(self) -> None:
        """What is set, what the output reads and what the load reads, without a current."""
        for volts in dict.fromkeys((self.low_voltage, *(part * self.top for part in LEVELS))):
            level = self._on_grid(VOLTAGE, volts)
            self._put("ovp", self._ovp_above(level))
            self._energise(level, max(SMALL * self.current, self.output.current.low))
            supply, load = self._means()
            self._rest()
            figures = self._three(VOLTAGE, level, supply, load)
            self.lines.append(compared("level", f"{show(level, 'V')}, no current", "V", figures))

    def _drop(self) -> None:
        """Resistance of the lead: by how much the difference between both ends grows with the current, so
        that the offsets of both readings cancel.
        """
        current = 0.8 * self.current
        self._put("ovp", self._ovp_above(self.low_voltage))
        self._energise(self.low_voltage, self.current)
        supply, load = self._means()
        before = supply.voltage - load.voltage
        self.load.draw(current)
        self.load.take_on()
        supply, load = self._means()
        self._rest()
        at = f"{self.lead}, {show(load.current, 'A')}"
        if load.current < 0.5 * current:
            why = f"{show(load.current, 'A')} flow, {show(current, 'A')} were asked for"
            self.lines.append(ProofLine("drop along the lead", at, passed=False, why=why))
            return
        drop = supply.voltage - load.voltage - before
        resistance = drop / load.current
        bounds = [self._spread(self.output.reading), self._spread(self.load.load.reading)]
        of_current = self._load_bound(CURRENT, load.current)
        bound = None
        if None not in bounds and of_current is not None:
            spread = sum(each for each in bounds if each is not None)
            bound = 2.0 * spread / load.current + abs(resistance) * of_current / load.current
        expected = lead_resistance(self.bench.leads[self.lead], self.bench)
        figure = ProvedFigure(f"resistance of {self.lead}", resistance, bound)
        high = math.inf if expected.missing else expected.high
        names = {
            "above": f"{self.lead} has {{value}}, {{more}} more than the bench's most, {{end}}",
            "below": f"{self.lead} has {{value}}, {{more}} less than the bench's least, {{end}}",
        }
        line = within("drop along the lead", at, "ohm", figure, expected.low, high, names)
        self.lines.append(line)

    def _sensed(self) -> None:
        """With its sense leads at the load, the output holds the voltage there."""
        if self.output.sense is None or not self.supply.dialect.can_set("sense"):
            return
        what, at = "remote sense", f"{self.lead}, {show(self.low_voltage, 'V')}"
        reach = self.output.voltage.high
        lacks = (
            "its OVP was not seen to act, and sense leads that lie wrong take the output to its ceiling"
            if not self.ovp_acts
            else f"the load bears less than the {show(reach, 'V')} that sense leads that lie wrong lead to"
            if self.load.load.voltage.high < reach
            else "its OVP watches the sense leads, and ends nothing where they lie wrong"
            if self.output.ovp is not None and self.output.ovp.at == "sense"
            else ""
        )
        if lacks:
            self.lines.append(ProofLine(what, at, passed=None, why=lacks))
            return
        self._put("ovp", self._ovp_above(self.low_voltage))
        self._put("sense", "at load")
        supply = load = None
        try:
            self._energise(self.low_voltage, self.current)
            supply, load = self._means()
            wrong = self._sense_wrong(supply, load)
            if not wrong:
                self.load.draw(0.8 * self.current)
                self.load.take_on()
                supply, load = self._means()
                wrong = self._sense_wrong(supply, load)
        except InstrumentError as error:
            if error.lost:
                raise
            # It went off before it was read to be on: what switched it off tells why.
            supply, load = self.supply.read([self.own])[self.own], self.load.measure()
            wrong = self._sense_wrong(supply, load) or error.told
        self._rest()
        self._put("sense", "at terminals")
        if wrong:
            seen = (
                ProvedFigure(f"reading of {self.name}", supply.voltage, None),
                ProvedFigure(f"reading of {self.load.name}", load.voltage, None),
            )
            self.lines.append(ProofLine(what, at, "V", seen, passed=False, why=wrong))
            return
        figures = self._three(VOLTAGE, self._on_grid(VOLTAGE, self.low_voltage), supply, load)
        self.lines.append(compared(what, f"{self.lead}, {show(load.current, 'A')}", "V", figures))

    def _sense_wrong(self, supply: OutputReading, load: OutputReading) -> str:
        """What shows that sense leads lie wrong; '' where nothing does."""
        beyond = load.voltage > self.low_voltage * REST_OVP
        if supply.trip == "OVP" or beyond or supply.voltage < -0.5:
            how = "exchanged with each other" if supply.voltage < -0.05 else "open, shorted, or exchanged"
            seen = f"{self.name} reads {show(supply.voltage, 'V')}"
            ended = ", and its OVP ended it" if supply.trip == "OVP" else ""
            return f"sense leads of {self.name} are {how}: it rose beyond its set point{ended}; {seen}"
        return "" if supply.on else f"{self.name} went off ({supply.trip or 'it does not say why'})"

    def _current_limit(self) -> None:
        """The load asks for more than the limit: what is set, what the output and what the load read; and how
        soon CC is told.
        """
        limit = self._on_grid(CURRENT, 0.5 * self.current)
        at = f"{show(limit, 'A')}, the load asks for {show(OVERLOAD * limit, 'A')}"
        self._put("ovp", self._ovp_above(self.low_voltage))
        self._energise(self.low_voltage, limit)
        self.load.draw(OVERLOAD * limit)
        sent, _ = self.load.take_on()
        reading = self._until(lambda r: r.mode in (None, Mode.CC) and r.current > 0.5 * limit)
        supply, load = self._means()
        self._rest()
        figures = self._three(CURRENT, limit, supply, load)
        self.lines.append(compared("current limit", at, "A", figures))
        if reading is None or reading.exchange is None:
            why = f"{self.name} does not say CC within {show(COMES, 's')}"
            self.lines.append(ProofLine("response", at, "s", passed=False, why=why))
            return
        took = ProvedFigure("CC told after", reading.exchange[1] - sent, 0.0)
        response, timing = self.output.limit_response, self.output.reading
        most = math.inf if response is None else response + _age(timing) + self.exchange + EVERY
        names = {
            "above": f"{self.name} says CC after {{value}}, {{more}} later than its figures allow",
            "below": "",
            "unknown": "the bench gives no limit_response",
        }
        low = -math.inf
        self.lines.append(within("response", at, "s", took, low, most, names))

    def _trip(self) -> None:
        """From the load's step to the output off, timed by the exchanges around both."""
        reach = self.output.trip_delay
        if reach is None or not self.supply.dialect.can_set("trip_at_limit"):
            return
        delay = min(max(TRIP_DELAY, reach.low), reach.high)
        limit = self._on_grid(CURRENT, 0.5 * self.current)
        at = f"{show(delay, 's')} at {show(limit, 'A')}"
        self._put("ovp", self._ovp_above(self.low_voltage))
        self._put("trip_at_limit", True)
        self._put("trip_delay", delay)
        self._energise(self.low_voltage, limit)
        self.load.draw(OVERLOAD * limit)
        sent, known = self.load.take_on()
        last = known
        reading = None
        while self.now() < known + 5.0 * delay + COMES:
            reading = self.supply.read([self.own])[self.own]
            asked, answered = reading.exchange or (reading.time, reading.time)
            if not reading.on:
                break
            last = asked
            self.sleep(1e-3)
        assert reading is not None, "it was read at least once"
        self._rest()
        self._put("trip_at_limit", False)
        if reading.on:
            why = f"{self.name} does not trip at its limit within {show(5.0 * delay + COMES, 's')}"
            self.lines.append(ProofLine("trip delay", at, "s", passed=False, why=why))
            return
        shortest, longest = max(0.0, last - known), answered - sent
        took = ProvedFigure("tripped after", 0.5 * (shortest + longest), 0.5 * (longest - shortest))
        slack = DELAY_WITHIN * delay + DELAY_SLACK + (self.output.limit_response or 0.0)
        names = {
            "above": f"{self.name} trips after {{value}}, {{more}} later than {{end}}: its trip is slow",
            "below": f"{self.name} trips after {{value}}, {{more}} sooner than {{end}}: its trip is early",
        }
        self.lines.append(within("trip delay", at, "s", took, delay - slack, delay + slack, names))

    # What they are made of

    def _rest(self) -> None:
        """The load off, then the output at its lowest and off, nothing tripped."""
        self.load.take_off()
        self._put("voltage", self.output.voltage.low)
        self._put("output", False)
        self._put("current_limit", self.output.current.low)
        self.supply.clear_trips(self.own)
        self.supply.clear()
        self.supply.cleared(self.own, self.sleep)
        last = self.now() + COMES
        while self.now() < last:
            reading = self.supply.read([self.own])[self.own]
            if not reading.on and abs(reading.voltage) < 0.5 * LOW_VOLTAGE:
                return
            self.sleep(EVERY)

    def _energise(self, volts: float, limit: float) -> None:
        self._put("voltage", volts)
        self._put("current_limit", limit)
        self._put("output", True)

    def _put(self, setting: Setting, value: Value) -> None:
        """What no command sets stays as a person has set it."""
        if setting in ("ovp", "sense") and not self.supply.dialect.can_set(setting):
            return
        if setting == "ovp" and self.output.ovp is None:
            return
        self.supply.put([OutputSetting(self.own, setting, value)])

    def _ovp_above(self, volts: float) -> float:
        """An OVP level close above a voltage, within its range."""
        wanted = REST_OVP * volts + 0.5
        if self.output.ovp is None:
            return wanted
        return min(max(wanted, self.output.ovp.level.low), self.output.ovp.level.high)

    def _means(self) -> tuple[OutputReading, OutputReading]:
        """Means of several readings of the output and of the load, after everything has settled."""
        timing = self.output.reading
        self.sleep(max(SETTLES, 2.0 * _age(timing)))
        every = max(EVERY, (timing.update or 0.0) if timing is not None else 0.0)
        found: list[OutputReading] = []
        taken: list[OutputReading] = []
        for _ in range(READINGS):
            found.append(self.supply.read([self.own])[self.own])
            taken.append(self.load.measure())
            self.sleep(every)
        exchanges = [each.exchange for each in found if each.exchange is not None]
        self.exchange = max((end - begin for begin, end in exchanges), default=0.0)
        return _mean(found), _mean(taken)

    def _until(self, come: Callable[[OutputReading], bool]) -> OutputReading | None:
        last = self.now() + COMES
        while self.now() < last:
            reading = self.supply.read([self.own])[self.own]
            if come(reading):
                return reading
            self.sleep(1e-3)
        return None

    def _three(
        self, quantity: Quantity, asked: float, supply: OutputReading, load: OutputReading
    ) -> tuple[ProvedFigure, ProvedFigure, ProvedFigure]:
        """What was set, what the output reads and what the load reads of one voltage or current."""
        given = self.output.programming
        own = None if given is None else getattr(given, quantity)
        read, there = getattr(supply, quantity), getattr(load, quantity)
        what = "set point" if quantity == VOLTAGE else "current limit"
        return (
            ProvedFigure(f"{what} of {self.name}", asked, bound_of(own, asked)),
            ProvedFigure(f"reading of {self.name}", read, _bound(self.output.reading, quantity, read)),
            ProvedFigure(f"reading of {self.load.name}", there, self._load_bound(quantity, there)),
        )

    def _load_bound(self, quantity: Quantity, value: float) -> float | None:
        return _bound(self.load.load.reading, quantity, value)

    def _spread(self, reading: Reading | None) -> float | None:
        """What of a voltage reading's error does not cancel in a difference at one voltage [V]."""
        if reading is None:
            return None
        accuracy = reading.voltage
        return (accuracy.resolution or 0.0) + 4.0 * (accuracy.noise or 0.0) / math.sqrt(READINGS)

    def _on_grid(self, quantity: Quantity, value: float) -> float:
        """The nearest value that the output can be set to."""
        given = self.output.programming
        step = getattr(given, quantity).resolution if given is not None else None
        return round(value / step) * step if step else value


def _bound(reading: Reading | None, quantity: Quantity, value: float) -> float | None:
    return None if reading is None else bound_of(getattr(reading, quantity), value, READINGS)


def _age(reading: Reading | None) -> float:
    """How old a reading may be when it is had [s], as far as that is known."""
    if reading is None:
        return 0.0
    return (reading.update or 0.0) + (reading.aperture or 0.0) + (reading.latency or 0.0)


def _mean(readings: Sequence[OutputReading]) -> OutputReading:
    """The last reading, with the means of voltage and current."""
    count = len(readings)
    voltage, current = (sum(getattr(r, key) for r in readings) / count for key in ("voltage", "current"))
    return replace(readings[-1], voltage=voltage, current=current)
