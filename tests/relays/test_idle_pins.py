"""What an input draws while its pins say that it is disabled, told from what its capacitors take in, however
late and coarsely a supply reads; by the closed form of a capacitor behind a resistance.
"""

from __future__ import annotations

from math import exp, floor

import pytest

from railwright.running.idle_pins import IdlePins, _Input
from railwright.running.outcome import InputReading

FARADS, OHMS, LOW, HIGH = 8e-3, 0.7, 5.0, 15.0


def alarm(step_at: float, update: float, aperture: float, every: float, load: float) -> float | None:
    """When a current was said to be drawn [s]; None: never. The voltage steps from LOW to HIGH, and readings
    are averages over the aperture, renewed at each update, of a capacitor charged through a resistance.
    """
    tau = FARADS * OHMS

    def charge(time: float) -> float:
        """What has flowed into the capacitor [C]."""
        return FARADS * (HIGH - LOW) * (1.0 - exp(-max(0.0, time - step_at) / tau))

    def shown(time: float) -> tuple[float, float]:
        end = floor(time / update) * update
        begin = end - aperture
        high = min(max(end - step_at, 0.0), aperture) / aperture
        return LOW + (HIGH - LOW) * high, (charge(end) - charge(begin)) / aperture + load

    pins = IdlePins.__new__(IdlePins)
    pins._inputs = {"main": _Input(("run",), FARADS, OHMS, 0.005, update + aperture)}
    pins._sums = {}
    for turn in range(1, int(4.0 / every)):
        time = 0.3 + turn * every
        reading = InputReading(time, "main", "at load", *shown(time), None, "")
        if pins.see(reading, {"run": 0.0}) is not None:
            return time - 0.3
    return None


@pytest.mark.parametrize(
    ("update", "aperture", "every", "within"),
    [(0.01, 0.01, 0.01, 0.4), (0.05, 0.02, 0.05, 0.6), (0.1, 0.1, 0.02, 1.0), (0.2, 0.1, 0.02, 3.7)],
)
def test_held_readings_of_what_charges_a_capacitor_are_no_load_and_a_load_is(
    update: float, aperture: float, every: float, within: float
) -> None:
    for phase in range(20):
        step_at = 0.7 + phase * update / 20
        assert alarm(step_at, update, aperture, every, 0.0) is None
        found = alarm(step_at, update, aperture, every, 0.35)
        assert found is not None
        assert found < within


def test_a_load_on_a_voltage_that_stands_still_is_found_within_a_few_readings() -> None:
    """12 readings of a hundredth of a second, where 26 were wanted before."""
    found = alarm(-9.0, 0.01, 0.01, 0.01, 0.35)
    assert found is not None
    assert found < 0.13
