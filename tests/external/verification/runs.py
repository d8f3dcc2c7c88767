"""The three computations of a circuit: ours, ngspice's, scipy's."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from tests.external.verification.case import CIRCUITS, Case
from tests.external.verification.result import Result, energies_of

from railwright.physics.simulation import Simulation

SCALES = {"": 1.0, "t": 1e12, "g": 1e9, "meg": 1e6, "k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}


def ours(case: Case) -> Result:
    """Railwright's rehearsal, at the tolerances that it has when nobody says anything."""
    sim = Simulation(case.circuit)
    case.play(sim)
    scheduled = {
        action[0] for branch in case.circuit.branches for action in sim.player(branch.name)[0].pending
    }
    advance = sim.advance(case.until)
    voltages, currents, energies = {}, {}, {}
    bases = []
    for branch in case.circuit.branches:
        samples = advance.samples[branch.name]
        bases.append(samples.time)
        energies |= energies_of(
            branch.name, samples.time, samples.terminal_voltage, samples.voltage, samples.current
        )
    time = bases[0] if len(bases) == 1 else np.unique(np.concatenate(bases))
    for branch in case.circuit.branches:
        samples = advance.samples[branch.name]

        def at(values, samples=samples):  # type: ignore[no-untyped-def]
            return values if samples.time is time else np.interp(time, samples.time, values)

        voltages[f"{branch.name}: terminals"] = at(samples.terminal_voltage)
        voltages[f"{branch.name}: connector"] = at(samples.voltage)
        currents[f"{branch.name}: lead"] = at(samples.current)
        for output in branch.outputs if len(branch.outputs) > 1 else ():
            own, through, _ = samples.output(output)
            if branch.arrangement == "parallel":
                currents[output] = at(through)
            else:
                voltages[output] = at(own)
    events = tuple((f"{e.subject}: {e.what}", e.time) for e in advance.events if e.time > 0.0)
    return Result(time, voltages, currents, events, energies, tuple(sorted(scheduled)))


def number(text: str) -> float:
    """A number as SPICE writes it, with its scale letter."""
    match = re.fullmatch(r"([-+]?[.\d]+(?:e[-+]?\d+)?)(t|g|meg|k|m|u|n|p|)", text.lower())
    assert match, text
    return float(match[1]) * SCALES[match[2]]


def parameters(path: Path) -> dict[str, float]:
    """Every number of a netlist's .param lines, and of those of the files that it includes; what is worked
    out in braces is left out.
    """
    found = {}
    for line in path.read_text("ascii").splitlines():
        if match := re.match(r"\.include (\S+)", line):
            found |= parameters(path.parent / match[1])
        elif line.startswith(".param"):
            for name, text in re.findall(r"(\w+)=(\{[^}]*\}|\S+)", line):
                if not text.startswith("{"):
                    found[name] = number(text)
    return found


def spice(case: Case) -> Result:
    """The netlist, run by ngspice."""
    program = shutil.which("ngspice")
    if not program:
        raise RuntimeError("ngspice is not installed: scripts/install_tools.sh installs it")
    with tempfile.TemporaryDirectory() as folder:
        for path in (*CIRCUITS.glob("*.lib"), case.netlist):
            shutil.copy(path, folder)
        finished = subprocess.run(
            [program, "-b", case.netlist.name],
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        file = Path(folder) / "result.txt"
        if not file.exists():
            raise RuntimeError(f"ngspice on {case.netlist.name}:\n{finished.stdout}{finished.stderr}")
        with file.open(encoding="ascii") as stream:
            names = stream.readline().split()
            table = np.fromstring(stream.read(), sep=" ").reshape(-1, len(names)).T
    if abs(table[0, -1] - case.until) > 1e-9 * case.until:
        raise RuntimeError(f"ngspice on {case.netlist.name} ended at {table[0, -1]} s:\n{finished.stderr}")
    columns = dict(zip(names, table, strict=True))
    time = table[0]
    events = []
    for mark in case.spice.marks:
        values = mark.number(columns)
        valid = np.ones(time.size, dtype=bool) if mark.during is None else mark.during(columns) > 0.0
        above = values > 0.0
        for k in np.flatnonzero(above[1:] != above[:-1]):
            what = mark.up if above[k + 1] else mark.down
            if what is None or not (valid[k] and valid[k + 1]) or time[k] < 1e-8:
                continue
            part = -values[k] / (values[k + 1] - values[k])
            events.append((what, float(time[k] + part * (time[k + 1] - time[k]))))
    voltages = {name: columns[column] for name, column in case.spice.voltages.items()}
    currents = {name: columns[column] for name, column in case.spice.currents.items()}
    energies: dict[str, float] = {}
    for branch in case.circuit.branches:
        name = branch.name
        energies |= energies_of(
            name,
            time,
            voltages[f"{name}: terminals"],
            voltages[f"{name}: connector"],
            currents[f"{name}: lead"],
        )
    return Result(time, voltages, currents, tuple(sorted(events, key=lambda each: each[1])), energies)
