"""A shape that is repeated until something happens, in a run: whether it has, and what is left out then."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from railwright.plan.moves import Move
from railwright.plan.timeline import Repeated
from railwright.running.recorder import RunRecorder
from railwright.running.steps import Steps
from railwright.running.waiting import Triggers
from railwright.running.watch import Watch
from railwright.traces import EventKind, Facts


class Repeating:
    """Looks whether what ends a shape's repeating has come, and leaves out the turns that are not played.

    The turn that goes on is played to its end. Everything else of the run goes on as ever. ahead: so long
    before its time a set point is handed over [s].
    """

    # Many: what it looks at, and everyone whom the end of it concerns.
    def __init__(
        self,
        repeated: Sequence[Repeated],
        steps: Steps,
        watch: Watch,
        triggers: Triggers,
        recorder: RunRecorder,
        ahead: float,
    ) -> None:
        self._to_come = deque(repeated)
        self._steps, self._watch, self._triggers, self._recorder = steps, watch, triggers, recorder
        self._ahead = ahead
        self._now: Repeated | None = None
        self._since = 0.0
        self._turn = 0
        self._last: int | None = None
        """The turn that is the last one, once that is known before the plan's last."""
        self._skipped: float | None = None
        """What the plan is then ahead of what is played [s], until that is made up for."""

    def moved(self, move: Move) -> None:
        """A move is about to be done."""
        if self._now is not None and move.step == self._now.step and move.turn is not None:
            self._turn = max(self._turn, move.turn)

    def look(self, moves: deque[Move]) -> None:
        """Whether what ends it has come, at any time of a turn; then the turns after it are left out.

        moves: what is still to be done; not called while the run waits for something else.
        """
        now = self._recorder.now()
        plan = now - self._steps.held
        if self._now is None and self._to_come and plan >= self._to_come[0].begin:
            self._begin(self._to_come.popleft(), now)
        own = self._now
        if own is None:
            return
        if self._last is None and plan < own.ends[-1] and self._come(own):
            begun = sum(end + own.pause <= plan for end in own.ends[:-1])
            # A set point of the next turn that was handed over ahead of its time is not taken back.
            self._last = max(self._turn, begun)
            facts = Facts(after=now - self._since)
            self._recorder.event(EventKind.UNTIL_COMES, "run", time=now, facts=facts)
            kept = [move for move in moves if move.step != own.step or (move.turn or 0) <= self._last]
            moves.clear()
            moves.extend(kept)
            self._skipped = max(0.0, own.ends[-1] - max(own.ends[self._last], plan + self._ahead))
        if self._skipped is not None and not any(
            move.step == own.step and move.turn is not None for move in moves
        ):
            # What comes after the last turn comes so much earlier than the plan has it.
            self._steps.held -= self._skipped
            plan, self._skipped = plan + self._skipped, None
        if self._skipped is None and plan >= own.ends[-1]:
            self._end(own, now)

    def _begin(self, own: Repeated, now: float) -> None:
        self._now, self._turn, self._last, self._skipped, self._since = own, 0, None, None, now
        until = own.until
        press = ""
        if until.press is not None:
            self._triggers.begin(until.press)
            press = f" ({self._triggers.how(until.press)})"
        self._watch.look_for(own.of, until.bound, until.duration)
        told = f"until {until.words}{press}, at most {len(own.ends)} times"
        self._recorder.event(EventKind.REPEATS, "run", told, now)

    def _end(self, own: Repeated, now: float) -> None:
        played = len(own.ends) if self._last is None else self._last + 1
        came = "" if self._last is not None else f"; not ended by: {own.until.words}"
        told = f"{played} of at most {len(own.ends)} times{came}"
        self._recorder.event(EventKind.REPEATED, "run", told, now)
        self._now = None
        self._watch.look_for("", None, 0.0)

    def _come(self, own: Repeated) -> bool:
        press = own.until.press
        return self._watch.found if press is None else self._triggers.arrived(press)
