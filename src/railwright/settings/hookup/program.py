"""The mixed-integer program: one candidate for each input, so that nothing is used or joined twice.

A binary variable for each candidate; sparse rows for inputs, outputs, ties and couplings. What is best is
decided in turn, each criterion among what is best by those before it, with the same program and one more row:

1. the fewest outputs,
2. the largest smallest headroom of the inputs,
3. the fewest cautions,
4. the least harm that a fault or a slip can do: how many times the outputs reach what the inputs withstand,
5. the largest sum of headrooms,
6. the finest readings of the steady currents: the least sum of their relative errors,
7. the order of the documents: the first input takes what stands first in the bench document, and so on.

Every criterion is a whole number, so that ties are ties. Solved by HiGHS through scipy.optimize.milp.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from railwright.grouping import grouped
from railwright.settings.hookup.candidates import FULL, Candidate, alike
from railwright.settings.hookup.demand import Demand

OUTPUT = 100
"""What one more output costs, where nothing fits: more than any change of what is there for one input."""

_WHOLE = 1e-6


@dataclass(frozen=True, slots=True)
class Objective:
    """What a whole assignment is worth, what decides first in front; see the module's list. The more the
    better of both headrooms, the less of all else.
    """

    outputs: int
    least_headroom: int
    cautions: int
    harm: int
    headrooms: int
    readings: int


def worth(chosen: Iterable[Candidate]) -> Objective:
    """What these candidates are worth together."""
    all_of = list(chosen)
    return Objective(
        outputs=sum(len(each.outputs) for each in all_of),
        least_headroom=min((each.headroom for each in all_of), default=0),
        cautions=sum(len(each.cautions) for each in all_of),
        harm=sum(each.harm for each in all_of),
        headrooms=sum(each.headroom for each in all_of),
        readings=sum(each.reading for each in all_of),
    )


class ConstraintRow(NamedTuple):
    """A row of a sparse matrix: low <= Σ coefficient · variable <= high. columns: variable -> coefficient."""

    columns: Mapping[int, float]
    low: float
    high: float


def at_most(cost: Sequence[float], most: float) -> ConstraintRow:
    """What the variables cost is no more than this."""
    return ConstraintRow({column: each for column, each in enumerate(cost) if each}, -np.inf, most)


def _constraint(rows: Sequence[ConstraintRow], columns: int) -> LinearConstraint:
    """Rows over so many variables, for scipy."""
    entries = [(i, column, each) for i, row in enumerate(rows) for column, each in row.columns.items()]
    places, others, values = zip(*entries, strict=True) if entries else ((), (), ())
    matrix = csr_array((values, (places, others)), shape=(len(rows), columns))
    return LinearConstraint(matrix, [row.low for row in rows], [row.high for row in rows])


def solve(
    cost: Sequence[float], rows: Sequence[ConstraintRow], upper: Sequence[float]
) -> np.ndarray[tuple[int], np.dtype[np.float64]] | None:
    """The values of whole variables at the least cost; None: the rows leave none."""
    found = milp(
        np.asarray(cost, dtype=float),
        integrality=np.ones(len(upper)),
        bounds=Bounds(np.zeros(len(upper)), np.asarray(upper, dtype=float)),
        constraints=_constraint(rows, len(upper)),
        options={"mip_rel_gap": 0.0},
    )
    if found.status == 2:
        return None
    if found.x is None or found.status != 0:
        raise RuntimeError(f"the program of the hook-up was not solved: {found.message}")
    return np.asarray(found.x, dtype=np.float64)


def solve_in_turn(
    stages: Iterable[Sequence[float]], rows: Sequence[ConstraintRow], upper: Sequence[float]
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """The values of whole variables at the least of one cost after another; the rows leave some."""
    found, kept = np.zeros(len(upper)), list(rows)
    for cost in stages:
        best = solve(cost, kept, upper)
        assert best is not None, "the rows leave an assignment"
        found = best
        kept.append(at_most(cost, float(np.dot(cost, np.round(found)))))
    return found


def rows_of(
    candidates: Sequence[Candidate], uncouple: Mapping[tuple[str, int], int] | None = None
) -> list[ConstraintRow]:
    """What every assignment keeps: each input once, each output at most once, ties and couplings.

    uncouple: coupled group -> the variable that lets its outputs go apart.
    """
    numbered = list(enumerate(candidates))
    alone = grouped((tie, column) for column, each in numbered for tie, lone in each.ties.items() if lone)
    shared = grouped(
        ((tie, output), column)
        for column, each in numbered
        for output, tie in zip(each.outputs, each.source.ties, strict=True)
        if tie is not None and not each.ties[tie]
    )
    fed = grouped((output, column) for column, each in numbered for output in each.outputs)
    coupled = grouped((coupling, column) for column, each in numbered for coupling in each.coupled)
    # A coupled group may feed several inputs where it is uncoupled.
    apart = {} if uncouple is None else {own: {uncouple[own]: -float(len(coupled[own]))} for own in coupled}
    return [
        *(ConstraintRow(dict.fromkeys(own, 1.0), 1.0, 1.0) for own in columns_of_inputs(candidates).values()),
        *(ConstraintRow(dict.fromkeys(own, 1.0), 0.0, 1.0) for own in fed.values()),
        *(
            ConstraintRow(dict.fromkeys([*lonely, *own], 1.0), 0.0, 1.0)
            for tie, lonely in alone.items()
            for own in ([], *(each for (other, _), each in shared.items() if other == tie))
        ),
        *(
            ConstraintRow({**dict.fromkeys(own, 1.0), **apart.get(coupling, {})}, -np.inf, 1.0)
            for coupling, own in coupled.items()
        ),
    ]


def columns_of_inputs(candidates: Iterable[Candidate]) -> dict[str, list[int]]:
    """Input -> positions of its candidates."""
    return grouped((each.input, column) for column, each in enumerate(candidates))


def _sum(cost: Sequence[float], found: np.ndarray[tuple[int], np.dtype[np.float64]]) -> int:
    """What an assignment costs; costs are whole numbers."""
    return round(float(np.dot(cost, np.round(found))))


class Program:
    """Assignments of candidates to inputs. The criteria come one after another: each adds the row that keeps
    what it found.

    unlike: candidates of which at least one must not be in an assignment, whichever of its inputs that is.
    """

    def __init__(self, candidates: Sequence[Candidate], unlike: Iterable[Candidate] = ()) -> None:
        self.candidates = candidates
        self.inputs = columns_of_inputs(candidates)
        self.rows = rows_of(candidates)
        self.upper = [1.0] * len(candidates)
        self.found: np.ndarray[tuple[int], np.dtype[np.float64]] | None = None
        excluded = set(unlike)
        if columns := [column for column, each in enumerate(candidates) if each in excluded]:
            self.rows.append(ConstraintRow(dict.fromkeys(columns, 1.0), 0.0, len(self.inputs) - 1.0))

    def best(self) -> tuple[Candidate, ...] | None:
        """The best assignment, in the order of the inputs; None: there is none."""
        if not self._least([len(each.outputs) for each in self.candidates]):
            return None
        self._largest_smallest_headroom()
        self._least([len(each.cautions) for each in self.candidates])
        # Harm before the sum of headrooms, in one solution: no sum outweighs one of harm.
        weight = len(self.inputs) * FULL + 1
        self._least([each.harm * weight - each.headroom for each in self.candidates])
        self._least([each.reading for each in self.candidates])
        # Of what is still alike the first input takes what stands first, then the second, and so on.
        for own in self.inputs.values():
            place = {column: number for number, column in enumerate(own)}
            self._least([place.get(column, 0) for column in range(len(self.candidates))])
        return tuple(self.candidates[column] for column in self._chosen())

    @property
    def _alive(self) -> list[list[int]]:
        """Of each input the columns that are left."""
        return [[column for column in own if self.upper[column]] for own in self.inputs.values()]

    def _narrow(self, cost: Sequence[float]) -> float:
        """The sum of each input's least cost: no assignment costs less."""
        return sum(min(cost[column] for column in own) for own in self._alive)

    def _keep(self, cost: Sequence[float], value: float) -> None:
        """Keep what costs no more than this: without the candidates that cost more however cheap the others
        are, and with a row where that does not say all.
        """
        room = value - self._narrow(cost)
        for own in self._alive:
            least = min(cost[column] for column in own)
            for column in (each for each in own if cost[each] - least > room + _WHOLE):
                self.upper[column] = 0.0
        if room > _WHOLE:
            self.rows.append(at_most(cost, value))

    def _least(self, cost: Sequence[float]) -> bool:
        """Find the least sum of a cost over candidates, and keep the assignments that have it; False: there
        is none.
        """
        if self.found is None or _sum(cost, self.found) > self._narrow(cost) + _WHOLE:
            self.found = solve(cost, self.rows, self.upper)
        if self.found is None:
            return False
        self._keep(cost, _sum(cost, self.found))
        return True

    def _largest_smallest_headroom(self) -> None:
        """Keep those whose smallest headroom is the largest: one more variable, below that of each input."""
        candidates, columns = self.candidates, len(self.candidates)
        assert self.found is not None, "an assignment was found before"
        reached = min(candidates[column].headroom for column in self._chosen())
        most = min(max(candidates[column].headroom for column in own) for own in self._alive)
        if reached < most:
            # t <= Σ headroom · x over each input's candidates, of which one is chosen
            least = (
                {columns: 1.0, **{column: -float(candidates[column].headroom) for column in own}}
                for own in self.inputs.values()
            )
            rows = [*self.rows, *(ConstraintRow(each, -np.inf, 0.0) for each in least)]
            found = solve([0.0] * columns + [-1.0], rows, [*self.upper, float(most)])
            assert found is not None, "an assignment was found before"
            self.found = found[:columns]
            reached = min(candidates[column].headroom for column in self._chosen())
        kept = (each.headroom >= reached for each in candidates)
        self.upper = [most if keep else 0.0 for most, keep in zip(self.upper, kept, strict=True)]

    def _chosen(self) -> list[int]:
        """The columns of the assignment."""
        assert self.found is not None
        return [column for own in self.inputs.values() for column in own if self.found[column] > 0.5]


