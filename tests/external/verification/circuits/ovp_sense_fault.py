"""An OVP trip on a sense fault."""

import math
from dataclasses import replace

import numpy as np
from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, modes, one, rises
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Capacitor, Resistor

from railwright.physics.circuit import Circuit, LeadCircuit

MAIN = alone(
    SMALL,
    LeadCircuit(50e-3, 1.2e-6),
    load("resistor", resistance="12 ohm"),
    load("capacitor", capacitance="100 uF", esr="60 mohm"),
)


def play(sim):
    sim.set("out", voltage=12.0, rise=2000.0, current_limit=2.5, ovp=15.0, on=True)
    sim.set("out", at=20e-3, sense=(0.0, 0.0))


def judge(times):
    trips = {"OVP": (15.0, 200e-6)}
    output = Output("out", SMALL, [(0.0, 0.0), (6e-3, 12.0)], 2.5, trips=trips)

    def lose():
        output.at_terminals = 0.0

    loads = [Resistor(12.0), Capacitor(100e-6, 60e-3)]
    bench = Bench("main", [output], 50e-3, 1.2e-6, loads)
    return bench.solve(40e-3, times, actions=[(20e-3, lose)])


def closed(mine):
    """After the trip both capacitors discharge through 12 ohm and the bleeder together (slowest mode)."""
    v = np.interp([26e-3, 32e-3], mine.time, mine.voltages["main: connector"])
    # Nodal equations of the output (with its bleeder) and the load's capacitor; the connector, with 12 ohm
    # and no capacitor to speak of, is eliminated.
    c1, c2, g1, g2 = SMALL.capacitance, 100e-6, 1.0 / 0.05, 1.0 / 0.06
    total = g1 + g2 + 1.0 / 12.0
    a = np.array(
        [
            [-(1.0 / SMALL.bleeder + g1 * (1.0 - g1 / total)) / c1, g1 * g2 / total / c1],
            [g1 * g2 / total / c2, -g2 * (1.0 - g2 / total) / c2],
        ]
    )
    slow = max(np.linalg.eigvals(a))
    return [Figure("voltage", v[1], v[0] * math.exp(slow * 6e-3), SMALL.voltage_max)]


CASE = Case(
    title="OVP trip on a sense fault",
    what="At 20 ms the voltage loop loses what it senses and drives the output up until the OVP, 15 V with "
    "200 µs of response, switches it off. It exercises a sense fault, a trip with its response time, "
    "and the discharge of what is left.",
    circuit=Circuit((MAIN,)),
    until=40e-3,
    play=play,
    numbers=usual(MAIN)
    | {"vset": 12.0, "slew": 2000.0, "ilim": 2.5, "rload": 12.0, "cload": 100e-6, "esr": 60e-3}
    | {"vovp": 15.0, "tovp": 200e-6, "tfault": 20e-3},
    judge=judge,
    spice=replace(one(), marks=[modes("out", "xout", "on"), rises("v(tripped)", "out: trips OVP")]),
    closed=closed,
    closed_form="exponential discharge after the trip (slower root of the network of two capacitors)",
)
