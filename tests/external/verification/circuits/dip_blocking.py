"""Dip with reverse blocking."""

import numpy as np
from tests.external.verification.bench import LARGE, alone, load, usual
from tests.external.verification.case import Case, Figure, Spice, modes, switches
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor, ConstantCurrent

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    LARGE,
    LeadCircuit(50e-3, 1.2e-6, diode=0.4),
    load("capacitor", capacitance="2200 uF", esr="30 mohm"),
    load("constant_current", current="0.5 A", compliance="1 V"),
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=4.0, on=True)
    sim.set("out", at=30e-3, line=(6.0, 1e-3))
    sim.set("out", at=45e-3, line=(12.0, 1e-3))


def judge(times):
    corners = [(0.0, 0.0), (6e-3, 12.0), (30e-3, 12.0), (31e-3, 6.0), (45e-3, 6.0), (46e-3, 12.0)]
    loads = [Capacitor(2200e-6, 30e-3), ConstantCurrent(0.5, 1.0)]
    return Bench("main", [Output("out", LARGE, corners, 4.0)], 50e-3, 1.2e-6, loads, diode=0.4).solve(
        60e-3, times
    )


def closed(mine):
    at = np.interp([34e-3, 44e-3], mine.time, mine.voltages["main: connector"])
    return [Figure("voltage", at[0] - at[1], 0.5 * 10e-3 / (2200e-6 + 10e-9), LARGE.voltage_max)]


CASE = Case(
    title="Dip with reverse blocking",
    what="A supply dips from 12 V to 6 V for 15 ms while a diode in the lead keeps 2200 µF from flowing "
    "back. It exercises the diode's two conditions, an output that sinks, and hold-up from a "
    "capacitor.",
    circuit=Circuit((MAIN,)),
    until=60e-3,
    play=play,
    numbers=usual(MAIN)
    | {"ilim": 4.0, "cload": 2200e-6, "esr": 30e-3, "vf": 0.4, "iload": 0.5, "vcomp": 1.0},
    judge=judge,
    spice=Spice(
        {"main: terminals": "v(out)", "main: connector": "v(con)"},
        {"main: lead": "v(il)"},
        [modes("out", "xout"), switches("v(closed)", "main: diode conducts", "main: diode blocks")],
    ),
    closed=closed,
    closed_form="I t / C in 10 ms of the dip",
)
