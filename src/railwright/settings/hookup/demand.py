"""What one input asks of whatever feeds it, as far as device and procedure tell."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from railwright.circuit.leads import Resistance, lead_resistance
from railwright.documents.bench import Bench
from railwright.documents.device import Input
from railwright.documents.hook_up import AUTO, HookUp
from railwright.documents.loader import Documents
from railwright.documents.procedure import Limits
from railwright.documents.standard_tests import pieces_in_step
from railwright.plan.stairs import AT_ONCE, exchange_of
from railwright.plan.timeline import Timeline
from railwright.settings.constraints.constraint import Constraint
from railwright.settings.context import FedInput, Sensed, fed_input
from railwright.settings.group import Group
from railwright.settings.played import Played, what_is_played
from railwright.settings.rule import Unknown
from railwright.settings.rules.leads import UNSENSED
from railwright.waveforms.shapes import Piece as ShapePiece
from railwright.waveforms.shapes import flat

STEPS_OF_A_LINE = 20
"""Points that a stepping point list spends on a straight line: steps of 5 % of it (ours)."""


@dataclass(frozen=True, slots=True)
class ShapeNeed:
    """The briefest piece of a shape [s], too brief for set points that the host times; its points in a list
    that draws lines and in one that steps; its step, by name and number; and its pieces as they are written.
    """

    briefest: float
    drawn: int
    stepped: int
    step: str
    number: int
    written: tuple[ShapePiece, ...]


@dataclass(frozen=True, eq=False)
class Demand:
    """What an input asks for; SI units. wish: what the procedure says of its hook-up. source: the input as
    rules and windows see it, fed by nothing yet. resistances: of each lead of the bench with this input's
    fixture, both ways.

    lowest, highest: voltage played [V], the nominal one where nothing is. own_power: largest steady power at
    the connector [W]. powers: (power ahead of the fixture [W], largest steady current [A]) at the levels that
    can need the most power behind some lead. accepted: rules whose stops the procedure accepts.
    """

    bench: Bench
    wish: HookUp
    source: FedInput
    resistances: Mapping[str, Resistance]
    lowest: float
    highest: float
    own_power: float
    powers: tuple[tuple[float, float], ...]
    shape: ShapeNeed | None
    slowest_rise: float
    accepted: frozenset[str]

    @property
    def name(self) -> str:
        return self.source.name

    @property
    def input(self) -> Input:
        return self.source.input

    @property
    def limits(self) -> Limits:
        return self.source.limits

    @property
    def current(self) -> float:
        """Largest steady current [A]; ValueError where it is unknown."""
        if self.source.needs is None:
            raise ValueError(f"what input '{self.name}' draws is unknown")
        return self.source.needs[0]

    def asked_of(self, facts: Iterable[Constraint | Unknown]) -> list[Constraint | Unknown]:
        """Of facts those whose stops are not accepted."""
        return [fact for fact in facts if fact.rule not in self.accepted]

    def fed(self, group: Group, lead: str | None = None, sense: Sensed = "at terminals") -> FedInput:
        """The input as rules and windows see it, fed by a group of outputs. lead: None: any."""
        base, name = self.source, lead or self.source.lead_name
        source = replace(
            base,
            outputs=group.outputs,
            arrangement=group.arrangement,
            isolations=group.isolations,
            ties=group.ties,
            lead_name=name,
            lead=self.bench.leads[name],
            sense=sense,
            resistance=self.resistances[name],
        )
        # What the input draws hangs on none of these, and takes long to work out.
        vars(source).update(load=base.load, rising_load=base.rising_load, asked=base.asked, needs=base.needs)
        return source

    @cached_property
    def connections(self) -> tuple[tuple[str, Sensed], ...]:
        """Every lead and place of sensing that is wished, in the order of the bench document."""
        leads = [self.wish.lead] if self.wish.lead != AUTO else self.bench.leads
        senses: tuple[Sensed, ...] = ("at terminals", "at load")
        return tuple((lead, sense) for lead in leads for sense in senses if self.wish.sense in (AUTO, sense))

    @cached_property
    def liked_connections(self) -> tuple[tuple[str, Sensed], ...]:
        """The same, the best liked first; the order hangs on no group, and is worked out once."""
        return tuple(sorted(self.connections, key=lambda each: liking(self.fed(self.source, *each))))

    def power(self, resistance: Resistance | None) -> float:
        """Largest steady power at the terminals behind a lead [W]; None: at the connector."""
        if resistance is None:
            return self.own_power
        return max((power + resistance.high * i**2 for power, i in self.powers), default=0.0)


def liking(source: FedInput) -> tuple[float, float, float]:
    """What decides between leads and places of sensing that are alike otherwise: less of a drop that is not
    made up for, as far as it counts; no sense leads where they are not needed; less resistance.
    """
    drop = 0.0 if source.senses or source.steady_drop is None else source.steady_drop
    lacks = drop / max(abs(source.input.nominal), 1e-9)
    return lacks if lacks > UNSENSED else 0.0, float(source.senses), source.warm.high


def _most_power(levels: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Of (voltage, current) those that need the most power behind a lead of some resistance R, as (power,
    current): v·i + R·i² are straight lines over R, of which these are the upper envelope.
    """
    kept: list[tuple[float, float]] = []
    for power, current in sorted({(v * i, i) for v, i in levels}, key=lambda line: (line[1], line[0])):
        while kept and kept[-1][0] <= power:
            kept.pop()  # it needs less power, and draws less
        while len(kept) > 1 and _meet(kept[-2], (power, current)) <= _meet(kept[-2], kept[-1]):
            kept.pop()
        kept.append((power, current))
    return tuple(kept)


