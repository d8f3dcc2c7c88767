"""An output at its power limit."""

import math
from dataclasses import replace

import numpy as np
from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, Mark, one
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor, Resistor

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    SMALL,
    LeadCircuit(50e-3, 1.2e-6),
    load("resistor", resistance="10 ohm"),
    load("capacitor", capacitance="100 uF", esr="60 mohm"),
)


def play(sim):
    sim.set("out", voltage=36.0, rise=2000.0, current_limit=2.5, on=True)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (18e-3, 36.0)], 2.5)
    loads = [Resistor(10.0), Capacitor(100e-6, 60e-3)]
    return Bench("main", [output], 50e-3, 1.2e-6, loads).solve(50e-3, times)


def closed(mine):
    """What the pass element gives is 60 W; the bleeder takes its share of it."""
    volts = math.sqrt(60.0 / (1.0 / 10.05 + 1.0 / SMALL.bleeder))
    return [
        Figure("voltage", mine.voltages["main: terminals"][-1], volts, SMALL.voltage_max),
        Figure("current", mine.currents["main: lead"][-1], volts / 10.05, SMALL.current_max),
    ]


CASE = Case(
    title="Power limit",
    what="An output of 60 W is set to 36 V into 10 Ω, which would take 130 W. It exercises the hyperbola "
    "of constant power beyond both loops.",
    circuit=Circuit((MAIN,)),
    until=50e-3,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 36.0, "slew": 2000.0, "ilim": 2.5, "rload": 10.0, "cload": 100e-6, "esr": 60e-3},
    judge=judge,
    spice=replace(
        one(),
        marks=[
            Mark(
                "out: enters CP",
                None,
                lambda c: np.minimum(c["v(xout.cv)"], c["v(xout.cc)"]) - c["v(xout.cp)"],
            ),
            Mark(
                "out: enters CC",
                "out: enters CV",
                lambda c: c["v(xout.cv)"] - c["v(xout.cc)"],
                lambda c: c["v(xout.cp)"] - np.minimum(c["v(xout.cv)"], c["v(xout.cc)"]),
            ),
        ],
    ),
    closed=closed,
    closed_form="v = √(P R) with the bleeder in R, at the end",
)
