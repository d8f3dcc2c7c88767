"""What became of one input while it was switched off."""

from __future__ import annotations

from dataclasses import dataclass

MAINS = "use the mains switch, and measure before touching"
"""What to do about an output that is not confirmed off."""


@dataclass(slots=True)
class InputEnd:
    """What became of one input. Times are of the loop's clock [s].

    confirmed: read to be off, without a current, its voltage fallen or held by the device. off_sent: when OFF
    had first left for all its outputs; None: never. off_read: when all its outputs first said off. fell: when
    the voltage was first read to have fallen. voltage, current: last read; None: never. holds: voltage [V]
    that the device keeps. kept_on: it was told nothing, because it stays on. why: in words, what is not
    confirmed, or why it stays on. below: voltage that counts as off [V]. came_on: how often it was read to be
    on again after it had been confirmed off.
    """

    input: str
    confirmed: bool = False
    stays_on: str = ""
    off_sent: float | None = None
    off_read: float | None = None
    fell: float | None = None
    voltage: float | None = None
    current: float | None = None
    read_at: float | None = None
    holds: float | None = None
    kept_on: bool = False
    why: str = ""
    below: float = 0.0
    came_on: int = 0
