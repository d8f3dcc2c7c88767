"""What could feed each input: every group of outputs, lead and place of sensing, and what speaks against it.

A candidate is admissible where nothing does. A larger group is one only where none of its parts would do:
fewer outputs come first in any case. Of leads and places of sensing those are kept that no other one beats.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from railwright.documents.bench import Bench
from railwright.documents.hook_up import AUTO, HookUp
from railwright.documents.output_name import OutputName
from railwright.grouping import grouped
from railwright.settings.context import FedInput
from railwright.settings.group import EARTH, Arrangement, Group, group_of, hook_up_of, tie_of
from railwright.settings.hookup.against import OF_GROUP, OF_OUTPUT, WITH_LEAD, Obstacle, hot, obstacles
from railwright.settings.hookup.demand import Demand, liking
from railwright.settings.rules.leads import too_low
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


@dataclass(frozen=True, eq=False)
class Candidate:
    """One way to feed an input, with what decides between ways.

    source: the input, fed like this. headroom: its smallest margin [‰], as far as it counts; margins: each
    margin as it is (voltage, current, power), in parts of the need. cautions: what the check would caution
    of. harm: how many times the outputs can reach what the input withstands; 0: not beyond it. reading:
    bound of the error with which they read the steady current [‰ of it]. ties: see `ties_of`. obstacles: what
    speaks against it; none: admissible.
    """

    source: FedInput
    headroom: int
    margins: Mapping[str, float]
    cautions: tuple[str, ...]
    harm: int
    reading: int
    ties: Mapping[str, bool]
    coupled: tuple[tuple[str, int], ...]
    obstacles: tuple[Obstacle, ...] = ()

    @property
    def input(self) -> str:
        return self.source.name

    @property
    def outputs(self) -> tuple[OutputName, ...]:
        return self.source.names

    @property
    def hook_up(self) -> HookUp:
        """As a procedure writes it."""
        fed = self.source
        return hook_up_of(fed.names, fed.arrangement, fed.lead_name, fed.fixture_name, fed.sense)

    @property
    def words(self) -> str:
        """'left.1 and left.2 in series through silicone pair, sensed at load'."""
        return f"{self.source.words} through {self.source.lead_name}, sensed {self.source.sense}"


def counted(margins: Mapping[str, float]) -> int:
    """Headroom [‰]: the smallest margin as far as each counts, rounded down."""
    enough = {"voltage": VOLTAGE_FULL}
    each = ((what, math.floor(min(margin, 1.0) * 1000 + 1e-6)) for what, margin in margins.items())
    return min([FULL, *(permille for what, permille in each if permille < enough.get(what, FULL))])


def _margins(demand: Demand, source: FedInput, *, sensed: bool) -> dict[str, float]:
    """Margins of voltage, current and power, in parts of the need. sensed: what the lead drops is made up
    for.
    """
    return {
        "voltage": _beyond(source.full_voltage, demand.highest + (source.sensed_drop if sensed else 0.0)),
        "current": _beyond(source.surely(source.full_current), demand.current),
        "power": _beyond(source.full_power, demand.power(source.warm if sensed else None)),
    }


def _beyond(gives: float, needed: float) -> float:
    """What is given beyond the need, in parts of it; inf: nothing is needed."""
    return gives / needed - 1.0 if needed > 0 else math.inf


def _cautions(demand: Demand, source: FedInput) -> tuple[str, ...]:
    """What the check would caution of because of this hook-up."""
    found = {
        "touch-voltage": source.farthest > TOUCH_LIMIT[demand.bench.location],
        "unequal-group": bool(source.unlike),
        "group across supplies": len({name.supply for name in source.names}) > 1,
        "lead-drop": too_low(source) is not None,
        "limit-headroom": demand.limits.current_limit == AUTO
        and source.surely(_most_limit(source)) < HEADROOM * demand.current,
    }
    return tuple(rule for rule, holds in found.items() if holds)


def _most_limit(source: FedInput) -> float:
    """The largest automatic current limit that outputs and lead have room for [A]."""
    permitted = source.lead.permitted_current
    return source.full_current if permitted is None else min(source.full_current, source.surely(permitted))


MOST_HARM = 1000
"""Largest harm that is counted; whatever is above it counts as this."""


def _harm(demand: Demand, source: FedInput) -> int:
    """Highest voltage of the outputs, by a fault or a slip, over what the input withstands for any time,
    rounded down; 0: they cannot go beyond it. Where it is not given, the highest voltage played counts.

    An output of 6 V can do an input of 5 V that withstands 6.5 V no harm; one of 32 V can reach 4 times that.
    """
    bears = demand.input.withstands_always or demand.highest
    if bears <= 0.0 or source.full_voltage <= bears * (1.0 + 1e-9):
        return 0
    return min(MOST_HARM, max(1, math.floor(source.full_voltage / bears + 1e-9)))


def ties_of(demand: Demand, group: Group) -> dict[str, bool]:
    """What the group's negative terminals are tied to -> whether nothing of another input may be tied to it
    too: the terminal is not at the input's 0 V, or the input is isolated.
    """
    isolated = demand.input.returns == "isolated"
    found = grouped((tie, off_zero) for _, tie, off_zero in hot(demand, group) if tie is not None)
    return {tie: isolated or any(off_zero) for tie, off_zero in found.items()}


def _proposals(demand: Demand, group: Group) -> Iterator[FedInput]:
    """The group with every lead and place of sensing that is wished."""
    return (demand.fed(group, lead, sense) for lead, sense in demand.connections)


def _candidate(demand: Demand, source: FedInput, found: Sequence[Obstacle]) -> Candidate:
    """An input fed like this, with what decides between ways. found: what speaks against it."""
    wrong = source.reading_error("current", demand.current)
    reading = 1000 if wrong is None or demand.current <= 0 else round(1000 * wrong / demand.current)
    margins = _margins(demand, source, sensed=source.senses)
    return Candidate(
        source,
        counted(margins),
        margins,
        _cautions(demand, source),
        _harm(demand, source),
        min(1000, reading),
        ties_of(demand, source),
        couplings_of(source.names, demand.bench),
        tuple(found),
    )


def best_of_group(
    demand: Demand, group: Group, own: Sequence[Obstacle] = ()
) -> tuple[list[Candidate], list[Candidate]]:
    """Admissible candidates of a group that no other one beats in headroom and cautions; and, where there is
    none, the one whose obstacles cost least to part (nothing: another output is needed).

    own: obstacles of its outputs that are known already.
    """
    for_group = [*own, *obstacles(OF_GROUP, demand, demand.fed(group))]
    admissible: list[Candidate] = []
    nearest: tuple[tuple[float, ...], FedInput, list[Obstacle]] | None = None
    mended = all(each.change is not None for each in for_group)
    for lead, sense in demand.liked_connections if mended else ():
        source, found = demand.fed(group, lead, sense), list(for_group)
        for each in obstacles(WITH_LEAD, demand, source):
            found.append(each)
            if each.change is None:
                break
        if not found:
            candidate = _candidate(demand, source, ())
            admissible.append(candidate)
            most = counted(_margins(demand, source, sensed=False))
            if "lead-drop" not in candidate.cautions and candidate.headroom == most:
                break  # what is liked less has no more headroom, and no fewer cautions
        elif not admissible and all(each.change is not None for each in found):
            rank = (float(sum(each.cost for each in found)), *liking(source))
            if nearest is None or rank < nearest[0]:
                nearest = (rank, source, found)
    admissible.sort(key=lambda each: (-each.headroom, len(each.cautions), *liking(each.source)))
    kept: list[Candidate] = []
    for candidate in admissible:
        if not kept or len(candidate.cautions) < len(kept[-1].cautions):
            kept.append(candidate)
    return kept, [] if kept or nearest is None else [_candidate(demand, *nearest[1:])]


def alike(demand: Demand, chosen: Candidate) -> list[tuple[Candidate, tuple[float, float, float]]]:
    """The same outputs with every lead and place of sensing that leaves headroom and cautions as they are,
    each with what decides between them: see `liking`.
    """
    found = (
        _candidate(demand, source, ())
        for source in _proposals(demand, chosen.source)
        if not any(True for _ in obstacles(WITH_LEAD, demand, source))
    )
    return [
        (each, liking(each.source))
        for each in found
        if (each.headroom, len(each.cautions)) == (chosen.headroom, len(chosen.cautions))
    ]


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
    """What the hook-ups that a procedure writes itself take: outputs, ties (see `ties_of`), couplings."""

    outputs: frozenset[OutputName]
    ties: Mapping[str, bool]
    couplings: frozenset[tuple[str, int]]

    def against(self, candidate: Candidate) -> Obstacle | None:
        """What of it speaks against a candidate."""
        if common := [name for name in candidate.outputs if name in self.outputs]:
            return Obstacle(f"{common[0]} feeds another input")
        for tie, alone in candidate.ties.items():
            if tie in self.ties and (alone or self.ties[tie]):
                where = "earth" if tie == EARTH else f"the negatives joined inside {tie}"
                return Obstacle(
                    f"{candidate.source.words} would join {candidate.input} to another input through {where}"
                )
        for supply, number in candidate.coupled:
            if (supply, number) in self.couplings:
                return Obstacle(
                    f"{candidate.source.words} is coupled to an output of {supply} for another input"
                )
        return None


def taken_by(written: Mapping[str, Demand], bench: Bench) -> Taken:
    """What is taken by inputs whose hook-up is written."""
    groups = [(each, group_of(each.wish.outputs, each.wish.arrangement, bench)) for each in written.values()]
    outputs = [name for _, group in groups for name in group.names]
    ties = grouped(tie for each in groups for tie in ties_of(*each).items())
    return Taken(
        frozenset(outputs),
        {tie: any(alone) for tie, alone in ties.items()},
        frozenset(couplings_of(outputs, bench)),
    )


def field_of(demand: Demand, taken: Taken) -> Field:
    """Candidates of an input among the outputs that are free; or those of the outputs that it names."""
    field = _among(demand, [name for name in demand.bench.output_names if name not in taken.outputs])
    barred: dict[str, tuple[Obstacle, ...]] = {
        candidate.outputs[0]: (obstacle,)
        for candidate in (*field.admissible, *field.nearest)
        if len(candidate.outputs) == 1 and (obstacle := taken.against(candidate))
    }
    return Field(
        demand,
        tuple(each for each in field.admissible if taken.against(each) is None),
        tuple(each for each in field.nearest if taken.against(each) is None),
        {**field.against, **barred},
    )


def _alone(demand: Demand, free: Sequence[OutputName]) -> dict[OutputName, tuple[Obstacle, ...]]:
    """Each of these outputs with what speaks against it in any group."""
    return {
        name: tuple(obstacles(OF_OUTPUT, demand, demand.fed(group_of((name,), "alone", demand.bench))))
        for name in free
    }


def _among(demand: Demand, free: Sequence[OutputName]) -> Field:
    """The candidates of an input among these outputs."""
    bench = demand.bench
    if demand.wish.source != AUTO:
        written = group_of(demand.wish.outputs, demand.wish.arrangement, bench)
        kept, near = best_of_group(demand, written)
        barred = {} if kept else {written.words: against_group(demand, written)}
        return Field(demand, tuple(kept), tuple(near), barred)
    alone = _alone(demand, free)
    usable = [name for name, own in alone.items() if not own]
    against: dict[str, tuple[Obstacle, ...]] = {name: own for name, own in alone.items() if own}
    nearest = [
        near
        for name, own in alone.items()
        if own
        for near in best_of_group(demand, group_of((name,), "alone", bench), own)[1]
    ]
    admissible: list[Candidate] = []
    joined: list[Group] = []
    does: dict[Arrangement, list[frozenset[str]]] = {"alone": [], "series": [], "parallel": []}
    for size in range(1, MOST_JOINED + 1):
        for chosen, arrangement in joinings(usable, size, demand.highest, demand.current, bench):
            own_set = frozenset(chosen)
            if any(each < own_set for each in (*does["alone"], *does[arrangement])):
                continue
            for group in orders(chosen, arrangement, bench):
                kept, near = best_of_group(demand, group)
                admissible += kept
                nearest += near
                if kept and own_set not in does[arrangement]:
                    does[arrangement].append(own_set)
                elif size == 1 and not (kept or near):
                    against[chosen[0]] = against_group(demand, group)
                elif size > 1 and not (kept or near) and len(joined) < MOST_NAMED:
                    joined.append(group)
    if not admissible:  # what keeps outputs from it that together would reach is told before the rest
        against = {**{group.words: against_group(demand, group) for group in joined}, **against}
    return Field(demand, tuple(admissible), tuple(nearest), against)


MOST_ASKED = 8
"""Where there are more outputs, no group of three that joins supplies against the bench is tried."""


def further_near(demand: Demand, taken: Taken) -> list[Candidate]:
    """Groups that could feed an input after a change, which `field_of` leaves out: those with an output that
    lacks something by itself, and those across supplies that the bench does not permit to be joined.
    """
    if demand.wish.source != AUTO:
        return []
    bench = demand.bench
    alone = _alone(demand, [name for name in bench.output_names if name not in taken.outputs])
    own = {name: each for name, each in alone.items() if all(one.change is not None for one in each)}
    found: list[Candidate] = []
    for size in range(2, MOST_JOINED + 1):
        across = size == 2 or (size == 3 and len(own) <= MOST_ASKED)
        for chosen, arrangement in joinings(
            list(own), size, demand.highest, demand.current, bench, permitted=not across
        ):
            lacks = [obstacle for name in chosen for obstacle in own[name]]
            permitted = all(arrangement in bench.output(name).may_join for name in chosen)
            if lacks or not permitted or len({name.supply for name in chosen}) > 1:
                for group in orders(chosen, arrangement, bench):
                    near = best_of_group(demand, group, lacks)[1]
                    found += (each for each in near if taken.against(each) is None)
    return found


def against_group(demand: Demand, group: Group) -> tuple[Obstacle, ...]:
    """What speaks against an output taken alone, with the lead that speaks least."""
    if found := tuple(obstacles(OF_GROUP, demand, demand.fed(group))):
        return found
    each = (tuple(obstacles(WITH_LEAD, demand, source)) for source in _proposals(demand, group))
    return min(each, key=len, default=())


MOST_JOINED = 4
"""Outputs of one supply that are considered in one group (ours: a bench that needs more wants a larger
supply).
"""

MOST_ACROSS = 3
"""Outputs that are considered in one group where they belong to different supplies."""


def couplings_of(outputs: Sequence[OutputName], bench: Bench) -> tuple[tuple[str, int], ...]:
    """The coupled groups (supply, number) that outputs belong to."""
    return tuple(
        dict.fromkeys(
            (name.supply, number)
            for name in outputs
            if name.supply in bench.supplies
            for number, coupling in enumerate(bench.supplies[name.supply].coupled)
            if name.output in coupling.outputs
        )
    )


def joinings(
    names: Sequence[OutputName],
    size: int,
    voltage: float,
    current: float,
    bench: Bench,
    *,
    permitted: bool = True,
) -> Iterator[tuple[tuple[OutputName, ...], Arrangement]]:
    """Every choice of so many of these outputs, in the order of the bench document, that may be joined and
    reaches a voltage [V] and a current [A] together: in series, then in parallel.

    Within one supply up to MOST_JOINED, whether or not the bench permits it (that may be the smallest
    change); across supplies up to MOST_ACROSS, where it does, or (not permitted) whether or not.
    """
    if size == 1:
        yield from (((name,), "alone") for name in names)
        return
    rows = {name: bench.output(name) for name in names}
    own = grouped((name.supply, name) for name in names)
    place = {name: index for index, name in enumerate(names)}
    inside = {chosen for each in own.values() for chosen in itertools.combinations(each, size)}
    for arrangement in ("series", "parallel"):
        joinable = [name for name in names if not permitted or arrangement in rows[name].may_join]
        across = itertools.combinations(joinable, size) if size <= MOST_ACROSS else iter(())
        for chosen in sorted({*inside, *across}, key=lambda chosen: [place[name] for name in chosen]):
            series = arrangement == "series"
            volts = (sum if series else min)(rows[name].voltage.high for name in chosen)
            amperes = (min if series else sum)(rows[name].current.high for name in chosen)
            if volts >= voltage and amperes >= current:
                yield chosen, "series" if series else "parallel"


def orders(chosen: Sequence[OutputName], arrangement: Arrangement, bench: Bench) -> Iterator[Group]:
    """The groups of these outputs: in series each of those whose negative is tied may be the lowest; where
    none is, and in any other arrangement, there is one order.
    """
    if arrangement != "series":
        yield group_of(chosen, arrangement, bench)
        return
    tied = [name for name in chosen if tie_of(name, bench) is not None]
    for lowest in tied or [chosen[-1]]:
        yield group_of((*(name for name in chosen if name != lowest), lowest), arrangement, bench)
