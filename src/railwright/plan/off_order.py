"""In which order the inputs of a run go off, and what counts as off for each: pure, from the documents."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.guard.off_level import OFF_BELOW
from railwright.physics.loads.battery import Battery

OFF_PART = 0.05
"""Part of the nominal voltage that counts as off, where that is more than `OFF_BELOW`."""

HALF = 0.5
"""Part of a low nominal voltage that counts as off, where that is less: at 0.9 V an input is on, not off."""

LOWEST_OFF = 0.1
"""Voltage that counts as off in any case: what a reading may be off by [V]."""


def off_threshold(device: Device, name: str) -> float:
    """Voltage below which the input counts as off [V]."""
    nominal = abs(device.inputs[name].nominal)
    low = max(HALF * nominal, LOWEST_OFF) if nominal else OFF_BELOW
    return max(min(OFF_BELOW, low), OFF_PART * nominal)


def held_voltage(device: Device, name: str) -> tuple[float, float] | None:
    """Lowest and highest voltage [V] that the device itself may keep at an input; None: it has no source."""
    found: list[tuple[float, float]] = []
    if device.inputs[name].diode_inside is not None:
        return None
    for entry in device.inputs[name].load:
        cell = entry.parameters
        if not isinstance(cell, Battery) or cell.diode_drop is not None:
            continue
        if cell.curve:
            found.append((cell.curve[0].voltage, cell.curve[-1].voltage))
        elif cell.open_circuit_voltage is not None:
            found.append((cell.open_circuit_voltage.low, cell.open_circuit_voltage.high))
    if not found:
        return None
    return min(low for low, _ in found), max(high for _, high in found)


def off_after(procedure: Procedure, device: Device, names: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Input -> inputs whose OFF goes out before its own.

    What the procedure's limits say (`off_after`), and its last power_down, are law; then each power_up
    backwards, then the device's order backwards, where they do not contradict what came before. Inputs
    without an order between them have none.
    """
    before: dict[str, set[str]] = {name: set() for name in names}
    known: dict[str, set[str]] = {name: {name} for name in names}  # with those before these, and itself
    downs = [step.power_down.order for step in procedure.steps if step.power_down is not None]
    ups = [step.power_up.order for step in procedure.steps if step.power_up is not None]
    pairs = [(other, name) for name, limits in procedure.limits.items() for other in limits.off_after]
    pairs += pairwise(downs[-1]) if downs else []
    pairs += [(later, earlier) for order in ups for earlier, later in pairwise(order)]
    pairs += [(rule.then, rule.after) for rule in device.order]
    for first, second in pairs:
        if first in known and second in known and second not in known[first]:
            before[second].add(first)
            for each in known.values():
                each.update(known[first] if second in each else ())
    return {name: tuple(other for other in names if other in before[name]) for name in names}


def off_order(procedure: Procedure, device: Device, names: Sequence[str]) -> tuple[str, ...]:
    """One order that agrees with `off_after`, to be shown and to be gone through by hand."""
    before = off_after(procedure, device, names)
    order: list[str] = []
    while len(order) < len(names):
        # Of those that may go next, the last in the document: what came up last goes off first.
        free = [n for n in names if n not in order and all(other in order for other in before[n])]
        order.append(free[-1])
    return tuple(order)
