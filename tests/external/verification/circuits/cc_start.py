"""CC start into 10 mF."""

from dataclasses import replace

import numpy as np
from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, modes, one
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(SMALL, LeadCircuit(0.05, 1.2e-6), load("capacitor", capacitance="10 mF", esr="20 mohm"))


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=1.0, on=True)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 1.0)
    return Bench("main", [output], 0.05, 1.2e-6, [Capacitor(10e-3, 20e-3)]).solve(0.16, times)


def closed(mine):
    current = np.interp(0.08, mine.time, mine.currents["main: lead"])
    return [Figure("current", current, 1.0 * 10e-3 / (10e-3 + 220e-6), SMALL.current_max)]


CASE = Case(
    title="CC start into 10 mF",
    what="An output set to 12 V with its limit at 1 A charges 10 mF from zero. It exercises the current "
    "loop's response, I = C dV/dt and the way back to CV.",
    circuit=Circuit((MAIN,)),
    until=0.16,
    play=play,
    numbers=usual(MAIN) | {"vset": 12.0, "slew": 2000.0, "ilim": 1.0, "cload": 10e-3, "esr": 20e-3},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout")]),
    closed=closed,
    closed_form="lead current I C / (C + C_o) while the limit holds, C_o being the output's own capacitor",
)
