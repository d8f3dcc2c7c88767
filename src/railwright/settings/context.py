"""What the rules look at: the documents, the settled set points, and figures derived from both."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property, partial
from typing import Literal, NamedTuple, cast

from railwright.circuit import terminals
from railwright.circuit.inside import at_connector, lost_inside
from railwright.circuit.leads import Resistance, lead_inductance, lead_resistance
from railwright.documents.bench import Bench, Lead, Supply
from railwright.documents.device import Device, Input
from railwright.documents.ending import Interlock
from railwright.documents.figures import fastest_reference, own_capacitance, rated_slew
from railwright.documents.files import Kind
from railwright.documents.fixture import Fixture, Fuse
from railwright.documents.loader import Documents
from railwright.documents.procedure import Limits, Procedure
from railwright.documents.sources import Location
from railwright.frozen import kept
from railwright.physics.conductor_heat import HOTTEST, temperature_rise
from railwright.physics.driven import Besides, Course, Driven, swing
from railwright.physics.halving import greatest, least
from railwright.physics.loads.law import Ascent, Ramp
from railwright.physics.output_stage import CEILING, LIMIT_OVERSHOOT, LIMIT_RESPONSE
from railwright.plan.contacts import Lies, contacts_of, pin_courses, states_within, switched_on
from railwright.plan.plan import Plan, deliver
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.timeline import Timeline
from railwright.quantities import state
from railwright.settings.draw import Bounds, LoadModel
from railwright.settings.group import Group, group_of
from railwright.settings.played import Charging, Level, Played, Slope, what_is_played, with_coupling
from railwright.settings.rule import Path

UNITS = {
    "current_limit": "A",
    "ovp": "V",
    "trip_delay": "s",
    "opp": "W",
    "ocp": "A",
    "ocp_delay": "s",
    "rise": "V/s",
}
"""Settings of an input -> their unit."""

Sensed = Literal["at load", "at terminals"]

AGAIN = 2
"""How often a course is worked out with what a converter draws by then: each time it is slower, and not yet
too slow.
"""
MANY = 1000
"""Levels from which on they are judged together first."""
HALVINGS = 14
"""Halvings of the range of an OVP's level."""
LOOKS = 24
"""Parts of an output's range between which what is drawn counts as a straight line of the voltage."""
PARTS, FINER = 48, 24
"""Parts of a ramp between which it is looked how much is asked of the limit, and steps by which the greatest
of it is then sought.
"""
CLOSE = 2.0
"""Ratio of a rating to the greatest power found at some looks, from which on no level between them is looked
at: what a load draws bends little between two looks.
"""


def locate(documents: Documents, path: Path) -> Location:
    """Where something stands: the document's kind, then keys and indices as they are written in it."""
    return documents.where(cast(Kind, path[0]), path[1:])


class Enabled(NamedTuple):
    """Parts of an input's load, by their positions, that a pin of the device does not always enable.

    never: while it is on. at_times: at some times, and not at others. later: not while it is switched on.
    """

    never: frozenset[int] = frozenset()
    at_times: frozenset[int] = frozenset()
    later: frozenset[int] = frozenset()


ALWAYS = Enabled()


class Draw(NamedTuple):
    """A steady current that operation asks for [A], who says so, and whether the device declares it."""

    current: float
    words: str
    declared: bool


