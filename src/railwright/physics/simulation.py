"""Playing a circuit step by step: set points at any moment, fine samples and events out.

Importing this module loads numpy and numba. The first advance compiles for some seconds, later processes take the
compiled code from the cache.
"""

from __future__ import annotations

import dataclasses
import math
from bisect import insort
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from railwright.physics import layout
from railwright.physics.circuit import Branch, Circuit, Lead, Load
from railwright.physics.dispatch import COMPILED_KINDS
from railwright.physics.kernel import DONE, FAILURE, STARTING_STEP, STOPPED, play
from railwright.physics.loads import KINDS
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.solver import SolverError, work_space
from railwright.quantities import show
from railwright.traces import Event, Mode

Array = NDArray[np.float64]

RELATIVE = 1e-5
"""Relative tolerance of the solver; the absolute one is a tenth of it, of full scale."""

FINE = 1e-4
"""Error of straight lines between two samples, of full scale."""

_ROOM, _EVENT_ROOM = 4096, 512
_NO_ACTIONS = np.zeros((0, layout.ACTION))
_TRIPS = {
    0: "",
    layout.EV_TRIP_OVP: "OVP",
    layout.EV_TRIP_LIMIT: "current limit",
    layout.EV_TRIP_LINKED: "linked",
}
_WHAT = (
    "on",
    "off",
    "enters CV",
    "enters CC",
    "enters CP",
    "trips OVP",
    "trips current limit",
    "trips linked",
)


@dataclass(frozen=True, eq=False)
class Samples:
    """One input's channels, one row a solver point; straight lines between rows are right to 1e-4 of full scale.

    time [s]; terminal_voltage of the whole source and voltage at the connector [V]; current in the lead [A];
    mode: values of `Mode`, which hold from their row on. outputs: name -> (voltage, current, mode) of that output's
    own terminals.
    """

    time: Array
    terminal_voltage: Array
    voltage: Array
    current: Array
    mode: NDArray[np.int8]
    outputs: Mapping[str, tuple[Array, Array, NDArray[np.int8]]]

    def output(self, name: str) -> tuple[Array, Array, NDArray[np.int8]]:
        """Voltage [V], current [A] and mode at one output's own terminals."""
        return self.outputs[name]


@dataclass(frozen=True, eq=False)
class Advance:
    """What happened since the last call: samples by input, and events in order of time."""

    samples: Mapping[str, Samples]
    events: tuple[Event, ...]


@dataclass(frozen=True)
class OutputState:
    """One output at this instant, SI units. `tripped`: '', 'OVP', 'current limit' or 'linked'."""

    on: bool
    tripped: str
    mode: Mode
    voltage: float
    current: float
    reference: float


def settled_reference(time: float, settings: Array) -> float:
    """Reference voltage of an output [V], as the compiled equations see it."""
    goal, rate = float(settings[layout.REF_GOAL]), float(settings[layout.REF_RATE])
    value = float(settings[layout.REF_START]) + rate * (time - float(settings[layout.REF_TIME]))
    return min(value, goal) if rate > 0.0 else max(value, goal) if rate < 0.0 else goal


def group_mode(modes: NDArray[np.int8]) -> NDArray[np.int8]:
    """Mode of outputs that work together, (n, outputs) -> (n,): tripped if one is, else CC, CP, CV, OFF in this order."""
    rank = np.array([0, 1, 3, 2, 4], dtype=np.int8)
    back = np.array([Mode.OFF, Mode.CV, Mode.CP, Mode.CC, Mode.TRIPPED], dtype=np.int8)
    return np.asarray(back[rank[modes].max(axis=1)], dtype=np.int8)


