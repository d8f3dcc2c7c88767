"""One case of the demo's power-up: our solver against scipy's LSODA on the same compiled equations.

Both start from the same circuit (12 V at 2 V/ms, 1 A limit, 1000 µF and a converter) and play 60 ms. LSODA
(through `scipy.integrate.odeint`, its leanest way in) is told the time of every event and gets the compiled
right-hand side and Jacobian. It runs at several tolerances; its time at our error, both against a tight
reference, is interpolated between the two that enclose it (in logarithms). Ours finds the events itself, and
makes the samples that a rehearsal needs. Each time is the best of several. The last line is the ratio.

    python -m benchmarks.rehearsal
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import odeint, solve_ivp

from railwright.compilation import FLOAT, VECTOR, compiled
from railwright.documents.loader import Documents, load_documents
from railwright.documents.output_name import OutputName
from railwright.examples import example
from railwright.physics import equations
from railwright.physics.arrays import SYSTEM
from railwright.physics.circuit import Circuit
from railwright.physics.compiled import compiled_entry
from railwright.physics.layout import AnySystem
from railwright.physics.simulation import Simulation
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Action, Timeline
from railwright.rehearsal.circuit import build_circuit
from railwright.rehearsal.ensemble import EnsemblePlan, plan_ensemble
from railwright.traces import Span

Array = NDArray[np.float64]
PROCEDURE = example() / "power-input.procedure.yaml"
POINTS = OutputSetPoints(OutputName("left.1"), 1.0, "regulate", 0.0, 18.0)
END, REPEATS = 0.06, 20


@compiled
def _keep_regions(t: float, y: Array, system: AnySystem) -> None:
    """Who is in charge of an output changes within a step of scipy's, too."""
    outputs = system.fixed.shape[0]
    regions = np.empty(outputs + system.loads.shape[0], np.int64)
    equations.regions(t, y, regions, system)
    for j in range(outputs):
        equations.keep(regions[j], system.settings[j])


@compiled_entry(FLOAT, VECTOR, SYSTEM)
def right_hand_side(t: float, y: Array, system: AnySystem) -> Array:
    """The branch's equations in the form that scipy calls."""
    dy = np.empty_like(y)
    _keep_regions(t, y, system)
    equations.rhs(t, y, dy, system)
    return dy


@compiled_entry(FLOAT, VECTOR, SYSTEM)
def jacobian(t: float, y: Array, system: AnySystem) -> Array:
    """Their derivatives."""
    out, slope = np.empty((y.size, y.size)), np.empty_like(y)
    _keep_regions(t, y, system)
    equations.jacobian(t, y, out, slope, system)
    return out


def main_circuit(documents: Documents) -> Circuit:
    """The demo's main input alone."""
    feed = Feed("main", "alone", (POINTS,), "silicone pair", "at load")
    return build_circuit(documents, {"main": feed})[0]


def power_up_plan(cases: int) -> EnsemblePlan:
    """So many cases of the demo's first power-up of its main input, 60 ms of it."""
    return _plan("main", Feed("main", "alone", (POINTS,), "silicone pair", "at load"), cases)


def transducer_plan(cases: int) -> EnsemblePlan:
    """The same for its transducer, which is simpler."""
    points = OutputSetPoints(OutputName("right.1"), 0.1, "regulate", 0.0, 32.0)
    return _plan("transducer", Feed("transducer", "alone", (points,), "thin pair", "at terminals"), cases)


def _plan(name: str, feed: Feed, cases: int) -> EnsemblePlan:
    documents = load_documents(PROCEDURE)
    nominal = documents.device.inputs[name].nominal
    actions = (Action(0.0, "on", name), Action(0.0, "line", name, nominal, nominal / 2000.0))
    timeline = Timeline(actions, (Span("first power", "power_up", 0.0, END, (name,)),), END)
    return plan_ensemble(documents, {name: feed}, cases, timeline=timeline, tail=0.0)


def started(circuit: Circuit, relative: float = 1e-5) -> Simulation:
    """The demo's first power-up, not yet advanced."""
    sim = Simulation(circuit, relative=relative)
    sim.set("left.1", current_limit=1.0, ovp=18.0, on=True)
    sim.set("left.1", line=(12.0, 6e-3))
    return sim


