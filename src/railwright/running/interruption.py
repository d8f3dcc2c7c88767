"""Signals as requests to end a run: the run looks at them, and they never raise in the middle of a command.

    with signals_ask(stop):     # before the first instrument is opened
        …                       # until the outputs are off and the record is closed
        stop.wait(0.02)         # in place of a sleep: returns at once when the run is asked to end

An event loop watches `stop.wait_fd` (`loop.add_reader`), or is told by `stop.on_request`.
"""

from __future__ import annotations

import os
import signal
import threading
import time
import weakref
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType

from railwright.guard.readiness import ready

SIGNALS = {
    signal.SIGINT: "Ctrl-C (SIGINT)",
    signal.SIGTERM: "SIGTERM",
    signal.SIGHUP: "the terminal went away (SIGHUP)",
    signal.SIGQUIT: "Ctrl-\\ (SIGQUIT)",
    signal.SIGTSTP: "Ctrl-Z (SIGTSTP): a run does not pause, it ends",
}
"""Requests to end, and their words. SIGSTOP and SIGKILL cannot be taken: they are the guard's business."""

IGNORED = (signal.SIGTTOU, signal.SIGTTIN)
"""Would stop a run in the background that writes to its terminal (`stty tostop`) or reads from it."""

REQUESTED = b"\0"
"""Written for a request; the system writes the number of each signal, which is never 0."""

SAME_REQUEST = 0.5
"""Signals so close after one another are one request [s]: a closing terminal sends SIGHUP twice, and a
program that started the run passes Ctrl-C on to it although the terminal had sent it already.
"""


class StopRequest:
    """Asks a run to end. Asked twice, it no longer waits for voltages to fall; the outputs go off in any
    case.

    reason: why, for people; None until it is asked. count: how often it was asked. wait_fd: a descriptor that
    becomes readable with every request, until `drain`: for select, poll or an event loop. wake_fd: its other
    end, which signals write to. on_request: called with every request, in the thread that makes it; for a
    signal that is the main thread, between any two instructions. They must return at once; what they raise is
    dropped.
    """

    def __init__(self) -> None:
        self.reason: str | None = None
        self.count = 0
        self.on_request: list[Callable[[], None]] = []
        self.wait_fd, self.wake_fd = os.pipe()
        for end in (self.wait_fd, self.wake_fd):
            os.set_blocking(end, False)
        self._end = weakref.finalize(self, _close, self.wait_fd, self.wake_fd)

    def close(self) -> None:
        """Nobody waits for it any more: its descriptors go at once, not when the collector comes by. What is
        asked still counts.
        """
        self.wait_fd = self.wake_fd = -1
        self._end()

    @property
    def urgent(self) -> bool:
        return self.count > 1

    def request(self, reason: str) -> None:
        """Ask. The reason of the first request stays."""
        self.reason = self.reason or reason
        self.count += 1
        with suppress(OSError):  # full: it is readable already; or closed
            os.write(self.wake_fd, REQUESTED)
        for told in self.on_request:
            with suppress(Exception):  # a request is never lost to a loop that is closed already
                told()

    def fileno(self) -> int:
        """`wait_fd`, so that the request itself can stand in a list for select."""
        return self.wait_fd

    def wait(self, duration: float) -> bool:
        """Wait for `duration` [s], or until the next request. Whether one came since the last call.

        A request that came before it, and was not seen by `wait` or `drain` yet, ends it at once.
        """
        end, before = time.monotonic() + duration, self.count
        while True:
            if not ready([self.wait_fd], wait=max(0.0, end - time.monotonic())):
                return self.count != before
            asked = REQUESTED in self.drain()
            # A signal that is no request (a trigger) wakes the descriptor too.
            if asked or self.count != before:
                return True

    def drain(self) -> bytes:
        """Make `wait_fd` unreadable until the next request; gives what stood there. Look at `reason` and
        `count` after it.
        """
        read = b""
        with suppress(OSError):
            while piece := os.read(self.wait_fd, 4096):
                read += piece
        return read


def _close(*descriptors: int) -> None:
    for each in descriptors:
        with suppress(OSError):
            os.close(each)


@contextmanager
def signals_ask(stop: StopRequest) -> Iterator[None]:
    """Signals become requests while this lasts. Outside the main thread Python takes no handlers: nothing
    changes.

    It may stand within another: the inner one rules while it lasts. SIGHUP stays ignored where it was before
    (`nohup`): who says so wants the run to go on without its terminal.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    counted = -SAME_REQUEST

    def handle(number: int, frame: FrameType | None) -> None:
        nonlocal counted
        now = time.monotonic()
        if stop.reason is None or now - counted >= SAME_REQUEST:
            counted = now
            stop.request(f"interrupted by {SIGNALS[signal.Signals(number)]}")

    asking = [n for n in SIGNALS if n is not signal.SIGHUP or signal.getsignal(n) is not signal.SIG_IGN]
    # The system itself writes to the descriptor: a signal may come to another thread than the one that waits.
    woken = signal.set_wakeup_fd(stop.wake_fd, warn_on_full_buffer=False)
    before = {number: signal.signal(number, handle) for number in asking}
    before |= {number: signal.signal(number, signal.SIG_IGN) for number in IGNORED}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
        signal.set_wakeup_fd(woken, warn_on_full_buffer=False)
