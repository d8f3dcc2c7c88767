"""Which inputs have a source of their own that current is fed into, such as a cell, and what it has at first:
pure, from the documents.
"""

from __future__ import annotations

from collections.abc import Iterator

from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.physics.loads.battery import Battery
from railwright.plan.off_order import held_voltage


def fed_sources(procedure: Procedure, device: Device) -> frozenset[str]:
    """Inputs whose purpose is current, and which have a source of their own: their outputs are set to the
    voltage that stands there before they go on.
    """
    return frozenset(
        name
        for name, limits in procedure.limits.items()
        if limits.feeds_current and name in device.inputs and held_voltage(device, name) is not None
    )


def first_voltage(device: Device, name: str) -> tuple[float, float] | None:
    """Lowest and highest open-circuit voltage [V] of an input's cell at its state of charge at the start;
    None: it has no cell.
    """
    return next((_at_start(cell) for cell in _cells(device, name)), None)


def _cells(device: Device, name: str) -> Iterator[Battery]:
    for entry in device.inputs[name].load:
        if isinstance(entry.parameters, Battery) and entry.parameters.diode_drop is None:
            yield entry.parameters


def _at_start(cell: Battery) -> tuple[float, float]:
    if cell.curve is None:
        assert cell.open_circuit_voltage is not None
        return cell.open_circuit_voltage.low, cell.open_circuit_voltage.high
    import numpy as np

    charges = [point.charge for point in cell.curve]
    voltages = [point.voltage for point in cell.curve]
    low, high = np.interp([cell.state_of_charge.low, cell.state_of_charge.high], charges, voltages)
    return float(low), float(high)
