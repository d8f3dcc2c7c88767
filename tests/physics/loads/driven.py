"""A load at an output, and what the solver says of it: for comparison with equations written here once more.

The judges take the connector voltage that the solver found as given, and solve the load's own equations with
scipy (Radau, tolerance 1e-10).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from railwright.physics.circuit import Branch, Circuit, Lead, Load
from railwright.physics.loads import KINDS
from railwright.physics.output_stage import OutputFigures, derive_output_stage
from railwright.physics.simulation import Simulation
from railwright.traces import Event

STAGE, _ = derive_output_stage(
    OutputFigures(40.0, 20.0, rise=5e-3, output_capacitance=200e-6, sink_current=10.0, limit_response=200e-6)
)
Array = NDArray[np.float64]


def load_of(kind: str, **given: object) -> Load:
    """A load from what a document says of it, at nominal values."""
    parameters = KINDS[kind].model(**given)
    values, _ = parameters.floats(lambda name, value: value.nominal)
    return Load(kind, values, parameters.table())


def p_of(load: Load) -> list[float]:
    """The parameters as the equations see them."""
    return [*(load.values[name] for name in KINDS[load.kind].parameters), *load.table]


def bench(*loads: Load, resistance: float = 0.05, everything: bool = True, **more: object) -> Simulation:
    """A simulation with one output, much finer than it need be."""
    branch = Branch("main", ("out",), (STAGE,), Lead(resistance, 1e-6), loads, **more)  # type: ignore[arg-type]
    return Simulation(Circuit((branch,)), relative=1e-8, fine=1e-6, everything=everything)


@dataclass(frozen=True, eq=False)
class Run:
    """Time [s], connector voltage [V] with its sign at the load, current into the first load [A], its states
    (n, states), and the events.
    """

    load: Load
    time: Array
    volts: Array
    amperes: Array
    states: Array
    events: tuple[Event, ...]

    def times(self, what: str) -> list[float]:
        """When something happened [s]."""
        return [event.time for event in self.events if event.what == what]

    def at(self, when: float, values: Array) -> float:
        """A value at a time."""
        return float(np.interp(when, self.time, values))

    def solved(self, rhs: Callable[[float, float, Array], list[float]], start: list[float]) -> Array:
        """Own equations rhs(t, v, y) along the connector voltage, at the solver's times (n, states)."""
        times = np.unique(self.time)
        solution = solve_ivp(
            lambda t, y: rhs(t, float(np.interp(t, self.time, self.volts)), y),
            (times[0], times[-1]),
            start,
            method="Radau",
            t_eval=times,
            rtol=1e-10,
            atol=1e-10,
        )
        assert solution.success, solution.message
        places = np.searchsorted(times, self.time)
        return np.asarray(solution.y.T[places])

    def energies(self, delivered: Array | None = None) -> tuple[float, float]:
        """What flowed in, and the change of what is stored with what became heat or was delivered [J]."""
        equations, p = KINDS[self.load.kind].equations, p_of(self.load)
        flags = list(KINDS[self.load.kind].flags_at_start)
        rows = list(zip(self.volts, self.time, self.states, strict=True))
        heat = [KINDS[self.load.kind].heat(v, t, p, y, flags) for v, t, y in rows]
        store = KINDS[self.load.kind].equation("stored")
        assert equations.__name__.startswith("railwright.physics.loads.")
        change = store(p, self.states[-1]) - store(p, self.states[0])
        out = np.asarray(heat) + (delivered if delivered is not None else 0.0)
        flowed = np.trapezoid(self.volts * self.amperes, self.time)
        return float(flowed), float(change + np.trapezoid(out, self.time))


def run(sim: Simulation, until: float) -> Run:
    """Play to a time, and look at the first load."""
    branch = sim.circuit.branches[0]
    advance = sim.advance(until)
    samples = advance.samples["main"]
    assert samples.states is not None
    assert samples.load_currents is not None
    own = [number for number, name in enumerate(branch.states) if "load 1 (" in name.quantity]
    sign = -1.0 if branch.reversed_lead else 1.0
    return Run(
        branch.loads[0],
        samples.time,
        sign * samples.voltage,
        samples.load_currents[:, 0],
        samples.states[:, own],
        advance.events,
    )


def at_voltage(load: Load, volts: float, until: float, *beside: Load, limit: float = 20.0) -> Run:
    """A load whose supply is switched on at 0 s; a negative voltage: with its lead reversed."""
    sim = bench(load, *beside, reversed_lead=volts < 0.0)
    sim.set("out", voltage=abs(volts), current_limit=limit, on=True)
    return run(sim, until)
