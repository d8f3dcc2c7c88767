"""An OPP trip."""

from dataclasses import replace

from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, modes, one, rises
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor, Resistor

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    SMALL,
    LeadCircuit(50e-3, 1.2e-6),
    load("resistor", resistance="12 ohm"),
    load("capacitor", capacitance="22 uF", esr="60 mohm"),
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=2.5, opp=15.0, on=True)
    sim.change_load("main", 0, at=20e-3, resistance=8.0)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 2.5, trips={"OPP": (15.0, 1e-3)})
    step = Resistor(12.0)

    def overload():
        step.ohms = 8.0

    bench = Bench("main", [output], 50e-3, 1.2e-6, [step, Capacitor(22e-6, 60e-3)])
    return bench.solve(40e-3, times, actions=[(20e-3, overload)])


CASE = Case(
    title="OPP trip",
    what="A load step from 12 W to 18 W exceeds an over-power level of 15 W, whose response takes 1 ms. It "
    "exercises the product of an output's own voltage and current, and the trip's timer.",
    circuit=Circuit((MAIN,)),
    until=40e-3,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.0, "slew": 2000.0, "ilim": 2.5, "rbefore": 12.0, "rafter": 8.0, "tload": 20e-3}
    | {"popp": 15.0, "topp": SMALL.opp_response, "cload": 22e-6, "esr": 60e-3},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout", "on"), rises("v(tripped)", "out: trips OPP")]),
)
