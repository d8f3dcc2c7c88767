"""What could feed each input: every group of outputs, lead and place of sensing, and what speaks against it.

A candidate is admissible where nothing does. A larger group is one only where none of its parts would do:
fewer outputs come first in any case. Of leads and places of sensing those are kept that no other one beats.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from railwright.documents.bench import Bench
from railwright.documents.hook_up import AUTO, HookUp
from railwright.documents.output_name import OutputName
from railwright.settings.hookup.demand import Demand
from railwright.settings.hookup.group import (
    EARTH,
    MOST_JOINED,
    Arrangement,
    Group,
    couplings_of,
    group_of,
    joinings,
    orders,
)
from railwright.settings.hookup.obstacle import Obstacle, Proposal, Sensed
from railwright.settings.hookup.of_group import of_group
from railwright.settings.hookup.of_lead import of_proposal
from railwright.settings.hookup.of_output import of_output
from railwright.settings.rules.voltage import TOUCH_LIMIT
from railwright.settings.windows.current_limit import HEADROOM, ROOM_TO_CHARGE

FULL = round((ROOM_TO_CHARGE - 1.0) * 1000)
"""Headroom that counts at most [‰ of the need]: 1.5 times the need, which an automatic current limit takes as
room to charge capacitors; more of it is worth nothing.
"""

VOLTAGE_FULL = round((HEADROOM - 1.0) * 1000)
"""Voltage headroom that counts as full [‰]: nothing charges against a voltage, and a tenth covers errors."""

MOST_NAMED = 4
"""Outputs of which it is said why they were not taken."""

DROP_THAT_COUNTS = 0.005
"""Drop of an unsensed lead, in parts of the nominal voltage, that is worth sense leads (as rule
lead-drop-unsensed).
"""


@dataclass(frozen=True, slots=True)
class Tied:
    """A tie that a candidate touches; alone: nothing of another input may touch it too."""

    tie: str
    alone: bool


@dataclass(frozen=True, eq=False)
class Candidate:
    """One way to feed an input, with what decides between ways.

    headroom: its smallest margin [‰], as far as it counts; margins: each margin as it is (voltage, current,
    power), in parts of the need. cautions: what the check would caution of. reading: bound of the error with
    which the outputs read the steady current [‰ of it]. obstacles: what speaks against it; none: admissible.
    """

    input: str
    group: Group
    lead: str
    sense: Sensed
    fixture: str | None
    headroom: int
    margins: Mapping[str, float]
    cautions: tuple[str, ...]
    reading: int
    tied: tuple[Tied, ...]
    coupled: tuple[tuple[str, int], ...]
    obstacles: tuple[Obstacle, ...] = ()

    @property
    def outputs(self) -> tuple[OutputName, ...]:
        return self.group.names

    @property
    def hook_up(self) -> HookUp:
        """As a procedure writes it."""
        return HookUp(
            source=self.group.source,
            lead=self.lead,
            fixture=self.fixture,
            sense=self.sense,
        )

    @property
    def words(self) -> str:
        """'left.1 and left.2 in series through silicone pair, sensed at load'."""
        return f"{self.group.words} through {self.lead}, sensed {self.sense}"


def counted(margins: Mapping[str, float]) -> int:
    """Headroom [‰]: the smallest margin as far as each counts, rounded down."""
    least = FULL
    for what, margin in margins.items():
        permille = FULL if margin == math.inf else math.floor(margin * 1000 + 1e-6)
        if what == "voltage" and permille >= VOLTAGE_FULL:
            permille = FULL
        least = min(least, permille)
    return least


def _margins(proposal: Proposal) -> dict[str, float]:
    demand, group = proposal.demand, proposal.group
    most = group.full_current - (group.limit_error(group.full_current) or 0.0)
    return {
        "voltage": _beyond(group.full_voltage, proposal.top),
        "current": _beyond(most, demand.current),
        "power": _beyond(group.full_power, proposal.power),
    }


def _beyond(gives: float, needed: float) -> float:
    return gives / needed - 1.0 if needed > 0 else math.inf


def _cautions(proposal: Proposal) -> tuple[str, ...]:
    """What the check would caution of because of this hook-up."""
    demand, group, bench = proposal.demand, proposal.group, proposal.bench
    found = []
    if group.reach > TOUCH_LIMIT[bench.location]:
        found.append("touch-voltage")
    if group.unlike:
        found.append("unequal-group")
    if group.across:
        found.append("group across supplies")
    lowest, drop = demand.in_operation, proposal.drop(demand.current)
    unsensed = proposal.sense == "at terminals"
    if unsensed and lowest is not None and lowest - drop < demand.input.operating.low - 1e-9:
        found.append("lead-drop")
    return tuple(found)


def tied_by(demand: Demand, group: Group) -> tuple[Tied, ...]:
    """The ties that the group's negative terminals touch. Alone: the terminal is not at the input's 0 V, or
    the input is isolated, so that nothing else may be joined to it.
    """
    found: dict[str, bool] = {}
    for index, tie in enumerate(group.ties):
        if tie is None:
            continue
        hot = demand.input.rail == "negative" or (group.series and index < len(group.names) - 1)
        found[tie] = found.get(tie, False) or hot or demand.input.returns == "isolated"
    return tuple(Tied(tie, alone) for tie, alone in found.items())


def _proposals(demand: Demand, group: Group, bench: Bench) -> Iterator[Proposal]:
    leads = [demand.wish.lead] if demand.wish.lead != AUTO else list(bench.leads)
    senses: tuple[Sensed, ...] = ("at terminals", "at load")
    for name in leads:
        lead = bench.leads[name]
        resistance = demand.resistances[name]
        for sense in senses:
            if demand.wish.sense in (AUTO, sense):
                yield Proposal(demand, group, name, lead, resistance, sense, bench)


def _candidate(proposal: Proposal, found: Sequence[Obstacle]) -> Candidate:
    demand, group = proposal.demand, proposal.group
    wrong = group.reading_error_at(demand.current)
    known = wrong is not None and demand.current > 0
    reading = round(1000 * wrong / demand.current) if known and wrong is not None else 1000
    margins = _margins(proposal)
    return Candidate(
        input=demand.name,
        group=group,
        lead=proposal.lead_name,
        sense=proposal.sense,
        fixture=demand.wish.fixture,
        headroom=counted(margins),
        margins=margins,
        cautions=_cautions(proposal),
        reading=min(1000, reading),
        tied=tied_by(demand, group),
        coupled=couplings_of(group.names, proposal.bench),
        obstacles=tuple(found),
    )


def _liking(proposal: Proposal) -> tuple[float, float, float]:
    """What decides between leads and places of sensing that are alike otherwise: less of a drop that is not
    made up for, as far as it counts; no sense leads where they are not needed; less resistance.
    """
    drop = proposal.drop(proposal.demand.current)
    lacks = 0.0 if proposal.sense == "at load" else drop / max(abs(proposal.demand.input.nominal), 1e-9)
    return (
        lacks if lacks > DROP_THAT_COUNTS else 0.0,
        float(proposal.sense == "at load"),
        proposal.resistance.high,
    )


def best_of_group(
    demand: Demand, group: Group, bench: Bench, own: Sequence[Obstacle] = ()
) -> tuple[list[Candidate], Candidate | None]:
    """Admissible candidates of a group that no other one beats in headroom and cautions; and, where there is
    none, the one whose obstacles cost least to part (None: another output is needed).

    own: obstacles of its outputs that are known already.
    """
    for_group = [*own, *of_group(demand, group, bench)]
    admissible: list[tuple[Proposal, Candidate]] = []
    nearest: tuple[tuple[float, ...], Proposal, list[Obstacle]] | None = None
    hopeless = any(each.change is None for each in for_group)
    for proposal in sorted(_proposals(demand, group, bench), key=_liking) if not hopeless else ():
        found = list(for_group)
        for each in of_proposal(proposal):
            found.append(each)
            if each.change is None:
                break
        if not found:
            candidate = _candidate(proposal, ())
            admissible.append((proposal, candidate))
            if "lead-drop" not in candidate.cautions and candidate.headroom == _most_headroom(proposal):
                break  # what is liked less has no more headroom, and no fewer cautions
        elif not admissible and all(each.change is not None for each in found):
            rank = (float(sum(each.cost for each in found)), *_liking(proposal))
            if nearest is None or rank < nearest[0]:
                nearest = (rank, proposal, found)
    admissible.sort(key=lambda pair: (-pair[1].headroom, len(pair[1].cautions), *_liking(pair[0])))
    kept: list[Candidate] = []
    for _, candidate in admissible:
        if not kept or len(candidate.cautions) < len(kept[-1].cautions):
            kept.append(candidate)
    if kept or nearest is None:
        return kept, None
    return kept, _candidate(nearest[1], nearest[2])


def alike(
    demand: Demand, chosen: Candidate, bench: Bench
) -> list[tuple[Candidate, tuple[float, float, float]]]:
    """The same outputs with every lead and place of sensing that leaves headroom and cautions as they are,
    each with what decides between them: see `_liking`.
    """
    found = []
    for proposal in _proposals(demand, chosen.group, bench):
        if any(True for _ in of_proposal(proposal)):
            continue
        candidate = _candidate(proposal, ())
        if (candidate.headroom, len(candidate.cautions)) == (chosen.headroom, len(chosen.cautions)):
            found.append((candidate, _liking(proposal)))
    return found


def _most_headroom(proposal: Proposal) -> int:
    """Headroom with a lead that drops nothing [‰]."""
    margins = _margins(proposal)
    demand, group = proposal.demand, proposal.group
    margins["voltage"] = _beyond(group.full_voltage, demand.highest)
    margins["power"] = _beyond(group.full_power, demand.power(None))
    return counted(margins)


@dataclass(frozen=True, eq=False)
class Field:
    """All candidates of an input, in the order of the bench document, smaller groups first.

    admissible: those that nothing speaks against. nearest: those that a change would make so. excluded:
    output -> what keeps it from feeding the input in any group; others: what speaks against outputs alone.
    Where none is admissible, some joined outputs too, by their words, which come first.
    """

    demand: Demand
    admissible: tuple[Candidate, ...]
    nearest: tuple[Candidate, ...]
    against: Mapping[str, tuple[Obstacle, ...]]


@dataclass(frozen=True, eq=False)
class Taken:
    """What the hook-ups that a procedure writes itself take: outputs, ties (alone or shared), couplings."""

    outputs: frozenset[OutputName]
    ties: Mapping[str, bool]
    couplings: frozenset[tuple[str, int]]

    def against(self, candidate: Candidate) -> Obstacle | None:
        """What of it speaks against a candidate."""
        if common := [name for name in candidate.outputs if name in self.outputs]:
            return Obstacle(f"{common[0]} feeds another input")
        for tied in candidate.tied:
            if tied.tie in self.ties and (tied.alone or self.ties[tied.tie]):
                where = "earth" if tied.tie == EARTH else f"the negatives joined inside {tied.tie}"
                return Obstacle(
                    f"{candidate.group.words} would join {candidate.input} to another input through {where}"
                )
        if common_coupling := [each for each in candidate.coupled if each in self.couplings]:
            supply = common_coupling[0][0]
            return Obstacle(f"{candidate.group.words} is coupled to an output of {supply} for another input")
        return None


def taken_by(written: Mapping[str, Demand], bench: Bench) -> Taken:
    """What is taken by inputs whose hook-up is written."""
    outputs: list[OutputName] = []
    ties: dict[str, bool] = {}
    for demand in written.values():
        group = group_of(demand.wish.outputs, demand.wish.arrangement, bench)
        outputs += group.names
        for tied in tied_by(demand, group):
            ties[tied.tie] = ties.get(tied.tie, False) or tied.alone
    return Taken(frozenset(outputs), ties, frozenset(couplings_of(outputs, bench)))


def field_of(demand: Demand, taken: Taken, bench: Bench) -> Field:
    """Candidates of an input among the outputs that are free; or those of the outputs that it names."""
    free = [
        name
        for supply, each in bench.supplies.items()
        for own in each.outputs
        if (name := OutputName.of(supply, own)) not in taken.outputs
    ]
    field = _among(demand, free, bench)
    against = dict(field.against)
    for candidate in (*field.admissible, *field.nearest):
        if len(candidate.outputs) == 1 and (barred := taken.against(candidate)):
            against[candidate.outputs[0]] = (barred,)
    return Field(
        demand,
        tuple(each for each in field.admissible if taken.against(each) is None),
        tuple(each for each in field.nearest if taken.against(each) is None),
        against,
    )


def _among(demand: Demand, free: Sequence[OutputName], bench: Bench) -> Field:
    if demand.wish.source != AUTO:
        written = group_of(demand.wish.outputs, demand.wish.arrangement, bench)
        kept, near = best_of_group(demand, written, bench)
        against_it = {} if kept else {written.words: against_group(demand, written, bench)}
        return Field(demand, tuple(kept), (near,) if near and not kept else (), against_it)
    against: dict[str, tuple[Obstacle, ...]] = {}
    usable: list[OutputName] = []
    changed: list[Candidate] = []
    for name in free:
        own = of_output(demand, group_of((name,), "alone", bench), bench)
        if not own:
            usable.append(name)
            continue
        against[name] = tuple(own)
        near = best_of_group(demand, group_of((name,), "alone", bench), bench, own)[1]
        if near is not None:
            changed.append(near)
    admissible: list[Candidate] = []
    nearest: list[Candidate] = changed
    joined: list[Group] = []
    does: dict[Arrangement, list[frozenset[str]]] = {"alone": [], "series": [], "parallel": []}
    for size in range(1, MOST_JOINED + 1):
        for chosen, arrangement in joinings(usable, size, demand.highest, demand.current, bench):
            own_set = frozenset(chosen)
            if any(each < own_set for each in (*does["alone"], *does[arrangement])):
                continue
            for group in orders(chosen, arrangement, bench):
                kept, near = best_of_group(demand, group, bench)
                admissible += kept
                if kept and own_set not in does[arrangement]:
                    does[arrangement].append(own_set)
                elif near is not None:
                    nearest.append(near)
                elif size == 1 and not kept:
                    against[chosen[0]] = against_group(demand, group, bench)
                elif size > 1 and not kept and len(joined) < MOST_NAMED:
                    joined.append(group)
    if not admissible:  # what keeps outputs from it that together would reach is told before the rest
        why = {group.words: against_group(demand, group, bench) for group in joined}
        against = {**why, **against}
    return Field(demand, tuple(admissible), tuple(nearest), against)


def against_group(demand: Demand, group: Group, bench: Bench) -> tuple[Obstacle, ...]:
    """What speaks against an output taken alone, with the lead that speaks least."""
    if found := of_group(demand, group, bench):
        return tuple(found)
    each = [tuple(of_proposal(proposal)) for proposal in _proposals(demand, group, bench)]
    return min(each, key=len, default=())
