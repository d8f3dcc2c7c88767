"""Fixtures: supplies at hand, freshly reset."""

import pytest
from tests.twin.bench import AtHand


@pytest.fixture
def left() -> AtHand:
    """The supply with channel lists; output 1 feeds `main`, output 2 feeds `aux`."""
    return AtHand("left")


@pytest.fixture
def right() -> AtHand:
    """The supply with a selected output; both outputs open, and most figures unknown."""
    return AtHand("right", plan=None)
