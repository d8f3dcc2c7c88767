"""What a dialect says of an output, provoked at the instrument: on, off, CV, CC, each trip and its slew, at a
low voltage and a low current.

A question may be answered as expected and mean something else. Here something has to happen: the output's own
readings have to show it, and its status to tell it by the name that the dialect has for it. Whoever provokes
has armed a guard that switches the output off; after anything that did not come as it should it is switched
off here too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Literal, NamedTuple

from railwright.dialects.dialect import Value
from railwright.dialects.operation import Setting
from railwright.dialects.proofs import Provoked, provokable
from railwright.instruments.errors import InstrumentError
from railwright.instruments.supply import OutputReading, OutputSetting, SupplyDriver
from railwright.quantities import show
from railwright.traces import Mode

Connected = Literal["open", "overloaded"]
"""What is at the output: nothing, or something that draws more than its current limit."""

WITHIN = 0.05
"""Part of a value by which a reading may differ from what was set: this is about words and units, a
calibration is another matter.
"""

LEAST_VOLTAGE, LEAST_CURRENT = 0.1, 0.01
"""What it may differ by in any case [V, A]: an offset, or a resolution."""

COMES = 3.0
"""Longest that something may take to come [s]."""

STAYS = 0.3
"""How long it is looked whether something stays [s]."""

FALLS = 10.0
"""Longest that the voltage may take to fall with nothing connected [s]."""

LOOK = 0.05
"""Interval of looks [s]."""

TRIP_DELAY, OTHER_DELAY = 0.1, 0.9
"""Delay that is set of the protection that is to act, and of the other that has one [s]."""

LATEST = 5.0 * TRIP_DELAY
"""When it was to have tripped at the latest [s]: an exchange takes time, a delay in another unit far more."""

WITH_VOLTAGE, WITH_CURRENT = "on, with its voltage", "on, with its current"

BELOW = 0.5
"""Part of the voltage, or of the current, at which a protection is set to make it act."""

LOW = 0.25
"""Part of the voltage that lies below a protection that is set so."""

RAMPS = (1.0, 2.0, 4.0, 0.25)
"""How long the voltage is to take from its lowest by the slew that is set [s], tried in this order: an output
with nothing connected may fall more slowly by itself, and not every slew can be set.
"""

QUICKER = 4.0
"""Times the slew at which it has to come sooner: an output could take as long whatever is set."""

START = 0.1
"""Part of its way by which it may be read beside where a ramp begins."""

ON_RISE, ON_FALL = (0.25, 0.75), (0.1, 0.4)
"""Parts of its way between which a ramp is timed: how old the readings are cancels. A fall early, as what
drains an output with nothing connected weakens with its voltage.
"""

SLEW_WITHIN = 1.25
"""Times, or part, that a slew may differ by: another unit is far more."""

SHARP = 2.0
"""Times, or part, of the time of a ramp that its readings may leave: beyond, they tell nothing of it."""

LOOKS = 40
"""How often a ramp is looked at."""

SLEWS: tuple[Setting, ...] = ("slew_rising", "slew_falling")

CHANGED: tuple[Setting, ...] = (
    "ovp_on",
    "trip_at_limit",
    "trip_delay",
    "ocp",
    "ocp_on",
    "ocp_delay",
    "opp",
    "opp_on",
    "current_limit",
    "voltage",
)
"""Settings changed here beside slews and the level of the OVP, in the order in which they are restored."""


@dataclass(frozen=True, slots=True)
class Provocation:
    """One thing that was to be provoked. seen: what came; wrong: what did not come as it should, '' where all
    did. after: how long it took [s], None where that was not looked at.
    """

    provoked: Provoked
    seen: str
    wrong: str = ""
    after: float | None = None

    @property
    def proved(self) -> bool:
        return not self.wrong


class _Look(NamedTuple):
    """A look at a ramp: when it was asked for and answered [s], and which part of its way it was read at."""

    asked: float
    answered: float
    part: float


class _NotCome(Exception):
    """Something did not come; in words."""


@dataclass
class Provoking:
    """Provokes on one output of a supply that was identified; a guard is armed that switches it off.

    voltage, current: to work with [V, A]. sleep: lets time pass [s]; now: the clock [s]. restores:
    settings that the supply tells of this output, and that are left as they were found. beside: another
    output of the supply, with nothing connected either, whose trip takes this one along; '': none.
    """

    supply: SupplyDriver
    output: str
    voltage: float
    current: float
    sleep: Callable[[float], None]
    now: Callable[[], float]
    restores: Collection[Setting] = ()
    beside: str = ""
    _ovp_was: float | None = field(default=None, init=False)
    _slews_were: list[OutputSetting] = field(default_factory=list, init=False)
    _before: list[OutputSetting] = field(default_factory=list, init=False)
    _refused: dict[Provoked, str] = field(default_factory=dict, init=False)
    not_off: str = field(default="", init=False)
    """What showed that it was told to go off, and did not; '' where nothing did. At its lowest set points,
    where it is left, no reading of no voltage takes that back.
    """
    _went_off: bool = field(default=False, init=False)
    """Whether it was seen to go off at a voltage."""

    def go(self, connected: Connected) -> Iterator[Provocation]:
        """Provoke, one after the other, what can be with this connected. InstrumentError where the supply
        does not let itself be prepared, or is lost.
        """
        can = [each for each in provokable(self.supply.dialect) if self._has(each)]
        if "OVP" in can:
            self._may("OVP", self._ask_ovp)
        if "rising slew" in can:
            self._ask_slews()
        self._before = list(self._stood())
        works: dict[Provoked, Callable[[], str]]
        if connected == "open":
            rises, falls = partial(self._slew, rising=True), partial(self._slew, rising=False)
            works = {"on": self._on, "CV": self._cv, "rising slew": rises, "falling slew": falls}
            works |= {"OVP": self._ovp, "linked": self._linked, "off": self._off}
        else:
            works = {"CC": self._cc, "current limit": self._limit_trip, "OCP": self._ocp, "OPP": self._opp}
        try:
            self._prepare()
            for provoked, work in works.items():
                if provoked in self._refused:
                    yield Provocation(provoked, "", self._refused[provoked])
                elif provoked in can:
                    yield self._seen(provoked, work)
                if self.not_off:
                    break
        finally:
            self._leave()

    # The works, each from an output that is off; what they end with is switched off by `_seen`

    def _on(self) -> str:
        self._switch_on()
        reading = self._until(self._has_come, WITH_VOLTAGE)
        return f"on, {_shown(reading)}"

    def _cv(self) -> str:
        self._switch_on()
        wanted = f"{show(self.voltage, 'V')} in CV without a current"
        reading = self._until(
            lambda r: (
                r.on
                and _near(r.voltage, self.voltage, LEAST_VOLTAGE)
                and abs(r.current) < max(WITHIN * self.current, LEAST_CURRENT)
                and r.mode in (None, Mode.CV)
            ),
            wanted,
        )
        return f"CV, {_shown(reading)}"

    def _off(self) -> str:
        self._switch_on()
        self._until(self._has_come, WITH_VOLTAGE)
        self.supply.switch_off([self.output])
        try:
            reading = self._until(self._has_gone, "off, with its voltage gone", FALLS)
        except _NotCome as error:
            self.not_off = str(error)
            raise
        self._went_off = True
        return f"off, {_shown(reading)}"

    def _ovp(self) -> str:
        """By lowering its level, never by raising the voltage above that to work with; where it has a switch,
        by that.
        """
        self._switch_on()
        self._until(self._has_come, WITH_VOLTAGE)
        switch = self.supply.dialect.can_set("ovp_on")
        if switch:
            self._put("ovp_on", False)
        try:
            self._put("ovp", BELOW * self.voltage)
        except InstrumentError as error:
            if error.lost:
                raise
            return self._ovp_from_below(switch, f"a level below the set point is refused ({error.told})")
        if switch:
            self._stays(self._has_come, f"{WITH_VOLTAGE}, while its OVP is switched off")
            self._put("ovp_on", True)
        return self._trips("OVP")

    def _ovp_from_below(self, switch: bool, refused: str) -> str:
        """Where its level may not lie below the set point: the set point goes down, its level just above, and
        the set point up again, never above the voltage to work with.
        """
        low = LOW * self.voltage

        def stays_low(reading: OutputReading) -> bool:
            return reading.on and _near(reading.voltage, low, LEAST_VOLTAGE)

        try:
            self._put("voltage", low)
            self._put("ovp", BELOW * self.voltage)
            if switch:
                self._put("voltage", self.voltage)
                self._until(self._has_come, WITH_VOLTAGE)
                self._stays(self._has_come, f"{WITH_VOLTAGE}, while its OVP is switched off")
                self._put("voltage", low)
                self._put("ovp_on", True)
            self._until(stays_low, f"on, with {show(low, 'V')} below its OVP")
            self._stays(stays_low, f"on, with {show(low, 'V')} below its OVP")
            self._put("voltage", self.voltage)
        except InstrumentError as error:
            if error.lost:
                raise
            told = f"{refused}, and so is a set point above it ({error.told}): its OVP cannot be made to act"
            raise _NotCome(told) from None
        return self._trips("OVP")

    def _cc(self) -> str:
        self._switch_on()
        reading = self._until(
            lambda r: (
                r.on
                and _near(r.current, self.current, LEAST_CURRENT)
                and abs(r.voltage) < self.voltage * (1.0 - WITHIN)
                and r.mode in (None, Mode.CC)
            ),
            f"{show(self.current, 'A')} in CC",
        )
        return f"CC, {_shown(reading)}"

    def _limit_trip(self) -> str:
        self._put("trip_at_limit", True)
        delayed = self._delays("trip_delay", "ocp_delay")
        began = self._switch_on()
        self._not_at_once(began if delayed else None)
        return self._trips("current limit", began if delayed else None)

    def _ocp(self) -> str:
        """By lowering its level: one that is on already could act before the output is seen to be on."""
        self._switch_on()
        self._until(self._draws, WITH_CURRENT)
        delayed = self._delays("ocp_delay", "trip_delay")
        began = self.now()
        self._put("ocp", BELOW * self.current)
        if self.supply.supports("ocp_on"):
            began = self.now()
            self._put("ocp_on", True)
        self._not_at_once(began if delayed else None)
        return self._trips("OCP", began if delayed else None)

    def _opp(self) -> str:
        """Of what it gives now."""
        self._switch_on()
        reading = self._until(self._draws, WITH_CURRENT)
        power = reading.voltage * reading.current
        self._put("opp", BELOW * power)
        if self.supply.supports("opp_on"):
            self._put("opp_on", True)
        return self._trips("OPP")

    def _linked(self) -> str:
        """By the OVP of the output beside it."""
        other = replace(self, output=self.beside, beside="")
        links = self.supply.linked_channels(self.output)
        other._ask_ovp()
        other._before = list(other._stood())
        try:
            other._prepare()
            self.supply.link(self.output, [other.output])
            self._switch_on()
            self._until(self._has_come, WITH_VOLTAGE)
            other._ovp()
            came = self._trips("linked")
        finally:
            other._leave()
            self.not_off = self.not_off or other.not_off
            with suppress(InstrumentError):
                self.supply.clear_trips(other.output)
                self.supply.link_channels(self.output, links)
        self.supply.cleared(other.output, self.sleep)
        return came

    def _slew(self, rising: bool) -> str:
        """Timed by its readings, at the first slew that is long enough to be timed, and that it takes."""
        wrong = "none that the bench gives takes long enough to be timed"
        own = self.supply.document.outputs[self.output]
        low, high, passed = own.voltage.low, self.voltage, ON_RISE if rising else ON_FALL
        one_for_both = not self.supply.dialect.can_set("slew_falling")
        setting: Setting = "slew_rising" if rising or one_for_both else "slew_falling"
        way = f"{'rise' if rising else 'fall'} from {passed[0]:.0%} to {passed[1]:.0%} of its way"
        for takes in RAMPS:
            slew = (high - low) / takes
            if own.slew is None or not own.slew.low <= slew <= QUICKER * slew <= own.slew.high:
                continue
            try:
                looks = self._ramp(setting, slew, rising, passed[1])
                quick = self._ramp(setting, QUICKER * slew, rising, passed[1])
            except InstrumentError as error:
                if error.lost:
                    raise
                wrong = f"{show(slew, 'V/s')}, or {show(QUICKER * slew, 'V/s')}, is refused ({error.told})"
                continue
            wanted, (shortest, longest) = (passed[1] - passed[0]) * takes, _took(looks, passed)
            came = looks[-1].part >= passed[1]
            took = f"in {show(shortest, 's')} to {show(longest, 's')}" if came else "later"
            sharp = wanted / SHARP <= shortest and longest <= SHARP * wanted
            right = sharp and shortest / SLEW_WITHIN <= wanted <= longest * SLEW_WITHIN
            if right and _took(quick, passed)[1] < shortest:
                return f"{way} {took}, at {show(slew, 'V/s')}"
            more = f", and no sooner at {show(QUICKER * slew, 'V/s')}" if right else ""
            wrong = f"at {show(slew, 'V/s')}, in {show(wanted, 's')}, got it {took}{more}"
        raise _NotCome(f"expected its voltage to {way} at the slew that is set: {wrong}")

    def _ramp(self, setting: Setting, slew: float, rising: bool, until: float) -> list[_Look]:
        """Looks at a ramp of the voltage at a slew [V/s], until it is read beyond a part of its way; at most
        three times as long as the whole takes.
        """
        low, high = self.supply.document.outputs[self.output].voltage.low, self.voltage
        begins, ends = (low, high) if rising else (high, low)
        takes = (high - low) / slew
        self._rest()
        self._put("voltage", high)  # one that is refused is known before anything is on
        self._switch_on(begins)
        stands = partial(_stands, begins, START * (high - low))
        self._until(stands, f"on, at {show(begins, 'V')}", FALLS)
        self._put(setting, slew)
        looks = [_Look(self.now(), self.now(), 0.0)]
        self._put("voltage", ends)
        while looks[-1].part < until and looks[-1].asked < looks[0].asked + 3.0 * takes:
            reading = self.supply.read([self.output])[self.output]
            asked, answered = reading.exchange or (reading.time, reading.time)
            looks.append(_Look(asked, answered, (reading.voltage - begins) / (ends - begins)))
            self.sleep(takes / LOOKS)
        return looks

    # What they are made of

    def _seen(self, provoked: Provoked, work: Callable[[], str]) -> Provocation:
        began = self.now()
        try:
            seen, wrong = work(), ""
        except _NotCome as error:
            seen, wrong = "", str(error)
        except InstrumentError as error:
            if error.lost:
                raise
            seen, wrong = "", error.told
        took = self.now() - began
        if not self.not_off:
            self._rest()
        return Provocation(provoked, seen, wrong, took)

    def _has(self, provoked: Provoked) -> bool:
        """Whether the bench says that the output has this protection."""
        document = self.supply.document.outputs[self.output]
        there: dict[Provoked, object] = {
            "OVP": document.ovp,
            "current limit": document.trip_delay,
            "OPP": document.opp,
            "OCP": document.ocp,
            "linked": self.beside or None,
            "rising slew": document.slew,
            "falling slew": document.slew,
        }
        return provoked not in there or there[provoked] is not None

    def _has_come(self, reading: OutputReading) -> bool:
        return reading.on and abs(reading.voltage) > BELOW * self.voltage

    def _draws(self, reading: OutputReading) -> bool:
        return reading.on and abs(reading.current) > BELOW * self.current

    def _trips(self, protection: Provoked, delayed: float | None = None) -> str:
        """It goes off by itself, and says by which protection, where it says so at all. delayed: since when
        its delay runs [s], None where none was set.
        """
        began = self.now()
        trips = self.supply.dialect.status.trips
        named = trips.told is not False and (protection != "linked" or protection in trips.names)
        wanted = f"off, tripped by {protection}"

        def tripped(reading: OutputReading) -> bool:
            asked, _ = reading.exchange or (reading.time, reading.time)
            if delayed is not None and reading.on and asked > delayed + LATEST:
                longer = show(asked - delayed, "s")
                raise _NotCome(f"expected {wanted} after {show(TRIP_DELAY, 's')}, got on after {longer}")
            return not reading.on and (not named or reading.trip == protection)

        reading = self._until(tripped, wanted)
        after = self.now() - began
        return f"tripped{f' by {reading.trip}' if reading.trip else ''} within {show(after, 's')}"

    def _until(
        self, come: Callable[[OutputReading], bool], wanted: str, within: float = COMES
    ) -> OutputReading:
        """The first reading of which this is so. _NotCome after that time."""
        last = self.now() + within
        while True:
            reading = self.supply.read([self.output])[self.output]
            if come(reading):
                return reading
            if self.now() >= last:
                raise _NotCome(f"expected {wanted} within {show(within, 's')}, got {_shown(reading)}")
            self.sleep(LOOK)

    def _stays(self, so: Callable[[OutputReading], bool], wanted: str) -> None:
        """Every reading of a while is such. _NotCome at the first that is not."""
        last = self.now() + STAYS
        while self.now() < last:
            reading = self.supply.read([self.output])[self.output]
            if not so(reading):
                raise _NotCome(f"expected {wanted}, got {_shown(reading)}")
            self.sleep(LOOK)

    def _put(self, setting: Setting, value: Value) -> None:
        self.supply.put([OutputSetting(self.output, setting, value)])

    def _delays(self, own: Setting, other: Setting) -> bool:
        """Set the delay of a protection, and another of the other's first: they could be exchanged. Whether
        its own was set.
        """
        self._delayed(other, OTHER_DELAY)
        return self._delayed(own, TRIP_DELAY)

    def _delayed(self, setting: Setting, delay: float) -> bool:
        """Set a delay [s] where the output has one to set; whether it was. That its dialect has a command for
        it, and another output of the supply such a delay, does not tell; one that refuses acts with the delay
        that it has. The error queue is read as in `_may`.
        """
        if not self.supply.dialect.can_set(setting):
            return False
        try:
            self._put(setting, delay)
        except InstrumentError as error:
            if error.lost:
                raise
            self.supply.errors()
            return False
        return True

    def _not_at_once(self, began: float | None) -> None:
        """It is on still within the delay that was set, since what is told at `began` [s]; a delay in another
        unit may be over by then. Not looked at where the answer comes too late to tell, or `began` is None.
        """
        if began is None:
            return
        reading = self.supply.read([self.output])[self.output]
        if not reading.on and self.now() - began < BELOW * TRIP_DELAY:
            took = show(self.now() - began, "s")
            raise _NotCome(f"off within {took}, with a delay of {show(TRIP_DELAY, 's')}: {_shown(reading)}")

    def _switch_on(self, volts: float | None = None) -> float:
        """At the voltage to work with, or another [V]; when it was told to go on [s]."""
        self._put("voltage", self.voltage if volts is None else volts)
        self._put("current_limit", self.current)
        began = self.now()
        self._put("output", True)
        return began

    def _ask_ovp(self) -> None:
        """Where its level stands, which is left as it was."""
        if not self.supply.tells("ovp"):
            return
        dialect, channel = self.supply.dialect, self.supply.channel(self.output)
        units = [*dialect.select(channel), dialect.query_unit("ovp", channel)]
        try:
            self._ovp_was = float(dialect.understood("ovp", self.supply.one_answer(units), channel))
        except ValueError as error:
            raise InstrumentError(self.supply.name, units[-1], f"ovp: {error}") from None

    def _ask_slews(self) -> None:
        """How they stand, as what is looked at next is not to wait for them; without what is not told."""
        for setting in SLEWS:
            if self.supply.dialect.can_set(setting):
                try:
                    stands = self.supply.value(self.output, setting)
                except InstrumentError as error:
                    if error.lost:
                        raise
                    continue
                self._slews_were.append(OutputSetting(self.output, setting, stands))

    def _stood(self) -> Iterator[OutputSetting]:
        """What is changed here and is to be restored, as it stands."""
        for setting in CHANGED:
            if setting in self.restores and self.supply.dialect.can_set(setting):
                yield OutputSetting(self.output, setting, self.supply.value(self.output, setting))

    def _may(self, provoked: Provoked, work: Callable[[], None]) -> None:
        """Do what belongs to a protection that the supply may not have; then it is noted, and left out. The
        rest of the error queue is read: while it is not, the next refusal is not known as one, and asking
        back a setting that is not there brings no answer.
        """
        if provoked in self._refused:
            return
        try:
            work()
        except InstrumentError as error:
            if error.lost:
                raise
            self._refused[provoked] = error.told
            self.supply.errors()

    def _prepare(self) -> None:
        """Lowest set points, off, nothing tripped, slews as they stood, and no protection near that would act
        by itself.
        """
        self._lowest()
        for was in self._slews_were:
            slew: Provoked = "rising slew" if was.setting == "slew_rising" else "falling slew"
            self._may(slew, partial(self.supply.put, [was]))
        self.supply.clear_trips(self.output)
        self.supply.clear()
        self.supply.cleared(self.output, self.sleep)
        switches: tuple[tuple[Provoked, Setting], ...] = (
            ("current limit", "trip_at_limit"),
            ("OCP", "ocp_on"),
            ("OPP", "opp_on"),
        )
        for provoked, switch in switches:
            if self.supply.dialect.can_set(switch) and self._has(provoked):
                self._may(provoked, partial(self._put, switch, False))
        if self._ovp_was is not None:
            self._put("ovp", self._ovp_prepared(self._ovp_was))
            if self.supply.dialect.can_set("ovp_on"):
                self._may("OVP", partial(self._put, "ovp_on", True))

    def _lowest(self) -> None:
        """Lowest set points first: a word for off that switches on does so at the lowest voltage. Whether it
        is that, or nothing switches it off, is not told apart by a word for on.
        """
        document = self.supply.document.outputs[self.output]
        self._put("voltage", document.voltage.low)
        try:
            self._put("output", False)
        except InstrumentError as error:
            if error.lost or not self.supply.state(self.output):
                raise
            off = self.supply.dialect.words["off"]
            told = f"told off, by '{off}', it reads on, at its lowest voltage: it does not go off, it tells "
            told += f"its state late or wrongly, or '{off}' is not its word for off"
            raise InstrumentError(self.supply.name, error.command, told) from None
        # Not before: a supply may refuse a limit below the current that flows.
        self._put("current_limit", document.current.low)

    def _rest(self) -> None:
        """Off, and everything as it was prepared, for what is provoked next."""
        self._prepare()
        try:
            self._until(self._has_gone, "off, without voltage", FALLS)
        except _NotCome as error:
            raise InstrumentError(self.supply.name, "", f"output {self.output}: {error}") from None

    def _has_gone(self, reading: OutputReading) -> bool:
        return not reading.on and abs(reading.voltage) < BELOW * self.voltage

    def _leave(self) -> None:
        """Off, and its settings as they were; what goes wrong here has been said before, and the guard ends
        it. One that is not off, or not reached, is left at its lowest: nothing is raised there.
        """
        with suppress(InstrumentError):
            self._lowest()
            if self.not_off or not self._is_off():
                return
            for was in self._slews_were:
                with suppress(InstrumentError):
                    self.supply.put([was])
            if self._ovp_was is not None:
                self._put("ovp", self._ovp_was)
            for change in self._before:
                with suppress(InstrumentError):
                    self._put(change.setting, change.value)

    def _is_off(self) -> bool:
        """Whether it is off where a voltage would show that it is not. At its lowest set points nothing does:
        one that was not seen to go off at a voltage is looked at where it was on before, and taken back.
        """
        try:
            if self._went_off:
                return True
            gone = partial(self._nothing_comes, 0.0)
            before = abs(self._until(gone, "off, without voltage or current", FALLS).voltage)
            if self._ovp_was is not None:
                self._put("ovp", self._ovp_prepared(self._ovp_was))
            self._put("current_limit", self.current)
            self._put("voltage", self.voltage)
            at = f"{show(self.voltage, 'V')} and {show(self.current, 'A')}"
            self._stays(partial(self._nothing_comes, before), f"nothing, told off, with {at} set")
        except _NotCome as error:
            self.not_off = str(error)
        self._lowest()
        return not self.not_off

    def _nothing_comes(self, before: float, reading: OutputReading) -> bool:
        """Whether it says off, little more voltage stands there than before [V], and no current flows that a
        short would draw.
        """
        stands = abs(reading.voltage) <= before + max(LEAST_VOLTAGE, LOW * self.voltage)
        return not reading.on and stands and abs(reading.current) <= BELOW * self.current

    def _ovp_prepared(self, was: float) -> float:
        """The level that keeps it from acting by itself."""
        return max(was, 2.0 * self.voltage)


def _stands(volts: float, within: float, reading: OutputReading) -> bool:
    """Whether it is on, at this voltage [V]."""
    return reading.on and abs(reading.voltage - volts) <= within


def _near(value: float, wanted: float, least: float) -> bool:
    return abs(value - wanted) <= max(WITHIN * abs(wanted), least)


def _shown(reading: OutputReading) -> str:
    state = "on" if reading.on else "off"
    mode = "" if reading.mode is None else f", {reading.mode.name}"
    trip = f", {reading.trip}" if reading.trip else ""
    return f"{show(reading.voltage, 'V')}, {show(reading.current, 'A')}, {state}{mode}{trip}"


def _took(looks: Sequence[_Look], parts: tuple[float, float]) -> tuple[float, float]:
    """Shortest and longest time that looks leave to a ramp from one part of its way to another [s]: each was
    passed after the question that was answered with less, and before the answer that showed it.
    """
    ends = []
    for passed in parts:
        later = next((n for n, look in enumerate(looks) if look.part >= passed), None)
        if later is None:
            ends.append((looks[-1].asked, math.inf))
        else:
            ends.append((looks[later - 1].asked, looks[later].answered))
    (first, by), (last, end) = ends
    return max(0.0, last - by), end - first
