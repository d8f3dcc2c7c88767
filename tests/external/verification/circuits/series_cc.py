"""A series pair with one output in CC."""

from tests.external.verification.bench import SMALL, coefficients, load
from tests.external.verification.case import Case, Figure, Spice, modes
from tests.external.verification.equations import Bench, Output
from tests.external.verification.parts import Resistor

from railwright.physics.circuit import Branch, Circuit, LeadCircuit

MAIN = Branch(
    "main",
    ("a", "b"),
    (SMALL, SMALL),
    LeadCircuit(50e-3, 1.2e-6),
    (load("resistor", resistance="20 ohm"),),
    "series",
)


def play(sim):
    for output, limit in (("a", 2.0), ("b", 0.5)):
        sim.set(output, voltage=12.0, rise=2000.0, current_limit=limit, on=True)


def judge(times):
    corners = [(0.0, 0.0), (6e-3, 12.0)]
    outputs = [Output("a", SMALL, corners, 2.0), Output("b", SMALL, corners, 0.5)]
    return Bench("main", outputs, 50e-3, 1.2e-6, [Resistor(20.0)]).solve(60e-3, times)


def closed(mine):
    """b gives its limit, its reverse diode and its bleeder the rest: 12 V + v_b = i (20 + 0.05) ohm,
    i = 0.5 A + (-v_b - 0.7 V) / 0.05 ohm. The limit holds for what is measured, bleeder included.
    """
    i = (12.0 - 0.7 + 0.05 * 0.5) / (20.05 + 0.05)
    return [
        Figure("current", mine.currents["main: lead"][-1], i, SMALL.current_max),
        Figure("voltage", mine.voltages["b"][-1], 20.05 * i - 12.0, SMALL.voltage_max),
    ]


CASE = Case(
    title="Series pair, one output in CC",
    what="Two outputs of 12 V in series feed 20 Ω; the lower limit, 0.5 A, is driven into reverse by the "
    "other output. It exercises voltages that add, one current, and the reverse diode.",
    circuit=Circuit((MAIN,)),
    until=60e-3,
    play=play,
    numbers=coefficients(SMALL)
    | {"vset": 12.0, "slew": 2000.0, "ilima": 2.0, "ilimb": 0.5, "rload": 20.0}
    | {"rlead": 50e-3, "llead": 1.2e-6, "cnode": MAIN.node_capacitance},
    judge=judge,
    spice=Spice(
        {"main: terminals": "v(out)", "main: connector": "v(con)", "a": "v(a)", "b": "v(half)"},
        {"main: lead": "i(vlead)"},
        [modes("a", "xa"), modes("b", "xb")],
    ),
    closed=closed,
    closed_form="current and the reversed output's voltage at the end",
)
