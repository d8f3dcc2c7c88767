"""The voltage that a device itself keeps at an input: pure, from its document."""

from __future__ import annotations

from railwright.documents.device import Device
from railwright.physics.loads.battery import Battery


def held_voltage(device: Device, name: str) -> tuple[float, float] | None:
    """Lowest and highest voltage [V] that the device itself may keep at an input; None: it has no source."""
    found: list[tuple[float, float]] = []
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
