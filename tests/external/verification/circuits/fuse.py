"""A fuse blows."""

import math

from tests.external.verification.bench import LARGE, alone, load, usual
from tests.external.verification.case import Case, Figure, Spice, modes, rises
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Resistor

from railwright.physics.circuit import Circuit, LeadCircuit

CURVE = ((2.5, 100.0), (5.0, 0.1), (10.0, 5e-3))
MAIN = alone(LARGE, LeadCircuit(50e-3, 1.2e-6, fuse=CURVE), load("resistor", resistance="12 ohm"))


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=10.0, on=True)
    sim.change_load("main", 0, at=20e-3, resistance=2.0)


def judge(times):
    output = Output("out", LARGE, [(0.0, 0.0), (6e-3, 12.0)], 10.0)
    step = Resistor(12.0)

    def overload():
        step.ohms = 2.0

    bench = Bench("main", [output], 50e-3, 1.2e-6, [step], fuse=CURVE)
    return bench.solve(90e-3, times, actions=[(20e-3, overload)])


def closed(mine):
    """Its time at 12 V / 2.05 ohm, on the straight line in logarithms between 5 A and 10 A."""
    time = 0.1 * (12.0 / 2.05 / 5.0) ** (math.log(5e-3 / 0.1) / math.log(2.0))
    return [Figure("time", dict(mine.events)["main: fuse opens"], 20e-3 + time)]


CASE = Case(
    title="Fuse blowing in a fixture",
    what="An overload of 5.9 A melts a fuse in the lead after 50 ms. It exercises melting along a time-"
    "current curve and the end of the lead's current.",
    circuit=Circuit((MAIN,)),
    until=90e-3,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.0, "slew": 2000.0, "ilim": 10.0, "rbefore": 12.0, "rafter": 2.0, "tload": 20e-3}
    | {"ia": 2.5, "ta": 100.0, "ib": 5.0, "tb": 0.1, "ic": 10.0, "tc": 5e-3},
    judge=judge,
    spice=Spice(
        {"main: terminals": "v(out)", "main: connector": "v(con)"},
        {"main: lead": "v(il)"},
        [modes("out", "xout"), rises("v(opened)", "main: fuse opens")],
    ),
    closed=closed,
    closed_form="the curve's time at 12 V / 2.05 Ω",
)
