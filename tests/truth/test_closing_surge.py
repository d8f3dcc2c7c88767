"""What flows as a contact closes onto an empty input: against scipy's integration of output capacitor, lead
and input by themselves, and against every corner of the tolerances.
"""

from __future__ import annotations

import math
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from tests.truth.small import supply, write

from railwright.job import Job
from railwright.rehearsal.circuit import uncertain_quantities
from railwright.rehearsal.corners import corner_case
from railwright.settings.findings import Finding

RULES = ("closing-surge", "contact-making-current")
CLOSE = {"relays": {"close": ["k"], "settle": "100 ms"}, "name": "close"}
UP = {"power_up": {"order": ["main"], "rise": "1 V/ms", "settle": "200 ms"}, "name": "up"}
DOWN = {"power_down": {"order": ["main"]}, "name": "down"}


def job(
    folder: Path,
    volts: float,
    farads: str,
    at_most: str | None,
    rated: float,
    steps: list[Any],
    own: str = "150 uF",
    loads: list[Any] | None = None,
    limit: str = "700 mA",
) -> Job:
    given = {
        "nominal": f"{volts} V",
        "operating": f"{0.9 * volts} V .. {1.1 * volts} V",
        "withstands": [{"voltage": f"{1.3 * volts} V"}],
        "current": {"steady": "0 A .. 500 mA", **({"at_most": at_most} if at_most else {})},
        "return": "isolated",
        "load": loads
        or [
            {"resistor": {"resistance": f"{volts / 0.2} ohm"}},
            {"capacitor": {"capacitance": farads, "esr": "40 mohm"}},
        ],
    }
    contact = {
        "fixture": "box",
        "channel": 1,
        "without_power": "open",
        "voltage": "60 V",
        "under_load": "yes",
    }
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "fixture": "box", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": limit, "at_limit": "regulate", "ovp": f"{1.2 * volts} V"}},
        "steps": steps,
        "record": {"every": "20 ms"},
    }
    bench = {
        "fixtures": {"box": {"switch": {"starts": "open", "resistance": "50 mohm"}}},
        "relays": {
            "clicker": {
                "address": "TCPIP::127.0.0.1::5998::SOCKET",
                "contacts": {
                    "k": {**contact, "voltage": "60 V", "current": f"{rated} A", "operate": "10 ms"}
                },
            }
        },
    }
    output = {"output_capacitance": own, "sink": None}
    return Job.open(write(folder, {"main": given}, procedure, {"s": supply(output)}, **bench))


def discharged(volts: float, own: float, farads: float) -> float:
    """Highest current of the output's capacitor into the input's, through the lead [A]; the regulator, which
    needs some 100 µs, adds little.
    """
    ohms = 2 * 1.2 * 1.72e-8 / 0.519e-6 + 0.01 + 0.05
    henry, esr, load = 0.7e-6 * 1.2, 0.04, volts / 0.2

    def moves(_: float, y: Any) -> list[float]:
        out, amperes, held = y
        connector = (held + esr * amperes) / (1.0 + esr / load)
        into = amperes - connector / load
        return [-amperes / own, (out - ohms * amperes - connector) / henry, into / farads]

    found = solve_ivp(moves, (0.0, 3e-4), [volts, 0.0, 0.0], "LSODA", rtol=1e-8, atol=1e-9, max_step=1e-6)
    return float(found.y[1].max())


def of_rules(findings: tuple[Finding, ...]) -> dict[str, Finding]:
    return {each.rule: each for each in findings if each.rule in RULES}


@pytest.mark.parametrize(
    ("volts", "own", "farads"), [(5.0, 150e-6, 47e-6), (12.0, 150e-6, 220e-6), (24.0, 470e-6, 100e-6)]
)
def test_it_is_held_against_input_and_contact(
    volts: float, own: float, farads: float, tmp_path: Path
) -> None:
    peak = discharged(volts, own, farads)
    steps = [UP, CLOSE, DOWN]
    for k, (borne, rated) in enumerate(product((0.85 * peak, 1.15 * peak), repeat=2)):
        folder = tmp_path / str(k)
        made = job(folder, volts, f"{farads} F", f"{borne} A", rated, steps, f"{own} F")
        found = of_rules(made.check().findings)
        assert found.keys() == {
            rule for rule, bears in zip(RULES, (borne, rated), strict=True) if bears < peak
        }
        for finding in found.values():
            assert told(finding, "nominal") == pytest.approx(peak, rel=0.08)
            assert finding.blocks == (finding.rule == RULES[0])


