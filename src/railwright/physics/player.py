"""One branch as it is played: its arrays, the actions still to come, and what has been recorded."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from railwright.physics import layout
from railwright.physics.circuit import Branch
from railwright.physics.dispatch import COMPILED_KINDS
from railwright.physics.kernel import DONE, FAILURE, STARTING_STEP, STOPPED, play
from railwright.physics.loads import inside, kind_of
from railwright.physics.solver import SolverError, work_space
from railwright.traces import MODE_PRECEDENCE, Event, EventKind, Facts

Array = NDArray[np.float64]

MOST_STEPS, MOST_STEPS_A_SECOND = 400_000, 50_000
"""Steps for one advance of one input, and more for each simulated second of it, after which the solver gives
up: a converter that restarts for ever needs fewer, and nothing ever hangs.
"""

CONNECTED, FIRST_LOOK = 10.0, 1e-3
"""How long a device has hung on its outputs before the start, at most, and after which time it is first
looked at whether everything is at rest [s]; twice as long after each look.
"""

RESTS = 1e-5
"""At rest: the voltages have changed by no more than this since the last look, of the outputs' largest."""

_ROOM, _EVENT_ROOM = 4096, 512
_NOT_SET = [
    layout.SLEW_UP, layout.SLEW_DOWN, layout.OVP, layout.OPP, layout.OCP,
    layout.LIMIT_SINCE, layout.OVP_SINCE, layout.OPP_SINCE, layout.OCP_SINCE,
]  # fmt: skip
"""What no one has set, and timers that do not run: at infinity."""
_NO_ACTIONS = np.zeros((0, layout.ACTION))
_KINDS = (
    EventKind.ON,
    EventKind.OFF,
    EventKind.ENTERS_CV,
    EventKind.ENTERS_CC,
    EventKind.ENTERS_CP,
    EventKind.TRIPS_OVP,
    EventKind.TRIPS_CURRENT_LIMIT,
    EventKind.TRIPS_LINKED,
    EventKind.TRIPS_OPP,
    EventKind.TRIPS_OCP,
    EventKind.DIODE_BLOCKS,
    EventKind.DIODE_CONDUCTS,
    EventKind.FUSE_OPENS,
    EventKind.LEAD_OPENS,
    EventKind.LEAD_CLOSES,
)
"""By the numbers that the compiled equations have for them: `layout.EV_ON` and those after it."""


@dataclass(frozen=True, eq=False)
class PlayedSamples:
    """One input's channels, one row a solver point; straight lines between rows are right to 1e-4 of full
    scale.

    time [s]; terminal_voltage of the whole source and voltage at the connector [V]; current in the lead [A];
    mode: values of `Mode`, which hold from their row on. outputs: name -> (voltage, current, mode) of that
    output's own terminals. states (rows, states) and load_currents (rows, loads) [A]: only where they were
    asked for.
    """

    time: Array
    terminal_voltage: Array
    voltage: Array
    current: Array
    mode: NDArray[np.int8]
    outputs: Mapping[str, tuple[Array, Array, NDArray[np.int8]]]
    states: Array | None = None
    load_currents: Array | None = None

    def output(self, name: str) -> tuple[Array, Array, NDArray[np.int8]]:
        """Voltage [V], current [A] and mode at one output's own terminals."""
        return self.outputs[name]


def _numbers(branch: Branch) -> Array:
    """The numbers of a branch as the equations see them."""
    numbers = np.zeros(layout.BRANCH)
    numbers[layout.PARALLEL] = branch.arrangement == "parallel"
    numbers[layout.RESISTANCE], numbers[layout.INDUCTANCE] = branch.lead.resistance, branch.lead.inductance
    numbers[layout.NODE] = branch.node_capacitance
    numbers[layout.POLARITY] = -1.0 if branch.reversed_lead else 1.0
    numbers[layout.DIODE], numbers[layout.DROP] = branch.lead.diode is not None, branch.lead.diode or 0.0
    numbers[layout.FUSE] = bool(branch.lead.fuse)
    numbers[layout.OPENED], numbers[layout.BLOCKED] = branch.lead.opened, branch.lead.diode is not None
    return numbers