@dataclass(frozen=True, eq=False)
class FedInput(Group):
    """One input with the group that feeds it, through which lead and fixture, and where it is sensed.

    played: everything that the procedure plays on it. operation: what of that is played before the step in
    which it is required to trip; None: all.
    """

    name: str
    input: Input
    limits: Limits
    lead_name: str
    lead: Lead
    sense: Sensed
    resistance: Resistance
    played: Played
    fixture_name: str | None = None
    fixture: Fixture | None = None
    operation: Played | None = None
    enabled: Enabled = ALWAYS

    @cached_property
    def in_operation(self) -> FedInput:
        """The input with what is played while none of its protections may act: all of it, or up to the step
        in which it is required to trip.
        """
        return self if self.operation is None else replace(self, played=self.operation, operation=None)

    @property
    def fed_current(self) -> float | None:
        """The current that the outputs' limit is to feed the input with [A]; None: the limit only holds a
        fault.
        """
        return float(self.limits.current_limit) if self.limits.feeds_current else None

    @cached_property
    def load(self) -> LoadModel:
        """What the input draws, by its load model, and what a fixture adds to it: with every part that is
        enabled at any time, and that starts at what is played.
        """
        idle = self.enabled.never | self._not_reached
        return LoadModel(self.input, self.fixture, idle, self.enabled.at_times)

    @cached_property
    def _not_reached(self) -> frozenset[int]:
        """Parts of the load, by their positions, that start above every voltage that is played, error
        included.
        """
        if self.played.highest is None:
            return frozenset()
        top = self.played.highest.voltage
        top = self.voltage_with_error(top) if self.rows else top  # nothing feeds it before it is hooked up
        given = (entry.parameters.uncertain().get("starts_at") for entry in self.input.load)
        lost = lost_inside(self.input)
        return frozenset(
            number for number, starts in enumerate(given) if starts and at_connector(starts, lost).low > top
        )

    @cached_property
    def enabled_load(self) -> LoadModel:
        """What the input draws with every part enabled, as the device document has it."""
        whole = self.enabled == ALWAYS and not self._not_reached
        return self.load if whole else LoadModel(self.input, self.fixture)

    @cached_property
    def rising_load(self) -> LoadModel:
        """What the input draws with those parts alone that are enabled while it is switched on."""
        if not self.enabled.later:
            return self.load
        idle = self.enabled.never | self.enabled.later | self._not_reached
        return LoadModel(self.input, self.fixture, idle, self.enabled.at_times)

    @cached_property
    def warm(self) -> Resistance:
        """Resistance of lead and fixture, at most as warm as the largest steady current makes the lead."""
        if self.needs is None:
            return self.resistance
        made, ambient = self.lead.conductor, self.resistance.ambient
        rise = temperature_rise(made.section, self.needs[0], ambient, made.iec_class)
        return self.resistance.warmed(min(rise, HOTTEST))

    def drop(self, current: float) -> float:
        """Largest drop along lead and fixture, both ways, at a current [V], the lead being warm."""
        return current * self.warm.high + (self.fixture.drop.high if self.fixture else 0.0)

    def least_drop(self, current: float) -> float:
        """Smallest drop along lead and fixture, both ways, at a current [V], the lead being cold."""
        return current * self.resistance.low + (self.fixture.drop.low if self.fixture else 0.0)

    def sensed(self, current: float) -> float:
        """What sensing adds to the voltage at the terminals at a current [V]."""
        return self.drop(current) if self.senses else 0.0

    def powers(self, rating: float) -> list[tuple[Level, float, float]]:
        """Each level played above 0 V whose steady draw is known, with that draw [A] and the power [W] that
        it needs of the outputs, the lead's drop with it where sensing makes up for it; of very many levels
        that all stay far below the rating [W] none.
        """
        return [] if self._most_power * CLOSE < rating else self._powers

    @cached_property
    def _most_power(self) -> float:
        """Power that very many levels need at most, by some looks at the load [W]; inf: they are few."""
        above = [level.voltage for level in self.played.levels if level.voltage > 0]
        most = self.load.over(min(above), max(above)) if len(above) > MANY else None
        if most is None:
            return math.inf
        fed = self.fed_current
        current = most[0].high if fed is None else min(fed, most[0].high)
        return (max(above) + self.sensed(current)) * current

    @cached_property
    def most_power(self) -> tuple[Level, float, float] | None:
        """Of these levels the one that needs the most power; None: there is none."""
        return max(self._powers, key=lambda each: each[2], default=None)

    @cached_property
    def _powers(self) -> list[tuple[Level, float, float]]:
        """Every level above 0 V whose steady draw is known, as `powers` has it."""
        works = [
            (level, *self.fed_at(level.voltage, drawn.high))
            for level in self.played.levels
            if level.voltage > 0 and (drawn := self.load.current(level.voltage))
        ]
        return [
            (level, amperes, (voltage + self.sensed(amperes)) * amperes) for level, voltage, amperes in works
        ]

    def fed_at(self, voltage: float, drawn: float) -> tuple[float, float]:
        """Where an input works that draws so much [A] at a set voltage [V]: there, or, fed with less, at the
        highest voltage at which it may take that.
        """
        fed = self.fed_current
        if fed is None or drawn <= fed:
            return voltage, drawn
        return self.load.highest_with(fed, voltage), fed

    @property
    def senses(self) -> bool:
        return self.sense == "at load"

    @property
    def steady_drop(self) -> float | None:
        """Largest drop along lead and fixture at the largest steady current [V]; None: current unknown."""
        return self.drop(self.needs[0]) if self.needs is not None else None

    @property
    def sensed_drop(self) -> float:
        """What sensing adds to the voltage at the terminals at the largest steady current, if known [V]."""
        return (self.steady_drop or 0.0) if self.senses else 0.0

    @cached_property
    def needs(self) -> Draw | None:
        """Largest steady current that normal operation asks for [A], and who says so; None: unknown.

        The greater of the declared steady current and of what the load model draws up to the highest voltage
        played: from the lowest voltage at which a converter may start (every power-up passes there), or from
        0 V; and from the lowest that is played in the operating range, in which it goes on running.
        """
        return max(self.asked) if self.asked else None

    @cached_property
    def asked(self) -> list[Draw]:
        """Every steady current that normal operation is said to ask for [A], and who says so."""
        top = self.played.highest.voltage if self.played.highest else self.input.nominal
        starting = min((each.starts_at.low for each in self.rising_load.converters), default=0.0)
        works = [level.voltage for level in self.played.meant_within(self.input.operating)]
        lowest = starting if 0 < starting < top else min(1e-3, top)
        drawn = self.rising_load.over(lowest, top, 0.0) if top > 0 else None
        bottom = min([top, *(volts for volts in works if volts > 0.0)])
        runs = self.load.over(bottom, top) if top > 0 else None
        if drawn is not None and runs is not None:
            drawn = max(drawn, runs, key=lambda each: each[0].high)
        declared = self.input.current.steady
        found: list[Draw] = []
        if declared is not None and top >= self.input.operating.low:  # else its range is not reached
            found.append(Draw(declared.high, "the declared steady current", True))
        if drawn is not None:
            bounds, at = drawn
            words = state(
                "the load model's draw at {drawn_at}{which}",
                drawn_at=(at, "V"),
                which=f" (the full voltage of {self.words})" if self.rows and at >= self.full_voltage else "",
            )
            found.append(Draw(bounds.high, words, False))
        fed = self.fed_current
        if fed is not None and (not found or max(found).current > fed):
            # It never gets more than it is fed with, whatever it would draw from the voltage that is set.
            found = [each for each in found if each.current <= fed]
            found.append(Draw(fed, "the constant current that it is fed with", False))
        return found

    def ovp_at_most(self, feed: Feed) -> float:
        """The most that can stand at the terminals [V]: the OVP level, its error, the rise while it acts."""
        level = self.ovp_with_error(feed.ovp)
        return level + (self.ovp_overshoot(level, feed.limit) or 0.0)

    def ovp_drop(self, level: float, limit: float | None) -> float:
        """By how much the connector stays below the terminals at least, where these rise furthest past a
        level [V]; negative: above, where the lead's inductance goes on charging the input [V].
        """
        limit = self._limit_or_full(limit)
        held, ohms = self.load.capacitance.low, self.resistance.low
        through = ohms + self.load.least_resistance
        swings = swing(held, self.output_capacitance or 0.0, through, lead_inductance(self.lead))
        swings = max(swings, -ohms)  # no less than as its OVP acts, what charges it still flowing
        worst = max if swings > 0.0 else min
        drawn, rate = math.inf, 0.0
        for output, share, courses in zip(self.rows, self.shares, self._courses(limit), strict=True):
            own, response = level * share, (output.ovp.response if output.ovp else None) or 0.0
            peaks = [(course, own + past) for course in courses if (past := course.past(own, response)) > 0]
            if not peaks:
                return 0.0
            drawn = min(drawn, *(course.drawn_at(peak) for course, peak in peaks))
            rate += worst(course.fills_at(peak) for course, peak in peaks)
        rate = rate if self.series else rate / self.count
        return ohms * drawn - held * rate * swings

    def ovp_past(self, level: float, limit: float | None) -> float:
        """How far the connector may rise past a level [V] at which its OVP responds [V]; 0: unknown, or no
        further than the lead drops by what flows then: without that the level itself may stand there.
        """
        return max(0.0, (self.ovp_overshoot(level, limit) or 0.0) - self.ovp_drop(level, limit))

    @kept
    def ovp_bearing(self, most: float, limit: float | None) -> float:
        """Highest level [V] at which the OVP may begin to respond with no more than `most` at the connector
        [V], to a part in 10,000, below; 0: there is none.
        """

        def holds(below: float) -> bool:
            return self.ovp_past(most - below, limit) <= below

        return most - (least(holds, 0.0, most, HALVINGS) if holds(most) else most)

    def _limit_or_full(self, limit: float | None) -> float:
        """A current limit, or the outputs' own where there is none yet [A]."""
        return self.full_current if limit is None or not math.isfinite(limit) else limit

    def ovp_overshoot(self, level: float, limit: float | None) -> float | None:
        """How far the terminals may rise past a level [V] at which the OVP begins to respond [V]; None: not
        known.

        The greater of what two faults do: a sense lead that comes off at the highest level that is played,
        after which the voltage loop asks for all it can, and a voltage that is mistyped, to which it rises
        from 0 V as fast as it does in the procedure. Both by what the current limit lets through. limit [A]:
        of the input; None or nan: there is none yet, and the outputs' own counts.
        """
        limit = self._limit_or_full(limit)
        found: list[float | None] = []
        for output, share, courses in zip(self.rows, self.shares, self._courses(limit), strict=True):
            if output.ovp is not None and (response := output.ovp.response) is not None:
                # Where its capacitance is assumed, no less than its rated rise.
                rated = 0.0 if output.output_capacitance else rated_slew(output, output.rise) or 0.0
                past = (each.past(level * share, response) for each in courses)
                found.append(max(rated * response, *past))
        return self.whole(found, sum if self.series else max)

    @kept
    def _courses(self, limit: float) -> list[tuple[Course, ...]]:
        """How the voltage of each output may rise; of outputs in parallel all together."""
        return [self._course(number, limit) for number in range(self.count)]

    def _course(self, number: int, limit: float) -> tuple[Course, ...]:
        """The ways in which one output may be driven upwards: as fast as all it can, where the bench does not
        tell how fast.
        """
        own, share = self.rows[number], self.shares[number]
        together = self.rows if self.parallel else [own]
        rates = [move.rate for move in self.played.moves if move.stop > move.start]
        asked = math.inf if None in rates or not rates else share * max(rate for rate in rates if rate)
        reference = fastest_reference(own)
        stiff = CEILING * max(output.voltage.high for output in together)
        driven = Driven(
            limit=self.at_most(limit),
            overshoot=LIMIT_OVERSHOOT.high * sum(output.current.high for output in together),
            response=max(LIMIT_RESPONSE if o.limit_response is None else o.limit_response for o in together),
            power=sum(math.inf if output.power is None else output.power for output in together),
            capacitance=sum(map(own_capacitance, together)),
            fastest=asked if reference is None else min(asked, reference),
            drawn=(),
            behind=self._behind(own_capacitance(own)),
        )
        found = [self._driven(driven, 0.0, share, stiff)]
        start = self.highest_terminals(limit) or 0.0
        if self.senses and start * share < stiff:
            found.append(self._driven(driven._replace(fastest=math.inf), start, share, stiff))
        return tuple(found)

    def _driven(self, driven: Driven, start: float, share: float, stop: float) -> Course:
        """The course of an output from a start of the group's [V] up to its own end [V]. What a part of the
        load draws by then may hang on how long it took, so that it is worked out again with those times: at
        first those of a voltage that rises while nothing is drawn.
        """
        highest = self.played.highest
        fed = self.voltage_with_error(highest.voltage) if highest else 0.0
        charge = driven.limit * self.played.end
        looks = self.load.looks(start, max(stop / share, start), LOOKS)
        if self.load.follows:
            driven = driven._replace(begins=partial(self._besides, driven, start, share))
        known, course = driven, Course((0.0,), (start * share,), ())
        if self.load.waits:
            course = driven._replace(drawn=tuple((volts * share, 0.0) for volts in looks)).course()
        for _ in range(AGAIN if self.load.waits else 1):
            times = [course.at(volts * share) for volts in looks]
            passing = cache(lambda passed, before=course: before.at(passed * share))

            def since(now: float, passed: float, passing: Callable[[float], float] = passing) -> float:
                return math.inf if passed <= start else now - passing(passed)

            drawn = tuple(
                (
                    volts * share,
                    self._at_connector(volts, driven, Ascent(start, fed, charge, partial(since, now))),
                )
                for volts, now in zip(looks, times, strict=True)
            )
            if drawn == known.drawn:
                break
            known = driven._replace(drawn=drawn)
            course = known.course()
        return course

    def _besides(self, driven: Driven, start: float, share: float) -> Besides:
        """What those parts of the load draw at the connector that have a course of their own: at its least
        voltage, with the least resistance of the lead and the most that charges the input through it.
        """
        follow, held = self.load.followers(start), self.load.capacitance.high
        part = held / (held + driven.capacitance) if held > 0.0 else 0.0

        def drawn(volts: float, lasts: float, amperes: float, charges: float) -> float:
            through = amperes + part * max(0.0, charges)
            return follow(max(0.0, volts / share - self.resistance.low * through), lasts)

        return drawn

    def _at_connector(self, volts: float, driven: Driven, risen: Ascent) -> float:
        """The least that is drawn [A] with so much at the terminals [V]: at the connector it is less, by what
        flows through the lead, with its least resistance, into the load and its capacitance.
        """
        held, most = self.load.capacitance.high, driven.limit + driven.overshoot
        part = held / (held + driven.capacitance) if held > 0.0 else 0.0
        drawn = self.load.at_least(volts, risen)

        def left(amperes: float) -> float:
            lost = self.resistance.low * (amperes + part * max(0.0, most - amperes))
            return self.load.at_least(max(0.0, volts - lost), risen)

        if not self.load.monotonic:
            return min(drawn, left(drawn))
        # What it draws and what the lead then leaves of the voltage meet once: it holds that back so much.
        meet = least(lambda amperes: left(amperes) <= amperes, 0.0, drawn, HALVINGS)
        return max(0.0, meet - drawn * 0.5**HALVINGS)

    def _behind(self, own: float) -> tuple[tuple[float, float], ...]:
        """Capacitors of the input that hold an output's voltage back beside its own [F], each at its least,
        with the most series resistance and the least of the lead [Ω]: in series only where all outputs rise
        alike.
        """
        alike = not self.series or all(
            own_capacitance(output) == own and output.voltage.high == self.rows[0].voltage.high
            for output in self.rows
        )
        count, lead = self.count if self.series else 1, self.resistance.low
        each = self.load.behind if alike else ()
        return tuple((farads * count, (ohms + lead) / count) for farads, ohms in each)

    def highest_terminals(self, current: float) -> float | None:
        """Highest voltage at the terminals while the procedure is played [V]: set point, its error, and the
        drop at `current` [A] where the voltage is sensed at the load. None: programming error unknown.
        """
        highest = self.played.highest
        wrong = self.voltage_error(highest.voltage) if highest is not None else None
        if highest is None or wrong is None:
            return None
        return highest.voltage + wrong + self.sensed(current)

    @cached_property
    def surge(self) -> float:
        """The most that what is played draws beside any limit [A]: the input's largest capacitance charged at
        the fastest rate of a move upwards, and the greatest draw over it; inf: unknown.
        """
        able = self.fastest(map(fastest_reference, self.rows))
        most = 0.0
        for move in self.played.widest_rises:
            rate = min((each for each in (move.rate, able) if each is not None), default=math.inf)
            drawn = self.drawn_rising(move.start, move.stop)
            if drawn is None or self.load.surges:
                return math.inf
            charges = self.load.charging_current(rate, move.stop - move.start) if self.load.banks else 0.0
            most = max(most, drawn.high + charges)
        return most

    @cached_property
    def surge_in_faults(self) -> float:
        """The most that it draws beside any limit in faults that settings contain [A]: a voltage that is
        mistyped, to which it rises as steeply as in the procedure, and a sense lead that comes off, after
        which the outputs rise as fast as they can; up to what they reach or it withstands. inf: unknown.
        """
        able = self.fastest(map(fastest_reference, self.rows))
        top = max(self.full_voltage, self.farthest)
        top = min(top, max((volts for volts, _ in self.input.withstood), default=top))
        rises = [(max(move.start, 0.0), move.rate) for move in self.played.widest_rises]
        if self.senses and self.played.highest is not None:
            rises.append((max(self.played.highest.voltage, 0.0), None))
        most, load = 0.0, self.enabled_load  # what no voltage that is played starts may start then
        for start, asked in rises:
            if start >= top:
                continue
            rate = min((each for each in (asked, able) if each is not None), default=math.inf)
            drawn = load.over(max(start, 1e-3), top, start)
            if drawn is None or load.surges:
                return math.inf
            charges = load.charging_current(rate, top - start) if load.banks else 0.0
            most = max(most, drawn[0].high + charges)
        return most

    @property
    def capacitance(self) -> float:
        """Largest that a limit charges: of the input, and of the outputs as far as it is known [F]."""
        return self.load.capacitance.high + (self.charged or 0.0)

    def charging_current(self, rate: float, swing: float) -> float:
        """The most that charges it, and its outputs, on a rise of so much [V] at a rate [V/s], in A."""
        return (self.charged or 0.0) * rate + self.load.charging_current(rate, swing)

    @property
    def holding(self) -> float:
        """Largest that holds the input's voltage up: its own, and the outputs' as far as it is known [F]."""
        return self.load.capacitance.high + (self.output_capacitance or 0.0)

    def drawn_rising(self, start: float, stop: float) -> Bounds | None:
        """Steady current over a move upwards between two voltages [V]: a converter that has stopped draws
        nothing before the lowest voltage at which it may start. None: unknown.
        """
        found = self._load_from(start).over(max(start, 1e-3), stop, start)
        return None if found is None else found[0]

    def _load_from(self, start: float) -> LoadModel:
        """What it draws on a move upwards from a voltage [V]."""
        return self.load if start > 0.0 else self.rising_load

    def asks_for(self, move: Slope) -> float | None:
        """The most that a move upwards asks of the current limit at any one time [A]: what charges the input
        and its outputs' own capacitance, and what is drawn by then; inf: as much as it gets. None: unknown.
        """
        return self._asked(move.start, move.stop, move.rate, move.from_off)

    @kept
    def _asked(self, start: float, stop: float, rate: float | None, from_off: bool) -> float | None:
        """See `asks_for`."""
        top = self.voltage_with_error(stop)
        drawn, turning = self.drawn_rising(start, top), self._load_from(start).inertia
        if drawn is None:
            return None
        if rate is None or math.isinf(turning):
            return math.inf
        slope = rate * (1.0 + self.voltage_gain)
        if not from_off or start > 0.0:
            return (
                self.charging_current(slope, top - start) + (turning * slope if turning else 0.0) + drawn.high
            )
        if math.isinf(slope):
            return math.inf
        lead = self.resistance.high if self.senses else self.resistance.low
        asked = self._asked_on(Ramp(slope, top, lead), 0.0)
        if self.rising_load.converters and not self.senses:  # at a lower voltage they draw more
            ramp = Ramp(slope, top, self.resistance.high)
            asked = max(asked, self._asked_on(ramp, self.fixture.drop.high if self.fixture else 0.0))
        return asked

    def stays_within(self, move: Slope, limit: float) -> bool | None:
        """Whether a move upwards, and a slower one, asks for no more than a limit [A]; None: unknown."""
        slower = [
            rate for rate in self.rising_load.turns_at(move.stop) if move.rate is None or rate < move.rate
        ]
        asked = [self.asks_for(each) for each in (move, *(move._replace(rate=rate) for rate in slower))]
        drawn = self.drawn_rising(move.start, move.stop)
        if drawn is None or None in asked:
            return None
        return max(drawn.high, *(each for each in asked if each is not None)) <= limit

    def _asked_on(self, ramp: Ramp, lost: float) -> float:
        """The most that is asked of the limit [A] on a ramp, through a lead of the ramp's resistance along
        which so much is lost besides [V]. Where the voltage is sensed at the load the ramp is there, and the
        terminals rise faster by what the lead drops more and more; else the ramp is at the terminals.
        """
        own, over = self.charged or 0.0, ramp.over
        held = self.load.at_once(over / PARTS)
        risen = self.rising_load.rising(ramp._replace(ohms=0.0) if self.senses else ramp)
        faster = ramp.ohms * (own if self.senses else -held)

        again = 0 if self.senses or risen.winds else AGAIN

        def into(time: float) -> float:
            if held == self.load.capacitance.high:
                return held * ramp.rate if time <= over else 0.0
            done = min(time, over)
            return self.load.charging_current(ramp.rate, ramp.rate * done, time - done)

        def drawn(time: float) -> float:
            volts = min(ramp.stop, ramp.rate * time)
            amperes = risen.current(volts, time)
            for _ in range(again):
                rest = lost + ramp.ohms * (amperes + into(time))
                last, amperes = amperes, risen.current(max(0.0, volts - rest), time)
                if amperes == last:
                    break
            return amperes

        grid = [over * n / PARTS for n in range(PARTS + 1)]
        currents = dict(zip(grid, [0.0, *map(drawn, grid[1:])], strict=True))
        before = dict(zip(grid[1:], grid, strict=False))
        for time in risen.marks:
            if time > 0.0 and time not in currents:
                currents[time], before[time] = drawn(time), max(0.0, time - over / PARTS)
                currents.setdefault(before[time], drawn(before[time]))

        def charges(time: float) -> float:
            return (own * ramp.rate if time <= over else 0.0) + into(time)

        most, when = 0.0, 0.0
        for time, earlier in before.items():
            grows = (currents[time] - currents[earlier]) / (over / PARTS)
            most, when = max((most, when), (currents[time] + charges(time) + faster * grows, time))
        times = sorted(before)
        place = times.index(when) if when else 0
        if when == over or place in (0, len(times) - 1):
            return most
        end = over if times[place - 1] < over else math.inf
        between = times[place - 1], min(times[place + 1], end)
        return max(most, greatest(drawn, *between, FINER) + charges(when))

    def longest_charging(self, limit: float) -> Charging | None:
        """The longest time that one of the moves upwards may spend at a current limit [A]; None: none does.

        A move reaches the limit where capacitance times its rate, beside the load, asks for more. The
        capacitance is the input's largest and the output's own, which the same limit charges (left out where
        it is unknown).
        """
        if self.fed_current is not None:
            return None  # it works in the limit, and is not charged by it on the way to a voltage
        times = (
            (self.rise_takes(each, limit), each)
            for each in self.played.widest_rises
            if self.stays_within(each, limit) is False
        )
        found = [(time, move) for time, move in times if time is not None]
        if not found:
            return None
        time, move = max(found, key=lambda each: each[0])
        rise = limit, max(move.start, 0.0), move.stop
        counted = self.load.counted_behind(*rise, from_off=move.from_off, ahead=self.ahead)
        return Charging(time, move, self.capacitance, tuple(counted))

    def rise_takes(self, move: Slope, limit: float, rate: float | None = None) -> float | None:
        """Longest time that a move upwards spends in a current limit [A], or, with a rate of its own [V/s],
        that the whole of it takes [s]: see `LoadModel.charging_time`.
        """
        load, start = self.rising_load if move.from_off else self.load, max(move.start, 0.0)
        own, ahead = self.charged or 0.0, self.ahead
        return load.charging_time(
            own, limit, start, move.stop, from_off=move.from_off, ahead=ahead, rate=rate
        )

    # where things are written

    @property
    def at_input(self) -> Path:
        return ("device", "inputs", self.name)

    @property
    def at_hook_up(self) -> Path:
        return ("procedure", "hook_up", self.name)

    @property
    def at_limits(self) -> Path:
        return ("procedure", "limits", self.name)

    @property
    def at_lead(self) -> Path:
        return ("bench", "leads", self.lead_name)

    @property
    def at_inside(self) -> Path:
        return (*self.at_input, "inside")

    @property
    def fuses(self) -> list[PlacedFuse]:
        """Fuses on the way to the load: of a fixture, and inside the device."""
        found = []
        if self.fixture is not None and self.fixture.fuse is not None:
            words = f"the fuse in '{self.fixture_name}'"
            found.append(PlacedFuse(self.fixture.fuse, words, (*self.at_fixture, "fuse"), "fuse"))
        if self.input.inside is not None and self.input.inside.fuse is not None:
            place = (*self.at_inside, "fuse")
            found.append(PlacedFuse(self.input.inside.fuse, "the fuse inside", place, "fuse_inside"))
        return found

    @property
    def at_fixture(self) -> Path:
        return ("bench", "fixtures", str(self.fixture_name))


