"""Recommended settings in ngspice: two sampled cases of each of ten devices, on netlists written by hand.

Each case is one of an ensemble with a seed that had no part in the windows. Nothing trips there either, and
the time in the current limit and the highest voltage at the terminals, on which the windows hang, agree with
ours. With a delay that is shorter than that time, and an OVP below that voltage, the netlists trip.
"""

from __future__ import annotations

import math
import shutil
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest
from benchmarks.windows import SEED
from tests.external.verification.bench import usual
from tests.settings.windows.thirteen import device

from railwright.circuit.case import fixed
from railwright.physics.circuit import Branch, Load
from railwright.physics.loads import filament_lamp
from railwright.plan.timeline import build_timeline
from railwright.rehearsal.circuit import build_circuit, output_errors
from railwright.rehearsal.ensemble import plan_ensemble
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import Mode

HERE = Path(__file__).parent
NETLISTS = HERE / "windows"
OUTPUT = HERE / "verification" / "circuits" / "output.lib"

CASES = (40, 55)
"""Numbers of the cases; the first eight of 64 are corners."""
NOT_USED = 1e9
POWER_UPS = {
    # device: netlist, end [s], largest step [s]
    "tide-gauge": ("converter", 60e-3, 2e-6),
    "small-converter": ("converter", 40e-3, 2e-6),
    "large-converter": ("converter", 80e-3, 2e-6),
    "capacitor-bank": ("capacitor_resistor", 3.2, 100e-6),
    "constant-current": ("constant_current", 200e-3, 10e-6),
    "filament-lamp": ("lamp", 250e-3, 10e-6),
    "dc-motor": ("motor", 250e-3, 10e-6),
    "led-string": ("leds", 40e-3, 2e-6),
    "battery-charger": ("battery", 60e-3, 2e-6),
    "coil": ("coil", 100e-3, 5e-6),
}


def values_of(load: Load) -> list[float]:
    """Parameters of a load in the order of its kind's equations."""
    from railwright.physics.loads import KINDS

    return [*(load.values[name] for name in KINDS[load.kind].parameters), *load.table]


NAMES: Mapping[str, Callable[[Load], dict[str, float]]] = {
    "capacitor": lambda load: {"cload": load.values["capacitance"], "esr": load.values["esr"]},
    "resistor": lambda load: {"rload": load.values["resistance"]},
    "constant_current": lambda load: {"icc": load.values["current"], "vcomp": load.values["compliance"]},
    "converter": lambda load: {
        "pout": load.values["output_power"],
        "eta": load.values["efficiency"],
        "vstart": load.values["starts_at"],
        "vstop": load.values["stops_at"],
        "tsoft": load.values["soft_start"],
    },
    "filament_lamp": lambda load: {
        "vlamp": load.values["rated_voltage"],
        "plamp": load.values["rated_power"],
        "rcold": load.values["cold_resistance"],
        "warmth": filament_lamp.heat_capacity(values_of(load)),
    },
    "dc_motor": lambda load: {
        "rmotor": load.values["resistance"],
        "lmotor": load.values["inductance"],
        "kt": load.values["torque_constant"],
        "jrotor": load.values["inertia"],
        "tfric": load.values["friction"],
        "tload": load.values["load_torque"],
        "bvisc": load.values["viscous_friction"],
    },
    "led_string": lambda load: {
        "nled": load.values["count"],
        "vled": load.values["forward_voltage"],
        "iled": load.values["rated_current"],
        "rled": load.values["series_resistance"],
        "sled": load.values["dynamic_resistance"],
        "ideality": load.values["ideality"],
    },
    "battery": lambda load: {
        "rbat": load.values["series_resistance"],
        "qfull": load.values["capacity"],
        "soc": load.values["state_of_charge"],
        "vd": load.values["diode_drop"],
        "vempty": load.table[-3],
        "vfull": load.table[-1],
    },
    "coil": lambda load: {
        "rcoil": load.values["resistance"],
        "lcoil": load.values["inductance"],
        "vd": load.values["diode_drop"],
        "rd": load.values["diode_resistance"],
    },
}
"""What a load's parameters are called in the netlists."""