def _system(branch: Branch) -> layout.System:
    """The arrays of a branch on which nothing is set yet."""
    n, m = len(branch.stages), len(branch.loads)
    kinds = [kind_of(load.kind) for load in branch.loads]
    fixed = np.array([[float(value) for value in stage] for stage in branch.stages])
    settings = np.zeros((n, layout.SETTINGS))
    settings[:, layout.LIMIT] = fixed[:, layout.IMAX]
    settings[:, layout.POWER] = fixed[:, layout.RATED_POWER]
    settings[:, _NOT_SET] = math.inf
    settings[:, layout.OF_LOAD if branch.sense == "load" else layout.OF_TERMINALS] = 1.0
    values = [
        [*(load.values[name] for name in kind.parameters), *load.table]
        for load, kind in zip(branch.loads, kinds, strict=True)
    ]
    states = [len(kind.states) for kind in kinds]
    flags = [flag for kind in kinds for flag in kind.flags_at_start]
    loads = np.zeros((m + 1, layout.LOADS), dtype=np.int64)
    loads[:m, layout.KIND] = [COMPILED_KINDS.index(load.kind) for load in branch.loads]
    loads[1:, layout.PARAMETER_AT] = np.cumsum([len(row) for row in values])
    loads[:, layout.STATE_AT] = np.cumsum([len(branch.states) - sum(states), *states])
    connector = len(branch.states) - sum(states) - 1 - bool(branch.lead.fuse)
    behind = connector if m == 0 else int(loads[0, layout.STATE_AT]) + inside.BEHIND
    loads[:m, layout.NODE_AT] = [behind if load.behind else connector for load in branch.loads]
    loads[1:, layout.FLAG_AT] = np.cumsum([len(kind.flags_at_start) for kind in kinds])
    return layout.System(
        fixed=fixed,
        settings=settings,
        branch=_numbers(branch),
        fuse=np.log(np.array(branch.lead.fuse or ((1.0, 1.0), (2.0, 1.0)))),
        loads=loads,
        parameters=np.array([value for row in values for value in row], dtype=np.float64),
        flags=np.array(flags, dtype=np.float64),
        scratch=np.zeros((2, max([1, *states]))),
    )


def _discharged(branch: Branch, system: layout.System) -> Array:
    """States (n,) when everything is off, discharged and cold."""
    y = np.zeros(int(system.loads[-1, layout.STATE_AT]))
    y[2 : 3 * len(branch.stages) : 3] = system.fixed[:, layout.OVERSHOOT]
    for load, here, following in zip(branch.loads, system.loads[:-1], system.loads[1:], strict=True):
        own = system.parameters[here[layout.PARAMETER_AT] : following[layout.PARAMETER_AT]].tolist()
        cold = kind_of(load.kind).equation("at_start")(own)
        y[here[layout.STATE_AT] : here[layout.STATE_AT] + len(cold)] = cold
    return y


def _tolerances(branch: Branch, system: layout.System, relative: float) -> Array:
    """Absolute tolerance of each state (n,): a tenth of `relative` of full scale."""
    volts = float(system.fixed[:, layout.VMAX].sum())
    amperes = float(system.fixed[:, layout.IMAX].sum())
    first = int(system.loads[0, layout.STATE_AT])
    connector = first - 1 - bool(branch.lead.fuse)
    absolute = np.full(int(system.loads[-1, layout.STATE_AT]), 0.1 * relative * volts)
    absolute[: 3 * len(branch.stages)] = 0.1 * relative * amperes
    absolute[connector - 1] = 0.1 * relative * amperes
    absolute[connector + 1 : first] = 0.1 * relative
    return absolute


def settled_reference(time: float, settings: Array) -> float:
    """Reference voltage of an output [V], as the compiled equations see it."""
    goal, rate = float(settings[layout.REF_GOAL]), float(settings[layout.REF_RATE])
    value = float(settings[layout.REF_START]) + rate * (time - float(settings[layout.REF_TIME]))
    return min(value, goal) if rate > 0.0 else max(value, goal) if rate < 0.0 else goal