def _meet(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Resistance behind which two levels need the same power [Ω]; the second draws more."""
    return (one[0] - other[0]) / (other[1] ** 2 - one[1] ** 2)


def _shape_need(
    name: str, played: Played, timeline: Timeline, apart: float, documents: Documents
) -> ShapeNeed | None:
    """What the shapes on an input ask of a point list; None where no piece is too brief for set points sent
    one by one. apart: shortest time between two of them [s].
    """
    found: ShapeNeed | None = None
    starts = [piece.start for piece in played.pieces]
    for number, span in enumerate(timeline.spans):
        if span.kind != "shape" or name not in span.inputs:
            continue
        first, last = bisect_left(starts, span.start - 1e-9), bisect_left(starts, span.end - 1e-9)
        pieces = [piece for piece in played.pieces[first:last] if piece.stop - piece.start > AT_ONCE]
        briefest = min((piece.stop - piece.start for piece in pieces), default=math.inf)
        if briefest >= apart * (1 - 1e-6) or (found is not None and briefest >= found.briefest):
            continue
        stepped = sum(1 if piece.before == piece.after else STEPS_OF_A_LINE for piece in pieces)
        written = tuple(flat(pieces_in_step(documents.procedure, documents.device, number, name)))
        found = ShapeNeed(briefest, len(pieces), stepped, span.name, number, written)
    return found


def demands_of(documents: Documents) -> Mapping[str, Demand]:
    """Every input that is hooked up -> what it asks for."""
    device, bench, procedure = documents.device, documents.bench, documents.procedure
    played, timeline = what_is_played(procedure, device)
    any_lead = next(iter(bench.leads))
    # What the slowest supply cannot time; of a group `against.point_list` asks what its own can.
    slowest = exchange_of(bench.output_names, bench)
    found = {}
    for name, wish in procedure.hook_up.items():
        wanted, fixture = device.inputs[name], bench.fixture(wish.fixture)
        resistances = {key: lead_resistance(lead, bench, fixture) for key, lead in bench.leads.items()}
        # Only what hangs on neither outputs nor lead is asked of this one.
        nothing = Group({}, "alone", (), ())
        source = fed_input(documents, name, nothing, any_lead, "at terminals", played[name], timeline)
        levels = {level.voltage for level in played[name].levels}
        draws = [
            source.fed_at(volts, drawn.high)
            for volts in levels
            if volts > 0 and (drawn := source.load.current(volts))
        ]
        diode = fixture.drop.high if fixture else 0.0
        rises = [rate for slope, rate in played[name].slopes if "rise" in slope.path]
        found[name] = Demand(
            bench,
            wish,
            source,
            resistances,
            lowest=min(levels, default=wanted.nominal),
            highest=max(levels, default=wanted.nominal),
            own_power=max((volts * amperes for volts, amperes in draws), default=0.0),
            powers=_most_power((volts + diode, amperes) for volts, amperes in draws),
            shape=_shape_need(name, played[name], timeline, slowest, documents),
            slowest_rise=min(rises, default=math.inf),
            accepted=frozenset(o.finding for o in procedure.overrides if o.about in (None, name)),
        )
    return found
