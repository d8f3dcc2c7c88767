"""A device within its document is not stopped by what a first power-up expects: bounds in closed form."""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import Any

import pytest
from tests.bench import bench_of

from railwright.documents.device import Device
from railwright.documents.translate import validated
from railwright.first_power.make import first_power

TODAY = dt.date(2026, 11, 30)
LOOP = 0.02
"""Resistance of the lead, contacts included [ohm], within what is asked of the figures below."""


def converter(watts: float, worst: float) -> dict[str, Any]:
    efficiency = f"{100 * worst:g} % .. {100 * worst + 8:g} %"
    given = {"output_power": f"{watts:g} W ± 5 %", "efficiency": efficiency}
    return {"converter": {**given, "starts_at": "8 V .. 8.4 V", "stops_at": "7 V .. 7.4 V"}}


RESISTORS = [{"resistor": {"resistance": f"{ohms} ohm ± 20 %"}} for ohms in (40, 60)]
SINKS = [{"constant_current": {"current": f"{ma} mA ± 20 %", "compliance": "4 V"}} for ma in (120, 90)]


def drawn_by_converters(volts: float, *each: tuple[float, float]) -> float:
    """Greatest current of converters (watts, least efficiency) behind the lead: I·(V − I·R) = P."""
    power = sum(1.05 * watts / worst for watts, worst in each)
    return (volts - math.sqrt(volts**2 - 4 * LOOP * power)) / (2 * LOOP)


@pytest.mark.parametrize(
    ("load", "most"),
    [
        ([converter(6.0, 0.8)], {10.0: drawn_by_converters(10.0, (6.0, 0.8))}),
        (
            [converter(6.0, 0.8), converter(3.0, 0.75)],
            {10.0: drawn_by_converters(10.0, (6.0, 0.8), (3.0, 0.75))},
        ),
        (RESISTORS + SINKS, {v: v / 32 + v / 48 + 0.144 + 0.108 for v in (6.0, 10.0, 12.0)}),
        (
            [*RESISTORS, converter(6.0, 0.85)],
            {10.0: 10 / 32 + 10 / 48 + drawn_by_converters(10.0, (6.0, 0.85))},
        ),
    ],
    ids=["converter", "two converters", "resistors and sinks", "resistors and a converter"],
)
def test_the_stop_from_above_lies_beyond_what_a_device_at_its_bounds_draws(
    load: list[dict[str, Any]], most: dict[float, float]
) -> None:
    """The set point's error (0.1 V) and what a reading may err by come on top, and 3 % for the model."""
    head = {
        "nominal": "12 V",
        "operating": "10 V .. 14 V",
        "withstands": [{"voltage": "18 V"}],
        "current": {"steady": "0.3 A .. 1.8 A", "at_most": "3 A"},
        "return": "isolated",
        "load": load,
    }
    device = validated(Device, {"device": "Head", "inputs": {"head": head}})
    accuracy = {"of_value": "0.1 %", "offset": "5 mV", "resolution": "1 mV"}
    amperes = {"of_value": "0.1 %", "offset": "2 mA", "resolution": "0.1 mA"}
    reading = {
        "voltage": accuracy,
        "current": amperes,
        "update": "20 ms",
        "aperture": "16 ms",
        "latency": "2 ms",
    }
    output = {
        "voltage": "0 V .. 32 V",
        "current": "0 A .. 3 A",
        "programming": {"voltage": accuracy, "current": amperes},
        "reading": reading,
        "ovp": {"level": "1 V .. 35 V", "accuracy": "80 mV", "response": "300 us"},
        "trip_delay": "1 ms .. 10 s",
        "slew": "1 V/s .. 3 V/ms",
        "rise": "10 ms",
        "output_capacitance": "150 uF",
        "limit_response": "500 us",
    }
    lead = {
        "conductor": "2.5 mm2 class 5",
        "one_way_length": "1 m",
        "contact_resistance_loop": "5 mohm",
        "permitted_current": "5 A",
    }
    bench = bench_of({"one": {"outputs": {"1": output}}}, {"pair": lead})
    made = first_power(device, bench, ("device.yaml", "bench.yaml"), None, TODAY)
    for volts, amps in most.items():
        text = made.rise[made.rise.index(f"# head at {volts:g} V, head") :]
        expected = re.search(r"\.\. ([0-9.]+) A\s+expected", re.sub(r"\n\s*#", "", text))
        stop = re.search(rf"during: head at {volts:g} V, current_above: ([0-9.]+) A", text)
        assert expected is not None
        assert stop is not None
        assert amps * 0.995 < float(expected.group(1)) < amps * 1.012
        assert amps + 2e-3 < float(stop.group(1)) < amps * 1.05 + 0.01
