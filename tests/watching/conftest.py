from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.watching.station import Station


@pytest.fixture
def station(tmp_path: Path) -> Iterator[Station]:
    with Station(tmp_path) as made:
        made.set("left.1", 12.0)
        yield made
