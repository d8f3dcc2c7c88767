"""Coupled set points."""

from tests.external.verification.bench import SMALL, alone, load, usual
from tests.external.verification.case import Case, Figure, Spice, modes
from tests.external.verification.equations import Bench, Output, together
from tests.external.verification.parts import Capacitor, Resistor

from railwright.physics.circuit import Circuit, LeadCircuit

CAPACITOR = load("capacitor", capacitance="100 uF", esr="60 mohm")
ONE = alone(
    SMALL,
    LeadCircuit(50e-3, 1.2e-6),
    load("resistor", resistance="12 ohm"),
    CAPACITOR,
    name="one",
    output="1",
)
TWO = alone(
    SMALL, LeadCircuit(50e-3, 1.2e-6), load("resistor", resistance="5 ohm"), CAPACITOR, name="two", output="2"
)


def play(sim):
    for output, volts in (("1", 12.0), ("2", 5.0)):
        sim.set(output, voltage=volts, rise=2000.0, current_limit=2.0, on=True)
        sim.set(output, at=20e-3, voltage=volts + 2.0, rise=1000.0)
        sim.set(output, at=40e-3, line=(0.5 * (volts + 2.0), 14e-3))


def judge(times):
    results = []
    for name, output, volts, ohms in (("one", "1", 12.0, 12.0), ("two", "2", 5.0, 5.0)):
        up = volts + 2.0
        corners = [
            (0.0, 0.0),
            (volts / 2000.0, volts),
            (20e-3, volts),
            (22e-3, up),
            (40e-3, up),
            (54e-3, 0.5 * up),
        ]
        loads = [Resistor(ohms), Capacitor(100e-6, 60e-3)]
        bench = Bench(name, [Output(output, SMALL, corners, 2.0)], 50e-3, 1.2e-6, loads)
        results.append(bench.solve(70e-3, times))
    return together(*results)


def closed(mine):
    return [
        Figure("voltage", mine.voltages["one: terminals"][-1], 7.0, SMALL.voltage_max),
        Figure("voltage", mine.voltages["two: terminals"][-1], 3.5, SMALL.voltage_max),
        Figure("current", mine.currents["one: lead"][-1], 7.0 / 12.05, SMALL.current_max),
        Figure("current", mine.currents["two: lead"][-1], 3.5 / 5.05, SMALL.current_max),
    ]


CASE = Case(
    title="Coupled set points",
    what="Two outputs move together, first by the same step of 2 V, then in ratio to half their voltage in "
    "the same time. It exercises set points that move on straight lines, and outputs that only their "
    "loads discharge.",
    circuit=Circuit((ONE, TWO)),
    until=70e-3,
    play=play,
    numbers=usual(ONE) | {"ilim": 2.0, "rone": 12.0, "rtwo": 5.0, "cload": 100e-6, "esr": 60e-3},
    judge=judge,
    spice=Spice(
        {
            "one: terminals": "v(out1)",
            "one: connector": "v(con1)",
            "two: terminals": "v(out2)",
            "two: connector": "v(con2)",
        },
        {"one: lead": "i(vlead1)", "two: lead": "i(vlead2)"},
        [modes("1", "x1"), modes("2", "x2")],
    ),
    closed=closed,
    closed_form="both voltages and currents at the end",
)
