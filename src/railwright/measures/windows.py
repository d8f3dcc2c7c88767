"""Which of its windows a supply handed over at each poll: what the time stamps of readings leave open.

A supply takes a new reading every update; a poll gets the newest. A row's aperture therefore ended anywhere
within an update before its time stamp, but not independently from row to row: all windows lie on one grid,
whose phase is the one thing that is unknown. Polls that are farther apart than an update leave windows out,
polls that are closer get some twice; which ones, follows from the phase.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from railwright.measures.signal import Array, View

PHASES = 20
"""Phases at which a whole step is looked at."""

ALIKE = 1e-6
"""Phases that differ by less than this part of an update hand over the same windows."""


@dataclass(frozen=True, slots=True, eq=False)
class Windows:
    """Middles of the apertures that rows show at one phase of the grid [s], shape (n,), and the probability
    of the phases that hand over these very windows.
    """

    middle: Array
    probability: float


def local_windows(view: View, time: Array) -> Iterator[Windows]:
    """Every way in which the windows of a few rows can lie, with its probability.

    time: the rows' times as a `Signal` has them [s], shape (n,). Only differences between the middles count:
    phases that hand over the same windows differ by less than an update, and stand for one of them. Where
    every value is new there is one way.
    """
    update = view.model.update or 0.0
    if not update:
        yield Windows(time, 1.0)
        return
    stamps = time - view.shift()[0]
    passed = np.sort(np.mod(stamps, update))
    bounds = np.concatenate(([passed[-1] - update], passed))
    for low, high in pairwise(bounds):
        if high - low > ALIKE * update:
            yield Windows(_middles(view, stamps, (low + high) / 2.0), float((high - low) / update))


def windows_at_phases(view: View, time: Array) -> Iterator[Windows]:
    """The windows of many rows at PHASES phases, equally probable; as `local_windows` otherwise."""
    update = view.model.update or 0.0
    if not update:
        yield Windows(time, 1.0)
        return
    stamps = time - view.shift()[0]
    for number in range(PHASES):
        yield Windows(_middles(view, stamps, update * (number + 0.5) / PHASES), 1.0 / PHASES)


def _middles(view: View, stamps: Array, phase: float) -> Array:
    """Middle of the newest window at each stamp, of a grid with this phase."""
    update, least, most = view.timing()
    ends: Array = np.floor((stamps - phase) / update) * update + phase
    return ends - (least + most) / 4.0


def new_rows(view: View, time: Array, values: Array) -> np.ndarray:
    """Indices of the rows that show a reading of their own: its value is another than that of the row before,
    or so much time has passed that there is a new one, though of the same value. Shape (m,).
    """
    update = view.model.update or 0.0
    if update <= 1.5 * view.interval or not time.size:
        return np.arange(time.size)
    differs = np.append(True, np.diff(values) != 0.0)
    first = np.maximum.accumulate(np.where(differs, np.arange(time.size), 0))
    number = np.floor((time - time[first] + view.interval / 2.0) / update)
    return np.flatnonzero(differs | (np.diff(number, prepend=0.0) > 0.0))


def first_of_each(middle: Array) -> np.ndarray:
    """Indices of the first row of each window; middles never decrease. Shape (m,)."""
    return np.flatnonzero(np.concatenate(([True], middle[1:] > middle[:-1])))
