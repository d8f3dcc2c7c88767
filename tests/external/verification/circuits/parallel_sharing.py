"""A parallel pair."""

from tests.external.verification.bench import SMALL, coefficients, load
from tests.external.verification.case import Case, Figure, Spice, modes
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor, Resistor

from railwright.physics.circuit import Branch, Circuit, LeadCircuit

MAIN = Branch(
    "main",
    ("a", "b"),
    (SMALL, SMALL),
    LeadCircuit(50e-3, 1.2e-6),
    (load("resistor", resistance="12 ohm"), load("capacitor", capacitance="100 uF", esr="60 mohm")),
    "parallel",
)


def play(sim):
    sim.set("a", voltage=12.05, rise=2000.0, current_limit=0.6, on=True)
    sim.set("b", voltage=12.0, rise=2000.0, current_limit=0.8, on=True)


def judge(times):
    outputs = [
        Output("a", SMALL, [(0.0, 0.0), (12.05 / 2000.0, 12.05)], 0.6),
        Output("b", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 0.8),
    ]
    loads = [Resistor(12.0), Capacitor(100e-6, 60e-3)]
    return Bench("main", outputs, 50e-3, 1.2e-6, loads, parallel=True).solve(80e-3, times)


def closed(mine):
    total = 12.0 / 12.05
    return [
        Figure("voltage", mine.voltages["main: terminals"][-1], 12.0, SMALL.voltage_max),
        Figure("current", mine.currents["a"][-1], 0.6, SMALL.current_max),
        Figure("current", mine.currents["b"][-1], total - 0.6, SMALL.current_max),
    ]


CASE = Case(
    title="Parallel pair, sharing",
    what="Two outputs in parallel, 50 mV apart, feed 12 Ω: the higher one carries its limit, the lower one "
    "regulates. It exercises currents that add and how joined output capacitors share what flows into "
    "them.",
    circuit=Circuit((MAIN,)),
    until=80e-3,
    play=play,
    numbers=coefficients(SMALL)
    | {"vseta": 12.05, "vsetb": 12.0, "slew": 2000.0, "ilima": 0.6, "ilimb": 0.8, "rload": 12.0}
    | {"rlead": 50e-3, "llead": 1.2e-6, "cnode": MAIN.node_capacitance, "cload": 100e-6, "esr": 60e-3},
    judge=judge,
    spice=Spice(
        {"main: terminals": "v(out)", "main: connector": "v(con)"},
        {"main: lead": "i(vlead)", "a": "i(va)", "b": "i(vb)"},
        [modes("a", "xa"), modes("b", "xb")],
    ),
    closed=closed,
    closed_form="12 V, 0.6 A from the one and the rest from the other at the end",
)
