"""The small bench for every test of a run."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.running.small import Small, small


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Small]:
    with small(tmp_path) as made:
        yield made
