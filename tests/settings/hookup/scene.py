"""Benches, devices and procedures for hook-ups, made in code from a few figures each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tests.bench import bench_of

from railwright.documents.device import Device
from railwright.documents.loader import Documents
from railwright.documents.procedure import Procedure
from railwright.documents.translate import validated
from railwright.settings.hookup.candidates import Candidate
from railwright.settings.hookup.program import worth

Data = dict[str, Any]


def key_of(chosen: Sequence[Candidate] | None) -> tuple[int, ...] | None:
    """What an assignment of the program is worth, as `exhaustive.key_of` has it; None: there is none."""
    if chosen is None:
        return None
    mine = worth(chosen)
    return (
        mine.outputs,
        -mine.least_headroom,
        mine.cautions,
        mine.harm,
        -mine.headrooms,
        mine.readings,
    )


def output(volts: float, amperes: float, watts: float | None = None, **more: Any) -> Data:
    """A floating output with a fine data sheet; `more` replaces keys, None removes them."""
    data: Data = {
        "voltage": f"0 V .. {volts} V",
        "current": f"0 A .. {amperes} A",
        "power": f"{watts if watts is not None else volts * amperes} W",
        "programming": {
            "voltage": {"of_value": "0.05 %", "offset": "5 mV", "resolution": "1 mV"},
            "current": {"of_value": "0.1 %", "offset": "2 mA", "resolution": "0.1 mA"},
        },
        "reading": {
            "voltage": {"of_value": "0.05 %", "offset": "5 mV"},
            "current": {"of_value": "0.1 %", "offset": "2 mA"},
            "update": "10 ms",
        },
        "rise": "10 ms",
        "ovp": {"level": f"1 V .. {1.1 * volts} V", "accuracy": "50 mV", "response": "100 us"},
        "trip_delay": "1 ms .. 5 s",
        "sense": {"compensates": "1 V"},
    }
    return data | more


def supply(*outputs: Data, isolation: str | None = "200 V", **more: Any) -> Data:
    """A supply whose outputs are called 1, 2, ..."""
    data: Data = {
        "dialect": "channel-list",
        "outputs": {str(number): each for number, each in enumerate(outputs, start=1)},
        **more,
    }
    return data if isolation is None else {**data, "isolation": isolation}


GOOD_LEAD: Data = {
    "conductor": "AWG 14",
    "one_way_length": "1 m",
    "contact_resistance_loop": "2 mohm",
    "permitted_current": "20 A",
}


def needs(volts: float, amperes: float, returns: str = "common", **more: Any) -> Data:
    """An input that draws a constant current."""
    return {
        "nominal": f"{volts} V",
        "operating": f"{0.8 * volts} V .. {1.1 * volts} V",
        "withstands": [{"voltage": f"{2 * volts + 5} V"}],
        "current": {"steady": f"{0.5 * amperes} A .. {amperes} A", "at_most": f"{4 * amperes} A"},
        "return": returns,
        "load": [{"constant_current": {"current": f"{amperes} A", "compliance": f"{0.1 * volts} V"}}],
        **more,
    }


def scene(
    supplies: Mapping[str, Data],
    inputs: Mapping[str, Data],
    *,
    leads: Mapping[str, Data] | None = None,
    location: str = "dry",
    hook_up: Any = "auto",
    at_limit: str = "regulate",
    limits: Mapping[str, Data] | None = None,
    steps: Sequence[Data] = (),
    never: Sequence[Data] = (),
    rise: str | None = None,
) -> Documents:
    """The three documents. Every input is powered up and held; `steps` follow."""
    bench = bench_of(supplies, leads or {"lead": GOOD_LEAD}, location=location)
    device = validated(Device, {"device": "device", "inputs": dict(inputs), "never": list(never)})
    usual: Data = {"current_limit": "auto", "ovp": "auto", "at_limit": at_limit}
    if at_limit == "trip":
        usual["trip_delay"] = "100 ms"
    power_up: Data = {"order": list(inputs), "settle": "100 ms"}
    if rise is not None:
        power_up["rise"] = rise
    procedure = validated(
        Procedure,
        {
            "procedure": "procedure",
            "device": "device.yaml",
            "bench": "bench.yaml",
            "hook_up": hook_up,
            "limits": {name: {**usual, **(limits or {}).get(name, {})} for name in inputs},
            "steps": [{"power_up": power_up}, {"hold": "1 s"}, *steps],
            "record": {"every": "10 ms"},
        },
    )
    return Documents(device, bench, procedure.for_inputs(device.inputs))
