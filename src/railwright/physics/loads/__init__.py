"""Loads, one a file: the parameters as a device document writes them, and their equations.

Importing this package loads neither numpy nor numba. A further load is announced with `register`.
"""

from __future__ import annotations

from railwright.physics.loads import (
    battery,
    capacitor,
    coil,
    constant_current,
    converter,
    dc_motor,
    filament_lamp,
    iv_table,
    led_string,
    profile,
    resistor,
)
from railwright.physics.loads.law import Choose, LoadKind, LoadParameters, fault, high, low, nominal

KINDS: dict[str, LoadKind] = {}
"""Load kinds by their names in documents."""

LOAD_MODELS: dict[str, type[LoadParameters]] = {}
"""Parameter models by their names in documents."""


def register(kind: LoadKind) -> None:
    """Announce a load; before the first circuit is solved. ValueError where the name is taken."""
    if kind.name in KINDS:
        raise ValueError(f"there is already a load called '{kind.name}'")
    KINDS[kind.name] = kind
    LOAD_MODELS[kind.name] = kind.model


register(LoadKind("resistor", resistor.Resistor, resistor))
register(LoadKind("constant_current", constant_current.ConstantCurrent, constant_current))
register(LoadKind("capacitor", capacitor.Capacitor, capacitor, states=("capacitor voltage",)))
register(
    LoadKind(
        "converter",
        converter.Converter,
        converter,
        flags_at_start=(0.0, float("-inf"), 0.0),
        events=converter.EVENTS,
    )
)
register(LoadKind("filament_lamp", filament_lamp.FilamentLamp, filament_lamp, states=("temperature",)))
register(
    LoadKind(
        "dc_motor",
        dc_motor.Motor,
        dc_motor,
        states=("current", "speed"),
        flags_at_start=(0.0,),
        events=dc_motor.EVENTS,
    )
)
register(LoadKind("led_string", led_string.LedString, led_string))
register(LoadKind("battery", battery.Battery, battery, states=("charge",)))
register(LoadKind("coil", coil.Coil, coil, states=("current",)))
register(LoadKind("iv_table", iv_table.CurrentOverVoltage, iv_table))
register(
    LoadKind(
        "profile",
        profile.Profile,
        profile,
        flags_at_start=(0.0, 0.0, float(profile.FIRST)),
        events=profile.EVENTS,
    )
)

__all__ = [
    "KINDS",
    "LOAD_MODELS",
    "Choose",
    "LoadKind",
    "LoadParameters",
    "fault",
    "high",
    "low",
    "nominal",
    "register",
]
