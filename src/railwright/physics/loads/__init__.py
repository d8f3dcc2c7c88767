"""Loads, one a file: the parameters as a device document writes them, and their equations.

Importing this package loads neither numpy nor numba. A further load is announced with `register`.
"""

from __future__ import annotations

from collections.abc import Iterable

from railwright.physics.loads import (
    battery,
    capacitor,
    coil,
    constant_current,
    converter,
    dc_motor,
    filament_lamp,
    inside,
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


def kind_of(name: str) -> LoadKind:
    """The kind of a part of a circuit: one that documents can name as a load, or what lies inside a device.
    KeyError where there is none.
    """
    return inside.KIND if name == inside.NAME else KINDS[name]


def labels_of(kinds: Iterable[str]) -> tuple[str, ...]:
    """What loads of these kinds are called in names of quantities: their kinds, the second of one with _2."""
    every = list(kinds)
    counts = [every[:place].count(kind) for place, kind in enumerate(every)]
    return tuple(f"{kind}_{count + 1}" if count else kind for kind, count in zip(every, counts, strict=True))


for _load in (
    resistor,
    constant_current,
    capacitor,
    converter,
    filament_lamp,
    dc_motor,
    led_string,
    battery,
    coil,
    iv_table,
    profile,
):
    register(_load.KIND)

__all__ = [
    "KINDS",
    "LOAD_MODELS",
    "Choose",
    "LoadKind",
    "LoadParameters",
    "fault",
    "high",
    "kind_of",
    "labels_of",
    "low",
    "nominal",
    "register",
]