def simulate(netlist: str, values: Mapping[str, float], folder: Path) -> np.ndarray:
    """ngspice's table: time, terminals, connector, current, both loops' commands, three trips."""
    program = shutil.which("ngspice")
    assert program, "ngspice is not installed: scripts/install_tools.sh installs it"
    for path in (OUTPUT, NETLISTS / "supply.inc", NETLISTS / f"{netlist}.cir"):
        shutil.copy(path, folder)
    lines = "".join(f".param {name}={value:.15g}\n" for name, value in values.items())
    (folder / "values.inc").write_text(lines, encoding="ascii")
    finished = subprocess.run(
        [program, "-b", f"{netlist}.cir"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert (folder / "result.txt").exists(), finished.stdout + finished.stderr
    table = np.loadtxt(folder / "result.txt", skiprows=1)
    assert table[-1, 0] == pytest.approx(values["tstop"])
    return table.T


def longest(time: np.ndarray, holds: np.ndarray) -> float:
    """The longest time on end for which a condition holds, from its row to the next [s]."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], holds[:-1], [False])).astype(np.int8)))
    return float((time[edges[1::2]] - time[edges[::2]]).max()) if edges.size else 0.0


def figures(branch: Branch, told: Mapping[str, float]) -> dict[str, float]:
    """Every number that a netlist needs."""
    found = {**usual(branch), "weight": float(branch.sense == "load"), **told}
    for load in branch.loads:
        found |= NAMES[load.kind](load)
    return found


@pytest.mark.parametrize("number", CASES)
@pytest.mark.parametrize("name", POWER_UPS)
def test_a_sampled_case_in_ngspice(name: str, number: int, tmp_path: Path) -> None:
    netlist, end, step = POWER_UPS[name]
    found = device(name)
    documents, feed = found.documents, found.settings.set_points["main"]
    plan = plan_ensemble(documents, found.settings.set_points, 64, SEED + 3)
    case = fixed(dict(zip(plan.design.names, plan.design.values(0)[number].tolist(), strict=True)))
    circuit, _ = build_circuit(documents, {"main": feed}, case)
    (branch,), (points,) = circuit.branches, feed.outputs
    errors = output_errors(documents, {"main": feed}, case)[0][points.output]
    timeline = build_timeline(documents.procedure, documents.device)
    line = next(a for a in timeline.actions if a.input == "main" and a.kind == "line")
    stage = branch.stages[0]
    told = {
        "vset": errors.voltage(line.voltage),
        "trise": max(line.over, errors.voltage(line.voltage) / stage.rise),
        "ilim": errors.limit(points.current_limit),
        "tdelay": points.trip_delay if points.at_limit == "trip" else NOT_USED,
        "vovp": points.ovp + errors.ovp_error,
        "tovp": stage.ovp_response,
        "popp": points.opp if math.isfinite(points.opp) else NOT_USED,
        "topp": stage.opp_response,
        "tstop": end,
        "tmax": step,
    }
    time, out, _, current, cv, cc, *trips = simulate(netlist, figures(branch, told), tmp_path)
    ours = rehearse(documents, {"main": feed}, case)
    traces = ours.record.traces["main"].closed(0.0, end)
    assert ours.inputs["main"].tripped is None
    assert all(trip.max() < 0.5 for trip in trips)
    theirs, mine = longest(time, cc < cv), longest(traces.time, traces.columns["mode"] == Mode.CC)
    assert mine == pytest.approx(theirs, rel=0.01, abs=30e-6)
    assert mine < told["tdelay"]
    full = documents.bench.output(points.output).voltage.high
    assert traces.columns["terminal_voltage"].max() == pytest.approx(out.max(), abs=1e-3 * full)
    amperes = 1e-3 * stage.current_max
    assert traces.columns["current"].max() == pytest.approx(current.max(), rel=0.01, abs=amperes)
    assert out.max() < told["vovp"]
    if number == CASES[0]:
        shorter = {"tdelay": 0.97 * theirs} if theirs > 2e-3 else {"vovp": 0.99 * told["vset"]}
        *_, limit, ovp, _ = simulate(netlist, figures(branch, {**told, **shorter}), tmp_path)
        assert (limit if "tdelay" in shorter else ovp).max() > 0.5
