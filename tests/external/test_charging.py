"""Charging a cell against ngspice, on a netlist written by hand: when constant current becomes constant
voltage, when the current has fallen, and how much charge has gone in by then. Rehearsed, and on a twin.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from tests.running.charging import BLEEDS, played, written

from railwright.records.ended import Ended
from railwright.traces import EventKind, Record

NETLIST = Path(__file__).parent / "netlists" / "charging.cir"
ENDS_AT, LASTING = 0.1, 0.2
HOLD = "{until: {current_below: 100 mA, for: 200 ms}, at_most: 60 s}"


class Charged(NamedTuple):
    """When constant current ends, and when the current has been below its bound for so long [s], and the
    charge that has gone in by then [C]; from switching on.
    """

    constant: float
    ends: float
    charge: float


def judged(limit: float, level: float, folder: Path) -> Charged:
    """What ngspice says of these true levels [A, V]."""
    program = shutil.which("ngspice")
    assert program, "ngspice is not installed: scripts/install_tools.sh installs it"
    (folder / "levels.txt").write_text(f".param feeds={limit:.9g} ends={level:.9g}\n", "ascii")
    shutil.copy(NETLIST, folder / NETLIST.name)
    finished = subprocess.run(
        [program, "-b", NETLIST.name], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    assert (folder / "charging.txt").exists(), finished.stdout + finished.stderr
    time, charge, amperes, _ = np.loadtxt(folder / "charging.txt", skiprows=1).T
    constant = time[np.argmax(amperes < 0.9995 * limit)]
    ends = float(np.interp(-ENDS_AT, -amperes[time > 1.0], time[time > 1.0])) + LASTING
    return Charged(float(constant), ends, float(np.interp(ends, time, charge)) - 2.16)


def of_record(record: Record, on: float, ends: float) -> Charged:
    """The same of a record, from traces in which nothing is averaged; on, ends: in its time [s]."""
    traces = record.traces["cell"].closed(on, ends)
    voltage = [e.time for e in record.events if e.kind is EventKind.ENTERS_CV and e.time > on + 1.0]
    charge = float(np.trapezoid(traces.columns["current"], traces.time))
    return Charged(voltage[0] - on, ends - on, charge)


def test_a_cell_is_charged_as_ngspice_says(tmp_path: Path) -> None:
    job = written(tmp_path, hold=HOLD)
    rehearsed = job.check().rehearse().record
    spice = judged(0.4, 4.1, tmp_path)
    assert spice.constant == pytest.approx(10.8, abs=0.01)  # 60 % of 7.2 C at 0.4 A, by hand
    found = of_record(rehearsed, 0.0, rehearsed.spans[1].end)
    assert found == pytest.approx(spice, rel=2e-3)

    done = played(tmp_path / "run", job)
    assert (done.outcome.ended, done.outcomes) == (Ended.COMPLETED, {"pass"})
    assert done.least > BLEEDS
    true = done.truth
    (on,) = [e.time for e in true.events if e.kind is EventKind.ON]
    off = next(e.time for e in true.events if e.kind is EventKind.OFF and e.time > on)
    traces = true.traces["cell"]
    limit = float(np.interp(on + 5.0, traces.time, traces.columns["current"]))
    level = float(np.interp(off - 0.01, traces.time, traces.columns["voltage"]))
    spice = judged(limit, level, tmp_path)
    found = of_record(true, on, off)
    assert found.constant == pytest.approx(spice.constant, abs=0.02)
    assert spice.ends - 0.02 < found.ends < spice.ends + 0.15  # readings of 20 ms every 50 ms, one hand-over
    late = found.ends - spice.ends
    assert found.charge == pytest.approx(spice.charge + ENDS_AT * 0.9 * late, abs=0.01)