class PlacedFuse(NamedTuple):
    """A fuse, what it is called for people, where it is written, and what a constraint on it is called."""

    fuse: Fuse
    words: str
    path: Path
    name: str


@dataclass(frozen=True)
class BoundDocuments:
    """The documents bound together. `feeds` holds the inputs whose set points could be settled."""

    documents: Documents
    sources: Mapping[str, FedInput]
    timeline: Timeline
    feeds: SetPoints

    @property
    def device(self) -> Device:
        return self.documents.device

    @property
    def bench(self) -> Bench:
        return self.documents.bench

    @property
    def procedure(self) -> Procedure:
        return self.documents.procedure

    @cached_property
    def contacts(self) -> dict[str, Lies]:
        """Every contact that lies in a lead or drives a pin, by its name."""
        return contacts_of(self.documents, self.procedure.hook_up)

    @cached_property
    def on(self) -> list[frozenset[str]]:
        """Inputs that are on after so many of the timeline's actions: after none, the first, and so on."""
        found = [frozenset[str]()]
        for action in self.timeline.actions:
            if action.kind == "line":
                found.append(found[-1])
            else:
                others = found[-1] - {action.input}
                found.append(others | {action.input} if action.kind == "on" else others)
        return found

    @property
    def used_supplies(self) -> dict[str, Supply]:
        """Supplies of which at least one output is hooked up."""
        names = (output.supply for source in self.sources.values() for output in source.outputs)
        return {name: self.bench.supplies[name] for name in names}


