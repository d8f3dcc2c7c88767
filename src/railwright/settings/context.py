"""What the rules look at: the documents, the settled set points, and figures derived from both."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, cast

from railwright.circuit.leads import Resistance, lead_resistance
from railwright.documents.bench import Bench, Lead, Output, Supply
from railwright.documents.device import Device, Input
from railwright.documents.files import Kind
from railwright.documents.fixture import Fixture
from railwright.documents.hook_up import HookUp
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Limits, Procedure
from railwright.documents.sources import Location
from railwright.plan.delivery import Delivery, deliveries
from railwright.plan.set_points import Feed
from railwright.plan.timeline import Timeline
from railwright.settings import figures
from railwright.settings.draw import Bounds, LoadModel
from railwright.settings.played import Charging, Level, Played, what_is_played
from railwright.settings.rule import Path

MANY = 1000
"""Levels from which on they are judged together first."""
CLOSE = 2.0
"""Ratio of a rating to the greatest power found at some looks, from which on no level between them is looked
at: what a load draws bends little between two looks.
"""


def locate(documents: Documents, path: Path) -> Location:
    """Where something stands: the document's kind, then keys and indices as they are written in it."""
    return documents.where(cast(Kind, path[0]), path[1:])


class Draw(NamedTuple):
    """A steady current that operation asks for [A], who says so, and whether the device declares it."""

    current: float
    words: str
    declared: bool


