"""A linked trip."""

import numpy as np
from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, Spice, modes, rises
from tests.external.verification.equations import Bench, Output, together
from tests.external.verification.parts import Capacitor, Resistor

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    SMALL,
    LeadCircuit(50e-3, 1.2e-6),
    load("resistor", resistance="15 ohm"),
    load("capacitor", capacitance="220 uF", esr="60 mohm"),
    output="m",
)
AUX = alone(SMALL, LeadCircuit(50e-3, 1.2e-6), load("resistor", resistance="10 ohm"), name="aux", output="a")


def play(sim):
    sim.set("m", voltage=12.0, rise=2000.0, current_limit=1.6, at_limit="trip", trip_delay=5e-3, on=True)
    sim.set("a", voltage=5.0, rise=2000.0, current_limit=1.6, on=True)
    sim.change_load("main", 0, at=20e-3, resistance=6.0)


def judge(times):
    main = Output("m", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 1.6, trips={"current limit": (0.0, 5e-3)})
    step = Resistor(15.0)

    def overload():
        step.ohms = 6.0

    one = Bench("main", [main], 50e-3, 1.2e-6, [step, Capacitor(220e-6, 60e-3)])
    first = one.solve(35e-3, times, actions=[(20e-3, overload)])
    when = next(t for what, t in first.events if what == "m: trips current limit")
    aux = Output("a", SMALL, [(0.0, 0.0), (2.5e-3, 5.0)], 1.6)
    two = Bench("aux", [aux], 50e-3, 1.2e-6, [Resistor(10.0)])
    second = two.solve(35e-3, times, actions=[(when + 1e-3, lambda: two.trip(two.now, 0, "linked"))])
    return together(first, second)


def closed(mine):
    times = dict(mine.events)
    v = np.interp([27e-3, 33e-3], mine.time, mine.voltages["aux: connector"])
    tau = SMALL.capacitance / (1.0 / 10.05 + 1.0 / SMALL.bleeder)
    return [
        Figure("time", times["a: trips linked"] - times["m: trips current limit"], 1e-3),
        Figure("time", times["m: trips current limit"] - times["m: enters CC"], 5e-3),
        Figure("voltage", v[1], v[0] * np.exp(-6e-3 / tau), SMALL.voltage_max),
    ]


CASE = Case(
    title="Linked trip",
    what="An overload at 20 ms makes one output trip 5 ms after it has entered its limit, and the output "
    "of the other input follows 1 ms later. It exercises a trip delay, linked trips and the discharge "
    "of both.",
    circuit=Circuit((MAIN, AUX), linked_trips={"aux": ("main",)}),
    until=35e-3,
    play=play,
    numbers=usual(MAIN)
    | {"vmain": 12.0, "vaux": 5.0, "slew": 2000.0, "ilim": 1.6, "rbefore": 15.0, "rafter": 6.0, "raux": 10.0}
    | {"cload": 220e-6, "esr": 60e-3, "tdelay": 5e-3, "tlinked": 1e-3, "tload": 20e-3},
    judge=judge,
    spice=Spice(
        {
            "main: terminals": "v(outm)",
            "main: connector": "v(conm)",
            "aux: terminals": "v(outa)",
            "aux: connector": "v(cona)",
        },
        {"main: lead": "i(vleadm)", "aux: lead": "i(vleada)"},
        [
            modes("m", "xm", "onm"),
            modes("a", "xa", "ona"),
            rises("v(trippedm)", "m: trips current limit"),
            rises("v(trippeda)", "a: trips linked"),
        ],
    ),
    closed=closed,
    closed_form="both delays; exponential discharge of the second output",
)
