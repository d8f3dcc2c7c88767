"""A short at the connector."""

from dataclasses import replace

import numpy as np
from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, modes, one
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Resistor

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(SMALL, LeadCircuit(50e-3, 1.2e-6), load("resistor", resistance="12 ohm"))


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=1.5, on=True)
    sim.change_lead("main", at=10e-3, short=0.1)
    sim.change_lead("main", at=16e-3, short=np.inf)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 1.5)
    bench = Bench("main", [output], 50e-3, 1.2e-6, [Resistor(12.0)])

    def short():
        bench.short = 1.0 / 0.1

    def clear():
        bench.short = 0.0

    return bench.solve(26e-3, times, actions=[(10e-3, short), (16e-3, clear)])


def closed(mine):
    """At the limit: 1.5 A through the lead and what lies across the connector."""
    across = 1.0 / (1.0 / 0.1 + 1.0 / 12.0)
    held = np.interp(15.9e-3, mine.time, mine.voltages["main: terminals"])
    amperes = np.interp(15.9e-3, mine.time, mine.currents["main: lead"])
    return [
        Figure("current", amperes, 1.5, SMALL.current_max),
        Figure("voltage", held, 1.5 * (50e-3 + across), SMALL.voltage_max),
    ]


CASE = Case(
    title="Short at the connector",
    what="100 mΩ across the connector for 6 ms discharge the output's capacitor with a peak of some 50 A, "
    "then the limit of 1.5 A holds. It exercises ½ C v² behind a current limit, the limit's response, "
    "and recovery.",
    circuit=Circuit((MAIN,)),
    until=26e-3,
    play=play,
    numbers=usual(MAIN)
    | {
        "vset": 12.0,
        "slew": 2000.0,
        "ilim": 1.5,
        "rload": 12.0,
        "rshort": 0.1,
        "tshort": 10e-3,
        "tclear": 16e-3,
    },
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout")]),
    closed=closed,
    closed_form="current and terminal voltage while the limit holds",
)