def group_mode(modes: NDArray[np.int8], *, parallel: bool) -> NDArray[np.int8]:
    """Mode of outputs that work together, (n, outputs) -> (n,): by `MODE_PRECEDENCE`."""
    back = np.array(MODE_PRECEDENCE[parallel], dtype=np.int8)
    return np.asarray(back[np.argsort(back)[modes].max(axis=1)], dtype=np.int8)


Pending = tuple[float, int, int, int, float, float]
"""An action to come: time [s], order of asking, output (-1: all), what, value, second value."""


class Saved(NamedTuple):
    """A player's state at an instant, and how much had been recorded by then."""

    arrays: tuple[NDArray[Any], ...]
    pending: tuple[Pending, ...]
    recorded: int
    happened: int


class Player:
    """One branch: its arrays, the actions that are still to come, and what has been recorded."""

    def __init__(
        self, branch: Branch, start: float, relative: float, fine: float, everything: bool = False
    ) -> None:
        self.branch, self.relative, self.fine = branch, relative, fine
        unknown = [load.kind for load in branch.loads if load.kind not in COMPILED_KINDS]
        if unknown:
            raise ValueError(f"load '{unknown[0]}' was announced after the equations had been compiled")
        self.system = _system(branch)
        self.y = _discharged(branch, self.system)
        self.clock = np.zeros(layout.CLOCK)
        self.clock[layout.TIME], self.clock[layout.STEP] = start, STARTING_STEP
        n, m = len(branch.stages), len(branch.loads)
        self.charge = np.zeros(n + m + 1, dtype=np.int64)
        self.charge[n:] = -1
        self.work = work_space(_tolerances(branch, self.system, relative), n + m + 1)
        columns = layout.ROW_OUTPUTS + 3 * n + (self.y.size + m if everything else 0)
        self.rows = np.zeros((_ROOM, columns))
        self.events = np.zeros((_EVENT_ROOM, layout.EVENT))
        self.last = self.rows[0].copy()
        self.pending: list[Pending] = []
        self.recorded: list[Array] = []
        self.happened: list[Array] = []
        self.rested = False

    def feeds_back(self) -> bool:
        """Whether a load drives current out of itself while everything is off, to ask before it is played: it
        then holds the outputs' capacitors at a voltage before anything is switched on.
        """
        system = self.system
        for load, here, following in zip(self.branch.loads, system.loads[:-1], system.loads[1:], strict=True):
            p = system.parameters[here[layout.PARAMETER_AT] : following[layout.PARAMETER_AT]].tolist()
            q = system.flags[here[layout.FLAG_AT] : following[layout.FLAG_AT]].tolist()
            states = self.y[here[layout.STATE_AT] : following[layout.STATE_AT]].tolist()
            if kind_of(load.kind).equation("current")(0.0, 0.0, p, states, q) < 0.0:
                return True
        return False

    def rest(self) -> None:
        """Begin at rest: everything is off and the device has hung on its outputs for some time. Only a load
        that feeds back makes a difference. What happens meanwhile is neither recorded nor told.
        """
        self.rested = self.feeds_back()
        self.system.branch[layout.HELD] = self.rested
        if not self.rested:
            return
        start, stretch = self.time, FIRST_LOOK
        volts = slice(3 * len(self.branch.stages), int(self.system.loads[0, layout.STATE_AT]))
        enough = RESTS * float(self.system.fixed[:, layout.VMAX].sum())
        self.clock[layout.TIME] = start - CONNECTED
        while self.time < start:
            before = self.y[volts].copy()
            self.play(min(self.time + stretch, start), stop_at_trip=False)
            if float(np.abs(self.y[volts] - before).max()) < enough:
                break
            stretch *= 2.0
        self.clock[:] = 0.0
        self.clock[layout.TIME], self.clock[layout.STEP] = start, STARTING_STEP
        self.recorded, self.happened = [], []

    @property
    def time(self) -> float:
        """Simulated time reached [s]."""
        return float(self.clock[layout.TIME])

    def save(self) -> Saved:
        """The present state, to go back to."""
        return Saved(
            tuple(array.copy() for array in self._arrays()),
            tuple(self.pending),
            len(self.recorded),
            len(self.happened),
        )

    def restore(self, saved: Saved) -> None:
        """Go back to a saved state; what has been recorded since is forgotten."""
        for array, value in zip(self._arrays(), saved.arrays, strict=True):
            array[...] = value
        self.pending = list(saved.pending)
        del self.recorded[saved.recorded :]
        del self.happened[saved.happened :]

    def _arrays(self) -> tuple[NDArray[Any], ...]:
        system = self.system
        return (
            self.y, self.clock, self.charge, system.settings, system.flags, system.branch,
            system.parameters,
        )  # fmt: skip

    def play(self, target: float, stop_at_trip: bool) -> bool:
        """Play to the target; True when it stopped early because an output tripped."""
        most = MOST_STEPS + MOST_STEPS_A_SECOND * max(0.0, target - self.time)
        before = self.clock[layout.STEPS]
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
            if self.clock[layout.STEPS] - before > most:
                state = self.branch.states[int(self.clock[layout.WORST])]
                why = f"{most:.0f} steps were not enough, something oscillates; the shortest are for"
                raise SolverError(self.time, str(state), state.element, why)
            if status == FAILURE:
                state = self.branch.states[int(self.clock[layout.WORST])]
                raise SolverError(self.time, str(state), state.element)
            if status in (DONE, STOPPED):
                return status == STOPPED

    def samples(self) -> PlayedSamples:
        """What has been recorded since the last call."""
        rows = np.concatenate(self.recorded) if len(self.recorded) > 1 else self.recorded[0]
        self.recorded = []
        first = layout.ROW_OUTPUTS
        last = first + 3 * len(self.branch.outputs)
        modes = rows[:, first + 2 : last : 3].astype(np.int8)
        states = rows[:, last : last + self.y.size] if rows.shape[1] > last else None
        load_currents = rows[:, last + self.y.size :] if rows.shape[1] > last else None
        outputs = {
            name: (rows[:, first + 3 * j], rows[:, first + 3 * j + 1], modes[:, j])
            for j, name in enumerate(self.branch.outputs)
        }
        return PlayedSamples(
            time=rows[:, layout.ROW_TIME],
            terminal_voltage=rows[:, layout.ROW_TERMINALS],
            voltage=rows[:, layout.ROW_CONNECTOR],
            current=rows[:, layout.ROW_CURRENT],
            mode=group_mode(modes, parallel=self.branch.arrangement == "parallel"),
            outputs=outputs,
            states=states,
            load_currents=load_currents,
        )

    def drain_events(self) -> list[Event]:
        """The events since the last call."""
        found = [self._event(row) for rows in self.happened for row in rows]
        self.happened = []
        return found

    def _event(self, row: Array) -> Event:
        time, what, about = float(row[0]), int(row[1]), int(row[2])
        if what >= layout.EV_LOAD:
            load = kind_of(self.branch.loads[about].kind)
            return _of_load(time, self.branch.name, load.events[what - layout.EV_LOAD], load.name)
        if what >= layout.EV_BLOCKS:
            return Event(time, self.branch.name, _KINDS[what])
        facts, level = Facts(), float(row[3])
        if what in (layout.EV_CC, layout.EV_TRIP_LIMIT):
            facts = Facts(limit=level)
        elif what in (layout.EV_TRIP_OVP, layout.EV_TRIP_OPP, layout.EV_TRIP_OCP):
            facts = Facts(level=level)
        return Event(time, self.branch.outputs[about], _KINDS[what], facts)


def _of_load(time: float, name: str, what: str, load: str) -> Event:
    """An event of a load of the input `name`, as its kind calls it: one that all know, or one of its own."""
    kind = EventKind.of(what)
    return Event(time, name, kind, Facts(load=load), words=what if kind is EventKind.OTHER else "")
