"""Endless restart of a converter behind a current limit."""

from dataclasses import replace

from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, modes, one, switches
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor, Converter

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    SMALL,
    LeadCircuit(80e-3, 1e-6),
    load("capacitor", capacitance="470 uF", esr="60 mohm"),
    load(
        "converter",
        output_power="8 W",
        efficiency="86 %",
        starts_at="8.4 V",
        stops_at="7.6 V",
        soft_start="8 ms",
    ),
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=0.4, on=True)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 0.4)
    loads = [Capacitor(470e-6, 60e-3), Converter(8.0 / 0.86, 8.4, 7.6, 8e-3)]
    return Bench("main", [output], 80e-3, 1e-6, loads).solve(0.1, times)


CASE = Case(
    title="Endless restart",
    what="A converter that needs more than its supply's limit of 0.4 A starts, falls to its stopping "
    "voltage and starts again for ever. It exercises the hysteresis of the load and how errors of "
    "time add up from cycle to cycle.",
    circuit=Circuit((MAIN,)),
    until=0.1,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.0, "slew": 2000.0, "ilim": 0.4, "cload": 470e-6, "esr": 60e-3}
    | {"pout": 8.0, "eta": 0.86, "vstart": 8.4, "vstop": 7.6, "tsoft": 8e-3},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout"), switches("v(run)", "main: starts", "main: stops")]),
)
