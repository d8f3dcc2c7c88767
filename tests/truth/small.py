"""Small benches and devices in which one fact can be worked out by hand."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tests.twin.bench import OUTPUT as USUAL


def changed(whole: Mapping[str, Any], more: Mapping[str, Any]) -> dict[str, Any]:
    """A mapping with other values; None leaves a key out."""
    return {key: value for key, value in {**whole, **more}.items() if value is not None}


OUTPUT = changed(
    USUAL,
    {
        "voltage": "0 V .. 40 V",
        "current": "0 A .. 3 A",
        "power": "120 W",
        "programming": {
            "voltage": {"of_value": "0 %", "offset": "0 mV", "resolution": "1 mV"},
            "current": {"of_value": "0 %", "offset": "0 mA", "resolution": "1 mA"},
        },
        "rise": "8 ms",
        "fall": {"loaded": "20 ms"},
        "slew": "1 V/s .. 20 V/ms",
        "recovery": {"time": "100 us", "band": "30 mV", "step": "25 % .. 75 %"},
        "limit_response": "500 us",
        "output_capacitance": "150 uF",
        "bleeder": "2 kohm",
        "sink": "1.5 A",
        "ovp": {"level": "1 V .. 44 V", "accuracy": "0 mV", "response": "200 us", "at": "terminals"},
        "trip_delay": "1 ms .. 10 s",
        "opp": None,
        "ocp": None,
        "points": None,
        "may_join": ["series", "parallel"],
    },
)
"""An output that sets exactly what it is told; a value of None in what is changed leaves a key out."""

LEAD: dict[str, Any] = {
    "conductor": "AWG 20",
    "one_way_length": "1.2 m",
    "contact_resistance_loop": "10 mohm",
    "inductance": "0.7 uH/m",
    "permitted_current": "10 A",
}


def supply(*outputs: Mapping[str, Any], port: int = 5999, **more: Any) -> dict[str, Any]:
    """A supply with outputs 1, 2, … that differ from `OUTPUT` in these figures."""
    given = {str(number): changed(OUTPUT, each) for number, each in enumerate(outputs, 1)}
    least = {"address": f"TCPIP::127.0.0.1::{port}::SOCKET", "dialect": "channel-list", "outputs": given}
    return changed(least, more)


def write(
    folder: Path,
    inputs: Mapping[str, Any],
    procedure: Mapping[str, Any],
    supplies: Mapping[str, Any] | None = None,
    lead: Mapping[str, Any] | None = None,
    **bench: Any,
) -> Path:
    """The three documents of a small job; the procedure's path. Left out: supply `s` with one exact output,
    lead `pair`.
    """
    folder.mkdir(exist_ok=True)
    whole = {
        "bench": "small",
        "location": "dry",
        "ambient": "20 °C",
        "supplies": supplies or {"s": supply({})},
        "leads": {"pair": {**LEAD, **(lead or {})}},
        **bench,
    }
    device = {"device": "small", "inputs": inputs}
    play = {"procedure": "small", "device": "small.device.yaml", "bench": "small.bench.yaml", **procedure}
    # Whatever is JSON is YAML.
    for name, data in (("bench", whole), ("device", device), ("procedure", play)):
        (folder / f"small.{name}.yaml").write_text(json.dumps(data, indent=1, ensure_ascii=False), "utf-8")
    return folder / "small.procedure.yaml"


def fed_by(*load: Any, nominal: str = "24 V", **more: Any) -> dict[str, Any]:
    """An input with these loads that works over a wide range and withstands 38 V."""
    least = {
        "nominal": nominal,
        "operating": "1 V .. 30 V",
        "withstands": [{"voltage": "38 V"}],
        "return": "isolated",
        "load": list(load),
    }
    return changed(least, more)
