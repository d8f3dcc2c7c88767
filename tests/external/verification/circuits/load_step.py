"""Recovery from a load step."""

from dataclasses import replace

import numpy as np
from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, modes, one
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import ConstantCurrent

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(SMALL, LeadCircuit(0.2, 0.4e-9), load("constant_current", current="50 mA", compliance="1 V"))


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=2.5, on=True)
    sim.change_load("main", 0, at=20e-3, current=1.3)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 2.5)
    step = ConstantCurrent(0.05, 1.0)

    def more():
        step.amperes = 1.3

    bench = Bench("main", [output], 0.2, 0.4e-9, [step])
    return bench.solve(22e-3, times, actions=[(20e-3, more)])


def closed(mine):
    """C v' = i_p - i, tau i_p' = i_cv - i_p with a PI controller: Laplace transform, partial fractions over
    the poles of s^3 tau C + s^2 C + s k_p + k_i. The bleeder is left out.
    """
    after = (mine.time >= 20e-3) & (mine.time <= 20.2e-3)
    t = mine.time[after] - 20e-3
    poles = np.roots([SMALL.lag * SMALL.capacitance, SMALL.capacitance, SMALL.k_p, SMALL.k_i])
    volts = np.zeros(t.size, dtype=complex)
    for p in poles:
        slope = 3.0 * SMALL.lag * SMALL.capacitance * p**2 + 2.0 * SMALL.capacitance * p + SMALL.k_p
        volts += -1.25 * (SMALL.lag * p + 1.0) / slope * np.exp(p * t)
    exact = 12.0 + volts.real
    found = mine.voltages["main: terminals"][after]
    # The deviation is some 10 mV: it is its own scale, much finer than the output's full scale.
    scale = float(np.abs(exact - 12.0).max())
    return [Figure("voltage", a, b, scale) for a, b in zip(found, exact, strict=True)]


CASE = Case(
    title="Recovery from a load step",
    what="A step of 1.25 A, half the rated current, without any capacitor at the load. It exercises the "
    "voltage loop alone, as a data sheet's load-transient figures describe it.",
    circuit=Circuit((MAIN,)),
    until=22e-3,
    play=play,
    numbers=usual(MAIN)
    | {
        "vset": 12.0,
        "slew": 2000.0,
        "ilim": 2.5,
        "ibefore": 50e-3,
        "iafter": 1.3,
        "vcomp": 1.0,
        "tload": 20e-3,
    },
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout")]),
    closed=closed,
    closed_form="the loop's response, by partial fractions, over 200 µs; in % of the deviation itself",
)
