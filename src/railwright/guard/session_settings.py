"""How an instrument wants to be spoken to: what ends a line, and how much time it takes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SessionSettings:
    """sends, answers: what ends a message, and an answer. pause: time that it wants between a message and the
    next [s]; OFF does not wait for it. patience: how long an answer may take [s]: a run waits so long where
    that is longer than it would; what switches off does not.
    """

    sends: str = "\n"
    answers: str = "\n"
    pause: float = 0.0
    patience: float = 0.0


USUAL = SessionSettings()
"""Lines that end in a newline, and no time but the caller's."""