@dataclass(frozen=True)
class Context(BoundDocuments):
    """Everything a static rule may look at; `today` decides whether a calibration has run out.

    drafts: the set points of every input, nan where one could not be settled.
    """

    today: dt.date
    drafts: SetPoints

    @cached_property
    def plan(self) -> Plan:
        """How the procedure reaches the outputs with the set points as far as they are settled."""
        return deliver(self.timeline, self.drafts, self.bench)

    @cached_property
    def links(self) -> list[terminals.Link]:
        """What is joined to what by the hook-up."""
        return terminals.links_of(self.procedure, self.device, self.bench)

    @property
    def interlock(self) -> Interlock | None:
        """The interlock of the bench; None: there is none, or a day to come is given as that on which it was
        seen to act.
        """
        interlock = self.bench.interlock
        return interlock if interlock is not None and interlock.seen_to_act <= self.today else None

    def having(self, *settings: str) -> list[tuple[FedInput, Feed]]:
        """Inputs of which these settings were settled, whatever became of the others."""
        return [(self.sources[name], feed) for name, feed in self.drafts.items() if feed.has(*settings)]


def sources_of(documents: Documents) -> tuple[dict[str, FedInput], Timeline]:
    """Every hooked-up input with what feeds it; and the procedure's timeline."""
    bench, device, procedure = documents.bench, documents.device, documents.procedure
    groups = {
        name: group_of(hook_up.outputs, hook_up.arrangement, bench)
        for name, hook_up in procedure.hook_up.items()
    }
    alone, timeline = what_is_played(procedure, device)
    played = with_coupling(alone, groups, bench, timeline)
    sources = {
        name: fed_input(documents, name, groups[name], hook_up.lead, hook_up.sensed, played[name], timeline)
        for name, hook_up in procedure.hook_up.items()
    }
    return sources, timeline


