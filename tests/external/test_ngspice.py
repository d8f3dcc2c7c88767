"""The demo's first power-up against ngspice (reltol 1e-6), on a netlist written by hand from the
equations.
"""

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from railwright.documents.output_name import OutputName
from railwright.physics.output_stage import OutputStage
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.rehearsal.circuit import build_circuit
from railwright.rehearsal.rehearse import rehearse
from railwright.traces import Mode

NETLIST = Path(__file__).parent / "netlists" / "power_up.cir"
MAIN = Feed(
    "main",
    "alone",
    (OutputSetPoints(OutputName("left.1"), 1.0, "regulate", 0.0, 18.0),),
    "silicone pair",
    "at load",
)


@pytest.fixture(scope="module")
def spice(tmp_path_factory):
    """Columns of ngspice's run: time, terminals, connector, current, both loops' commands, converter
    running.
    """
    program = shutil.which("ngspice")
    assert program, "ngspice is not installed: scripts/install_tools.sh installs it"
    folder = tmp_path_factory.mktemp("ngspice")
    finished = subprocess.run(
        [program, "-b", str(NETLIST)], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    assert (folder / "result.txt").exists(), finished.stdout + finished.stderr
    table = np.loadtxt(folder / "result.txt", skiprows=1)
    assert table[-1, 0] == pytest.approx(60e-3)
    return table.T


@pytest.fixture(scope="module")
def ours(documents):
    return rehearse(documents, {"main": MAIN})


def number(text):
    """A number as SPICE writes it, with its scale letter."""
    scales = {"": 1.0, "u": 1e-6, "m": 1e-3, "n": 1e-9, "k": 1e3}
    match = re.fullmatch(r"([-+.\de]+?)([umnk]?)", text)
    return float(match[1]) * scales[match[2]]


def test_the_netlist_holds_the_demos_figures(documents):
    text = NETLIST.read_text()
    written = {name: number(value) for name, value in re.findall(r"(\w+)=([-+.\de]+[umnk]?)(?=\s)", text)}
    circuit, _ = build_circuit(documents, {"main": MAIN})
    (branch,) = circuit.branches
    stage: OutputStage = branch.stages[0]
    expected = {
        "plim": stage.power,
        "cout": stage.capacitance,
        "rbleed": stage.bleeder,
        "lag": stage.lag,
        "kp": stage.k_p,
        "ki": stage.k_i,
        "kc": stage.k_c,
        "over": stage.overshoot,
        "rlead": branch.lead.resistance,
        "llead": branch.lead.inductance,
        "cnode": branch.node_capacitance,
        "cload": branch.loads[0].values["capacitance"],
        "esr": branch.loads[0].values["esr"],
        "tsoft": branch.loads[1].values["soft_start"],
        "ilim": 1.0,
        "vset": 12.0,
    }
    for name, value in expected.items():
        assert written[name] == pytest.approx(value, rel=1e-9), name
    assert documents.procedure.steps[0].power_up.rise == 2000.0


def test_inrush_peak_agrees_within_one_percent(spice, ours):
    time, current = spice[0], spice[3]
    assert ours.inputs["main"].inrush_peak == pytest.approx(current.max(), rel=0.01)
    assert (
        ours.inputs["main"].peak_current > 1.0
    )  # the peak lies above the limit, before the limit has responded
    traces = ours.record.traces["main"].between(0.0, 0.06)
    assert traces.time[traces.columns["current"].argmax()] == pytest.approx(time[current.argmax()], abs=5e-6)


def test_time_in_current_limit_agrees_within_one_percent(spice, ours):
    limited = spice[5] < spice[4]
    theirs = float(np.diff(spice[0])[limited[:-1]].sum())
    traces = ours.record.traces["main"].between(0.0, 0.06)
    mine = float(np.diff(traces.time)[traces.columns["mode"][:-1] == Mode.CC].sum())
    assert theirs > 5e-3
    assert mine == pytest.approx(theirs, rel=0.01)


def test_the_converter_starts_at_the_same_time(spice, ours):
    theirs = spice[0][np.argmax(spice[6] > 0.5)]
    mine = next(event.time for event in ours.record.events if event.what == "starts")
    assert mine == pytest.approx(theirs, abs=10e-6)


def test_steady_values_agree_within_one_percent(spice, ours):
    traces = ours.record.traces["main"]
    at = {name: np.interp(0.06, traces.time, values) for name, values in traces.columns.items()}
    assert at["terminal_voltage"] == pytest.approx(spice[1][-1], rel=1e-4)
    assert at["voltage"] == pytest.approx(spice[2][-1], rel=1e-4)
    assert at["current"] == pytest.approx(spice[3][-1], rel=1e-3)


def test_whole_traces_agree_within_a_thousandth_of_full_scale(spice, ours):
    traces = ours.record.traces["main"].between(0.0, 0.06)
    for column, mine, full_scale in (
        (1, "terminal_voltage", 36.0),
        (2, "voltage", 36.0),
        (3, "current", 2.5),
    ):
        error = np.abs(np.interp(traces.time, spice[0], spice[column]) - traces.columns[mine])
        assert error.max() < 1e-3 * full_scale, mine