def best(function: Callable[[], object]) -> float:
    """Shortest of several runs [s]."""
    function()
    times = []
    for _ in range(REPEATS):
        begin = time.perf_counter()
        function()
        times.append(time.perf_counter() - begin)
    return min(times)


def main() -> None:
    """Measure and print."""
    documents = load_documents(PROCEDURE)
    circuit = main_circuit(documents)
    events = started(circuit, 1e-9).advance(END).events
    start = next(event.time for event in events if event.what == "starts")
    loops = [event.time for event in events if event.what in ("enters CC", "enters CV") and event.time > 0.0]
    corners = sorted([6e-3, *loops, start, start + soft_start(circuit), END])
    sim = started(circuit)
    sim.advance(0.0)
    player = sim.player("main")[0]
    system, y0 = player.system, player.y.copy()

    def pieces(solve: Callable[[float, float, Array], Array]) -> Array:
        """Solve from corner to corner, with the converter's flags as they are in each piece."""
        y, begin = y0, 0.0
        for corner in corners:
            running = begin >= start
            system.flags[:] = (float(running), start, float(running and begin < start + soft_start(circuit)))
            y = solve(begin, corner, y)
            begin = corner
        return y

    samples = started(circuit).advance(END).samples["main"]
    instants, unique = np.unique(samples.time, return_index=True)
    reference = np.empty((instants.size, y0.size))

    def tight(begin: float, end: float, y: Array) -> Array:
        inside = (instants >= begin) & (instants <= end)
        solved = solve_ivp(
            right_hand_side, (begin, end), y, method="Radau", jac=jacobian, args=(system,),
            rtol=1e-11, atol=1e-11, dense_output=True,
        )  # fmt: skip
        reference[inside] = solved.sol(instants[inside]).T
        return np.asarray(solved.y[:, -1])

    def lsoda(relative: float, error: list[float] | None = None) -> Callable[[float, float, Array], Array]:
        def solve(begin: float, end: float, y: Array) -> Array:
            inside = (instants > begin) & (instants < end)
            times = np.concatenate(([begin], instants[inside] if error is not None else [], [end]))
            solved = odeint(
                right_hand_side, y, times, args=(system,), Dfun=jacobian, tfirst=True,
                rtol=relative, atol=relative, mxstep=100_000,
            )  # fmt: skip
            if error is not None and inside.any():
                error.append(float(np.abs(solved[1:-1, 4:6] - reference[inside][:, 4:6]).max()))
            return np.asarray(solved[-1])

        return solve

    pieces(tight)
    played = np.stack([samples.current, samples.voltage], axis=1)[unique]
    ours_error = float(np.abs(played - reference[:, 4:6]).max())
    ours = best(lambda: started(circuit).advance(END))
    print(f"ours:  {ours * 1e3:7.3f} ms a case, largest error {ours_error:.1e} (V, A)")
    found: list[tuple[float, float]] = []
    for exponent in range(4, 11):
        relative = 10.0**-exponent
        errors: list[float] = []
        pieces(lsoda(relative, errors))
        theirs = best(lambda relative=relative: pieces(lsoda(relative)))  # type: ignore[misc]
        print(
            f"LSODA: {theirs * 1e3:7.3f} ms a case, largest error {max(errors):.1e} (tolerance {relative:g})"
        )
        found.append((max(errors), theirs))
        if max(errors) <= ours_error:
            break
    (coarse, sooner), (finer, later) = found[-2:]
    part = np.log(coarse / ours_error) / np.log(coarse / finer)
    at_our_error = float(np.exp(np.log(sooner) + part * np.log(later / sooner)))
    print(
        f"times faster than scipy's LSODA with compiled equations, at equal error: {at_our_error / ours:.1f}"
    )


def soft_start(circuit: Circuit) -> float:
    """Soft start of the converter [s]."""
    (branch,) = circuit.branches
    return next(load.values["soft_start"] for load in branch.loads if load.kind == "converter")


if __name__ == "__main__":
    main()
