"""RLC ring through 2 m of lead."""

import math

import numpy as np
from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, Mark, Spice, modes, rises
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor

from railwright.physics.circuit import Circuit, LeadCircuit

OHMS, HENRIES, FARADS, ESR = 92e-3, 1.2e-6, 10e-6, 10e-3
MAIN = alone(
    SMALL,
    LeadCircuit(OHMS, HENRIES, opened=True),
    load("capacitor", capacitance="10 uF", esr="10 mohm"),
    node=100e-12,
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=1.0, on=True)
    sim.set("out", at=8e-3, on=False)
    sim.change_lead("main", at=8.5e-3, opened=False)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 1.0)
    bench = Bench("main", [output], OHMS, HENRIES, [Capacitor(FARADS, ESR)], node=100e-12, opened=True)

    def off():
        output.switch_off()
        bench.events.append(("out: off", bench.now))

    def close():
        bench.opened = False
        bench.events.append(("main: lead closes", bench.now))

    return bench.solve(9e-3, times, actions=[(8e-3, off), (8.5e-3, close)])


def closed(mine):
    """Textbook: a series R-L-C circuit with the two capacitors in series; the bleeder drains the first."""
    after = mine.time >= 8.5e-3
    t = mine.time[after] - 8.5e-3
    series = FARADS * SMALL.capacitance / (FARADS + SMALL.capacitance)
    decay = (OHMS + ESR) / (2.0 * HENRIES)
    omega = math.sqrt(1.0 / (HENRIES * series) - decay**2)
    volts = 12.0 * math.exp(-0.5e-3 / (SMALL.bleeder * SMALL.capacitance))
    ring = volts / (omega * HENRIES) * np.exp(-decay * t) * np.sin(omega * t)
    rest = volts * series / FARADS  # the charge that has crossed, by the load's capacitance
    crossed = rest * (1.0 - np.exp(-decay * t) * (np.cos(omega * t) + decay / omega * np.sin(omega * t)))
    # The bleeder goes on draining while it rings: less than 1e-3 of the voltage in the first 100 us.
    early = t <= 100e-6
    i, v = mine.currents["main: lead"][after], mine.voltages["main: connector"][after]
    return [
        *(Figure("current", a, b, np.abs(ring).max()) for a, b in zip(i[early], ring[early], strict=True)),
        *(
            Figure("voltage", a, b, 36.0)
            for a, b in zip(v[early], (crossed + ESR * ring)[early], strict=True)
        ),
    ]


CASE = Case(
    title="RLC ring through 2 m of lead",
    what="The output's own capacitor, charged to 12 V and with the output switched off, is connected to 10 "
    "µF through 2 m of lead. It exercises L di/dt and the damped oscillation of a series R-L-C "
    "circuit.",
    circuit=Circuit((MAIN,)),
    until=9e-3,
    play=play,
    numbers=usual(MAIN)
    | {
        "vset": 12.0,
        "slew": 2000.0,
        "ilim": 1.0,
        "cload": FARADS,
        "esr": ESR,
        "toff": 8e-3,
        "tclose": 8.5e-3,
    },
    judge=judge,
    spice=Spice(
        {"main: terminals": "v(out)", "main: connector": "v(con)"},
        {"main: lead": "v(il)"},
        [
            modes("out", "xout", "on"),
            Mark(None, "out: off", lambda c: c["v(on)"] - 0.5),
            rises("v(closed)", "main: lead closes"),
        ],
    ),
    closed=closed,
    closed_form="damped oscillation of both capacitors in series, current and voltage over the first 100 µs",
)
