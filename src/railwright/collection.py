"""Fewer looks for garbage while much is made that stays."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

THRESHOLD = (500_000, 20, 20)
"""Imports and documents make many objects and little garbage: looking for it at every 700 of them is a fifth
of a start.
"""


@contextmanager
def seldom_collected() -> Iterator[None]:
    """Look for garbage seldom in here, and afterwards as before."""
    before = gc.get_threshold()
    gc.set_threshold(*(max(pair) for pair in zip(before, THRESHOLD, strict=True)))
    try:
        yield
    finally:
        gc.set_threshold(*before)
