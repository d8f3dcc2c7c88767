"""Every case that once came out wrong has at least three variants, which `make truth` shows."""

from __future__ import annotations

import importlib
import math
from collections.abc import Callable
from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from rich.console import Console
from tests.truth.table import CASES, TruthTable, Within, documented, print_table

HERE = Path(__file__).parent
AWAITED: set[str] = set()
"""Cases that are not mended yet; one that has variants is struck out here."""


def variants() -> dict[str, int]:
    """Case -> how many tests it has, told from the markers of the test functions."""
    found = dict.fromkeys(documented(), 0)
    for path in sorted(HERE.glob("test_*.py")):
        module = importlib.import_module(f"tests.truth.{path.stem}")
        for name, each in vars(module).items():
            if name.startswith("test_") and (case := marked(each)):
                assert "truth_table" in each.__code__.co_varnames, f"{path.name}: {name} compares nothing"
                found[case] += times(each)
    return found


def marked(function: Callable[..., None]) -> str:
    """The case of a test function; '' where it has none."""
    return next((str(m.args[0]) for m in getattr(function, "pytestmark", []) if m.name == "case"), "")


def times(function: Callable[..., None]) -> int:
    """How many tests a function is: the product of what its parameters are."""
    given = [m for m in getattr(function, "pytestmark", []) if m.name == "parametrize"]
    return math.prod(len(list(mark.args[1])) for mark in given)


def test_every_case_has_three_variants() -> None:
    counts = variants()
    few = {case for case, count in counts.items() if count < 3}
    assert few <= AWAITED, few
    assert set(counts) >= AWAITED
    assert {path.name for path in CASES.iterdir() if path.is_dir()} <= set(counts)


@pytest.mark.parametrize(
    ("truth", "said", "agrees"),
    [
        (1, 1, True),
        (1, 2, False),
        (1, {"rehearsed": 1, "read": 1}, True),
        (1, {"rehearsed": 1, "read": 0}, False),
        (pytest.approx(12.0, abs=0.1), 12.05, True),
        (pytest.approx(12.0, abs=0.1), 12.2, False),
        (Within(1.0, 2.0), 2.0, True),
        (Within(1.0, 2.0), 2.1, False),
        (Within(1.0, math.inf), math.nan, False),
        (Within(1.0, 2.0), None, False),
    ],
)
def test_a_row_says_whether_truth_and_what_is_said_agree(truth: object, said: object, agrees: bool) -> None:
    rows: list[tuple[str, list[Any]]] = []
    table = TruthTable(SimpleNamespace(user_properties=rows), "case", "variant")
    if agrees:
        table.compare("level", truth, said, "V")
    else:
        with pytest.raises(AssertionError):
            table.compare("level", truth, said, "V")
    ((_, row),) = rows
    assert row[:2] == ["case", "variant"]
    assert row[4] is agrees
    console = Console(file=StringIO(), width=120)
    print_table(console, [row])
    shown = console.file.getvalue()
    assert ("yes" in shown) is agrees
    assert "dip-restart: 0 variants" in shown
