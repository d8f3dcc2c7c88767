"""Faults in many cases at once: what a fault does to a device in every case of an ensemble.

A trial of `railwright.rehearsal.fault_entries` is played in the compiled loop of `railwright.physics.cases`:
what it changes is scheduled for the instant at which the fault happens. Linked trips are left out, which is
the worse case: an output that another one's trip would switch off stays on.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.physics.cases import HIGHEST, I2T, PEAK, make_template, play_cases
from railwright.physics.simulation import OutputState, Simulation
from railwright.plan.set_points import SetPoints
from railwright.rehearsal.circuit import build_circuit, output_errors, stage_figures
from railwright.rehearsal.design import Design
from railwright.rehearsal.ensemble import _slots
from railwright.rehearsal.fault_entries import FAULTS
from railwright.rehearsal.fault_scene import Scene, Trial
from railwright.rehearsal.faults import SETTLE, power_up_alone
from railwright.rehearsal.rehearse import program_outputs

AFTER = 0.1
"""Least time for which a fault is followed [s]."""


@dataclass(frozen=True, eq=False)
class FaultCases:
    """What a fault does to one input in every case: highest voltage at the connector [V], largest current in
    the lead [A] and its I²t since the fault [A²s], each of shape (cases,).
    """

    fault: str
    input: str
    voltage: NDArray[np.float64]
    current: NDArray[np.float64]
    heat: NDArray[np.float64]


class _Later:
    """A simulation as a trial sees it, whose changes happen at an instant to come."""

    def __init__(self, simulation: Simulation, at: float, states: dict[str, OutputState]) -> None:
        self._simulation, self._at, self._states = simulation, at, states

    def output(self, name: str) -> OutputState:
        return self._states[name]

    def set(self, output: str, **given: Any) -> None:
        self._simulation.set(output, at=self._at, **given)

    def change_lead(self, name: str, **given: Any) -> None:
        self._simulation.change_lead(name, at=self._at, **given)


class FaultPlayer:
    """The faults of a procedure, on a bench with these set points, in the cases of one design."""

    def __init__(self, documents: Documents, set_points: SetPoints, design: Design) -> None:
        self.documents, self.design = documents, design
        self.set_points = {name: replace(feed, trips_when=()) for name, feed in set_points.items()}
        timeline = power_up_alone(documents, set_points)
        levels = {action.input: action.voltage for action in timeline.actions if action.kind == "line"}
        circuit, _ = build_circuit(documents, self.set_points)
        steady = timeline.duration + SETTLE
        self.scene = Scene(documents, self.set_points, circuit, timeline, steady, levels)
        self.circuit = circuit
        before = self._told(self.set_points)
        before.advance(steady)
        outputs = [points.output for feed in set_points.values() for points in feed.outputs]
        self.states = {name: before.output(name) for name in outputs}
        delays = [p.trip_delay for feed in set_points.values() for p in feed.outputs if p.at_limit == "trip"]
        self.after = max(AFTER, 1.5 * max(delays, default=0.0))

    def _told(self, set_points: SetPoints, trial: Trial | None = None) -> Simulation:
        errors, _ = output_errors(self.documents, set_points)
        timeline = self.scene.timeline if trial is None or trial.timeline is None else trial.timeline
        simulation = Simulation(self.circuit)
        program_outputs(simulation, self.documents, set_points, timeline, errors)
        return simulation

    def trials(self) -> Iterator[Trial]:
        """Every fault that can happen; crossed sense leads, which join two inputs, are left to `rehearse`."""
        for fault in FAULTS:
            yield from (trial for trial in fault(self.scene) if trial.crossed is None)

    def play(self, trial: Trial | None, name: str, workers: int = 2, whole: bool = False) -> FaultCases:
        """Play a fault (None: none) in every case; what comes of one input from the fault on. whole: from the
        switching on.
        """
        set_points = self.set_points if trial is None else trial.set_points or self.set_points
        simulation = self._told(set_points, trial)
        begins = self.scene.steady
        if whole or (trial is not None and trial.at_power_up):
            begins = self.scene.switched_on(name)
        if trial is not None and trial.act is not None:
            at = 0.0 if trial.at_power_up else begins
            trial.act(_Later(simulation, at, self.states))  # type: ignore[arg-type]
        duration = max(
            self.scene.steady, 0.0 if trial is None or trial.timeline is None else trial.timeline.duration
        )
        end = duration + self.after
        branch = next(each for each in self.circuit.branches if each.name == name)
        player, _ = simulation.player(name)
        stages = np.array(
            [stage_figures(self.documents.bench.output(OutputName(each))) for each in branch.outputs]
        )
        template = make_template(player, stages, (begins, end), end, follows=False)
        fixture = self.documents.bench.fixture(self.set_points[name].fixture)
        columns = {quantity: k for k, quantity in enumerate(self.design.names)}
        own = [(columns[q], slot) for q, slot in _slots(branch, self.documents, fixture) if q in columns]
        slots = np.array([slot for _, slot in own], dtype=np.int64).reshape(len(own), 3)
        places = [column for column, _ in own]

        def chunk(number: int) -> NDArray[np.float64]:
            values = np.ascontiguousarray(self.design.values(number)[:, places])
            return play_cases(template, branch, slots, values)[0]

        with ThreadPoolExecutor(workers) as pool:
            measures = np.concatenate(list(pool.map(chunk, range(self.design.chunks))))
        assert measures.shape[0] == self.design.cases
        fault = "" if trial is None else trial.fault
        return FaultCases(fault, name, measures[:, HIGHEST], measures[:, PEAK], measures[:, I2T])
