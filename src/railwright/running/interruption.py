"""Ctrl-C and the termination signals as requests that the run looks at, never as an exception in the
middle of a command.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

SIGNALS = {
    signal.SIGINT: "Ctrl-C (SIGINT)",
    signal.SIGTERM: "SIGTERM",
    signal.SIGHUP: "the terminal went away (SIGHUP)",
}


class StopRequest:
    """Asks a run to end. Asked twice, it no longer waits for voltages to fall; the outputs go off in any
    case.
    """

    def __init__(self) -> None:
        self.reason: str | None = None
        self.urgent = False

    def request(self, reason: str) -> None:
        self.urgent = self.reason is not None
        self.reason = self.reason or reason


@contextmanager
def signals_ask(stop: StopRequest) -> Iterator[None]:
    """Signals become requests while this lasts. Outside the main thread Python takes no handlers: nothing
    changes.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def handle(number: int, frame: FrameType | None) -> None:
        stop.request(f"interrupted by {SIGNALS[signal.Signals(number)]}")

    before = {number: signal.signal(number, handle) for number in SIGNALS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
