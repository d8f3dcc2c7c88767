"""The disagreement hunt (`benchmarks/disagreements.py`): draws that once disagreed, and one that must."""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.disagreement_hunt.comparing import disagreements
from benchmarks.disagreement_hunt.drawing import draw
from benchmarks.disagreement_hunt.mutations import FAULTS, put_back
from benchmarks.disagreement_hunt.playing import play

MENDED = (42, 49, 69, 70, 72, 106, 148)
"""Draws that said different things of one fact, before it was mended."""

LEVELS = ("low_state_level", "high_state_level")
"""Not looked at here: state levels of a step that has no such state are told differently still."""


def left(number: int, folder: Path) -> list[str]:
    """What two places say differently of a draw."""
    folder.mkdir()
    found = disagreements(play(draw(1, number), folder))
    return [
        str(each) for each in found if not each.explained and not any(level in each.about for level in LEVELS)
    ]


@pytest.mark.parametrize("number", MENDED)
def test_what_was_mended_stays_mended(number: int, tmp_path: Path) -> None:
    assert left(number, tmp_path / "draw") == []


def test_there_are_fifteen_faults_to_put_back() -> None:
    assert len(FAULTS) >= 15


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (69, "a point list starts when its message is handed over"),
        (49, "a peak is what the next step does"),
    ],
)
def test_a_fault_that_is_put_back_is_found(number: int, words: str, tmp_path: Path) -> None:
    with put_back(words):
        assert left(number, tmp_path / "with") != []
    assert left(number, tmp_path / "without") == []
