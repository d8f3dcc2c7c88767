"""Motor, lamp and LED string against ngspice (reltol 1e-6), on a netlist written by hand.

Each is played at an output of ours; ngspice is given the connector voltage that came of it, and says what
current flows. Its LEDs are its own diode model.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from tests.physics.loads.driven import Run, at_voltage, load_of, p_of

from railwright.physics.loads import filament_lamp

NETLIST = Path(__file__).parent / "netlists" / "loads.cir"
GIVEN = {
    "dc_motor": {
        "resistance": "0.8 ohm",
        "inductance": "1.5 mH",
        "torque_constant": "30 mN*m/A",
        "inertia": "400 g*cm2",
        "friction": "3 mN*m",
        "viscous_friction": "2 uN*m*s",
        "load_torque": "20 mN*m",
    },
    "filament_lamp": {
        "rated_voltage": "12 V",
        "rated_power": "24 W",
        "cold_resistance": "0.5 ohm",
        "warm_up": "60 ms",
    },
    "led_string": {
        "count": "4",
        "forward_voltage": "3.1 V",
        "rated_current": "20 mA",
        "series_resistance": "330 ohm",
        "dynamic_resistance": "12 ohm",
        "ideality": "2",
    },
}
VOLTS = {"dc_motor": 12.0, "filament_lamp": 12.0, "led_string": 24.0}


@pytest.fixture(scope="module")
def ours() -> dict[str, Run]:
    return {kind: at_voltage(load_of(kind, **given), VOLTS[kind], 0.1) for kind, given in GIVEN.items()}


@pytest.fixture(scope="module")
def spice(ours, tmp_path_factory):
    """Columns: time, current of the motor, its speed, current of the lamp, its warmth, current of LEDs."""
    program = shutil.which("ngspice")
    assert program, "ngspice is not installed: scripts/install_tools.sh installs it"
    folder = tmp_path_factory.mktemp("ngspice")
    sources = []
    for kind, name in (("dc_motor", "motor"), ("filament_lamp", "lamp"), ("led_string", "led")):
        run = ours[kind]
        keep = np.concatenate([[0], 1 + np.flatnonzero(np.diff(run.time) > 1e-9)])
        pairs = "\n+ ".join(
            f"{t:.12g} {v:.12g}" for t, v in zip(run.time[keep], run.volts[keep], strict=True)
        )
        sources.append(f"V{name} {name} 0 PWL(\n+ {pairs})")
    warmth = filament_lamp.heat_capacity(p_of(ours["filament_lamp"].load))
    text = "\n".join([*sources, f".param warmth={warmth:.12g}", ""])
    (folder / "drive.txt").write_text(text, encoding="ascii")
    shutil.copy(NETLIST, folder / NETLIST.name)
    finished = subprocess.run(
        [program, "-b", NETLIST.name], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    assert (folder / "loads.txt").exists(), finished.stdout + finished.stderr
    table = np.loadtxt(folder / "loads.txt", skiprows=1)
    assert table[-1, 0] == pytest.approx(0.1)
    return table.T


@pytest.mark.parametrize(
    ("kind", "column", "state", "allowed"),
    [("dc_motor", 1, 2, 2e-3), ("filament_lamp", 3, 4, 2e-3), ("led_string", 5, None, 1e-4)],
)
def test_currents_and_states_agree(ours, spice, kind, column, state, allowed):
    run = ours[kind]
    amperes = np.interp(run.time, spice[0], -spice[column])  # ngspice counts into a source
    assert np.abs(run.amperes - amperes).max() < allowed * np.abs(amperes).max()
    if state is not None:
        own = run.states[:, 1] if kind == "dc_motor" else run.states[:, 0] - 293.15
        theirs = np.interp(run.time, spice[0], spice[state])
        assert np.abs(own - theirs).max() < allowed * np.abs(theirs).max()
