"""Garbage is looked for seldom while a job is worked out, and as before afterwards."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest

from railwright.collection import THRESHOLD, seldom_collected


@pytest.fixture(autouse=True)
def as_it_was() -> Iterator[None]:
    before = gc.get_threshold()
    yield
    gc.set_threshold(*before)


def fails() -> None:
    with seldom_collected():
        assert gc.get_threshold() == THRESHOLD
        with seldom_collected():
            assert gc.get_threshold() == THRESHOLD
        assert gc.get_threshold() == THRESHOLD
        raise KeyError("something")


def test_it_is_as_before_afterwards_also_where_something_fails() -> None:
    gc.set_threshold(700, 10, 10)
    with pytest.raises(KeyError, match="something"):
        fails()
    assert gc.get_threshold() == (700, 10, 10)


def test_who_looks_even_less_often_keeps_to_that() -> None:
    gc.set_threshold(900_000, 30, 10)
    with seldom_collected():
        assert gc.get_threshold() == (900_000, 30, 20)
