"""The question for a setting by hand is seen before it is answered, also while a printer holds the terminal."""

from __future__ import annotations

import sys

import pytest

from railwright.cli.by_hand import ask_a_person
from railwright.cli.printer import Queued
from railwright.documents.output_name import OutputName
from railwright.running.by_hand import ByHand


@pytest.mark.parametrize(
    ("setting", "value", "typed", "understood"),
    [
        ("ovp", 18.0, "18 V\n", 18.0),
        ("sense", "at load", "at load\n", "at load"),
        ("ocp_on", True, "on\n", True),
    ],
)
def test_the_question_is_out_before_the_answer_is_read(
    setting: str, value: object, typed: str, understood: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[str] = []
    asked_first: list[bool] = []

    class Keyboard:
        def isatty(self) -> bool:
            return True

        def readline(self) -> str:
            asked_first.append(any("Set at the instrument" in line and "?" in line for line in seen))
            return typed

    monkeypatch.setattr(sys, "stdin", Keyboard())
    monkeypatch.setattr(sys, "stderr", Queued(sys.__stderr__, seen.append))
    answer = ask_a_person(ByHand(OutputName("left.1"), setting, value))  # type: ignore[arg-type]
    assert answer == understood
    assert asked_first == [True]
