"""A capacitor behind a large series resistance draws no more than that lets through.

The truth is that of Kirchhoff's laws, integrated by scipy: a supply that gives a current I charges its own
capacitor and, through R, the device's.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.said import says
from tests.truth.small import OUTPUT, fed_by, write

from railwright.documents.device import Input
from railwright.documents.loader import load_documents
from railwright.job import Job
from railwright.plan.coming_up import coming_up
from railwright.report.sheet_order import in_order
from railwright.settings.context import sources_of
from railwright.settings.draw import LoadModel

OWN = 150e-6
"""Output capacitor of `tests.truth.small` [F]."""


def load_of(farads: float, ohms: float, resistor: float, *more: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {"capacitor": {"capacitance": f"{farads} F", "esr": f"{ohms} ohm"}},
        {"resistor": {"resistance": f"{resistor} ohm"}},
        *more,
    ]


def in_limit(farads: float, ohms: float, resistor: float, amperes: float, volts: float) -> float:
    """How long a current takes the connector from 0 V to some [s]."""

    def slopes(_: float, state: np.ndarray) -> list[float]:
        into = (state[0] - state[1]) / ohms
        return [(amperes - state[0] / resistor - into) / OWN, into / farads]

    def there(_: float, state: np.ndarray) -> float:
        return state[0] - volts

    there.terminal = True  # type: ignore[attr-defined]
    longest = 3.0 * (farads + OWN) * volts / (amperes - volts / resistor) + 1.0
    found = solve_ivp(slopes, (0.0, longest), [0.0, 0.0], "LSODA", events=there, rtol=1e-8, atol=1e-9)
    return float(found.t_events[0][0])


@pytest.mark.parametrize(
    ("farads", "ohms", "resistor", "amperes", "volts"),
    [
        (0.1, 47.0, 1000.0, 1.0, 24.0), (0.1, 10.0, 1000.0, 1.0, 24.0), (0.47, 30.0, 500.0, 1.0, 24.0),
        (1.0, 2.0, 2000.0, 0.5, 5.0), (5.0, 0.5, 400.0, 2.0, 5.4), (0.01, 20.0, 3000.0, 0.3, 12.0),
        (2.2e-3, 100.0, 5000.0, 0.2, 48.0), (0.1, 30.0, 1000.0, 0.9, 24.0),
    ],
)  # fmt: skip
def test_the_time_in_a_limit_is_that_of_the_voltage_at_the_connector(
    farads: float, ohms: float, resistor: float, amperes: float, volts: float
) -> None:
    """By C V / I, 0.1 F to 24 V take 2.4 s at 1 A; behind 47 Ω the voltage is there in 8 ms."""
    inputs = {"nominal": f"{volts} V", "operating": f"1 V .. {2 * volts} V", "return": "common"}
    load = LoadModel(Input.model_validate({**inputs, "load": load_of(farads, ohms, resistor)}))
    said = load.charging_time(OWN, amperes, 0.0, volts)
    true = in_limit(farads, ohms, resistor, amperes, volts)
    assert said is not None
    # The greatest draw of the load is taken all the way, a tenth of the limit at most here.
    assert true * (1.0 - 1e-6) <= said <= 1.4 * true


@pytest.mark.parametrize("rate", [50.0, 1e3, 2e4, math.inf])
@pytest.mark.parametrize(
    ("farads", "ohms", "volts"),
    [(0.1, 47.0, 24.0), (0.47, 3.0, 12.0), (5.0, 0.2, 2.7), (1e-3, 0.05, 24.0), (22e-6, 1.0, 48.0)],
)
def test_what_charges_it_on_a_ramp(farads: float, ohms: float, volts: float, rate: float) -> None:
    inputs = {"nominal": f"{volts} V", "operating": f"1 V .. {2 * volts} V", "return": "common"}
    load = LoadModel(Input.model_validate({**inputs, "load": load_of(farads, ohms, 100.0)}))
    said = load.charging_current(rate, volts)
    if math.isinf(rate):
        assert said == pytest.approx(volts / ohms)
        return
    over = volts / rate
    found = solve_ivp(
        lambda t, v: (rate * t - v) / (ohms * farads), (0.0, over), [0.0], "LSODA", rtol=1e-10, atol=1e-12
    )
    assert said == pytest.approx((volts - found.y[0, -1]) / ohms, rel=1e-4)
    # Once the ramp is over it fades by the time constant of the two.
    assert load.charging_current(rate, volts, ohms * farads) == pytest.approx(said / math.e, rel=1e-4)


def checked(folder: Path, rise: str, limit: str, *load: dict[str, Any], trip: str = "20 ms") -> set[str]:
    """The rules that have something to say."""
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": limit, "at_limit": "trip", "trip_delay": trip, "ovp": "32 V"}},
        "steps": [
            {"power_up": {"order": ["main"], "rise": rise, "settle": "500 ms"}, "name": "up"},
            {"power_down": {"order": ["main"]}, "name": "down"},
        ],
        "record": {"every": "10 ms"},
    }
    own = fed_by(*load, current={"steady": "10 mA .. 0.8 A", "at_most": "3 A"})
    return {each.rule for each in Job.open(write(folder, {"main": own}, procedure)).check().findings}


@pytest.mark.parametrize(
    ("farads", "ohms", "rise", "limit"),
    [
        (0.1, 47.0, 1e3, 1.0), (0.1, 30.0, 1e3, 1.0), (0.1, 20.0, 1e3, 1.0), (0.47, 100.0, 4e3, 1.2),
        (1.0, 25.0, 500.0, 1.0), (1.0, 200.0, 2e3, 0.8), (22e-3, 60.0, 1e3, 1.0), (4.7e-3, 10.0, 200.0, 1.0),
    ],
)  # fmt: skip
def test_a_rise_reaches_the_limit_where_what_flows_does(
    farads: float, ohms: float, rise: float, limit: float, tmp_path: Path
) -> None:
    """What flows at the end of the ramp: into the output's capacitor, through R, and into the load."""
    through = farads * rise * -math.expm1(-24.0 / (rise * ohms * farads))
    flows = float(str(OUTPUT["output_capacitance"]).split()[0]) * 1e-6 * rise + through + 24.0 / 100.0
    assert abs(flows - limit) > 0.05 * limit  # clear of what lead and accuracy make of it
    found = checked(tmp_path / "job", f"{rise / 1e3} V/ms", f"{limit} A", *load_of(farads, ohms, 100.0))
    assert ("ramp-in-limit" in found) == (flows > limit)


