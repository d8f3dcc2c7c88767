"""A crowbar."""

from dataclasses import replace

from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, modes, one, rises
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor, Resistor

from railwright.physics.circuit import Circuit, LeadCircuit

STAGE = SMALL._replace(crowbar=1.0 / 50e-3)
MAIN = alone(
    STAGE,
    LeadCircuit(50e-3, 1.2e-6),
    load("resistor", resistance="24 ohm"),
    load("capacitor", capacitance="1000 uF", esr="60 mohm"),
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=2.5, ovp=13.0, on=True)
    sim.set("out", at=7e-3, line=(15.0, 4e-3))


def judge(times):
    corners = [(0.0, 0.0), (6e-3, 12.0), (7e-3, 12.0), (11e-3, 15.0)]
    output = Output("out", STAGE, corners, 2.5, trips={"OVP": (13.0, 200e-6)})
    loads = [Resistor(24.0), Capacitor(1000e-6, 60e-3)]
    return Bench("main", [output], 50e-3, 1.2e-6, loads).solve(12e-3, times)


CASE = Case(
    title="Crowbar",
    what="A set point that rises above the OVP of 13 V trips it, and 50 mΩ across the output discharge 220 "
    "µF in it and 1000 µF at the load. It exercises the crowbar, current that flows back through the "
    "lead, and a discharge through two resistances.",
    circuit=Circuit((MAIN,)),
    until=12e-3,
    play=play,
    numbers=usual(MAIN)
    | {"ilim": 2.5, "rload": 24.0, "cload": 1000e-6, "esr": 60e-3}
    | {"vovp": 13.0, "tovp": STAGE.ovp_response, "gcrow": STAGE.crowbar},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout", "on"), rises("v(tripped)", "out: trips OVP")]),
)
