"""The current that flows as a contact closes onto an input under voltage, before the limit has responded."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import zip_longest
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from railwright.circuit.case import Case
from railwright.documents.loader import Documents
from railwright.plan.contacts import ContactMove, contact_moves, contacts_of
from railwright.plan.set_points import SetPoints
from railwright.plan.timeline import Timeline
from railwright.rehearsal.circuit import build_circuit, uncertain_quantities
from railwright.rehearsal.corners import corner_case, quantities_of
from railwright.rehearsal.rehearse import programmed_simulation, traces_of
from railwright.traces import Traces

if TYPE_CHECKING:
    from numpy.typing import NDArray

SMALLEST = 0.1
"""Voltage at the terminals from which on the surge of a closing contact is looked for [V] (chosen)."""

ROUNDS = 4
"""How often each quantity is turned to its other bound, at most."""

STEPS = 300_000
"""Steps of the solver after which no more corners are looked for (about a second)."""


class ClosingSurge(NamedTuple):
    """A contact that closes under a voltage, and the greatest current before the limit has responded [A]:
    with nominal values, and in the worst of so many corners of the tolerances.
    """

    move: ContactMove
    nominal: float
    most: float
    corners: int


def surges(
    documents: Documents, set_points: SetPoints, timeline: Timeline, traces: Mapping[str, Traces]
) -> list[ClosingSurge]:
    """The surge of every contact that closes while there is a voltage at its output. Contacts that are not
    rated for that are left out: a run moves them without voltage only. traces: of the nominal rehearsal.
    """
    moves = []
    for move in contact_moves(contacts_of(documents, set_points), timeline):
        name = move.lies.input
        if move.closed and name in traces and not move.lies.needs_no_load:
            standing = traces[name].closed(move.change.time, move.time).columns["terminal_voltage"]
            if np.abs(standing).max(initial=0.0) > SMALLEST:
                moves.append(move)
    return _ClosingsPlayed(documents, set_points, timeline, moves).surges(traces) if moves else []


class _ClosingsPlayed:
    """Plays the closing of contacts under voltage, with nominal values and in corners of the tolerances."""

    def __init__(
        self, documents: Documents, set_points: SetPoints, timeline: Timeline, moves: list[ContactMove]
    ) -> None:
        self.documents, self.set_points, self.timeline, self.moves = documents, set_points, timeline, moves
        circuit, _ = build_circuit(documents, set_points)
        self.lasts: dict[str, float] = {}
        for branch in circuit.branches:
            # Until the limit has taken away nine tenths of an excess, and half a period of lead and
            # capacitor.
            responds = max(math.log(10.0) / stage.k_c for stage in branch.stages)
            farads = sum(stage.capacitance for stage in branch.stages)
            self.lasts[branch.name] = responds + math.pi * math.sqrt(branch.lead.inductance * farads)
        self.end = max(move.time + self.lasts[move.lies.input] for move in moves)
        self.steps = 0

    def surges(self, traces: Mapping[str, Traces]) -> list[ClosingSurge]:
        """The surges: nominally, by these traces, and in the worst corner."""
        nominal = self._flowing(traces)
        most, corners = self._worst()
        worst = np.maximum(nominal, most)
        return [
            ClosingSurge(move, float(usual), float(high), corners)
            for move, usual, high in zip(self.moves, nominal, worst, strict=True)
        ]

    def _flowing(self, traces: Mapping[str, Traces]) -> NDArray[np.float64]:
        """The greatest current as each contact closes [A]; shape (moves,)."""
        windows = ((move.lies.input, move.time) for move in self.moves)
        parts = (traces[name].closed(time, time + self.lasts[name]) for name, time in windows)
        return np.array([np.abs(part.columns["current"]).max(initial=0.0) for part in parts])

    def _play(self, case: Case) -> NDArray[np.float64]:
        """The same in another case; 0 A where the solver fails."""
        from railwright.physics.solver import SolverError

        simulation, _ = programmed_simulation(self.documents, self.set_points, self.timeline, case)
        try:
            samples = simulation.advance(self.end).samples
        except SolverError:
            return np.zeros(len(self.moves))
        finally:
            self.steps += simulation.steps
        return self._flowing({name: traces_of(each) for name, each in samples.items()})

    def _worst(self) -> tuple[NDArray[np.float64], int]:
        """The greatest currents of all corners played [A], and how many corners those are.

        The first has all quantities at their lower bound. Then those of an input go to their upper bound
        together, and after that one by one to their other bound (one of each input at the same time). A
        change that raises the current of its input is kept; a round that raises none is the last.
        """
        quantities = uncertain_quantities(self.documents, self.set_points)
        owners = np.array([move.lies.input for move in self.moves])
        places = {str(n): quantities_of(n, self.set_points[n].names, quantities) for n in np.unique(owners)}
        number, corners, raised = 0, 1, True
        most = self._play(corner_case(quantities, number))
        turns = [{name: sum(1 << k for k in own) for name, own in places.items()}]
        for _ in range(ROUNDS):
            if not raised:
                break
            raised = False
            for turned in zip_longest(*places.values()):
                turns.append({n: 1 << k for n, k in zip(places, turned, strict=True) if k is not None})
            for bits in turns:
                if self.steps > STEPS:
                    return most, corners
                flows = self._play(corner_case(quantities, number ^ sum(bits.values())))
                corners += 1
                for name, bit in bits.items():
                    if flows[owners == name].max() > most[owners == name].max():
                        number, raised = number ^ bit, True
                most = np.maximum(most, flows)
            turns = []
        return most, corners
