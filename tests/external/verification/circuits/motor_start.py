"""A motor starts."""

from dataclasses import replace

from tests.external.verification.bench import LARGE, alone, load, usual
from tests.external.verification.case import Case, Figure, modes, one, switches
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Motor

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    LARGE,
    LeadCircuit(50e-3, 1.2e-6),
    load(
        "dc_motor",
        resistance="0.8 ohm",
        inductance="1.5 mH",
        torque_constant="30 mN*m/A",
        inertia="400 g*cm2",
        friction="3 mN*m",
        viscous_friction="2 uN*m*s",
        load_torque="20 mN*m",
    ),
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=4.0, on=True)


def judge(times):
    output = Output("out", LARGE, [(0.0, 0.0), (6e-3, 12.0)], 4.0)
    motor = Motor(0.8, 1.5e-3, 30e-3, 40e-6, 23e-3, 2e-6)
    return Bench("main", [output], 50e-3, 1.2e-6, [motor]).solve(0.4, times)


def closed(mine):
    """12 V = (R + R_lead) i + k w and k i = B w + T."""
    i = (2e-6 * 12.0 / 30e-3 + 23e-3) / (30e-3 + 2e-6 * 0.85 / 30e-3)
    return [Figure("current", mine.currents["main: lead"][-1], i, LARGE.current_max)]


CASE = Case(
    title="Motor start",
    what="A loaded motor breaks away and runs up at a current limit of 4 A, then in CV. It exercises "
    "winding, back-EMF, inertia and dry friction.",
    circuit=Circuit((MAIN,)),
    until=0.4,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.0, "slew": 2000.0, "ilim": 4.0, "rmotor": 0.8, "lmotor": 1.5e-3, "kt": 30e-3}
    | {"jrotor": 40e-6, "tfric": 3e-3, "tload": 20e-3, "bvisc": 2e-6},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout"), switches("v(turns)", "main: turns", "main: stands")]),
    closed=closed,
    closed_form="current at the steady speed",
)