class _Player:
    """One branch: its arrays, the actions that are still to come, and what has been recorded."""

    def __init__(self, branch: Branch, start: float, relative: float, fine: float) -> None:
        self.branch, self.relative, self.fine = branch, relative, fine
        n, m = len(branch.stages), len(branch.loads)
        unknown = [load.kind for load in branch.loads if load.kind not in COMPILED_KINDS]
        if unknown:
            raise ValueError(f"load '{unknown[0]}' was announced after the equations had been compiled")
        kinds = [KINDS[load.kind] for load in branch.loads]
        fixed = np.array([[float(value) for value in dataclasses.astuple(stage)] for stage in branch.stages])
        settings = np.zeros((n, layout.SETTINGS))
        settings[:, layout.LIMIT] = fixed[:, layout.IMAX]
        settings[:, layout.POWER] = fixed[:, layout.RATED_POWER]
        for column in (layout.SLEW_UP, layout.SLEW_DOWN, layout.OVP, layout.LIMIT_SINCE, layout.OVP_SINCE):
            settings[:, column] = math.inf
        settings[:, layout.OF_LOAD if branch.sense == "load" else layout.OF_TERMINALS] = 1.0
        first = 3 * n + (1 if branch.arrangement == "parallel" else n) + 2
        state_at = np.cumsum([first, *(len(kind.states) for kind in kinds)], dtype=np.int64)
        flags = [flag for kind in kinds for flag in kind.flags_at_start]
        values = [
            load.values[name]
            for load, kind in zip(branch.loads, kinds, strict=True)
            for name in kind.parameters
        ]
        self.system = layout.System(
            fixed=fixed,
            settings=settings,
            branch=np.array(
                [
                    1.0 if branch.arrangement == "parallel" else 0.0,
                    branch.lead.resistance,
                    branch.lead.inductance,
                    branch.node_capacitance,
                ]
            ),
            kinds=np.array([COMPILED_KINDS.index(load.kind) for load in branch.loads], dtype=np.int64),
            parameter_at=np.cumsum([0, *(len(kind.parameters) for kind in kinds)], dtype=np.int64),
            state_at=state_at,
            flag_at=np.cumsum([0, *(len(kind.flags_at_start) for kind in kinds)], dtype=np.int64),
            parameters=np.array(values, dtype=np.float64),
            flags=np.array(flags, dtype=np.float64),
            scratch=np.zeros((2, max([1, *(len(kind.states) for kind in kinds)]))),
        )
        size = int(state_at[-1])
        volts, amperes = float(fixed[:, layout.VMAX].sum()), float(fixed[:, layout.IMAX].sum())
        absolute = np.full(size, 0.1 * relative * volts)
        absolute[: 3 * n] = 0.1 * relative * amperes
        absolute[first - 2] = 0.1 * relative * amperes
        self.y = np.zeros(size)
        self.y[2 : 3 * n : 3] = fixed[:, layout.OVERSHOOT]
        self.clock = np.zeros(layout.CLOCK)
        self.clock[layout.TIME], self.clock[layout.STEP] = start, STARTING_STEP
        self.charge = np.zeros(n + m, dtype=np.int64)
        self.charge[n:] = -1
        self.work = work_space(absolute, n + m)
        self.rows = np.zeros((_ROOM, layout.ROW_OUTPUTS + 3 * n))
        self.events = np.zeros((_EVENT_ROOM, layout.EVENT))
        self.last = self.rows[0].copy()
        self.pending: list[tuple[float, int, int, int, float, float]] = []
        self.recorded: list[Array] = []
        self.happened: list[Array] = []

    @property
    def time(self) -> float:
        return float(self.clock[layout.TIME])

    def save(self) -> tuple[object, ...]:
        arrays = (self.y, self.clock, self.charge, self.system.settings, self.system.flags)
        return (*(a.copy() for a in arrays), list(self.pending), len(self.recorded), len(self.happened))

    def restore(self, saved: tuple[object, ...]) -> None:
        arrays = (self.y, self.clock, self.charge, self.system.settings, self.system.flags)
        for array, value in zip(arrays, saved, strict=False):
            array[...] = value
        pending, recorded, happened = saved[5:]
        assert isinstance(pending, list) and isinstance(recorded, int) and isinstance(happened, int)
        self.pending = list(pending)
        del self.recorded[recorded:]
        del self.happened[happened:]

    def play(self, target: float, stop_at_trip: bool) -> bool:
        """Play to the target; True when it stopped early because an output tripped."""
        while True:
            actions = _NO_ACTIONS
            if self.pending:
                actions = np.array([(t, j, what, a, b) for t, _, j, what, a, b in self.pending])
            counts = np.zeros(3, dtype=np.int64)
            status = play(
                target, self.y, self.clock, self.system, self.charge, actions, self.rows, self.events,
                counts, self.work, self.relative, self.fine, stop_at_trip,
            )  # fmt: skip
            self.recorded.append(self.rows[: counts[0]].copy())
            self.last = self.recorded[-1][-1]
            if counts[1]:
                self.happened.append(self.events[: counts[1]].copy())
            del self.pending[: counts[2]]
            if status == FAILURE:
                state = self.branch.states[int(self.clock[layout.WORST])]
                raise SolverError(self.time, state, state.partition(":")[0])
            if status in (DONE, STOPPED):
                return status == STOPPED

    def samples(self) -> Samples:
        """What has been recorded since the last call."""
        rows = np.concatenate(self.recorded) if len(self.recorded) > 1 else self.recorded[0]
        self.recorded = []
        first = layout.ROW_OUTPUTS
        modes = rows[:, first + 2 :: 3].astype(np.int8)
        outputs = {
            name: (rows[:, first + 3 * j], rows[:, first + 3 * j + 1], modes[:, j])
            for j, name in enumerate(self.branch.outputs)
        }
        return Samples(
            time=rows[:, layout.ROW_TIME],
            terminal_voltage=rows[:, layout.ROW_TERMINALS],
            voltage=rows[:, layout.ROW_CONNECTOR],
            current=rows[:, layout.ROW_CURRENT],
            mode=modes[:, 0] if modes.shape[1] == 1 else group_mode(modes),
            outputs=outputs,
        )

    def drain_events(self) -> list[Event]:
        """The events since the last call."""
        found = [self._event(row) for rows in self.happened for row in rows]
        self.happened = []
        return found

    def _event(self, row: Array) -> Event:
        time, what, about = float(row[0]), int(row[1]), int(row[2])
        if what >= layout.EV_LOAD:
            kind = KINDS[self.branch.loads[about].kind]
            return Event(time, self.branch.name, kind.events[what - layout.EV_LOAD], kind.name)
        settings = self.system.settings[about]
        detail = ""
        if what in (layout.EV_CC, layout.EV_TRIP_LIMIT):
            detail = f"limit {show(float(settings[layout.LIMIT]), 'A')}"
        elif what == layout.EV_TRIP_OVP:
            detail = f"level {show(float(settings[layout.OVP]), 'V')}"
        return Event(time, self.branch.outputs[about], _WHAT[what], detail)