def with_leads(
    chosen: Sequence[Candidate], demands: Mapping[str, Demand], taken: Collection[str]
) -> tuple[Candidate, ...]:
    """The same outputs for the same inputs, each with its lead and place of sensing: a lead of its own for
    each, where that costs nothing.

    A bench document names a lead; how many of it there are it does not say. So no two inputs get the same one
    where others are as good: among all leads and places of sensing that leave headroom and cautions as they
    are, the fewest that come twice, then the least drop left unsensed and the fewest sense leads, then the
    least power lost in leads.

    taken: leads of inputs whose hook-up is written.
    """
    options = [(each, cost) for own in chosen for each, cost in alike(demands[own.input], own)]
    of_input = columns_of_inputs(each for each, _ in options)
    with_lead = grouped((each.source.lead_name, column) for column, (each, _) in enumerate(options))
    rows = [
        *(ConstraintRow(dict.fromkeys(own, 1.0), 1.0, 1.0) for own in of_input.values()),
        *(
            ConstraintRow({**dict.fromkeys(own, 1.0), twice: -1.0}, -np.inf, 0.0 if name in taken else 1.0)
            for twice, (name, own) in enumerate(with_lead.items(), len(options))
        ),
    ]
    upper = [1.0] * len(options) + [float(len(chosen))] * len(with_lead)
    none = [0.0] * len(with_lead)
    stages = (
        [0.0] * len(options) + [1.0] * len(with_lead),
        [float(round(1e6 * cost[0])) for _, cost in options] + none,
        [cost[1] for _, cost in options] + none,
        [cost[2] * demands[each.input].current ** 2 for each, cost in options] + none,
    )
    if not chosen:
        return ()
    found = solve_in_turn(stages, rows, upper)
    return tuple(each for column, (each, _) in enumerate(options) if found[column] > 0.5)