@dataclass(frozen=True)
class Source:
    """One hooked-up input with everything that feeds it; SI units throughout."""

    name: str
    input: Input
    hook_up: HookUp
    limits: Limits | None
    lead: Lead
    outputs: Mapping[OutputName, Output]
    resistance: Resistance
    played: Played
    fixture: Fixture | None = None

    @cached_property
    def load(self) -> LoadModel:
        """What the input draws, by its load model, and what a fixture adds to it."""
        return LoadModel(self.input, self.fixture)

    def drop(self, current: float) -> float:
        """Largest drop along lead and fixture, both ways, at a current [V]."""
        return current * self.resistance.high + (self.fixture.drop.high if self.fixture else 0.0)

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
        drop = self.drop(most[0].high) if self.senses else 0.0
        return (max(above) + drop) * most[0].high

    @cached_property
    def _powers(self) -> list[tuple[Level, float, float]]:
        found = []
        for level in self.played.levels:
            drawn = self.load.current(level.voltage) if level.voltage > 0 else None
            if drawn is not None:
                drop = self.drop(drawn.high) if self.senses else 0.0
                found.append((level, drawn.high, (level.voltage + drop) * drawn.high))
        return found

    @property
    def count(self) -> int:
        return len(self.outputs)

    @property
    def senses(self) -> bool:
        return self.hook_up.sense == "at load"

    @property
    def series(self) -> bool:
        return self.hook_up.arrangement == "series"

    @property
    def parallel(self) -> bool:
        return self.hook_up.arrangement == "parallel"

    @property
    def rows(self) -> list[Output]:
        return list(self.outputs.values())

    @property
    def shares(self) -> tuple[float, ...]:
        """Part of the input's voltage of each output: by full scale in series, all of it otherwise."""
        if not self.series:
            return (1.0,) * self.count
        full = sum(output.voltage.high for output in self.rows)
        return tuple(output.voltage.high / full for output in self.rows)

    @property
    def parts(self) -> tuple[float, ...]:
        """Part of the input's current that each output carries: by full scale in parallel, all of it
        otherwise.
        """
        if not self.parallel:
            return (1.0,) * self.count
        full = sum(output.current.high for output in self.rows)
        return tuple(output.current.high / full for output in self.rows)

    @property
    def full_voltage(self) -> float:
        """Highest voltage that the outputs can reach together [V]."""
        highest = [output.voltage.high for output in self.rows]
        return sum(highest) if self.series else max(highest)

    @property
    def full_current(self) -> float:
        """Largest current that the outputs can give together [A]."""
        largest = [output.current.high for output in self.rows]
        return sum(largest) if self.parallel else min(largest)

    def voltage_error(self, voltage: float) -> float | None:
        """Bound of the programming error at a set voltage [V]."""
        return figures.voltage_error(self.rows, self.shares, voltage, series=self.series)

    def limit_error(self, limit: float) -> float | None:
        """Bound of the error of a current limit set for the input [A]."""
        return figures.current_error(self.rows, [limit * part for part in self.parts], parallel=self.parallel)

    @cached_property
    def needs(self) -> Draw | None:
        """Largest steady current that normal operation asks for [A], and who says so; None: unknown.

        The greater of the declared steady current and of what the load model draws up to the highest voltage
        played: from the lowest voltage at which a converter may start (every power-up passes there), or from
        0 V.
        """
        return max(self.asked) if self.asked else None

    @cached_property
    def asked(self) -> list[Draw]:
        """Every steady current that normal operation is said to ask for [A], and who says so."""
        highest = self.played.highest
        top = highest.voltage if highest else self.input.nominal
        starting = min((each.starts_at.low for each in self.load.converters), default=0.0)
        bottom = starting if 0 < starting < top else min(1e-3, top)
        drawn = self.load.over(bottom, top) if top > 0 else None
        declared = self.input.current.steady.high if self.input.current.steady else None
        if top < self.input.operating.low:
            declared = None  # it holds over the operating range, which is not reached
        found: list[Draw] = []
        if declared is not None:
            found.append(Draw(declared, "the declared steady current", True))
        if drawn is not None:
            found.append(Draw(drawn[0].high, f"the load model's draw at {drawn[1]:.3g} V", False))
        return found

    def limit(self, feed: Feed) -> float:
        """Current limit of the group [A]."""
        limits = [output.current_limit for output in feed.outputs]
        return sum(limits) if self.parallel else min(limits)

    def ovp(self, feed: Feed) -> float:
        """OVP level of the group [V]."""
        levels = [output.ovp for output in feed.outputs]
        return sum(levels) if self.series else min(levels)

    def ocp(self, feed: Feed) -> float:
        """Level of the group's over-current protection [A]; inf: it is not used."""
        levels = [output.ocp for output in feed.outputs]
        return sum(levels) if self.parallel else min(levels)

    def opp(self, feed: Feed) -> float:
        """Power at which the group's over-power protection acts [W]; inf: it is not used."""
        return sum(output.opp for output in feed.outputs)

    @property
    def ovp_error(self) -> float | None:
        """Bound of the error of the group's OVP level [V]; None: unknown."""
        errors = [output.ovp.accuracy if output.ovp else None for output in self.rows]
        known = [each for each in errors if each is not None]
        if len(known) < self.count:
            return None
        return sum(known) if self.series else max(known)

    @property
    def ovp_overshoot(self) -> float | None:
        """How far the group may rise past its OVP level while it responds [V]; None: unknown."""
        known = [each for each in map(figures.ovp_overshoot, self.rows) if each is not None]
        if len(known) < self.count:
            return None
        return sum(known) if self.series else max(known)

    @property
    def ovp_response(self) -> float | None:
        """Slowest response of the group's OVP [s]; None: unknown."""
        known = [
            output.ovp.response for output in self.rows if output.ovp and output.ovp.response is not None
        ]
        return max(known) if len(known) == self.count else None

    def highest_terminals(self, current: float) -> float | None:
        """Highest voltage at the terminals while the procedure is played [V]: set point, its error, and the
        drop at `current` [A] where the voltage is sensed at the load. None: programming error unknown.
        """
        highest = self.played.highest
        if highest is None:
            return None
        wrong = self.voltage_error(highest.voltage)
        if wrong is None:
            return None
        drop = self.drop(current) if self.senses else 0.0
        return highest.voltage + wrong + drop

    @property
    def output_capacitance(self) -> float | None:
        """Capacitance of the group's own outputs at its terminals [F]; None: unknown."""
        known = [output.output_capacitance for output in self.rows if output.output_capacitance is not None]
        if len(known) < self.count:
            return None
        if self.series:
            return 1.0 / sum(1.0 / each for each in known)
        return sum(known)

    def drawn_rising(self, start: float, stop: float) -> Bounds | None:
        """Steady current over a move upwards between two voltages [V]: converters that have stopped draw
        nothing before the lowest voltage at which one may start. None: unknown.
        """
        converters = self.load.converters
        stopped = bool(converters) and all(start < each.stops_at.low for each in converters)
        starting = min((each.starts_at.low for each in converters), default=0.0)
        found = self.load.over(max(starting if stopped and starting <= stop else start, 1e-3), stop)
        return None if found is None else found[0]

    def longest_charging(self, limit: float) -> Charging | None:
        """The longest time that one of the moves upwards may spend at a current limit [A]; None: none does.

        A move reaches the limit where capacitance times its rate, beside the load, asks for more. The
        capacitance is the input's largest and the output's own, which the same limit charges (left out where
        it is unknown).
        """
        own = self.output_capacitance or 0.0
        most = self.load.capacitance.high + own
        longest: Charging | None = None
        for move in self.played.widest_rises:
            drawn = self.drawn_rising(move.start, move.stop)
            if drawn is None or (move.rate is not None and most * move.rate + drawn.high <= limit):
                continue
            time = self.load.charging_time(own, limit, max(move.start, 0.0), move.stop)
            if time is not None and (longest is None or time > longest.time):
                longest = Charging(time, move, most)
        return longest

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
        return ("bench", "leads", self.hook_up.lead)

    @property
    def at_fixture(self) -> Path:
        return ("bench", "fixtures", str(self.hook_up.fixture))

    @property
    def at_output(self) -> Path:
        """The first output's place in the bench document."""
        return output_path(next(iter(self.outputs)))


