"""A lamp's inrush."""

from dataclasses import replace

from tests.external.verification.bench import LARGE, alone, load, usual
from tests.external.verification.case import Case, Figure, modes, one
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Lamp

from railwright.physics.circuit import Circuit, LeadCircuit

WARMTH = 0.0012486536477541983
"""Heat capacity of the filament [J/K] that belongs to a warm-up of 60 ms, as a number; compared with ours."""
MAIN = alone(
    LARGE,
    LeadCircuit(50e-3, 1.2e-6),
    load(
        "filament_lamp", rated_voltage="12 V", rated_power="24 W", cold_resistance="0.5 ohm", warm_up="60 ms"
    ),
    sense="load",
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=10.0, on=True)


def judge(times):
    output = Output("out", LARGE, [(0.0, 0.0), (6e-3, 12.0)], 10.0, at_terminals=0.0, at_load=1.0)
    return Bench("main", [output], 50e-3, 1.2e-6, [Lamp(12.0, 24.0, 0.5, WARMTH)]).solve(0.4, times)


def closed(mine):
    return [
        Figure("voltage", mine.voltages["main: connector"][-1], 12.0, LARGE.voltage_max),
        Figure("current", mine.currents["main: lead"][-1], 2.0, LARGE.current_max),
    ]


CASE = Case(
    title="Lamp inrush",
    what="A 12 V, 24 W lamp is switched on cold at a limit of 10 A and sensed at the load. It exercises a "
    "resistance that follows temperature, radiation, and the hand-over from CC to CV.",
    circuit=Circuit((MAIN,)),
    until=0.4,
    play=play,
    numbers=usual(MAIN)
    | {
        "vset": 12.0,
        "slew": 2000.0,
        "ilim": 10.0,
        "vlamp": 12.0,
        "plamp": 24.0,
        "rcold": 0.5,
        "warmth": WARMTH,
    },
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout")]),
    closed=closed,
    derived=("warm_up",),
    closed_form="2 A at 12 V at the end",
)
