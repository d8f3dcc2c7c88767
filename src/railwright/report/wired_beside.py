"""What is wired beside the leads: multimeters, and what drives pins of the device; for drawing and sheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from railwright.plan.contacts import Lies, drivers_of

if TYPE_CHECKING:
    from railwright.documents.bench import Bench
    from railwright.documents.device import Device
    from railwright.documents.procedure import Procedure


@dataclass(frozen=True, slots=True)
class MeterMark:
    """One multimeter: its name, what it is called in the drawing (V1, A1), and where it is connected."""

    name: str
    mark: str
    input: str
    quantity: Literal["voltage", "current"]
    at: Literal["connector", "terminals"]


@dataclass(frozen=True, slots=True)
class PinWire:
    """What drives a pin: contact or digital output, what moves it, and what it does at the pin, in words.
    other: what the wire beside the signal goes to.
    """

    pin: str
    driver: str
    instrument: str
    does: str
    active: str
    other: Literal["0 V", "logic supply"]


def meters_of(bench: Bench, procedure: Procedure) -> tuple[MeterMark, ...]:
    """The multimeters of a procedure at inputs that are hooked up, in its order."""
    counted = {"voltage": 0, "current": 0}
    found = []
    for name, probe in procedure.multimeters.items():
        if probe.of not in procedure.hook_up:
            continue
        quantity = bench.multimeters[name].quantity
        counted[quantity] += 1
        mark = f"{'V' if quantity == 'voltage' else 'A'}{counted[quantity]}"
        # A current is the same anywhere: at the outputs its shunt is within what remote sensing makes up for.
        found.append(
            MeterMark(name, mark, probe.of, quantity, probe.at if quantity == "voltage" else "terminals")
        )
    return tuple(found)


def pins_of(device: Device, bench: Bench, procedure: Procedure) -> tuple[PinWire, ...]:
    """What drives pins of the device."""
    return tuple(_pin(each, device) for each in drivers_of(device, bench, procedure).values())


def _pin(lies: Lies, device: Device) -> PinWire:
    contact = lies.contact
    levels = [("closed", contact.closed), ("open", contact.open)]
    does = ", ".join(f"{stands}: {level or 'not driven'}" for stands, level in levels)
    # What drives low pulls to 0 V; what drives both levels has that for a reference.
    other: Literal["0 V", "logic supply"] = "0 V"
    if contact.closed == "high" and contact.open is None:
        other = "logic supply"
    place = f"{lies.instrument}, channel {contact.channel}"
    return PinWire(lies.pin, lies.name, place, does, device.pins[lies.pin].active, other)


def meter_words(meters: tuple[MeterMark, ...], terminals: dict[str, tuple[str, str]]) -> Iterator[str]:
    """Each multimeter in a sentence. terminals: of each, those that its + and - go to; of one that measures a
    current, the two ends of where it lies in the wire.
    """
    for each in meters:
        plus, minus = terminals[each.name]
        where = "at the input's connector" if each.at == "connector" else "at the output's terminals"
        if each.quantity == "voltage":
            how, plus_mark = ",", "HI"
        else:
            how, plus_mark = " in series with the + wire,", "A"
        called = f"Multimeter {each.name} ({each.mark}){how} {where}"
        yield f"{called}: its + ({plus_mark}) to {plus}, its − (LO) to {minus}."


def pin_words(pins: tuple[PinWire, ...]) -> Iterator[str]:
    """Each pin's wires in a sentence."""
    for each in pins:
        other = f"the 0 V that pin {each.pin} is referred to"
        if each.other == "logic supply":
            other = f"the logic supply of pin {each.pin} (of an output with a supply of its own: to its 0 V)"
        driver = f"{each.driver} ({each.instrument}; {each.does})"
        wires = f"one wire to the pin, the other to {other}"
        yield f"Pin {each.pin} (active {each.active}): from {driver} {wires}."
