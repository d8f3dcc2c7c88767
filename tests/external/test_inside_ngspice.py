"""Diode, choke and capacitor inside a device against ngspice (reltol 1e-6), on a netlist written by hand.

Each is played at an output of ours, up, down to half, and up; ngspice is given the connector voltage that
came of it, and says what current flows and what stands behind.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from tests.physics.loads.driven import STAGE, Array

from railwright.physics.circuit import Branch, Circuit, LeadCircuit, Load
from railwright.physics.loads import inside
from railwright.physics.simulation import Simulation

NETLIST = Path(__file__).parent / "netlists" / "inside.cir"
NO_FUSE = 0.0


def between(resistance: float, inductance: float, drop: float) -> Load:
    """A diode, with a choke or without."""
    values = {"resistance": resistance, "inductance": inductance, "drop": drop}
    return Load(inside.NAME, values, (1.0, NO_FUSE))


DEVICES = {
    "filter": (
        between(0.05, 100e-6, 0.4),
        Load("capacitor", {"capacitance": 470e-6, "esr": 0.04}, behind=True),
        Load("resistor", {"resistance": 24.0}, behind=True),
    ),
    "plain": (
        between(0.08, 0.0, 0.7),
        Load("capacitor", {"capacitance": 220e-6, "esr": 0.06}, behind=True),
        Load("resistor", {"resistance": 12.0}, behind=True),
    ),
}


class Played(NamedTuple):
    time: Array
    connector: Array
    through: Array
    behind: Array
    blocked: int


def play(loads: tuple[Load, ...]) -> Played:
    branch = Branch("main", ("out",), (STAGE,), LeadCircuit(0.05, 1e-6), loads)
    simulation = Simulation(Circuit((branch,)), relative=1e-7, fine=1e-4, everything=True)
    simulation.set("out", current_limit=6.0, voltage=12.0, rise=4e3, on=True)
    simulation.set("out", voltage=6.0, at=6e-3)
    simulation.set("out", voltage=12.0, rise=1e4, at=11e-3)
    done = simulation.advance(14e-3)
    samples = done.samples["main"]
    assert samples.states is not None
    assert samples.load_currents is not None
    states = len(samples.states[0]) - 1 - 3  # those of the capacitor, and of what lies inside, come last
    return Played(
        samples.time,
        samples.voltage,
        samples.load_currents[:, 0],
        samples.states[:, states + inside.BEHIND],
        sum("blocks" in event.what for event in done.events),
    )


@pytest.fixture(scope="module")
def ours() -> dict[str, Played]:
    return {name: play(loads) for name, loads in DEVICES.items()}


@pytest.fixture(scope="module")
def spice(ours: dict[str, Played], tmp_path_factory: pytest.TempPathFactory) -> Array:
    """Rows: time; of each device the current through, and the voltage behind."""
    program = shutil.which("ngspice")
    assert program, "ngspice is not installed: scripts/install_tools.sh installs it"
    folder = tmp_path_factory.mktemp("ngspice")
    sources = []
    for name, run in ours.items():
        keep = np.concatenate([[0], 1 + np.flatnonzero(np.diff(run.time) > 1e-10)])
        pairs = "\n+ ".join(
            f"{t:.12g} {v:.12g}" for t, v in zip(run.time[keep], run.connector[keep], strict=True)
        )
        sources.append(f"V{name} {name} 0 PWL(\n+ {pairs})")
    (folder / "drive.txt").write_text("\n".join([*sources, ""]), encoding="ascii")
    shutil.copy(NETLIST, folder / NETLIST.name)
    done = subprocess.run(
        [program, "-b", NETLIST.name], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    assert (folder / "inside.txt").exists(), done.stdout + done.stderr
    table = np.loadtxt(folder / "inside.txt", skiprows=1)
    assert table[-1, 0] == pytest.approx(14e-3)
    return table.T


@pytest.mark.parametrize(("name", "column"), [("filter", 1), ("plain", 3)])
def test_current_and_voltage_behind_agree(
    ours: dict[str, Played], spice: Array, name: str, column: int
) -> None:
    run = ours[name]
    assert run.blocked, "on the way down"
    amperes = np.interp(run.time, spice[0], spice[column])
    volts = np.interp(run.time, spice[0], spice[column + 1])
    peak = float(np.abs(amperes).max())
    assert np.abs(run.through - amperes).max() < 1e-3 * peak
    assert np.abs(run.behind - volts).max() < 1e-3
