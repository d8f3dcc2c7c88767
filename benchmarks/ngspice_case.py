"""One case of the demo's power-up: our solver against ngspice, at equal error.

The netlist is the one of the tests, written by hand (`tests/external/netlists/power_up.cir`, reltol 1e-6),
run with several largest steps. Errors of the connector's voltage and of the lead's current are taken against
our solver at 1e-10 (which `rehearsal.py` holds against scipy's Radau). ngspice's time at our error is
interpolated in logarithms, or that of its most exact run where none reaches it. Its time is that of one
analysis within a process that does many, output not counted: starting a process for each case would cost
more. The last line is the ratio.

    python -m benchmarks.ngspice_case
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np
from benchmarks.rehearsal import END, PROCEDURE, best, main_circuit, started
from numpy.typing import NDArray

from railwright.documents.loader import load_documents

NETLIST = Path(__file__).parents[1] / "tests" / "external" / "netlists" / "power_up.cir"
MORE = 4
"""Analyses more in the second of two processes, whose difference in time is that of the analyses."""


def netlist(step: float, analyses: int, table: str = "") -> str:
    """The netlist with another largest step [s], so many analyses, and a table of the last, if any."""
    text = NETLIST.read_text(encoding="utf-8")
    head = text[: text.index(".control")]
    again = "\n".join(
        f"tran {step:g} {END:g} 0 {step:g} uic\n{'destroy all' if not table else ''}" for _ in range(analyses)
    )
    written = f"set wr_singlescale\nset wr_vecnames\nwrdata {table} v(con) i(vlead)\n" if table else ""
    return f"{head}.control\n{again}\n{written}.endc\n.end\n"


def run(text: str) -> float:
    """Run ngspice on a netlist; its time [s]."""
    program = shutil.which("ngspice")
    if program is None:
        raise SystemExit("ngspice is not installed: scripts/install_tools.sh installs it")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.cir"
        path.write_text(text, encoding="utf-8")
        begin = time.perf_counter()
        subprocess.run([program, "-b", path], cwd=folder, capture_output=True, check=False, timeout=300)
        return time.perf_counter() - begin


def analysis_time(step: float) -> float:
    """Time of one analysis [s], the start of the process left out."""
    return min(run(netlist(step, 1 + MORE)) - run(netlist(step, 1)) for _ in range(3)) / MORE


def errors(step: float, reference: NDArray[np.float64]) -> float:
    """Largest error of voltage [V] and current [A] against reference (time, voltage, current)."""
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / "table.txt"
        run(netlist(step, 1, str(table)))
        t, voltage, current = np.loadtxt(table, skiprows=1).T
    apart = [
        np.abs(np.interp(t, reference[0], reference[k]) - values).max()
        for k, values in ((1, voltage), (2, current))
    ]
    return float(max(apart))


def main() -> None:
    """Measure and print."""
    assert re.search(r"reltol=1e-6", NETLIST.read_text(encoding="utf-8"))
    circuit = main_circuit(load_documents(PROCEDURE))
    tight = started(circuit, 1e-10).advance(END).samples["main"]
    reference = np.stack([tight.time, tight.voltage, tight.current])
    played = started(circuit).advance(END).samples["main"]
    ours_error = float(
        max(
            np.abs(np.interp(played.time, tight.time, values) - own).max()
            for values, own in ((tight.voltage, played.voltage), (tight.current, played.current))
        )
    )
    ours = best(lambda: started(circuit).advance(END))
    print(f"ours:    {ours * 1e3:8.3f} ms a case, largest error {ours_error:.1e} (V, A)")
    found: list[tuple[float, float]] = []
    for step in (50e-6, 10e-6, 2e-6, 1e-6, 0.5e-6):
        error, theirs = errors(step, reference), analysis_time(step)
        print(f"ngspice: {theirs * 1e3:8.3f} ms a case, largest error {error:.1e} (steps up to {step:g} s)")
        found.append((error, theirs))
        if error <= ours_error:
            break
    at_our_error = found[-1][1]
    if len(found) > 1 and found[-1][0] <= ours_error:
        (coarse, sooner), (finer, later) = found[-2:]
        part = np.log(coarse / ours_error) / np.log(coarse / finer)
        at_our_error = float(np.exp(np.log(sooner) + part * np.log(later / sooner)))
    elif found[-1][0] > ours_error:
        print("ngspice does not reach our error at any of these steps: its most exact run counts")
    print(f"times faster than ngspice, at equal error: {at_our_error / ours:.0f}")


if __name__ == "__main__":
    main()