LATER = {"shape": {"input": "main", "segments": [{"line_to": "12 V", "over": "20 ms"}]}, "name": "raise"}
AT_ZERO = {"power_up": {"order": ["main"], "voltages": {"main": "0 V"}, "settle": "100 ms"}, "name": "up"}


@pytest.mark.parametrize(
    ("steps", "surges"),
    [
        ([UP, CLOSE, DOWN], True),
        ([CLOSE, UP, DOWN], False),
        ([AT_ZERO, CLOSE, LATER, DOWN], False),
        # The output is off, and its capacitor still holds 12 V.
        ([UP, {**DOWN, "name": "off"}, CLOSE], True),
        ([UP, {**DOWN, "name": "off"}, {"hold": "8 s"}, CLOSE], False),
    ],
)
def test_only_onto_a_voltage(steps: list[Any], surges: bool, tmp_path: Path) -> None:
    found = of_rules(job(tmp_path, 12.0, "220 uF", "2 A", 5.0, steps).check().findings)
    assert found.keys() == (set(RULES) if surges else set())


LOOP = 2 * 1.2 * 1.72e-8 / 0.519e-6 + 0.01 + 0.05
"""Resistance of lead, contacts and relay [Ω]."""


def through_leds(forward: float) -> float:
    """Current of three LEDs behind 0.5 Ω at 12 V [A]: junction and an equal slope at 3 A, ideality 2."""
    slope = 2.0 * 0.025852 / 3.0

    def left(amperes: float) -> float:
        each = forward + slope * (amperes - 3.0) + 2.0 * 0.025852 * math.log(amperes / 3.0)
        return 12.0 - 3.0 * each - (0.5 + LOOP) * amperes

    return float(brentq(left, 0.1, 20.0))


def into_battery(volts: float) -> float:
    return (12.0 - 0.4 - volts) / (0.5 + LOOP)


LEDS = {"count": "3", "rated_current": "3 A", "series_resistance": "0.5 ohm", "ideality": "2"}
BATTERY = {"series_resistance": "0.5 ohm", "capacity": "2 Ah", "diode_drop": "0.4 V"}
CURVE = [{"charge": "0 %", "voltage": "8 V"}, {"charge": "100 %", "voltage": "11 V"}]


@pytest.mark.parametrize(
    ("load", "most", "other"),
    [
        ({"led_string": {**LEDS, "forward_voltage": "2.8 V .. 3.2 V"}}, through_leds(2.8), through_leds(3.2)),
        # At the upper bound nothing flows, and all the others tell nothing there.
        ({"led_string": {**LEDS, "forward_voltage": "2.6 V .. 4.2 V"}}, through_leds(2.6), 0.0),
        (
            {
                "battery": {
                    **BATTERY,
                    "open_circuit_voltage": "9 V .. 10.5 V",
                    "state_of_charge": "50 %",
                }
            },
            into_battery(9.0),
            into_battery(10.5),
        ),
        (
            {"battery": {**BATTERY, "curve": CURVE, "state_of_charge": "20 % .. 80 %"}},
            into_battery(8.6),
            into_battery(10.4),
        ),
        ({"resistor": {"resistance": "2 ohm .. 4 ohm"}}, 12.0 / (2.0 + LOOP), 12.0 / (4.0 + LOOP)),
    ],
)
def test_what_lets_more_flow_the_lower_it_is(
    load: dict[str, Any], most: float, other: float, tmp_path: Path
) -> None:
    """Against the closed form; a large capacitor holds the voltage until that flows."""
    borne = max(0.9 * most, (most + other) / 2)
    made = job(tmp_path, 12.0, "", f"{borne} A", 50.0, [UP, CLOSE, DOWN], "4000 uF", [load])
    finding = of_rules(made.check().findings)[RULES[0]]
    assert told(finding, "surge") == pytest.approx(most, rel=0.05)


