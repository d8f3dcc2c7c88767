"""What comes of a window: a value and why, or what has to be mended before there can be one."""

from __future__ import annotations

from dataclasses import dataclass

from railwright.settings.windows.window import Impossible


@dataclass(frozen=True, slots=True)
class Chosen:
    """A value that was worked out, in SI units, and why."""

    value: float
    why: str


@dataclass(frozen=True, slots=True)
class Waiting:
    """Nothing speaks against a value; it cannot be worked out before there is a current limit."""


Settled = Chosen | Waiting | tuple[Impossible, ...]
"""A value, or everything that has to be mended before there can be one."""
