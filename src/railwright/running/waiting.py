"""What a run may wait for between two segments, and what may end a repeating: a key, or a trigger.

A key is the Enter key, or a line on standard input, or a program's call. A trigger is the signal SIGUSR1 to
the run's process, which any program or script on the computer can send; the supplies' own trigger inputs are
not used.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Literal

from railwright.guard.readiness import ready
from railwright.traces import EventKind

ENOUGH = 1 << 16
"""Bytes that are taken from standard input at once."""

Source = Literal["trigger", "key"]

WAITS = {"trigger": EventKind.WAITS_FOR_TRIGGER, "key": EventKind.WAITS_FOR_KEY}
"""The event of a run that waits: somebody has to do something now."""

COMES = {"trigger": EventKind.TRIGGER_COMES, "key": EventKind.KEY_COMES}
"""The event that what was waited for has come."""


class Triggers:
    """Says whether what a run waits for, or what ends a repeating, has come. What came before the run began
    to wait does not count.
    """

    def __init__(self) -> None:
        self._triggered = False
        self._pressed = False

    def how(self, source: Source) -> str:
        """What a person or a program has to do, for people."""
        return "press Enter" if source == "key" else f"send SIGUSR1 to process {os.getpid()}"

    def begin(self, source: Source) -> None:
        """The run begins to wait: forget what came before."""
        if source == "trigger":
            self._triggered = False
        else:
            self._pressed = False
            self._line()

    def arrived(self, source: Source) -> bool:
        """Whether it has come; returns at once."""
        if source == "trigger":
            return self._triggered
        return self._line() or self._pressed

    def press(self) -> None:
        """The key comes, by a program: from any thread."""
        self._pressed = True

    def trigger(self) -> None:
        """The trigger comes, by a program: from any thread."""
        self._triggered = True

    def _line(self) -> bool:
        """Whether a line ended in what standard input had, which is taken from it. The rest of a line is not
        waited for, and of what never ends some is enough.
        """
        try:
            source, taken = sys.stdin.fileno(), b""
            while len(taken) < ENOUGH and ready([source], wait=0.0):
                if not (piece := os.read(source, 4096)):
                    break
                taken += piece
        except (OSError, ValueError, AttributeError):  # no standard input, or one that is no file
            return False
        return b"\n" in taken


@contextmanager
def signal_triggers(triggers: Triggers) -> Iterator[None]:
    """SIGUSR1 is the trigger while this lasts; outside the main thread Python takes no handlers."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def handle(number: int, frame: FrameType | None) -> None:
        triggers.trigger()

    before = signal.signal(signal.SIGUSR1, handle)
    try:
        yield
    finally:
        signal.signal(signal.SIGUSR1, before)
