"""The recommended settings in sampled cases with a seed that had no part in them.

`python -m benchmarks.windows` does this with 10,000 cases a device.
"""

from __future__ import annotations

import pytest
from benchmarks.windows import SEED, bound, nuisance
from tests.settings.windows.thirteen import NAMES, device

CASES = 1000


@pytest.mark.parametrize("name", NAMES)
def test_nothing_trips_that_should_not(name: str) -> None:
    found = device(name)
    assert nuisance(found.documents, found.settings, CASES, SEED + 2) == (0, 0)


def test_the_bound_of_none_in_so_many() -> None:
    """Of none in n, at most 1 - 0.05^(1/n): about 3 / n, the rule of three (common practice, no source)."""
    assert bound(0, 10_000) == pytest.approx(3e-4, rel=2e-3)
    assert bound(0, 10_000) < 3e-4