@pytest.mark.parametrize(
    ("at_most", "limit", "surges"),
    [("2 A", "2.9 A", False), ("600 mA", "2.9 A", False), ("600 mA", "550 mA", True)],
)
def test_what_comes_behind_the_limit_is_no_surge(
    at_most: str, limit: str, surges: bool, tmp_path: Path
) -> None:
    """12 V (1 - exp(-t R / L)) / R: 0.3 A as the limit has responded, after 500 µs, and 2.6 A in the end.
    What charges the connector, 10 nF behind 0.84 µH, is above 0.6 A and below 12 V √(C / L) = 1.31 A.
    """
    coil = {"coil": {"resistance": "4.5 ohm", "inductance": "20 mH", "diode_drop": "0.7 V"}}
    made = job(tmp_path, 12.0, "", at_most, 50.0, [UP, CLOSE, DOWN], "150 uF", [coil], limit)
    assert (made.rehearse().prediction.inputs["main"].peak_current > 2.4) == (limit == "2.9 A")
    assert of_rules(made.check().findings).keys() == (set(RULES[:1]) if surges else set())


@pytest.mark.parametrize(("ohms", "limit"), [(10.0, "2 A"), (6.0, "2.9 A"), (15.0, "1.5 A")])
@pytest.mark.parametrize("own", ["1 uF", "150 uF"])
def test_what_the_load_draws_is_no_surge(ohms: float, limit: str, own: str, tmp_path: Path) -> None:
    """A resistor draws 12 V / R from its first instant on, below the limit: other rules tell that."""
    part = f"{9.6 / ohms} A"
    resistor = {"resistor": {"resistance": f"{ohms} ohm"}}
    made = job(tmp_path, 12.0, "", part, 9.6 / ohms, [UP, CLOSE, DOWN], own, [resistor], limit)
    assert made.rehearse().prediction.inputs["main"].peak_current >= 12.0 / (ohms + LOOP) * 0.99
    found = made.check().findings
    assert of_rules(found) == {}
    assert {"limit-above-device", "relay-rating"} <= {each.rule for each in found if each.blocks}


CHARGED = {"capacitor": {"capacitance": "220 uF ± 20 %", "esr": "30 mohm .. 50 mohm"}}
LIT = {"led_string": {**LEDS, "forward_voltage": "2.6 V .. 4.2 V"}}


@pytest.mark.parametrize(
    "loads", [[CHARGED], [CHARGED, LIT], [LIT, {"resistor": {"resistance": "8 ohm ± 9 %"}}]]
)
def test_the_worst_of_the_tolerances_is_the_worst_corner(loads: list[Any], tmp_path: Path) -> None:
    made = job(tmp_path, 12.0, "", "2 A", 50.0, [UP, CLOSE, DOWN], "1000 uF", loads)
    check = made.check()
    finding = of_rules(check.findings)[RULES[0]]
    uncertain = uncertain_quantities(made.documents, check.settings.set_points)
    corners = [
        made.rehearse(corner_case(uncertain, k)).prediction.inputs["main"] for k in range(1 << len(uncertain))
    ]
    assert len(corners) >= 8
    assert told(finding, "surge") == pytest.approx(max(each.peak_current for each in corners), rel=1e-3)
    assert told(finding, "nominal") < 0.99 * told(finding, "surge")


def test_the_inrush_that_is_printed_has_it(tmp_path: Path) -> None:
    """Charge: what the empty capacitor takes, and the resistor until the step is over."""
    result = job(tmp_path, 12.0, "220 uF", "2 A", 5.0, [UP, CLOSE, DOWN]).rehearse().prediction.inputs["main"]
    assert result.inrush_peak == result.peak_current
    assert result.inrush_peak == pytest.approx(discharged(12.0, 150e-6, 220e-6), rel=0.08)
    assert result.inrush_charge == pytest.approx(12.0 * 220e-6 + 0.2 * 0.09, rel=0.02)
    assert result.settled_voltage == pytest.approx(12.0, rel=0.01)


@pytest.mark.parametrize("at_most", ["2 A", "200 A"])
def test_a_fault_beside_it_is_judged_by_what_the_input_bears(at_most: str, tmp_path: Path) -> None:
    """The surge flows with each fault in which the contact closes under 12 V, whether the fault adds to it or
    not: 'typed' faults of limit and OVP, in which nothing trips, come out alike.
    """
    made = job(tmp_path, 12.0, "220 uF", at_most, 5.0, [UP, CLOSE, DOWN])
    results = [each for each in made.faults().results if each.peak_current > 10.0 and not each.trips]
    assert len({each.fault for each in results}) >= 2
    for each in results:
        if "reversed" not in each.title:
            assert each.contained == (at_most == "200 A"), each.title


def told(finding: Finding, name: str) -> float:
    return next(figure.value for figure in finding.figures if figure.name == name)