@pytest.mark.parametrize(
    ("farads", "ohms", "limit"),
    [
        (0.1, 47.0, 1.0), (0.1, 20.0, 0.8), (0.47, 0.05, 1.0), (5.0, 0.2, 2.0), (1.0, 30.0, 1.0),
        (22e-3, 100.0, 1.0), (10e-3, 0.05, 1.0), (470e-6, 0.05, 1.0), (4.7e-3, 20.0, 0.5),
    ],
)  # fmt: skip
def test_the_sheet_shows_the_current_of_once_it_is_charged(
    farads: float, ohms: float, limit: float, tmp_path: Path
) -> None:
    """At once the current is up to the limit: the band of the load alone, 0.24 A, was told for then."""
    resistor = 100.0
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": f"{limit} A", "at_limit": "regulate", "ovp": "32 V"}},
        "steps": [{"power_up": {"order": ["main"], "settle": "1 s"}, "name": "up"}],
        "record": {"every": "10 ms"},
    }
    own = fed_by(*load_of(farads, ohms, resistor), current={"steady": "10 mA .. 0.8 A", "at_most": "3 A"})
    documents = load_documents(write(tmp_path / "job", {"main": own}, procedure))
    points = Job.open(tmp_path / "job" / "small.procedure.yaml").check()
    sources, timeline = sources_of(documents)
    (said,) = [
        each.words
        for each in in_order(documents, points.settings.set_points, sources, timeline, coming_up(timeline))
        if each.words.startswith("Verify")
    ]
    # From then on what charges it is less than 10 % of what the load draws.
    at = in_limit(farads, ohms, resistor, limit, 24.0)
    left = min(limit - 24.0 / resistor, 24.0 / ohms)
    charged = at + ohms * farads * math.log(left / (0.1 * 24.0 / resistor))
    assert abs(charged - 1.0) > 0.05
    assert ("once it is charged" in said) == (charged > 1.0)
    ends = re.search(r"Current ([\d.]+) A to ([\d.]+) A", said)
    assert ends
    low, high = float(ends[1]), float(ends[2])
    assert low <= 24.0 / resistor <= high < 1.1 * low  # read with the errors of set and read values
    if charged > 1.0:
        told = float(re.search(r"up to ([0-9.]+) s", said)[1])  # type: ignore[index]
        assert charged * 0.95 <= told <= 1.4 * charged
        assert says(said, f"{limit:g} A")


@pytest.mark.parametrize(
    ("farads", "ohms", "direct", "resistor", "limit"),
    [
        (0.1, 47.0, 0.0, 1000.0, 1.0), (0.1, 1.0, 0.0, 26.0, 1.0), (0.1, 0.5, 0.0, 40.0, 0.7),
        (0.1, 47.0, 1e-5, 1000.0, 1.0), (0.47, 30.0, 1e-3, 500.0, 1.0), (0.1, 0.1, 1e-4, 1000.0, 1.0),
        (0.1, 2.0, 0.0, 25.0, 1.0),
    ],
)  # fmt: skip
def test_what_is_said_of_a_resistance_is_what_was_counted(
    farads: float, ohms: float, direct: float, resistor: float, limit: float, tmp_path: Path
) -> None:
    """It counts where what the resistor leaves of the limit at 24 V drops 1 % of that or more in it, whatever
    else is charged beside; and only then may the time be less than C R ln(I R / (I R - V))."""
    own = fed_by(
        *load_of(farads, ohms, resistor),
        *([{"capacitor": {"capacitance": f"{direct} F"}}] if direct else []),
        current={"steady": "10 mA .. 1 A", "at_most": "3 A"},
    )
    steps = [{"power_up": {"order": ["main"], "rise": "100 V/ms", "settle": "500 ms"}, "name": "up"}]
    procedure = {
        "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"main": {"current_limit": f"{limit} A", "at_limit": "regulate", "ovp": "32 V"}},
        "steps": steps,
        "record": {"every": "10 ms"},
    }
    source = sources_of(load_documents(write(tmp_path, {"main": own}, procedure)))[0]["main"]
    charging = source.longest_charging(limit)
    assert charging is not None
    counts = ohms * (limit - 24.0 / resistor) > 0.01 * 24.0
    assert [each.value for each in charging.words.figures if each.name == "ohms"] == (
        [ohms] if counts else []
    )
    plain = source.capacitance * resistor * math.log(limit * resistor / (limit * resistor - 24.0))
    assert (charging.time < plain * (1.0 - 1e-3)) <= counts
