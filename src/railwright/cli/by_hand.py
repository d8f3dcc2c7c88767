"""Asks the person at the bench to make a setting that no command makes, and what it was set to."""

from __future__ import annotations

import sys

from railwright.dialects.dialect import Value
from railwright.dialects.operation import UNIT_OF
from railwright.quantities import parse_value
from railwright.running.by_hand import ByHand

YES, NO = ("y", "yes", "on"), ("n", "no", "off")


def ask_a_person(asked: ByHand) -> Value | None:
    """What was entered at the terminal; None where nobody sits at one, or where the line says nothing."""
    if not sys.stdin.isatty():
        return None
    for _ in range(3):
        # A whole line: what has no end yet waits in the printer's queue, and nobody would see the question.
        print(f"Set at the instrument: {asked}. {_question(asked)}", file=sys.stderr, flush=True)
        line = sys.stdin.readline()
        if not line:
            return None
        answer = understood(asked, line)
        if answer is not None:
            return answer
        print(f"expected {_expected(asked)}, got '{line.strip()[:40]}'", file=sys.stderr)
    return None


def understood(asked: ByHand, line: str) -> Value | None:
    """What a line says of a setting; None where it says nothing."""
    text = line.strip()
    if isinstance(asked.value, bool):
        return True if text.lower() in YES else False if text.lower() in NO else None
    if isinstance(asked.value, str):
        return text if text in ("at load", "at terminals") else None
    try:
        return parse_value(text, UNIT_OF[asked.setting])
    except ValueError:
        return None


def _question(asked: ByHand) -> str:
    return f"What does it show ({_expected(asked)})?"


def _expected(asked: ByHand) -> str:
    if isinstance(asked.value, bool):
        return "on or off"
    if isinstance(asked.value, str):
        return "at load or at terminals"
    return f"a number with its unit, such as {asked.shown}"
