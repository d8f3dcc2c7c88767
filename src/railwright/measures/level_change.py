"""A change of the set point that was asked for, as a measure knows of it."""

from __future__ import annotations

from typing import NamedTuple


class LevelChange(NamedTuple):
    """A change of an input's set point, as asked: when, on the record's time base [s], from and to where [V];
    of a line, when half of it is over.
    """

    time: float
    start: float
    goal: float