def fed_input(
    documents: Documents,
    name: str,
    group: Group,
    lead_name: str,
    sense: Sensed,
    played: Played,
    timeline: Timeline,
) -> FedInput:
    """An input that is fed by a group of outputs through a lead of the bench, and what the hook-up names."""
    bench, procedure = documents.bench, documents.procedure
    lead, fixture_name = bench.leads[lead_name], procedure.hook_up[name].fixture
    fixture = bench.fixture(fixture_name)
    return FedInput(
        group.outputs,
        group.arrangement,
        group.isolations,
        group.ties,
        name,
        documents.device.inputs[name],
        procedure.limits[name],
        lead_name,
        lead,
        sense,
        lead_resistance(lead, bench, fixture),
        played,
        fixture_name,
        fixture,
        operation_of(name, procedure, played, timeline),
        enabled_parts(documents, name, timeline),
    )


def enabled_parts(documents: Documents, name: str, timeline: Timeline) -> Enabled:
    """Which parts of an input's load the device's pins do not always enable, while it is on."""
    gated = {n: e.enabled_by for n, e in enumerate(documents.device.inputs[name].load) if e.enabled_by}
    if not gated:
        return ALWAYS
    courses = pin_courses(documents, timeline)
    on = switched_on(timeline, name)
    seen = {
        number: {each for start, _, end in on for each in states_within(courses[pin], start, end)}
        for number, pin in gated.items()
    }
    rising = {
        number: {each for start, risen, _ in on for each in states_within(courses[pin], start, risen)}
        for number, pin in gated.items()
    }
    never = frozenset(number for number in gated if True not in seen[number])
    at_times = frozenset(number for number in gated if len(seen[number]) == 2)
    later = frozenset(number for number in gated if True not in rising[number])
    return Enabled(never, at_times, later - never)


def operation_of(name: str, procedure: Procedure, played: Played, timeline: Timeline) -> Played | None:
    """What is played on an input up to the step in which it is required to trip; None: it is not required."""
    until = procedure.operates_until(name)
    if until >= len(procedure.steps):
        return None
    steps = {step.called(index) for index, step in enumerate(procedure.steps[:until])}
    return Played(
        tuple(level for level in played.levels if level.step in steps),
        tuple(move for move in played.moves if move.step in steps),
        tuple(action for action in played.actions if action.step < until),
        timeline.spans[until].start,
    )
