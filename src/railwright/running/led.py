"""A run that is led by hand: what is asked becomes moves, within what was checked, and is recorded."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from railwright.plan.moves import Move
from railwright.plan.set_points import SetPoints
from railwright.plan.stairs import slew_range
from railwright.quantities import show
from railwright.records.ended import Ended
from railwright.running.end_run import EndRun
from railwright.running.recorder import RunRecorder
from railwright.running.requests import Request, Requests
from railwright.running.rig import Rig
from railwright.running.steps import Steps
from railwright.traces import EventKind, Facts


class Led:
    """Gives the moves that were asked for. Everything else of the run goes on as ever."""

    def __init__(self, requests: Requests, rig: Rig, recorder: RunRecorder, steps: Steps) -> None:
        self._requests, self._rig, self._recorder, self._steps = requests, rig, recorder, steps
        self._level = requests.level
        self._done: list[str] = []

    def asked(self, to_come: deque[Move], duration: float) -> Iterator[Move]:
        """Each move when the one before it is done. to_come: what the plan still has; duration: of the plan
        [s].
        """
        for request in self._requests.take():
            told = f"{request.text or _words(request)}, by {request.by}"
            kind = EventKind.MARKED if request.what == "mark" else EventKind.ASKED
            self._recorder.event(kind, self._requests.name, told)
            if request.what == "mark":
                continue
            if refused := self._refused(request, to_come):
                self._recorder.event(EventKind.NOT_DONE, self._requests.name, refused)
                continue
            self._done.append(_words(request))
            yield from self._moves(request)
            if request.what == "end":
                self._end(to_come, duration)

    @property
    def deviations(self) -> tuple[str, ...]:
        """That the plan is not what was played, where that is so."""
        many = f"{len(self._done)} requests" if len(self._done) > 1 else "one request"
        told = (
            f"{self._requests.name} was led by hand, {many}: the events say what was asked, by whom and when"
        )
        return (told,) if self._done else ()

    def left_out(self, move: Move) -> bool:
        """Whether a move of the plan would switch off what was switched off by hand."""
        return move.kind == "off" and move.input == self._requests.name and move.input not in self._rig.on

    def _refused(self, request: Request, to_come: deque[Move]) -> str:
        """Why it is not done; '' where it is. EndRun where the output was to stay off before it was on."""
        name, requests = self._requests.name, self._requests
        if any(move.kind == "on" for move in to_come):
            if request.what in ("off", "end"):
                raise EndRun(Ended.STOPPED, f"{name}: {request.what} was asked for before it was on")
            return f"{name} is not on yet"
        if request.what == "on" and name in self._rig.on:
            return f"{name} is on already"
        if request.what == "level" and not requests.holds(request.voltage):
            low, high = show(requests.low, "V"), show(requests.high, "V")
            return f"expected {low} to {high}, as was checked, got {show(request.voltage, 'V')}"
        return ""

    def _moves(self, request: Request) -> Iterator[Move]:
        name, set_points = self._requests.name, self._rig.set_points
        now, step = self._recorder.now() - self._steps.held, self._steps.here
        if request.what == "level":
            self._level = request.voltage
            if name in self._rig.on:
                yield Move(now, step, name, "set", self._level, self._fastest(set_points))
            self._recorder.event(EventKind.LEVEL_SET, name, facts=Facts(voltage=self._level))
        elif request.what == "on":
            yield Move(now, step, name, "on", self._level, self._fastest(set_points))
        elif name in self._rig.on and request.what == "off":
            yield Move(now, step, name, "off", 0.0, None)

    def _fastest(self, set_points: SetPoints) -> float | None:
        slews = slew_range(set_points[self._requests.name], self._rig.bench)
        return slews[1] if slews else None

    def _end(self, to_come: deque[Move], duration: float) -> None:
        """The plan goes on with its switching-off now."""
        following = to_come[0].time if to_come else duration
        self._steps.held = self._recorder.now() - following


def _words(request: Request) -> str:
    return f"level {show(request.voltage, 'V')}" if request.what == "level" else request.what
