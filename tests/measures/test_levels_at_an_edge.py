"""State levels of a step that begins away from all of its levels: a rehearsal says what readings can say. The
truth is what the scene stays at: IEEE 181 takes the fullest bins of either half of the range.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from railwright.measures import MEASURES
from railwright.measures.level_change import LevelChange
from railwright.measures.outcome import CannotMeasure, Measured

from .scene import EXACT, MODEL, Scene, view

END = 0.7


def scene(before: float, waits: float, takes: float, first: float, then: float) -> Scene:
    """From `before`, which stands for so long in the step, to a level for 0.2 s, and in 0.1 s to another."""
    return Scene.of(
        (-0.2, before, 0.3), (waits, before, 0.3), (waits + takes, first, 0.3), (0.2, first, 0.3),
        (0.3, then, 0.3), (0.9, then, 0.3),
    )  # fmt: skip


@pytest.mark.parametrize("waits", [0.0, 1e-3, 2e-3])
@pytest.mark.parametrize("takes", [0.5e-3, 0.9e-3])
@pytest.mark.parametrize(
    ("before", "first", "then"),
    [(5.3, 4.71, 4.94), (12.0, 9.0, 10.2), (4.0, 4.94, 4.71), (48.0, 30.0, 36.0), (20.0, 26.0, 24.0)],
)
def test_what_stood_before_is_no_part_of_the_range(
    before: float, first: float, then: float, takes: float, waits: float
) -> None:
    known = scene(before, waits, takes, first, then)
    for measure, level in (("low_state_level", min(first, then)), ("high_state_level", max(first, then))):
        exact = MEASURES[measure](view(known.truth(), EXACT, 0.0, END))
        assert exact.value == pytest.approx(level, rel=5e-3)
        measured = 0
        for seed in range(8):
            try:
                read = MEASURES[measure](view(known.read(seed), MODEL, 0.0, END, at="connector"))
            except CannotMeasure:
                continue  # one of them has seen a part of what stood before
            # A 95 % interval, twice as wide: four standard deviations.
            assert abs(read.value - level) <= read.high - read.low
            measured += 1
        assert measured


@pytest.mark.parametrize("waits", [2e-3, 3.5e-3])
@pytest.mark.parametrize(("before", "then"), [(21.05, 23.97), (3.0, 5.0), (12.0, 24.0)])
def test_what_is_held_until_the_step_takes_hold_is_no_state(before: float, then: float, waits: float) -> None:
    """An output that is still below what a cell holds: the jump shows late."""
    known = scene(before, waits, 1e-3, then, then)
    for measure in ("low_state_level", "high_state_level"):
        assert MEASURES[measure](view(known.truth(), EXACT, 0.0, 0.2)).value == pytest.approx(then, rel=1e-6)


@pytest.mark.parametrize("stands", [2e-3, 5e-3])
@pytest.mark.parametrize(("dip", "then"), [(21.05, 23.97), (3.0, 5.0), (0.0, 24.0)])
def test_a_level_that_is_asked_to_stand_there_is_one(dip: float, then: float, stands: float) -> None:
    """A dip with which the step begins lasts for as long as it is asked to: a state, however short."""
    known = scene(dip, stands, 1e-6, then, then)
    asked = view(known.truth(), EXACT, 0.0, 0.2, stands=stands)
    assert MEASURES["low_state_level"](asked).value == pytest.approx(dip, abs=1e-6)
    assert MEASURES["high_state_level"](asked).value == pytest.approx(then, rel=1e-6)


def read_with_a_brief_level(
    levels: tuple[float, float, float, float], update: float, seed: int, measure: str
) -> tuple[float, Measured]:
    """A level that stands for 5 ms where a step begins, one for 0.1 s, then one to its end: what is true, and
    what readings make of it.
    """
    volts, brief, first, then = levels
    known = Scene.of(
        (-0.2, volts, 0.3), (0.0, volts, 0.3), (4e-3, brief, 0.3), (9e-3, first, 0.3), (0.1, first, 0.3),
        (0.1001, then, 0.3), (0.9, then, 0.3),
    )  # fmt: skip
    model = replace(MODEL, update=update, aperture=0.8 * update)
    changes = (
        LevelChange(2e-3, volts, brief), LevelChange(6e-3, brief, first), LevelChange(0.1, first, then)
    )  # fmt: skip
    exact = MEASURES[measure](view(known.truth(), EXACT, 0.0, 0.4)).value
    readings = known.read(seed, model, every=5e-3)
    return exact, MEASURES[measure](view(readings, model, 0.0, 0.4, changes=changes, stands=90e-3))


@pytest.mark.parametrize("update", [20e-3, 50e-3])
@pytest.mark.parametrize("measure", ["high_state_level", "low_state_level"])
@pytest.mark.parametrize(
    "levels",
    [(12.0, 11.85, 12.16, 12.0), (24.0, 23.7, 24.3, 24.0), (5.0, 5.08, 4.95, 5.0), (48.0, 48.8, 47.6, 48.0)],
)
def test_whether_there_are_two_states_is_not_told_by_means_of_one(
    levels: tuple[float, float, float, float], measure: str, update: float
) -> None:
    """The range is 2 % of the largest only with a level that stands for less than a reading (draw 65/15)."""
    for seed in range(8):
        with pytest.raises(CannotMeasure):
            read_with_a_brief_level(levels, update, seed, measure)


@pytest.mark.parametrize("update", [10e-3, 20e-3])
@pytest.mark.parametrize("measure", ["high_state_level", "low_state_level"])
@pytest.mark.parametrize(
    "levels",
    [(12.0, 12.0, 13.2, 12.0), (24.0, 24.0, 22.0, 24.0), (5.0, 5.0, 4.4, 5.0), (48.0, 48.0, 54.0, 48.0)],
)
def test_two_states_that_both_stand_are_measured(
    levels: tuple[float, float, float, float], measure: str, update: float
) -> None:
    for seed in range(8):
        exact, found = read_with_a_brief_level(levels, update, seed, measure)
        assert abs(found.value - exact) <= found.high - found.low
