"""A battery is charged."""

import math
from dataclasses import replace

from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, modes, one
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Battery

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    SMALL,
    LeadCircuit(50e-3, 1.2e-6),
    load(
        "battery",
        series_resistance="0.15 ohm",
        capacity="60 C",
        state_of_charge="20 %",
        diode_drop="0.3 V",
        curve=({"charge": "0 %", "voltage": "10.5 V"}, {"charge": "100 %", "voltage": "12.6 V"}),
    ),
)


def play(sim):
    sim.set("out", voltage=12.9, rise=2000.0, current_limit=2.0, on=True)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6.45e-3, 12.9)], 2.0)
    battery = Battery(10.5, 12.6, 60.0, 12.0, 0.15, 0.3)
    return Bench("main", [output], 50e-3, 1.2e-6, [battery]).solve(40.0, times)


def closed(mine):
    """Until V(Q) + 0.3 V + 2 A (0.15 + 0.05) ohm = 12.9 V; then an exponential with (R + R_lead) dQ/dV."""
    full = 60.0 * (12.9 - 0.3 - 2.0 * 0.2 - 10.5) / 2.1
    leaves = [t for what, t in mine.events if what == "out: enters CV"][-1]
    tail = 2.0 * math.exp(-(40.0 - leaves) * 2.1 / 60.0 / 0.2)
    begins = next(t for what, t in mine.events if what == "out: enters CC")
    return [
        Figure("time", leaves - begins, (full - 12.0) / 2.0),
        Figure("current", mine.currents["main: lead"][-1], tail, SMALL.current_max),
    ]


CASE = Case(
    title="Battery charge, CC then CV",
    what="A battery of 60 C is charged through a diode with 2 A and then at 12.9 V. It exercises an open-"
    "circuit voltage that follows charge, and steps of seconds beside loops of microseconds.",
    circuit=Circuit((MAIN,)),
    until=40.0,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.9, "slew": 2000.0, "ilim": 2.0, "vempty": 10.5, "vfull": 12.6, "qfull": 60.0}
    | {"soc": 0.2, "rbat": 0.15, "vd": 0.3},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout")]),
    closed=closed,
    closed_form="time at the limit Q / I; exponential with (R + R_lead) dQ/dV after it",
)
