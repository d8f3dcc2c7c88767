"""A coil is released."""

import numpy as np
from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, Mark, Spice, modes
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Coil

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    SMALL,
    LeadCircuit(50e-3, 1.2e-6),
    load("coil", resistance="12 ohm", inductance="50 mH", diode_drop="0.7 V", diode_resistance="5 ohm"),
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=2.0, on=True)
    sim.change_lead("main", at=30e-3, opened=True)


def judge(times):
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 2.0)
    bench = Bench("main", [output], 50e-3, 1.2e-6, [Coil(12.0, 50e-3, 0.7, 5.0)])

    def lead_opens():
        bench.opened = True
        bench.events.append(("main: lead opens", bench.now))

    return bench.solve(45e-3, times, actions=[(30e-3, lead_opens)])


def closed(mine):
    """While the diode conducts, i + V_d / (R + R_d) decays with L / (R + R_d); v = -V_d - R_d i."""
    at = np.array([31e-3, 33e-3, 35e-3])
    amperes = float(np.interp(30e-3, mine.time, mine.currents["main: lead"]))
    rest, tau = 0.7 / 17.0, 50e-3 / 17.0
    exact = -0.7 - 5.0 * ((amperes + rest) * np.exp(-(at - 30e-3) / tau) - rest)
    found = np.interp(at, mine.time, mine.voltages["main: connector"])
    return [Figure("voltage", a, b, SMALL.voltage_max) for a, b in zip(found, exact, strict=True)]


CASE = Case(
    title="Coil released",
    what="The lead to a coil opens while it carries 1 A, and its freewheel diode takes the current over. It "
    "exercises L di/dt of a load, a lead that opens, a negative voltage at the input, and the ringing "
    "once the diode blocks.",
    circuit=Circuit((MAIN,)),
    until=45e-3,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.0, "slew": 2000.0, "ilim": 2.0, "rcoil": 12.0, "lcoil": 50e-3}
    | {"vd": 0.7, "rd": 5.0, "topen": 30e-3},
    judge=judge,
    spice=Spice(
        {"main: terminals": "v(out)", "main: connector": "v(con)"},
        {"main: lead": "v(il)"},
        [modes("out", "xout"), Mark(None, "main: lead opens", lambda c: c["v(closed)"] - 0.5)],
    ),
    closed=closed,
    closed_form="v = −V_d − R_d i with an exponential i, at three instants after the lead has opened",
)
