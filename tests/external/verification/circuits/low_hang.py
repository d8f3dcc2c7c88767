"""A converter that hangs low."""

from dataclasses import replace

from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, modes, one, switches
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor, Converter

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    SMALL,
    LeadCircuit(80e-3, 1e-6),
    load("capacitor", capacitance="470 uF", esr="60 mohm"),
    load(
        "converter",
        output_power="8.6 W",
        efficiency="86 %",
        starts_at="9 V",
        stops_at="4 V",
        soft_start="8 ms",
        input_current_limit="1 A",
    ),
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=0.5, on=True)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 0.5)
    loads = [Capacitor(470e-6, 60e-3), Converter(8.6 / 0.86, 9.0, 4.0, 8e-3, limit=1.0)]
    return Bench("main", [output], 80e-3, 1e-6, loads).solve(0.12, times)


def closed(mine):
    return [
        Figure("voltage", mine.voltages["main: connector"][-1], 0.5 * 10.0 / 1.0**2, SMALL.voltage_max),
        Figure("current", mine.currents["main: lead"][-1], 0.5, SMALL.current_max),
    ]


CASE = Case(
    title="Low hang",
    what="A 10 W converter with an input current limit of 1 A starts behind a supply that gives 0.5 A, and "
    "stays at 5 V for ever. It exercises the drop-out region, in which the converter is a resistor, "
    "and the stable point there.",
    circuit=Circuit((MAIN,)),
    until=0.12,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.0, "slew": 2000.0, "ilim": 0.5, "cload": 470e-6, "esr": 60e-3}
    | {"pout": 8.6, "eta": 0.86, "vstart": 9.0, "vstop": 4.0, "tsoft": 8e-3, "imax": 1.0},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout"), switches("v(run)", "main: starts", "main: stops")]),
    closed=closed,
    closed_form="v = I_supply · P / I_limit² = 5 V at 0.5 A at the end",
)
