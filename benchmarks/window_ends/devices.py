"""Twenty new devices on one bench: light and heavy loads, motors, lamps, 3.3 V to 60 V, in series, parallel.

Two have a cell behind the connector. Invented data; each is written out as three documents.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ACCURATE = {
    "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV"},
    "current": {"of_value": "0.1 %", "offset": "4 mA", "resolution": "1 mA"},
}


def _output(
    volts: float, amperes: float, watts: float, farads: str, rise: str, **more: Any
) -> dict[str, Any]:
    return {
        "voltage": f"0 V .. {volts} V",
        "current": f"0 A .. {amperes} A",
        "power": f"{watts} W",
        "programming": ACCURATE,
        "rise": rise,
        "fall": {"loaded": "30 ms", "unloaded": "480 ms"},
        "recovery": {"time": "100 us", "band": f"{volts} mV", "step": "25 % .. 75 %"},
        "limit_response": "1 ms",
        "output_capacitance": farads,
        "bleeder": "1.5 kohm",
        "ovp": {
            "level": f"1 V .. {1.1 * volts:.4g} V",
            "accuracy": "100 mV",
            "response": "200 us",
            "at": "terminals",
        },
        "trip_delay": "1 ms .. 10 s",
        "sense": {"compensates": "2 V"},
        "may_join": ["series", "parallel"],
        **more,
    }


BENCH: dict[str, Any] = {
    "bench": "window ends",
    "location": "dry",
    "ambient": "23 °C ± 3 °C",
    "supplies": {
        "s": {
            "address": "TCPIP::127.0.0.1::5999::SOCKET",
            "dialect": "channel-list",
            "isolation": "300 V",
            "outputs": {
                "low": {**_output(8, 6, 48, "470 uF", "6 ms"), "channel": "1"},
                "small": {**_output(32, 1, 32, "100 uF", "12 ms"), "channel": "2"},
                "one": {**_output(36, 2.5, 60, "220 uF", "12 ms", slew="1 V/s .. 2.4 V/ms"), "channel": "3"},
                "two": {**_output(36, 2.5, 60, "220 uF", "12 ms", slew="1 V/s .. 2.4 V/ms"), "channel": "4"},
                "large": {**_output(40, 10, 300, "470 uF", "5 ms", slew="1 V/s .. 6 V/ms"), "channel": "5"},
                "high": {**_output(66, 5, 330, "330 uF", "10 ms", slew="1 V/s .. 6 V/ms"), "channel": "6"},
            },
        }
    },
    "leads": {
        "pair": {
            "conductor": "1.5 mm2 class 5",
            "one_way_length": "1.5 m",
            "contact_resistance_loop": "10 mohm",
            "inductance": "0.7 uH/m",
            "permitted_current": "16 A",
        }
    },
}


@dataclass(frozen=True)
class Case:
    """One device. withstands: (voltage [V], time, empty: any). rise: empty: as fast as the output does it."""

    name: str
    source: Any
    nominal: float
    withstands: tuple[tuple[float, str], ...]
    at_most: float
    load: list[dict[str, Any]]
    sense: str = "at terminals"
    rise: str = "1 V/ms"
    steady: str = ""
    settle: str = "300 ms"
    requires: str = ""
    limits: dict[str, Any] = field(default_factory=dict)


def _r(ohms: float) -> dict[str, Any]:
    return {"resistor": {"resistance": f"{ohms} ohm ± 5 %"}}


def _c(farads: str, esr: str = "40 mohm ± 50 %") -> dict[str, Any]:
    return {"capacitor": {"capacitance": f"{farads} ± 20 %", "esr": esr}}


def _i(amperes: str, compliance: float) -> dict[str, Any]:
    return {"constant_current": {"current": f"{amperes} ± 10 %", "compliance": f"{compliance} V"}}


def _motor(ohms: float, constant: str, inertia: str, torque: str, henries: str = "1 mH") -> dict[str, Any]:
    return {
        "dc_motor": {
            "resistance": f"{ohms} ohm ± 10 %",
            "torque_constant": f"{constant} ± 8 %",
            "inertia": f"{inertia} ± 20 %",
            "inductance": henries,
            "friction": f"{torque} ± 30 %",
            "load_torque": f"{torque} ± 30 %",
        }
    }


def _lamp(volts: float, watts: float) -> dict[str, Any]:
    return {
        "filament_lamp": {
            "rated_voltage": f"{volts} V",
            "rated_power": f"{watts} W ± 5 %",
            "cold_resistance": f"{volts**2 / watts / 12:.4g} ohm ± 10 %",
            "warm_up": "80 ms ± 20 %",
        }
    }


def _converter(watts: float, starts: float, stops: float, soft: str) -> dict[str, Any]:
    return {
        "converter": {
            "output_power": f"{watts} W ± 10 %",
            "efficiency": "82 % .. 90 %",
            "starts_at": f"{starts} V ± 3 %",
            "stops_at": f"{stops} V ± 3 %",
            "soft_start": soft,
        }
    }


def _cell(volts: float, ohms: float, charge: str = "30 % .. 50 %") -> dict[str, Any]:
    return {
        "battery": {
            "series_resistance": f"{ohms} ohm ± 15 %",
            "capacity": "2 Ah ± 10 %",
            "state_of_charge": charge,
            "curve": [
                {"charge": "0 %", "voltage": f"{0.85 * volts:.4g} V"},
                {"charge": "100 %", "voltage": f"{volts} V"},
            ],
        }
    }


SERIES, PARALLEL = {"series": ["s.one", "s.two"]}, {"parallel": ["s.one", "s.two"]}

CASES = (
    Case("beacon sensor", "s.small", 24, ((30, ""),), 1.2, [_i("12 mA", 9), _c("4.7 uF")], sense="at load"),
    Case("float switch", "s.small", 12, ((16, ""),), 0.9, [_r(2200.0)]),
    Case(
        "logic board",
        "s.low",
        3.3,
        ((4.2, ""), (5.0, "50 ms")),
        5.5,
        [_i("900 mA", 1), _c("680 uF")],
        "at load",
    ),
    Case("camera", "s.low", 5, ((6.5, ""),), 5.8, [_converter(4.0, 3.9, 3.3, "4 ms"), _c("1 mF")]),
    Case("radio", "s.one", 13.8, ((18, ""), (24, "500 ms")), 2.4, [_i("700 mA", 6), _c("470 uF")], "at load"),
    Case("heater", "s.large", 28, ((36, ""),), 9.0, [_r(7.5)], "at load"),
    Case("heated window", "s.high", 60, ((64, ""), (70, "100 ms")), 6.5, [_r(22.0)], rise="3 V/ms"),
    Case(
        "winch motor", "s.large", 24, ((34, ""),), 14.0, [_motor(1.1, "60 mN*m/A", "300 g*cm**2", "20 mN*m")]
    ),
    Case(
        "fan",
        "s.one",
        12,
        ((18, ""),),
        3.8,
        [_motor(6.0, "20 mN*m/A", "80 g*cm**2", "1.5 mN*m")],
        rise="2 V/ms",
    ),
    Case(
        "pump", "s.high", 48, ((60, ""),), 9.0, [_motor(3.5, "120 mN*m/A", "400 g*cm**2", "45 mN*m", "4 mH")]
    ),
    Case("signal lamp", "s.one", 12, ((16, ""),), 3.9, [_lamp(12, 10)]),
    Case("flood light", "s.large", 24, ((32, ""),), 14.0, [_lamp(24, 60)], "at load"),
    Case(
        "relay rack",
        "s.one",
        24,
        ((31, ""),),
        2.4,
        [{"coil": {"resistance": "60 ohm ± 10 %", "inductance": "0.4 H"}}],
    ),
    Case(
        "controller",
        "s.one",
        24,
        ((33, ""), (38, "1 ms")),
        2.5,
        [_converter(9.0, 17, 14, "8 ms"), _c("330 uF")],
        "at load",
    ),
    Case("store", "s.small", 15, ((18, ""),), 0.9, [_r(300.0), _c("4.7 mF")], settle="2 s"),
    Case("cell charger", "s.one", 14.2, ((16.5, ""),), 3.6, [_cell(13.0, 1.5)], steady="0 A .. 1.2 A"),
    Case(
        "buffered logger",
        "s.small",
        12.6,
        ((16, ""),),
        1.2,
        [_cell(12.0, 3.0), _i("50 mA", 6)],
        "at load",
        steady="0 A .. 400 mA",
    ),
    Case("long mast", SERIES, 60, ((68, ""),), 2.4, [_r(80.0), _c("100 uF")], "at load"),
    Case(  # of two outputs one leads, and stays in its limit: nothing may trip by that
        "twin valve",
        PARALLEL,
        24,
        ((34, ""),),
        7.0,
        [_r(9.0), _c("220 uF")],
        "at load",
        limits={"at_limit": "regulate", "trip_delay": None},
    ),
    Case(
        "bus node",
        "s.high",
        48,
        ((60, ""),),
        4.5,
        [_converter(30.0, 36, 30, "6 ms"), _c("220 uF")],
        requires="120 ms",
    ),
)


def write(case: Case, folder: Path) -> Path:
    """The three documents of a device; the procedure's path."""
    folder.mkdir(parents=True, exist_ok=True)
    withstands = [{"voltage": f"{v} V", **({"for": t} if t else {})} for v, t in case.withstands]
    current = {"at_most": f"{case.at_most} A", **({"steady": case.steady} if case.steady else {})}
    device = {
        "device": case.name,
        "inputs": {
            "main": {
                "nominal": f"{case.nominal} V",
                "operating": f"{0.8 * case.nominal:.4g} V .. {1.1 * case.nominal:.4g} V",
                "withstands": withstands,
                "current": current,
                "return": "isolated",
                "load": case.load,
            }
        },
    }
    limits = {"current_limit": "auto", "at_limit": "trip", "trip_delay": "auto", "ovp": "auto", **case.limits}
    limits = {key: value for key, value in limits.items() if value is not None}
    up = {"order": ["main"], "settle": case.settle, **({"rise": case.rise} if case.rise else {})}
    procedure: dict[str, Any] = {
        "procedure": case.name,
        "device": "d.yaml",
        "bench": "b.yaml",
        "hook_up": {"main": {"from": case.source, "lead": "pair", "sense": case.sense}},
        "limits": {"main": limits},
        "steps": [
            {"power_up": up, "name": "up"},
            {"hold": "100 ms", "name": "on"},
            {"power_down": {"order": ["main"]}},
        ],
        "record": {"every": "10 ms"},
    }
    if case.requires:
        procedure["requires"] = [
            {
                "name": "up in time",
                "measure": "start_up_time",
                "of": "main",
                "during": "up",
                "at_most": case.requires,
            }
        ]
    for name, data in (("d", device), ("b", BENCH), ("p", procedure)):  # whatever is JSON is YAML
        (folder / f"{name}.yaml").write_text(json.dumps(data, indent=1, ensure_ascii=False), "utf-8")
    return folder / "p.yaml"
