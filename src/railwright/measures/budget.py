"""Collects the contributions of one result and turns them into a value with its 95 % interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from railwright.measures import uncertainty
from railwright.measures.outcome import Contribution, Measured
from railwright.measures.signal import Array, Signal, View


class Budget:
    """The uncertainty budget of one result; contributions are independent of each other."""

    def __init__(self, view: View) -> None:
        self._view = view
        self.contributions: list[Contribution] = []

    def systematic(self, signal: Signal, weights: Array) -> None:
        """Errors that are the same for all values: their effects on Σ w x add up before they are squared."""
        for error in signal.systematic:
            self.bounded(error.source, math.fsum(weights * error.shape), error.degrees)

    def noise(self, signal: Signal, weights: Array) -> None:
        """Noise of independent readings on Σ w x. A reading that was handed over more than once counts as
        one.
        """
        repeats = 1.0
        update = self._view.model.update or 0.0
        if update and signal.time.size > 2:
            repeats = max(1.0, update / max(1e-9, float(np.median(np.diff(signal.time)))))
        standard = signal.noise * math.sqrt(repeats * math.fsum(weights * weights))
        self.normal("noise", standard, signal.noise_degrees)

    def bounded(self, source: str, half_width: float, degrees: float = math.inf) -> None:
        """Something within ±half_width; degrees: of freedom, where the bound itself is in doubt."""
        self._add(uncertainty.rectangular(source, half_width, degrees))

    def normal(self, source: str, standard: float, degrees: float = math.inf) -> None:
        """Something normally distributed; degrees: of freedom of its standard deviation."""
        self._add(uncertainty.normal(source, standard, degrees))

    def many(self, source: str, half_widths: NDArray[np.float64] | Sequence[float]) -> None:
        """Many independent bounded things of one kind."""
        self._add(uncertainty.of_many(source, half_widths))

    def _add(self, contribution: Contribution) -> None:
        if contribution.standard > 0.0:
            self.contributions.append(contribution)

    def result(self, value: float, how: str, **extra: Any) -> Measured:
        """The value with the interval that holds 95 % of the combined distribution."""
        return self.at_least(value, value, how, **extra)

    def at_least(self, value: float, highest: float, how: str, **extra: Any) -> Measured:
        """A value that is bounded from above by what can hide. It is known from below as surely as that of
        any other interval, 97.5 %: a *fail* rests on that end alone.
        """
        half = uncertainty.half_interval(self.contributions)
        low, high = value - half, max(highest, value + half)
        return Measured(
            value, low, high, tuple(self.contributions), how, assumptions=self._view.assumptions(), **extra
        )
