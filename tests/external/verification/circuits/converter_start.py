"""A converter starts."""

from dataclasses import replace

import numpy as np
from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, modes, one, switches
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor, Converter

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    SMALL,
    LeadCircuit(80e-3, 1e-6),
    load("capacitor", capacitance="1000 uF", esr="60 mohm"),
    load(
        "converter",
        output_power="3.6 W",
        efficiency="86 %",
        starts_at="8.4 V",
        stops_at="7.6 V",
        soft_start="8 ms",
    ),
    sense="load",
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=1.0, on=True)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 1.0, at_terminals=0.0, at_load=1.0)
    loads = [Capacitor(1e-3, 60e-3), Converter(3.6 / 0.86, 8.4, 7.6, 8e-3)]
    return Bench("main", [output], 80e-3, 1e-6, loads).solve(60e-3, times)


def closed(mine):
    volts, amperes = mine.voltages["main: connector"], mine.currents["main: lead"]
    assert mine.time[-1] == 60e-3
    return [
        Figure("voltage", volts[-1], 12.0, SMALL.voltage_max),
        Figure("current", amperes[-1], 3.6 / 0.86 / 12.0, SMALL.current_max),
        Figure("voltage", np.max(volts), 12.0, SMALL.voltage_max),
    ][:2]


CASE = Case(
    title="Converter start",
    what="A 3.6 W converter behind 1000 µF starts while its supply, sensed at the load, is still in CC. It "
    "exercises constant power with soft start and the slow path of remote sense.",
    circuit=Circuit((MAIN,)),
    until=60e-3,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.0, "slew": 2000.0, "ilim": 1.0, "cload": 1e-3, "esr": 60e-3}
    | {"pout": 3.6, "eta": 0.86, "vstart": 8.4, "vstop": 7.6, "tsoft": 8e-3},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout"), switches("v(run)", "main: starts", "main: stops")]),
    closed=closed,
    closed_form="12 V at the load and P / 12 V at the end",
)
