"""Which cases an ensemble plays: corners and the interior of everything that is uncertain."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from railwright.circuit.case import Case, QuantityName, fixed
from railwright.quantities import Uncertain

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

CHUNK = 1024
"""Cases that are played and summed up together; a power of two, as Sobol's sequence likes it."""

FEW = 1024
"""So many corners are all played, as long as they are no more than half of the cases."""

DRAWN = 8
"""Where there are too many corners to play them all, one case in so many is a corner that is drawn."""


@dataclass(frozen=True)
class Design:
    """The cases of an ensemble; the same quantities, number and seed always give the same cases.

    The first cases are corners (every quantity at one of its bounds), the others lie in the interior: a
    scrambled Sobol sequence (scipy.stats.qmc) through each quantity's distribution. A bound without a named
    distribution is a uniform one (JCGM 101, 6.4.2). Shares of cases count the interior only.
    """

    quantities: Mapping[QuantityName, Uncertain]
    cases: int
    seed: int

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The quantities in the order of the columns of `values`."""
        return tuple(self.quantities)

    @cached_property
    def all_corners(self) -> bool:
        """Whether every corner is played."""
        return 1 << len(self.quantities) <= min(FEW, self.cases // 2)

    @cached_property
    def corners(self) -> int:
        """How many of the first cases are corners."""
        if not self.quantities:
            return 0
        return 1 << len(self.quantities) if self.all_corners else self.cases // DRAWN

    @property
    def chunks(self) -> int:
        """How many chunks the cases come in."""
        return -(-self.cases // CHUNK)

    def case(self, number: int) -> Case:
        """The case of that number, from 0."""
        return self._case(self.values(number // CHUNK)[number % CHUNK].tolist())

    def numbered(self) -> Iterator[tuple[int, Case]]:
        """Every case with its number, in their order."""
        rows = (row for chunk in range(self.chunks) for row in self.values(chunk).tolist())
        return ((number, self._case(row)) for number, row in enumerate(rows))

    def _case(self, row: Sequence[float]) -> Case:
        return fixed(dict(zip(self.names, row, strict=True)))

    def values(self, chunk: int) -> NDArray[np.float64]:
        """The values of one chunk's cases, shape (cases of the chunk, quantities), SI units."""
        import numpy as np

        first, last = chunk * CHUNK, min((chunk + 1) * CHUNK, self.cases)
        edge = min(last, max(first, self.corners))
        parts = [self._corner_values(first, edge), self._inside(edge - self.corners, last - self.corners)]
        return np.concatenate(parts) if edge > first else parts[1] if last > edge else parts[0]

    def _corner_values(self, first: int, last: int) -> NDArray[np.float64]:
        import numpy as np

        count = len(self.quantities)
        if last <= first:
            return np.zeros((0, count))
        if self.all_corners:
            at_high = (np.arange(first, last)[:, None] >> np.arange(count)) & 1 == 1
        else:
            at_high = self._sequence(first, last, self.seed + 1) > 0.5
        low = np.array([value.low for value in self.quantities.values()])
        high = np.array([value.high for value in self.quantities.values()])
        return np.where(at_high, high, low)

    def _inside(self, first: int, last: int) -> NDArray[np.float64]:
        import numpy as np

        if last <= first:
            return np.zeros((0, len(self.quantities)))
        return spread(self.quantities, self._sequence(first, last, self.seed))

    def _sequence(self, first: int, last: int, seed: int) -> NDArray[np.float64]:
        """Points first to last of the scrambled Sobol sequence, shape (points, quantities), in 0 to 1."""
        import warnings

        import numpy as np
        from scipy.stats.qmc import Sobol

        if not self.quantities:
            return np.zeros((last - first, 0))
        sequence = Sobol(len(self.quantities), scramble=True, rng=np.random.default_rng(seed))
        if first:
            sequence.fast_forward(first)
        with warnings.catch_warnings():  # about balance, which a part of a sequence does not have
            warnings.simplefilter("ignore", UserWarning)
            return np.asarray(sequence.random(last - first))


def spread(quantities: Mapping[QuantityName, Uncertain], shares: NDArray[np.float64]) -> NDArray[np.float64]:
    """Shares of each distribution, shape (cases, quantities) in 0 to 1, to values in SI units."""
    import numpy as np

    columns = [quantile(value, shares[:, k]) for k, value in enumerate(quantities.values())]
    return np.stack(columns, axis=1) if columns else shares


def quantile(value: Uncertain, share: NDArray[np.float64]) -> NDArray[np.float64]:
    """The values below which these shares (0 to 1) of a quantity's distribution lie (JCGM 101, 6.4).

    A normal one is cut off at twice its bounds, so that no parameter leaves what its law can take.
    """
    import numpy as np

    low, high, nominal = value.low, value.high, value.nominal
    if value.distribution == "normal":
        from scipy.special import ndtri

        deviation = (high - low) / 2.0 / value.k
        return np.asarray(
            np.clip(nominal + deviation * ndtri(share), 2.0 * low - nominal, 2.0 * high - nominal)
        )
    if value.distribution == "triangular":
        peak = (nominal - low) / (high - low)
        rising = low + (high - low) * np.sqrt(share * peak)
        falling = high - (high - low) * np.sqrt((1.0 - share) * (1.0 - peak))
        return np.where(share < peak, rising, falling)
    if value.distribution == "arcsine":
        return (low + high) / 2.0 - (high - low) / 2.0 * np.cos(np.pi * share)
    return low + (high - low) * share
