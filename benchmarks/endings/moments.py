"""Moments of a run, counted in messages: in the run's own process something happens at the n-th message that
passes between run and guard in a phase of the run.
"""

from __future__ import annotations

import json
import os
import signal
import time
from collections.abc import Callable
from typing import Any

from railwright.guard.process import frame
from railwright.guard.process_link import ProcessLink
from railwright.running.conduct import Conduct
from railwright.running.recorder import RunRecorder

PHASES = ("preparation", "list load", "playing", "shut-down")


class Moments:
    """Counts messages in each phase, and acts once.

    phase, number: the message (from 1) at which `act` is called. manner: `before` it is sent, `between` two
    of its bytes, `after` it was sent; one that is received counts as sent then. note: told what happens.
    """

    def __init__(
        self,
        note: Callable[..., None],
        phase: str = "",
        number: int = 0,
        manner: str = "after",
        cut: float = 0.5,
        act: Callable[[Moments], None] = lambda _: None,
    ) -> None:
        self.phase = "check"
        self.counts: dict[str, int] = {}
        self.link: ProcessLink | None = None
        self.recorder: RunRecorder | None = None
        self.conduct: Conduct | None = None
        self._note, self._at = note, (phase, number)
        self._manner, self._cut, self._act = manner, cut, act
        self._done = False

    def enter(self, phase: str) -> None:
        self.phase = phase
        self._note("phase", name=phase)

    def install(self) -> None:
        """Have every link and run of this process counted."""
        send, take, started = ProcessLink._send, ProcessLink._take, ProcessLink.__init__
        created, moments = RunRecorder.__init__, self

        def starting(link: ProcessLink) -> None:
            started(link)
            moments.link = link
            moments._note("guard", pid=link.pid)

        def sending(link: ProcessLink, message: dict[str, Any]) -> None:
            reached = moments._counted()
            if reached and moments._manner == "before":
                moments._reached()
            if reached and moments._manner == "between":
                data = frame(message)
                link._socket.send(data[: max(1, min(len(data) - 1, int(moments._cut * len(data))))])
                moments._reached()
            send(link, message)
            if reached and moments._manner == "after":
                moments._reached()

        def taking(link: ProcessLink, message: dict[str, Any]) -> None:
            reached = moments._counted()
            take(link, message)
            if reached:
                moments._reached()

        def recording(recorder: RunRecorder, *given: Any, **more: Any) -> None:
            created(recorder, *given, **more)
            moments.recorder = recorder

        ProcessLink.__init__ = starting  # type: ignore[method-assign, assignment]
        ProcessLink._send, ProcessLink._take = sending, taking  # type: ignore[method-assign, assignment]
        RunRecorder.__init__ = recording  # type: ignore[method-assign, assignment]
        self._at_begin("go", "preparation")
        self._at_begin("_load_first", "list load")
        self._at_begin("_play", "playing")
        self._at_begin("_switch_off", "shut-down")

    def _at_begin(self, method: str, phase: str) -> None:
        """The phase begins where a method of the run is called."""
        original, moments = getattr(Conduct, method), self

        def called(conduct: Conduct, *given: Any, **more: Any) -> Any:
            moments.conduct = conduct
            moments.enter(phase)
            return original(conduct, *given, **more)

        setattr(Conduct, method, called)

    def come(self) -> None:
        """The moment is now."""
        self._reached()

    def state(self) -> dict[str, Any]:
        """What holds now: the time, what of the log the system has, the record's time and newest reading."""
        state: dict[str, Any] = {"time": time.monotonic(), "phase": self.phase}
        state["armed"] = self.link is not None and self.link.plan is not None
        if self.recorder is not None:
            newest = [reading.time for reading in self.recorder.newest.values()]
            state |= {
                "flushed": self.recorder.log._size,  # type: ignore[attr-defined]
                "record_time": self.recorder.now(),
                "newest": max(newest, default=None),
            }
        return state

    def _counted(self) -> bool:
        count = self.counts[self.phase] = self.counts.get(self.phase, 0) + 1
        return not self._done and (self.phase, count) == self._at

    def _reached(self) -> None:
        self._done = True
        self._note("reached", **self.state())
        self._act(self)


def noting(descriptor: int) -> Callable[..., None]:
    """Notes to whoever started this process, one JSON object a line; each goes out whole or not at all."""

    def note(kind: str, **fields: Any) -> None:
        os.write(descriptor, json.dumps({"note": kind, **fields}).encode() + b"\n")

    return note


def signalling(victims: tuple[str, ...], number: int) -> Callable[[Moments], None]:
    """Send a signal to the guard, the run, or both, the run last."""

    def act(moments: Moments) -> None:
        if "guard" in victims and moments.link is not None:
            os.kill(moments.link.pid, number)
        if "run" in victims:
            os.kill(os.getpid(), number)

    return act


def default_signals() -> None:
    """As a shell starts a program: nothing of the parent's is ignored or handled."""
    for each in signal.valid_signals():
        if each not in (signal.SIGKILL, signal.SIGSTOP) and each < 32:
            signal.signal(each, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
