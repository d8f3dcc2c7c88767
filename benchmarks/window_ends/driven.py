"""The faults that drive an input upwards, by brute force: how high it gets before its OVP has acted."""

from __future__ import annotations

import math
from collections.abc import Iterator

from benchmarks.window_ends.transient import Course, Move, play
from benchmarks.window_ends.translate import Corner, bench_of

from railwright.documents.loader import Documents
from railwright.settings.context import FedInput

HARDEST: Corner = {
    "voltage": 1, "limit": 1, "ovp": 1, "overshoot": 1, "lead": -1, "capacitor.capacitance": -1,
    "capacitor.esr": 1,
    "resistor.resistance": 1, "constant_current.current": -1, "led_string.forward_voltage": 1,
    "led_string.series_resistance": 1, "coil.resistance": 1, "coil.inductance": 1, "dc_motor.resistance": 1,
    "dc_motor.inductance": 1, "dc_motor.friction": -1, "dc_motor.load_torque": -1, "dc_motor.inertia": -1,
    "dc_motor.torque_constant": 1, "battery.series_resistance": 1, "battery.state_of_charge": 1,
    "battery.diode_drop": 1, "battery.open_circuit_voltage": 1, "battery.capacity": -1,
    "converter.output_power": -1, "converter.efficiency": 1, "converter.soft_start": 1,
    "converter.starts_at": 1,
    "filament_lamp.cold_resistance": 1, "filament_lamp.rated_power": -1, "filament_lamp.rated_current": -1,
    "filament_lamp.warm_up": -1,
}  # fmt: skip
"""Limit, OVP and overshoot high, least drawn, least capacitance behind most resistance, least of the lead."""


def rise(documents: Documents, source: FedInput) -> float:
    """The fastest that the procedure has the input rise, or its outputs can be set to [V/s]."""
    rates = [move.rate for move in source.played.moves if move.stop > move.start]
    fastest = math.inf if None in rates else max(rate for rate in rates if rate is not None)
    slews = [o.slew.high / share for o, share in zip(source.rows, source.shares, strict=True) if o.slew]
    return min(fastest, *slews) if slews else fastest


def driven(
    documents: Documents,
    source: FedInput,
    limit: float,
    ovp: float,
    corner: Corner = HARDEST,
    settles: float = 0.1,
    above: float = math.inf,
    lasts: float = 0.0,
) -> Iterator[tuple[str, Course]]:
    """Each such fault, and what comes of it: a voltage that is mistyped, or a sense lead that comes off.

    above [V]: from where on time counts; lasts [s]: for how long it may.
    """
    level = source.played.highest
    assert level is not None
    goal, rate = min(10.0 * level.voltage, source.full_voltage), rise(documents, source)
    settings = {"limit": limit, "ovp": ovp}
    moves = [Move(0.0, goal, rate)]
    mistyped = bench_of(documents, source.name, settings, moves, corner)
    yield "voltage mistyped", play(mistyped, settles + 2.0 * lasts, above, dt=1e-6)
    if source.senses:
        moves = [Move(0.0, level.voltage, rate), Move(settles, level.voltage, rate, blind=True)]
        blind = bench_of(documents, source.name, settings, moves, corner)
        yield "sense lead off", play(blind, settles + 30e-3 + 2.0 * lasts, above, dt=1e-6)
