"""Figures of documents as the brute force has them: nothing but what the documents say is taken from the
package.

A corner says of each uncertain quantity where it lies within its bounds: -1 at the lower, 0 nominal, 1 at the
upper. Its names: of an output `voltage`, `limit` (or `voltage_gain`, `voltage_offset` and so on), `ovp`,
`damping`, `overshoot`; of the lead `lead`; of a load `<kind>.<field>`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from benchmarks.window_ends.transient import (
    CAPACITOR,
    CELL,
    COIL,
    CONVERTER,
    CURRENT,
    LAMP,
    LEDS,
    MOTOR,
    RESISTOR,
    Bench,
    Move,
    Supply,
    Told,
)

from railwright.documents.bench import Output
from railwright.documents.loader import Documents
from railwright.quantities import Uncertain

Corner = Mapping[str, float]

RESISTIVITY, PER_KELVIN = 1.7241e-8, 3.93e-3
"""Of annealed copper at 20 °C [Ω·m], and its temperature coefficient [1/K] (IEC 60028)."""
CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95}
"""Greatest resistance of flexible copper of class 5 at 20 °C [Ω/km] by section [mm²] (IEC 60228)."""
DAMPING, OVERSHOOT = (0.7, 1.0, 1.4), (0.0, 0.25, 0.5)
"""What a data sheet leaves open of an output: the bounds that are declared."""


def between(value: Uncertain | None, where: float, otherwise: float = 0.0) -> float:
    """A quantity so far towards one of its bounds."""
    if value is None:
        return otherwise
    end = value.high if where > 0.0 else value.low
    return value.nominal + abs(where) * (end - value.nominal)


def _own(bounds: tuple[float, float, float], where: float) -> float:
    low, nominal, high = bounds
    return nominal + abs(where) * ((high if where > 0.0 else low) - nominal)


def supply(output: Output, corner: Corner) -> Supply:
    """An output in a corner; what is not given is taken as the rehearsal declares it."""
    recovery = output.recovery
    step = recovery.step.high - recovery.step.low if recovery and recovery.step else 0.5
    capacitance = output.output_capacitance or 100e-6 * output.current.high
    return Supply(
        volts=output.voltage.high,
        amperes=output.current.high,
        power=math.inf if output.power is None else output.power,
        rise=output.rise or 10e-3,
        recovery=(
            recovery.time if recovery else 100e-6,
            recovery.band if recovery else 1e-3 * output.voltage.high,
            step * output.current.high,
        ),
        limit_response=output.limit_response or 1e-3,
        capacitance=capacitance,
        bleeder=output.bleeder or 200.0 * output.voltage.high / output.current.high,
        ovp_response=(output.ovp.response if output.ovp else None) or 100e-6,
        opp_response=(output.opp.response if output.opp else None) or 1e-3,
        damping=_own(DAMPING, corner.get("damping", 0.0)),
        overshoot=_own(OVERSHOOT, corner.get("overshoot", 0.0)),
        sink=output.sink or 0.0,
    )


def told(output: Output, corner: Corner, **settings: float) -> Told:
    """Set points of one output with its errors: limit [A], ovp [V], delay [s], opp [W]."""
    volts, amperes = (
        (output.programming.voltage, output.programming.current) if output.programming else (None, None)
    )
    found = Told(**settings)
    if volts is not None:
        gain, offset = _both(corner, "voltage")
        found = replace(found, gain=1.0 + gain * volts.of_value, offset=offset * volts.offset)
    if amperes is not None:
        gain, offset = _both(corner, "limit")
        limit = found.limit * (1.0 + gain * amperes.of_value) + offset * amperes.offset
        found = replace(found, limit=limit)
    accuracy = (output.ovp.accuracy if output.ovp else None) or 0.0
    return replace(found, ovp=found.ovp + corner.get("ovp", 0.0) * accuracy)


def _both(corner: Corner, name: str) -> tuple[float, float]:
    """Where the error of a gain and of an offset lie: `name` is both."""
    both = corner.get(name, 0.0)
    return corner.get(f"{name}_gain", both), corner.get(f"{name}_offset", both)


@dataclass(frozen=True)
class _Load:
    kind: int
    fields: Sequence[tuple[str, float]]


_LOADS = {
    "resistor": _Load(RESISTOR, [("resistance", 0.0)]),
    "capacitor": _Load(CAPACITOR, [("capacitance", 0.0), ("esr", 0.02)]),
    "constant_current": _Load(CURRENT, [("current", 0.0), ("compliance", 0.0)]),
    "dc_motor": _Load(
        MOTOR,
        [("resistance", 0.0), ("inductance", 1e-3), ("torque_constant", 0.0), ("inertia", 0.0),
         ("friction", 0.0), ("viscous_friction", 0.0), ("load_torque", 0.0)],
    ),
    "coil": _Load(COIL, [("resistance", 0.0), ("inductance", 0.0)]),
    "converter": _Load(
        CONVERTER,
        [("output_power", 0.0), ("efficiency", 0.0), ("starts_at", 0.0), ("stops_at", 0.0),
         ("soft_start", 0.0)],
    ),
    "led_string": _Load(
        LEDS,
        [("count", 0.0), ("forward_voltage", 0.0), ("rated_current", 0.0), ("series_resistance", 0.0),
         ("dynamic_resistance", 0.0), ("ideality", 2.0)],
    ),
    "battery": _Load(
        CELL,
        [("series_resistance", 0.0), ("capacity", 0.0), ("open_circuit_voltage", 0.0), ("diode_drop", -1.0),
         ("state_of_charge", 0.0)],
    ),
    "filament_lamp": _Load(
        LAMP,
        [("rated_voltage", 0.0), ("rated_power", 0.0), ("rated_current", 0.0), ("cold_resistance", 0.0),
         ("warm_up", 0.1)],
    ),
}  # fmt: skip


def load(kind: str, parameters: object, corner: Corner) -> tuple[int, list[float]]:
    """A load of a device in a corner."""
    if kind == "profile":  # for what it draws at least
        least = min(point.current for point in parameters.points)  # type: ignore[attr-defined]
        factor, compliance = (
            between(getattr(parameters, name), -1.0, 1.0) for name in ("factor", "compliance")
        )
        return CURRENT, [least * factor, compliance]
    known = _LOADS[kind]
    values = [
        between(getattr(parameters, name), corner.get(f"{kind}.{name}", 0.0), otherwise)
        for name, otherwise in known.fields
    ]
    if known.kind == MOTOR:
        ohms, henries, constant, inertia, friction, viscous, torque = values
        return MOTOR, [ohms, henries, constant, inertia, friction + torque, viscous]
    if known.kind == CELL:
        ohms, capacity, volts, drop, charge = values
        curve = getattr(parameters, "curve", None)
        low, high = volts, volts
        if curve:  # its first and last point; a straight line between them
            slope = (curve[-1].voltage - curve[0].voltage) / (curve[-1].charge - curve[0].charge)
            low = curve[0].voltage - slope * curve[0].charge
            high = low + slope
        return CELL, [ohms, capacity, low, high, drop, charge]
    if known.kind == LAMP:
        return LAMP, lamp(*values)
    return known.kind, values


def lamp(volts: float, power: float, amperes: float, cold: float, warm_up: float) -> list[float]:
    """Rated voltage, cold resistance, rated power, hot temperature and heat capacity of a filament.

    R ~ T^1.215, radiation ~ T⁴ - T_0⁴; the heat capacity is such that after `warm_up` at the rated voltage
    the
    current has fallen to 1.1 times the rated one: by integrating the warming up in 20,000 parts.
    """
    power = power or volts * amperes
    hot_ohms = volts**2 / power
    cold = cold or hot_ohms / 13.0
    hot = 293.15 * (hot_ohms / cold) ** (1.0 / 1.215)
    goal = hot / 1.1 ** (1.0 / 1.215)
    parts = 20_000
    step, needed = (goal - 293.15) / parts, 0.0
    for n in range(parts):
        kelvin = 293.15 + (n + 0.5) * step
        warms = volts**2 / (cold * (kelvin / 293.15) ** 1.215)
        radiates = power * (kelvin**4 - 293.15**4) / (hot**4 - 293.15**4)
        needed += step / (warms - radiates)
    return [volts, cold, power, hot, warm_up / needed]


def lead_ohms(documents: Documents, lead: str, where: float) -> float:
    """Loop resistance of a lead [Ω]: 2 ℓ ρ (1 + α (T - 20 °C)) / A and its contacts; at most that of the
    table.
    """
    found, ambient = documents.bench.leads[lead], documents.bench.ambient
    kelvin = between(ambient, where)
    ohms = 2.0 * found.one_way_length * RESISTIVITY / found.conductor.section
    if where > 0.0 and found.conductor.iec_class == 5:
        ohms = max(ohms, 2.0 * found.one_way_length * CLASS_5[round(found.conductor.section * 1e6, 2)] / 1e3)
    return ohms * (1.0 + PER_KELVIN * (kelvin - 20.0)) + between(found.contact_resistance_loop, where)


def bench_of(
    documents: Documents,
    name: str,
    settings: Mapping[str, float],
    moves: Sequence[Move],
    corner: Corner = {},  # noqa: B006 - it is only read
    each: Callable[[int], Corner] | None = None,
) -> Bench:
    """One input with what feeds it. settings: of the input as a whole: limit, ovp, delay, opp, those that are
    used. each: corner of the output of that place, over the common one.
    """
    hook_up = documents.procedure.hook_up[name]
    rows = [documents.bench.output(output) for output in hook_up.outputs]
    series, parallel = hook_up.arrangement == "series", hook_up.arrangement == "parallel"
    volts, amperes = sum(r.voltage.high for r in rows), sum(r.current.high for r in rows)
    shares = [r.voltage.high / volts if series else 1.0 for r in rows]
    parts = [r.current.high / amperes if parallel else 1.0 for r in rows]
    corners = [{**corner, **(each(k) if each else {})} for k in range(len(rows))]
    own = []
    for row, share, part, at in zip(rows, shares, parts, corners, strict=True):
        portion = {"limit": part, "ovp": share, "delay": 1.0, "opp": share * part}
        own.append(told(row, at, **{key: value * portion[key] for key, value in settings.items()}))
    lead = documents.bench.leads[hook_up.lead]
    henries = lead.inductance if lead.inductance is not None else 0.7e-6
    return Bench(
        [supply(row, at) for row, at in zip(rows, corners, strict=True)],
        own,
        shares,
        parallel,
        lead_ohms(documents, hook_up.lead, corner.get("lead", 0.0)),
        henries * lead.one_way_length,
        [load(entry.kind, entry.parameters, corner) for entry in documents.device.inputs[name].load],
        moves,
        hook_up.sensed == "at load",
    )