def output_path(name: OutputName) -> Path:
    """Place of an output in the bench document."""
    return ("bench", "supplies", name.supply, "outputs", name.output)


@dataclass(frozen=True)
class Bound:
    """The documents bound together. `feeds` holds the inputs whose set points could be settled."""

    documents: Documents
    sources: Mapping[str, Source]
    timeline: Timeline
    feeds: Mapping[str, Feed]

    @property
    def device(self) -> Device:
        return self.documents.device

    @property
    def bench(self) -> Bench:
        return self.documents.bench

    @property
    def procedure(self) -> Procedure:
        return self.documents.procedure

    @property
    def used_supplies(self) -> dict[str, Supply]:
        """Supplies of which at least one output is hooked up."""
        names = dict.fromkeys(name.supply for each in self.sources.values() for name in each.outputs)
        return {name: self.bench.supplies[name] for name in names}


@dataclass(frozen=True, slots=True)
class Draft:
    """Set points of one input as far as they could be settled.

    known: the settings ('current_limit', 'ovp', 'trip_delay', 'opp') that were; the others are nan in `feed`.
    whole: whether all were.
    """

    feed: Feed
    known: frozenset[str]
    whole: bool


@dataclass(frozen=True)
class Context(Bound):
    """Everything a static rule may look at; `today` decides whether a calibration has run out.

    drafts: the set points of every input, those that could not be settled wholly among them.
    """

    today: dt.date
    drafts: Mapping[str, Draft]

    @cached_property
    def deliveries(self) -> tuple[Delivery, ...]:
        """How every shape reaches its outputs."""
        feeds = {name: draft.feed for name, draft in self.drafts.items()}
        return deliveries(self.timeline, feeds, self.bench)

    def having(self, *settings: str) -> list[tuple[Source, Feed]]:
        """Inputs of which these settings were settled, whatever became of the others."""
        return [
            (self.sources[name], draft.feed)
            for name, draft in self.drafts.items()
            if draft.known.issuperset(settings)
        ]


def sources_of(documents: Documents) -> tuple[dict[str, Source], Timeline]:
    """Every hooked-up input with what feeds it; and the procedure's timeline."""
    bench, device, procedure = documents.bench, documents.device, documents.procedure
    played, timeline = what_is_played(procedure, device)
    sources = {}
    for name, hook_up in procedure.hook_up.items():
        lead, fixture = bench.leads[hook_up.lead], bench.fixture(hook_up.fixture)
        sources[name] = Source(
            name=name,
            input=device.inputs[name],
            hook_up=hook_up,
            limits=procedure.limits.get(name),
            lead=lead,
            outputs={output: bench.output(output) for output in hook_up.outputs},
            resistance=lead_resistance(lead, bench, fixture),
            played=played[name],
            fixture=fixture,
        )
    return sources, timeline