class Simulation:
    """A circuit that is played step by step. All outputs are off and everything is discharged at the start.

    circuit: what is connected to what. start: simulated time [s] of the first instant. relative: tolerance of the
    solver. fine: error of straight lines between samples, of full scale.
    """

    def __init__(
        self, circuit: Circuit, start: float = 0.0, relative: float = RELATIVE, fine: float = FINE
    ) -> None:
        self.circuit = circuit
        self._players = {branch.name: _Player(branch, start, relative, fine) for branch in circuit.branches}
        self._place = {
            output: (self._players[branch.name], number)
            for branch in circuit.branches
            for number, output in enumerate(branch.outputs)
        }
        self._time = start
        self._order = 0
        switches: dict[str, list[str]] = {name: [] for name in self._players}
        for target, causes in circuit.linked_trips.items():
            for cause in causes:
                switches[cause].append(target)
        for branch in circuit.branches:
            if len(branch.outputs) > 1:
                switches[branch.name].append(branch.name)
        self._switches = {cause: tuple(targets) for cause, targets in switches.items() if targets}
        linked = {*self._switches, *(t for targets in self._switches.values() for t in targets)}
        self._linked = [player for name, player in self._players.items() if name in linked]
        self._free = [player for name, player in self._players.items() if name not in linked]

    @property
    def time(self) -> float:
        """Simulated time reached so far [s]."""
        return self._time

    def set(
        self,
        output: str,
        *,
        at: float | None = None,
        voltage: float | None = None,
        line: tuple[float, float] | None = None,
        rise: float | None = None,
        fall: float | None = None,
        current_limit: float | None = None,
        at_limit: Literal["regulate", "trip"] | None = None,
        trip_delay: float | None = None,
        ovp: float | None = None,
        power: float | None = None,
        sense: Literal["terminals", "load"] | None = None,
        on: bool | None = None,
        clear: bool = False,
    ) -> None:
        """Set anything on one output, at a time [s] that has not been passed yet (left out: now).

        voltage [V]: the reference moves there with `rise` or `fall` [V/s] (inf: the output's own). line: (target [V],
        duration [s]), a straight line, no faster than the output itself. ovp, power: inf switches them off. clear:
        forget a trip; the output stays off. Raises KeyError for an unknown output, ValueError for a time in the past.
        """
        player, number = self._place[output]
        when = self._time if at is None else at
        if when < self._time:
            raise ValueError(f"a set point at {when} s is in the past, the simulation is at {self._time} s")
        things: list[tuple[int, float, float]] = []
        for code, value in (
            (layout.SET_UP, rise),
            (layout.SET_DOWN, fall),
            (layout.SET_LIMIT, current_limit),
            (layout.SET_TRIPS, None if at_limit is None else float(at_limit == "trip")),
            (layout.SET_DELAY, trip_delay),
            (layout.SET_OVP, ovp),
            (layout.SET_POWER, power),
        ):
            if value is not None:
                things.append((code, float(value), 0.0))
        if sense is not None:
            things.append((layout.SET_SENSE, float(sense == "terminals"), float(sense == "load")))
        if clear:
            things.append((layout.CLEAR, 0.0, 0.0))
        if on is False:
            things.append((layout.SWITCH_OFF, 0.0, 0.0))
        if on:
            things.append((layout.SWITCH_ON, 0.0, 0.0))
        if voltage is not None:
            things.append((layout.SET_VOLTAGE, float(voltage), 0.0))
        if line is not None:
            things.append((layout.SET_LINE, float(line[0]), float(line[1])))
        for code, a, b in things:
            self._order += 1
            insort(player.pending, (when, self._order, number, code, a, b))

    def change_load(self, name: str, number: int, **values: float) -> None:
        """Change parameters of one load of an input, now: a load step. KeyError for an unknown input or parameter."""
        player = self._players[name]
        kind = KINDS[player.branch.loads[number].kind]
        for parameter, value in values.items():
            if parameter not in kind.parameters:
                raise KeyError(parameter)
            place = int(player.system.parameter_at[number]) + kind.parameters.index(parameter)
            player.system.parameters[place] = value
        player.clock[layout.STEP] = STARTING_STEP

    def advance(self, to_time: float) -> Advance:
        """Play to a time [s], exactly; returns the samples and events since the last call.

        Raises SolverError, which names time, state and element, and ValueError for a time in the past.
        """
        if to_time < self._time:
            raise ValueError(f"cannot go back to {to_time} s, the simulation is at {self._time} s")
        for player in self._free:
            player.play(to_time, stop_at_trip=False)
        if self._linked:
            self._play_linked(to_time)
        self._time = to_time
        samples = {name: player.samples() for name, player in self._players.items()}
        events = [event for player in self._players.values() for event in player.drain_events()]
        return Advance(samples, tuple(sorted(events, key=lambda event: event.time)))

    def _play_linked(self, to_time: float) -> None:
        """Play inputs whose trips switch each other off: all to the first trip, then on from there."""
        while True:
            saved = [player.save() for player in self._linked]
            stopped = [player.play(to_time, player.branch.name in self._switches) for player in self._linked]
            trips = [player.time for player, stop in zip(self._linked, stopped, strict=True) if stop]
            if not trips:
                return
            first = min(trips)
            causes = []
            for player, stop, state in zip(self._linked, stopped, saved, strict=True):
                if player.time > first:
                    player.restore(state)
                    player.play(first, stop_at_trip=False)
                elif stop:
                    causes.append(player.branch.name)
            for target in {target for cause in causes for target in self._switches[cause]}:
                self._order += 1
                action = (first + self.circuit.linked_delay, self._order, -1, layout.TRIP_LINKED, 0.0, 0.0)
                insort(self._players[target].pending, action)

    def output(self, name: str) -> OutputState:
        """One output at this instant. KeyError where there is none of this name."""
        player, j = self._place[name]
        settings, row = player.system.settings[j], player.last
        tripped = int(settings[layout.TRIPPED])
        at = layout.ROW_OUTPUTS + 3 * j
        return OutputState(
            on=bool(settings[layout.ON]),
            tripped=_TRIPS[tripped],
            mode=Mode(int(row[at + 2])),
            voltage=float(row[at]),
            current=float(row[at + 1]),
            reference=settled_reference(self._time, settings),
        )

    @property
    def steps(self) -> int:
        """Steps that the solver has taken so far, all inputs together."""
        return sum(int(player.clock[layout.STEPS]) for player in self._players.values())


def warm_up() -> None:
    """Compile everything, or load it from the cache, by playing a small circuit."""
    stage, _ = derive_output_stage(OutputFigures(10.0, 1.0))
    load = Load("resistor", {"resistance": 10.0})
    sim = Simulation(Circuit((Branch("warm-up", ("output",), (stage,), Lead(0.1, 1e-6), (load,)),)))
    sim.set("output", voltage=1.0, on=True)
    sim.advance(1e-3)
    sim.output("output")
