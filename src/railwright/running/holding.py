"""A hold that something ends, in a run: whether it has come, and what then comes so much earlier."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from railwright.documents.holding import HeldUntil
from railwright.plan.timeline import Held
from railwright.quantities import show
from railwright.records.ended import Ended
from railwright.running.end_run import EndRun
from railwright.running.outcome import InputReading
from railwright.running.recorder import RunRecorder
from railwright.running.steps import Steps
from railwright.running.totals import Totals
from railwright.traces import EventKind, Facts

FAR = 3.0
"""A bound so many times what counts as no current tells a current that fades from one that is gone."""


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Readings that meet the condition without a break, from `since` on [s]. at_once: none before them in the
    hold did not. gone: the first of them has no current any more.
    """

    since: float
    at_once: bool
    gone: bool


class Holding:
    """Looks whether what ends a hold has come; what comes after it then comes so much earlier.

    EndRun where it never came, where it had come before the hold began, or where it came as the current was
    gone from one reading to the next: then a lead has opened, or somebody has disconnected it. ahead: so long
    before its time a move may be handed over [s]. none: input -> the current that counts as none [A].
    """

    def __init__(
        self,
        held: Sequence[Held],
        steps: Steps,
        recorder: RunRecorder,
        ahead: float,
        none: Mapping[str, float],
    ) -> None:
        self._to_come = deque(held)
        self._steps, self._recorder, self._ahead, self._none = steps, recorder, ahead, none
        self._now: Held | None = None
        self._since = 0.0
        self._totals = Totals("")
        self._unmet = False
        """Whether a reading of the hold did not meet the condition."""
        self._stretch: _Stretch | None = None
        self._met: _Stretch | None = None

    def see(self, reading: InputReading) -> None:
        """One more reading; those that lie wholly in the hold count."""
        own = self._now
        if own is None or self._met is not None or reading.input != own.of:
            return
        self._totals.see(reading, True)
        if reading.time - reading.age < self._since:
            return
        if not self._meets(own.until, reading):
            self._unmet, self._stretch = True, None
            return
        if self._stretch is None:
            self._stretch = _Stretch(reading.time, not self._unmet, self._gone(own.until, reading))
        if reading.time - self._stretch.since >= own.until.duration:
            self._met = self._stretch

    def _meets(self, until: HeldUntil, reading: InputReading) -> bool:
        if until.bound is not None:
            return until.bound.met(reading.voltage, reading.current)
        if until.kind == "time":
            return False
        return float(getattr(self._totals, until.kind)) >= float(getattr(until, until.kind))

    def _gone(self, until: HeldUntil, reading: InputReading) -> bool:
        """Whether the current, of which the condition says below what it ends, is gone altogether."""
        none = self._none.get(reading.input, 0.0)
        return (
            until.current_below is not None
            and until.current_below > FAR * none
            and abs(reading.current) <= none
        )

    def look(self, now: float) -> None:
        """Whether it has come, or can no longer come by now [s]; not called while the run waits for something
        else.
        """
        plan = now - self._steps.held
        if self._now is None and self._to_come and plan >= self._to_come[0].begin:
            self._begin(self._to_come.popleft(), now)
        own = self._now
        if own is None:
            return
        if self._met is not None:
            self._expect_sound(own, self._met)
        if self._met is not None or (own.until.time is not None and now - self._since >= own.until.time):
            self._end(own, plan, now)
        elif now >= own.end + self._steps.held - self._ahead:
            raise EndRun(Ended.NEVER_CAME, f"{self._place(own)}: not within {show(own.end - own.begin, 's')}")

    def _begin(self, own: Held, now: float) -> None:
        self._now, self._since, self._totals = own, now, Totals(own.of)
        self._unmet, self._stretch, self._met = False, None, None
        told = f"until {own.until.words}, at most {show(own.end - own.begin, 's')}"
        self._recorder.event(EventKind.HOLDS, own.of or "run", told, now)

    def _expect_sound(self, own: Held, met: _Stretch) -> None:
        """EndRun where what came is not what was waited for."""
        place = self._place(own)
        if met.gone:
            told = "the current is gone from one reading to the next: a lead is open, or it was disconnected"
            raise EndRun(Ended.AT_ONCE, f"{place}: {told}")
        if met.at_once and own.until.bound is not None:
            told = "so from its first reading on: it was reached before, or a lead is open"
            raise EndRun(Ended.AT_ONCE, f"{place}: {told}")

    def _place(self, own: Held) -> str:
        return f"hold of {own.of} until {own.until.words}" if own.of else f"hold until {own.until.words}"

    def _end(self, own: Held, plan: float, now: float) -> None:
        self._now = None
        facts = Facts(after=now - self._since)
        self._recorder.event(EventKind.HOLD_ENDS, own.of or "run", time=now, facts=facts)
        # A move of the next step that was handed over ahead of its time is not taken back.
        self._steps.held -= max(0.0, own.end - (plan + self._ahead))
