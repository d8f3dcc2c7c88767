"""Settings against outside figures: touch and energy limits, closed forms of charging, lead drop."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.settings.station import of_rule, settled, station

from railwright.settings.context import sources_of
from railwright.settings.rules.energy import HAZARDOUS_ENERGY
from railwright.settings.rules.voltage import EXTRA_LOW_VOLTAGE, TOUCH_LIMIT


def test_touch_limits() -> None:
    """60 V d.c. dry, about 35 V wet: IEC 61010-1; extra-low voltage to 120 V d.c.: IEC 61140. From memory."""
    assert TOUCH_LIMIT == {"dry": 60.0, "wet": 35.0}
    assert EXTRA_LOW_VOLTAGE == 120.0


def test_the_voltage_that_can_be_reached_is_judged_and_not_the_one_that_is_set(tmp_path: Path) -> None:
    """12 V set on an output of 36 V full scale, in a wet place: common practice, no source."""
    (finding,) = of_rule(settled(tmp_path, ("bench", "location: dry", "location: wet")), "touch-voltage")
    assert "36 V" in finding.why


def test_hazardous_stored_energy() -> None:
    """20 J at 2 V or more counts as an energy hazard: IEC 60950-1, from memory."""
    assert HAZARDOUS_ENERGY == 20.0


def test_charging_at_a_limit_is_c_v_over_i(tmp_path: Path) -> None:
    """Charging C at a limit I from 0 to V takes C·V/I (physics; any textbook)."""
    documents = station(
        tmp_path, ("device", "constant_current: {current: 20 mA ± 5 %, compliance: 9 V}", "capacitor: 1 uF")
    )
    source = sources_of(documents)[0]["transducer"]
    capacitance = 12e-6 + 1e-6
    assert source.load.charging_time(0.0, 0.1, 0.0, 24.0) == pytest.approx(capacitance * 24 / 0.1, rel=1e-9)


def test_charging_beside_a_resistor_is_the_usual_exponential(tmp_path: Path) -> None:
    """At a constant current I into C ∥ R: t = -R·C·ln(1 - V/(I·R)) (physics; any textbook)."""
    import math

    documents = station(
        tmp_path,
        (
            "device",
            "constant_current: {current: 20 mA ± 5 %, compliance: 9 V}",
            "resistor: {resistance: 300 ohm}",
        ),
    )
    source = sources_of(documents)[0]["transducer"]
    exact = -300 * 12e-6 * math.log(1 - 24 / (0.1 * 300))
    assert source.load.charging_time(0.0, 0.1, 0.0, 24.0) == pytest.approx(exact, rel=2e-3)


def test_lead_drop_by_the_wire_table(tmp_path: Path) -> None:
    """AWG 18: 20.95 Ω/km at 20 °C (published wire tables), 3 m both ways, contacts 8 mΩ, at most 26 °C."""
    source = sources_of(station(tmp_path))[0]["main"]
    expected = 20.95e-3 * 3.0 * (1 + 3.93e-3 * 6) + 8e-3
    assert source.resistance.high == pytest.approx(expected, rel=2e-3)


def test_lead_of_a_class_counts_with_its_tabulated_maximum(tmp_path: Path) -> None:
    """IEC 60228 class 5, 0.5 mm²: at most 39.0 Ω/km at 20 °C (published tables)."""
    source = sources_of(station(tmp_path))[0]["transducer"]
    expected = 39.0e-3 * 4.0 * (1 + 3.93e-3 * 6) + 12e-3
    assert source.resistance.high == pytest.approx(expected, rel=1e-6)


def test_constant_power_draw(tmp_path: Path) -> None:
    """A converter draws P/(η·V): 3.96 W at 83 % and 9 V is 0.530 A (physics)."""
    source = sources_of(station(tmp_path))[0]["main"]
    drawn = source.load.current(9.0)
    assert drawn is not None
    assert drawn.high == pytest.approx(3.96 / 0.83 / 9.0)
    assert drawn.low == pytest.approx(3.24 / 0.89 / 9.0)
