"""Every measure is defined, and the page says what the code does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tests.measures.scene import MODEL, RECORDER, brown_out, power_up, view

from railwright.evaluation.reference import FIELDS, definition, reference
from railwright.measures import MEASURES
from railwright.measures.outcome import Measured
from railwright.measures.signal import View

PAGE = Path(__file__).parents[2] / "docs" / "measures.md"
COMMON = (" gain", " offset", " resolution")


def test_the_page_is_up_to_date() -> None:
    assert PAGE.read_text(encoding="utf-8") == reference(), "run make docs"


@pytest.mark.parametrize("name", MEASURES)
def test_each_measure_is_defined(name: str) -> None:
    found = definition(MEASURES[name].compute)
    assert set(found) == {"Measure", *FIELDS}
    assert f"| `{name}` |" in reference()


def test_a_measure_without_a_definition_is_an_error() -> None:
    def bare(view: View) -> Measured:
        """Largest of something.

        Computed: somehow.
        """
        raise NotImplementedError

    with pytest.raises(ValueError, match="'bare' lacks Window, Uncertainty, Standard"):
        definition(bare)


OF_THE_SUPPLY = {name for name, measure in MEASURES.items() if measure.trip or measure.of_supply}
"""Measures that are made of a status and of no readings: tests/measures/test_supply.py."""


@pytest.mark.parametrize("name", sorted(set(MEASURES) - {"restarts"} - OF_THE_SUPPLY))
def test_every_contribution_to_a_budget_is_in_the_definition(name: str) -> None:
    scene = brown_out() if name.startswith(("turn_", "low_")) else power_up()
    start, end = (0.05, 5.45) if name.startswith(("turn_", "low_")) else (0.0, 0.25)
    switched_on = None if name.startswith(("turn_", "low_")) else 0.0
    lead_between = {"switched_on": switched_on, "at": "connector", "restart": 8e-3, "stair": 0.06}
    seen: set[str] = set()
    for model, every in ((MODEL, 10e-3), (RECORDER, 1e-3)):
        model = replace(model, lead=(0.07, 0.08))
        traces = scene.read(3, model, every)
        at_terminals = {"terminal_voltage": traces.columns["voltage"], "current": traces.columns["current"]}
        for columns in (traces.columns, at_terminals):
            measured = MEASURES[name](
                view(replace(traces, columns=columns), model, start, end, **lead_between)
            )
            seen |= {each.source for each in measured.contributions}
    own = {each for each in seen if not each.endswith(COMMON) and "resistance of" not in each} - {"noise"}
    text = definition(MEASURES[name].compute)["Uncertainty"]
    assert [each for each in own if f"'{each}'" not in text] == []
    assert own or name == "high_state_level", "the scene shows what the measure adds"
