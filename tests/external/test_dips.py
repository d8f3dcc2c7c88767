"""IEC 61000-4-29 dips on the demo bench: edges of the rehearsal against ngspice, on netlists written by hand;
and published figures of standards, each with its source.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from tests.bench import BENCH, PROCEDURE, demo_with
from tests.external.verification.runs import parameters

from railwright.documents.output_name import OutputName
from railwright.documents.standard_figures import package_figures
from railwright.documents.standard_tests import pieces_of
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Action, Timeline
from railwright.rehearsal.circuit import build_circuit
from railwright.rehearsal.generator import SETTLE, edges_into_load
from railwright.rehearsal.playback import asked_edges
from railwright.rehearsal.rehearse import rehearse
from railwright.waveforms.deviation import Asked, edge

NETLISTS = Path(__file__).parent / "netlists"
MAIN = Feed(
    "main",
    "alone",
    (OutputSetPoints(OutputName("left.1"), 1.0, "regulate", 0.0, 18.0),),
    "silicone pair",
    "at load",
)
DIP = "input: main, standard: IEC 61000-4-29 dip, level: 70 %, duration: 40 ms"
AT, BACK, END = 60e-3, 100e-3, 140e-3


def documents(folder, rise="12 ms"):
    """The demo with a dip of 40 ms (a duration that the standard leaves open), another rise, and a
    programmable slew above it: the netlists have the output's own rise and fall only.
    """
    return demo_with(
        folder,
        (PROCEDURE, "  - shape:\n", f"  - shape: {{{DIP}}}\n  - hold: 1 s\n  - shape:\n"),
        (BENCH, "rise: 12 ms ", f"rise: {rise} "),
        (BENCH, "slew: 1 V/s .. 2.4 V/ms ", "slew: 1 V/s .. 24 V/ms "),
    )


def spice(folder, netlist, rise):
    """Time [s], terminals and connector [V] of a netlist with another rise of the output [V/s]."""
    text = (NETLISTS / netlist).read_text("ascii")
    library = (NETLISTS / "../verification/circuits/output.lib").resolve()
    text = text.replace("../verification/circuits/output.lib", str(library))
    text = re.sub(r"(?m)^\.param rise=\S+", f".param rise={rise!r}", text)
    (folder / "run.cir").write_text(text, "ascii")
    program = shutil.which("ngspice")
    assert program, "ngspice is not installed: scripts/install_tools.sh installs it"
    finished = subprocess.run(
        [program, "-b", "run.cir"], cwd=folder, capture_output=True, text=True, timeout=240, check=False
    )
    assert (folder / "result.txt").exists(), finished.stdout + finished.stderr
    table = np.loadtxt(folder / "result.txt", skiprows=1)
    assert table[-1, 0] == pytest.approx(END)
    return table.T


def theirs(time, voltage):
    """The two edges of the dip, by the definitions of `waveforms.deviation` on ngspice's own rows."""
    asked = (Asked(AT, 12.0, 8.4, 0.0, BACK), Asked(BACK, 8.4, 12.0, 0.0, END))
    return [edge(each, time, voltage) for each in asked]


def stage_of(made):
    circuit, _ = build_circuit(made, {"main": MAIN})
    return circuit.branches[0]


@pytest.mark.parametrize("netlist", ["dip_device.cir", "dip_100_ohm.cir"])
def test_the_netlists_hold_the_demos_figures(tmp_path, netlist):
    branch = stage_of(documents(tmp_path))
    stage, lead = branch.stages[0], branch.lead
    expected = {
        "vnom": 12.0,
        "vdip": 0.7 * 12.0,
        "slew": 2000.0,
        "at": AT,
        "back": BACK,
        "rise": stage.rise,
        "fall": stage.fall,
        "plim": stage.power,
        "cout": stage.capacitance,
        "rbleed": stage.bleeder,
        "lag": stage.lag,
        "kp": stage.k_p,
        "ki": stage.k_i,
        "kc": stage.k_c,
        "over": stage.overshoot,
        "sink": stage.sink,
        "vdiode": stage.diode_drop,
        "rdiode": stage.diode_resistance,
        "ilim": 1.0,
        "rlead": lead.resistance,
        "llead": lead.inductance,
        "cnode": branch.node_capacitance,
    }
    if netlist == "dip_device.cir":
        capacitor, converter = branch.loads
        expected |= {
            "cload": capacitor.values["capacitance"],
            "esr": capacitor.values["esr"],
            "tsoft": converter.values["soft_start"],
        }
    else:
        expected["rload"] = package_figures()["IEC 61000-4-29"].value("verification load", "ohm")
    written = parameters(NETLISTS / netlist)
    assert set(written) == set(expected)
    for name, value in expected.items():
        assert written[name] == pytest.approx(value, rel=1e-9), name


@pytest.mark.parametrize("rise", ["12 ms", "4 ms"])
def test_a_dip_on_the_device_has_the_edges_that_ngspice_finds(tmp_path, rise):
    made = documents(tmp_path, rise)
    actions = (
        Action(0.0, "on", "main"),
        Action(0.0, "line", "main", 12.0, 6e-3),
        Action(AT, "line", "main", 0.7 * 12.0),
        Action(BACK, "line", "main", 12.0),
    )
    timeline = Timeline(actions, (), END)
    traces = rehearse(made, {"main": MAIN}, timeline=timeline, tail=0.0).record.traces["main"]
    ours = [edge(e, traces.time, traces.columns["voltage"]) for e in asked_edges(actions[2:], 12.0, END)]
    columns = spice(tmp_path, "dip_device.cir", stage_of(made).stages[0].rise)
    compare(ours, theirs(columns[0], columns[2]))
    difference = np.interp(traces.time, columns[0], columns[2]) - traces.columns["voltage"]
    assert np.abs(difference).max() < 1e-3 * 36.0


@pytest.mark.parametrize("rise", ["12 ms", "4 ms"])
def test_into_100_ohm_a_dip_has_the_edges_that_ngspice_finds(tmp_path, rise):
    made = documents(tmp_path, rise)
    shape = made.procedure.steps[3].shape
    ours = edges_into_load(made, MAIN, pieces_of(made.procedure, made.device, shape, "main"), 12.0, 100.0)
    assert [e.asked.time for e in ours] == pytest.approx([SETTLE, SETTLE + 40e-3])
    columns = spice(tmp_path, "dip_100_ohm.cir", stage_of(made).stages[0].rise)
    down, up = compare(ours, theirs(columns[0], columns[1]))
    # What the standard asks for, 1 µs to 50 µs, is missed by a factor of 5 and more.
    assert min(down, up) > 5 * 50e-6


def compare(ours, theirs):
    """Durations within 1 %, both; returns ours [s]."""
    assert len(ours) == len(theirs) == 2
    for mine, other in zip(ours, theirs, strict=True):
        assert mine.duration == pytest.approx(other.duration, rel=0.01)
        assert mine.late == pytest.approx(other.late, rel=0.01)
        assert mine.overshoot == pytest.approx(other.overshoot, abs=1e-3)
        assert mine.error == pytest.approx(other.error, abs=2e-3)
    return [mine.duration for mine in ours]
