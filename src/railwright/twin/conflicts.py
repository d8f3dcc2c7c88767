"""Settings that contradict each other, which a supply of this manner refuses with -221 (SCPI-1999 vol. 2,
21.8: settings conflict) instead of taking one that another makes pointless, or clipping it.
"""

from __future__ import annotations

import math

from railwright.scpi.errors import ScpiError
from railwright.twin.panel import Panel
from railwright.twin.supply import TwinSupply

BEYOND_RANGE = 1.1
"""Part of a range up to which the level of the over-voltage protection goes."""

LEAST = 1e-3
"""Part of full scale below which a current is none."""


def voltage(supply: TwinSupply, channel: int, value: float) -> None:
    """Not above the level of the over-voltage protection, where that is on."""
    panel = supply.panels[channel]
    _refuse(supply, panel.ovp_enabled and value > panel.ovp, panel, "above its over-voltage protection")


def ovp(supply: TwinSupply, channel: int, value: float) -> None:
    """Not below the set point, nor beyond what its range takes."""
    panel = supply.panels[channel]
    _refuse(supply, value < panel.voltage, panel, "over-voltage protection below its set point")
    _refuse(supply, value > BEYOND_RANGE * panel.range, panel, "over-voltage protection beyond its range")


def ovp_on(supply: TwinSupply, channel: int, on: bool) -> None:
    """Not at a level below the set point."""
    panel = supply.panels[channel]
    _refuse(supply, on and panel.ovp < panel.voltage, panel, "over-voltage protection below its set point")


def limit(supply: TwinSupply, channel: int, value: float) -> None:
    """Not below the current that flows."""
    panel = supply.panels[channel]
    flows = supply.plant.state(panel.name)[1] if panel.on else 0.0
    flows = flows if flows > LEAST * panel.output.current.high else 0.0
    _refuse(supply, value < flows - LEAST * panel.output.current.high, panel, "limit below its current")


def range_end(supply: TwinSupply, channel: int, value: float) -> None:
    """Not while the output is on, nor below what is set; whatever the manner, not below the set point."""
    panel = supply.panels[channel]
    end = next(each for each in panel.ranges if each >= value - 1e-9)
    if panel.voltage > end:
        raise ScpiError(-221, f"{panel.name}: range below its set point")
    _refuse(supply, panel.on and end != panel.range, panel, "range changes only while it is off")
    level = panel.ovp if math.isfinite(panel.ovp) else 0.0
    _refuse(supply, level > BEYOND_RANGE * end, panel, "range below its over-voltage protection")


def _refuse(supply: TwinSupply, conflicts: bool, panel: Panel, what: str) -> None:
    if supply.refuses_conflicts and conflicts:
        raise ScpiError(-221, f"{panel.name}: {what}")
