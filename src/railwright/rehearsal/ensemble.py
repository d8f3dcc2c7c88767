"""A procedure rehearsed in many cases at once, within everything that is uncertain.

Cases come in chunks that know nothing of each other: each can be played anywhere, and twice. What is kept of
a chunk adds up, always in the same order, so that the same seed gives the same result however it was spread.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from railwright.circuit.case import fixed
from railwright.circuit.errors import QUANTITIES
from railwright.circuit.parts import FIXTURE, load_labels
from railwright.documents.fixture import Fixture
from railwright.documents.loader import Documents
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import Timeline, timeline_of
from railwright.rehearsal.circuit import stage_figures, uncertain_quantities
from railwright.rehearsal.design import CHUNK, Design
from railwright.rehearsal.rehearse import TAIL, InputResult, powered_up, programmed_simulation, rehearse
from railwright.rehearsal.summary import Spread

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from railwright.physics.cases import Template
    from railwright.physics.circuit import Branch


@dataclass(frozen=True)
class EnsemblePlan:
    """Everything that a worker needs to play any chunk."""

    documents: Documents
    set_points: SetPoints
    timeline: Timeline
    design: Design
    end: float


@dataclass
class InputSpread:
    """What was seen of one input: each measure's spread, and how often what tripped it, in the interior."""

    measures: dict[str, Spread]
    trips: Counter[str] = field(default_factory=Counter)
    tripped_corners: int = 0

    @property
    def tripped(self) -> int:
        """Cases of the interior in which any of its outputs tripped."""
        return sum(self.trips.values())


@dataclass
class Ensemble:
    """What is kept of the cases played so far. failures: cases that the solver could not play."""

    inputs: dict[str, InputSpread]
    played: int = 0
    inside: int = 0
    failures: int = 0
    first_failure: int = -1

    def __repr__(self) -> str:
        return f"<Ensemble of {', '.join(self.inputs)}: {self.played} cases, {self.failures} not solved>"

    def add(self, other: Ensemble) -> None:
        """Add what another has seen of later cases."""
        for name, seen in other.inputs.items():
            own = self.inputs[name]
            for measure, spread in seen.measures.items():
                own.measures[measure].add(spread)
            own.trips.update(seen.trips)
            own.tripped_corners += seen.tripped_corners
        if self.first_failure < 0:
            self.first_failure = other.first_failure
        self.played += other.played
        self.inside += other.inside
        self.failures += other.failures


def plan_ensemble(
    documents: Documents,
    set_points: SetPoints,
    cases: int,
    seed: int = 1,
    timeline: Timeline | None = None,
    tail: float = TAIL,
) -> EnsemblePlan:
    """An ensemble of the procedure's timeline (or another) over everything that is uncertain."""
    if timeline is None:
        timeline = timeline_of(documents.procedure, documents.device)
    quantities = uncertain_quantities(documents, set_points)
    return EnsemblePlan(
        documents, set_points, timeline, Design(quantities, cases, seed), timeline.duration + tail
    )


def play_chunk(plan: EnsemblePlan, chunk: int) -> Ensemble:
    """Play one chunk of an ensemble and sum it up."""
    from railwright.physics.layout import TRIP_CAUSES

    values = plan.design.values(chunk)
    measures, failed = play_values(plan, values)
    first = chunk * CHUNK
    inside = np.arange(first, first + values.shape[0]) >= plan.design.corners
    bad = np.flatnonzero(failed)
    ensemble = Ensemble(
        {}, values.shape[0], int(inside.sum()), bad.size, first + int(bad[0]) if bad.size else -1
    )
    for name, columns in measures.items():
        spreads = {measure: Spread() for measure in columns if measure != "trip"}
        for measure, spread in spreads.items():
            spread.take(columns[measure], first, inside)
        codes = columns["trip"]
        trips = Counter({what: int((codes[inside] == code).sum()) for code, what in TRIP_CAUSES.items()})
        ensemble.inputs[name] = InputSpread(spreads, +trips, int((codes[~inside] > 0.0).sum()))
    return ensemble


