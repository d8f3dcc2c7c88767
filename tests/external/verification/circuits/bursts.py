"""Bursts of current beside LEDs and a table."""

from dataclasses import replace

from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, modes, one
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Bursts, Capacitor, Leds, Table

from railwright.physics.circuit import Circuit, LeadCircuit

BURSTS = ((0.0, 0.05), (2e-3, 0.05), (2e-3, 1.2), (3e-3, 1.2), (3e-3, 0.3), (5e-3, 0.1))
TABLE = ((5.0, 0.1), (11.0, 0.3), (14.0, 0.35))
MAIN = alone(
    SMALL,
    LeadCircuit(0.5, 1.2e-6),
    load("capacitor", capacitance="47 uF", esr="60 mohm"),
    load(
        "profile",
        compliance="1 V",
        points=[{"time": f"{t!r} s", "current": f"{i!r} A"} for t, i in BURSTS],
        repeats="always",
    ),
    load(
        "led_string",
        count="3",
        forward_voltage="3.1 V",
        rated_current="20 mA",
        series_resistance="82 ohm",
        dynamic_resistance="12 ohm",
        ideality="2",
    ),
    load("iv_table", points=[{"voltage": f"{v!r} V", "current": f"{i!r} A"} for v, i in TABLE]),
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=2.0, on=True)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 2.0)
    loads = [
        Capacitor(47e-6, 60e-3),
        Bursts(BURSTS, 1.0),
        Leds(3, 3.1, 20e-3, 82.0, 12.0),
        Table([(0.0, 0.0), *TABLE]),
    ]
    return Bench("main", [output], 0.5, 1.2e-6, loads).solve(20e-3, times)


CASE = Case(
    title="Bursts beside LEDs and a table",
    what="A profile's bursts up to 1.2 A repeat every 5 ms from the first instant on, beside three "
    "LEDs in series and a table of current over voltage, behind 0.5 Ω. It exercises jumps of a current, "
    "an exponential law (in ngspice its own diode model), and kinks.",
    circuit=Circuit((MAIN,)),
    until=20e-3,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.0, "slew": 2000.0, "ilim": 2.0, "cload": 47e-6, "esr": 60e-3, "vcomp": 1.0}
    | {"t1": 2e-3, "t2": 3e-3, "t3": 5e-3, "ia": 0.05, "ib": 1.2, "ic": 0.3, "id": 0.1}
    | {"nled": 3.0, "vled": 3.1, "iled": 20e-3, "rled": 82.0, "sled": 12.0, "ideality": 2.0}
    | {"va": 5.0, "ja": 0.1, "vb": 11.0, "jb": 0.3, "vc": 14.0, "jc": 0.35, "vt": 0.025852},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout")]),
)