def merged(parts: Iterable[Ensemble], each: Callable[[Ensemble], None] = lambda seen: None) -> Ensemble:
    """The sum of all chunks, in their order; `each` is shown what has been seen so far."""
    iterator = iter(parts)
    result = next(iterator)
    each(result)
    for part in iterator:
        result.add(part)
        each(result)
    return result


Run = Callable[[Callable[["CaseBlock"], None], Sequence["CaseBlock"]], Iterator[None]]
"""How blocks are played: as `map` does it, one after the other, or several at a time."""

BLOCK = 64
"""Cases of a branch that are played in one go; after each of them there is something to tell."""


@dataclass(frozen=True)
class CaseBlock:
    """Some different cases of one branch, and where what is seen of them goes; blocks know nothing of each
    other. place: how far into the cases of its branch it lies, 0 to 1.
    """

    branch: Branch
    template: Template
    slots: NDArray[np.int64]
    values: NDArray[np.float64]
    measures: NDArray[np.float64]
    became: NDArray[np.int64]
    place: float

    def play(self) -> None:
        """Fill in measures and what became of each case."""
        from railwright.physics.cases import play_cases

        self.measures[:], self.became[:] = play_cases(self.template, self.branch, self.slots, self.values)


def play_values(
    plan: EnsemblePlan,
    values: NDArray[np.float64],
    run: Run = map,
    each: Callable[[int, int], None] = lambda played, of: None,
) -> tuple[dict[str, dict[str, NDArray[np.float64]]], NDArray[np.bool_]]:
    """Measures of the cases with these values: input -> measure -> (cases,), and which cases failed.

    values: shape (cases, quantities) in the order of the design. A branch knows its own quantities only:
    cases that differ in those of others are one to it, and are played once. run: plays the blocks. each: is
    told after each block how many cases of branches are played, and of how many.
    """
    from railwright.physics.cases import COUNT, FAILED, MEASURES, TRIPPED

    failed = np.zeros(values.shape[0], dtype=bool)
    again = np.zeros(values.shape[0], dtype=bool)
    blocks: list[CaseBlock] = []
    branches = []
    for branch, template, slots, columns in _templates(plan):
        different, same = _different(values[:, columns])
        measures = np.empty((different.shape[0], COUNT))
        became = np.zeros(different.shape[0], dtype=np.int64)
        branches.append((branch.name, measures, became, same))
        for first in range(0, different.shape[0], BLOCK):
            part = slice(first, first + BLOCK)
            place = (first + BLOCK / 2.0) / different.shape[0]
            blocks.append(
                CaseBlock(branch, template, slots, different[part], measures[part], became[part], place)
            )
    # All branches advance together, so that what is left takes as long a case as what was played.
    blocks.sort(key=lambda block: block.place)
    played, of = 0, sum(block.became.size for block in blocks)
    for block, _ in zip(blocks, run(CaseBlock.play, blocks), strict=True):
        played += block.became.size
        each(played, of)
    results = {}
    for name, measures, became, same in branches:
        results[name] = measures[same]
        failed |= became[same] == FAILED
        again |= became[same] == TRIPPED
    together = np.flatnonzero(again & ~failed)
    for done, case in enumerate(together, start=1):
        chosen = fixed(dict(zip(plan.design.names, values[case].tolist(), strict=True)))
        seen = rehearse(
            plan.documents, plan.set_points, chosen, plan.timeline, plan.end - plan.timeline.duration
        )
        for name, result in seen.inputs.items():
            results[name][case] = _as_row(result)
        each(played + done, of + together.size)
    return {
        name: {measure: rows[:, k] for k, measure in enumerate(MEASURES)} for name, rows in results.items()
    }, failed


def _different(rows: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The different rows in the order in which each comes first, and which of them every row is."""
    if rows.shape[1] == 0:
        return np.ascontiguousarray(rows[:1]), np.zeros(rows.shape[0], dtype=np.int64)
    _, first, same = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    number = np.empty_like(order)
    number[order] = np.arange(order.size)
    return np.ascontiguousarray(rows[first[order]]), number[same.reshape(-1)]


def _as_row(result: InputResult) -> list[float]:
    from railwright.physics.cases import MEASURES
    from railwright.physics.layout import TRIP_CAUSES

    codes = {protection: code for code, protection in TRIP_CAUSES.items()}
    named: Mapping[str, float | None] = {
        **{name: getattr(result, name) for name in MEASURES if name != "trip"},
        "trip": codes.get(result.tripped.trip, 0) if result.tripped is not None else 0,
    }
    return [float("nan") if named[name] is None else float(named[name] or 0.0) for name in MEASURES]


def _templates(plan: EnsemblePlan) -> list[tuple[Branch, Template, NDArray[np.int64], list[int]]]:
    """For each branch: its template, what its quantities are, and their columns in the design."""
    from railwright.physics.cases import make_template

    documents, set_points = plan.documents, plan.set_points
    simulation, _ = programmed_simulation(documents, set_points, plan.timeline)
    named = {name: column for column, name in enumerate(plan.design.names)}
    found = []
    for branch in simulation.circuit.branches:
        player, follows = simulation.player(branch.name)
        fixture = documents.bench.fixture(set_points[branch.name].fixture)
        own = [(named.pop(name), slot) for name, slot in _slots(branch, documents, fixture) if name in named]
        powered = powered_up(documents, set_points, plan.timeline, plan.timeline.spans, branch.name)
        outputs = [documents.bench.output(points.output) for points in set_points[branch.name].outputs]
        stages = np.array([stage_figures(output) for output in outputs])
        template = make_template(player, stages, powered, plan.end, follows)
        slots = np.array([slot for _, slot in own], dtype=np.int64).reshape(len(own), 3)
        found.append((branch, template, slots, [column for column, _ in own]))
    if named:
        raise LookupError(f"nothing in the circuit is called {', '.join(named)}")
    return found


def _slots(
    branch: Branch, documents: Documents, fixture: Fixture | None
) -> Iterable[tuple[str, tuple[int, int, int]]]:
    """Names of all quantities that a branch can vary, with what they are to its equations."""
    from railwright.physics import cases, layout
    from railwright.physics.loads import kind_of

    yield f"{branch.name}.lead.resistance", (cases.NUMBER, -1, layout.RESISTANCE)
    yield f"{branch.name}.lead.inductance", (cases.NUMBER, -1, layout.INDUCTANCE)
    yield f"{branch.name}.{FIXTURE}.drop", (cases.NUMBER, -1, layout.DROP)
    for j, output in enumerate(branch.outputs):
        yield f"{output}.damping", (cases.DAMPING, j, 0)
        yield f"{output}.limit_overshoot", (cases.LIMIT_OVERSHOOT, j, 0)
        for k, quantity in enumerate(QUANTITIES):
            yield f"{output}.{quantity}", (cases.VOLTAGE_GAIN + k, j, 0)
    place = 0
    labels = load_labels(documents.device, branch.name, fixture)
    for label, load in zip(labels, branch.loads, strict=True):
        parameters = kind_of(load.kind).parameters
        for k, parameter in enumerate(parameters):
            yield f"{branch.name}.{label}.{parameter}", (cases.PARAMETER, -1, place + k)
        place += len(parameters) + len(load.table)


def trip_probability(seen: InputSpread, inside: int) -> tuple[float, float, float]:
    """Share of the interior's cases in which an input's outputs tripped, with its 95 % bounds.

    Clopper and Pearson's exact interval for a share of independent cases; those of a Sobol sequence lie more
    evenly, so that it is rather too wide.
    """
    from scipy.stats import binomtest

    if not inside:
        return 0.0, 0.0, 1.0
    interval = binomtest(seen.tripped, inside).proportion_ci(0.95, method="exact")
    return seen.tripped / inside, float(interval.low), float(interval.high)
