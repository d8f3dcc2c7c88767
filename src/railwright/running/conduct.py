"""A run in its course: prepare, play against the clock, and switch off, whatever comes."""

from __future__ import annotations

import datetime as dt
import math
import time
from collections import deque
from pathlib import Path

from railwright.documents.loader import Documents
from railwright.instruments.errors import InstrumentError
from railwright.quantities import show
from railwright.rehearsal.delivered import Listing
from railwright.rehearsal.timeline import Waiting
from railwright.running.interruption import StopRequest
from railwright.running.outcome import Ended, RunOutcome, SwitchedOff
from railwright.running.plan import Move, Plan
from railwright.running.preparation import prepare
from railwright.running.recorder import Recorder
from railwright.running.rig import Rig
from railwright.running.shutdown import ShutDown, off_order, off_threshold
from railwright.running.steps import Steps
from railwright.running.waiting import Triggers
from railwright.running.watch import Alarm, Watch

LEAD_IN = 0.1
"""The record begins so long before the first step [s]."""

LATE = 0.01
"""A move done later than this is a deviation that the report shows [s]."""

NAP = 0.02
"""Longest sleep of the loop, so that a request to stop is seen [s]."""


class Over(Exception):
    """Ends the run from within."""

    def __init__(self, ended: Ended, cause: str) -> None:
        super().__init__(ended, cause)
        self.ended = ended
        self.cause = cause


class Conduct:
    """One run in its course."""

    def __init__(
        self,
        documents: Documents,
        plan: Plan,
        rig: Rig,
        recorder: Recorder,
        stop: StopRequest,
        decay_limit: float,
        triggers: Triggers | None = None,
    ) -> None:
        procedure = documents.procedure
        self.device, self.plan = documents.device, plan
        self.rig, self.recorder, self.stop = rig, recorder, stop
        self.decay_limit = decay_limit
        below = {name: off_threshold(documents.device, name) for name in rig.set_points}
        self.watch = Watch(procedure.stop_when, below)
        self.every = max(procedure.record.every, 1e-3)
        self.order = off_order(procedure, tuple(rig.set_points))
        self.began: dt.datetime | None = None
        self.switched_off: dict[str, SwitchedOff] = {}
        self.cautions: list[str] = []
        self.remedy = ""
        self.late = 0.0
        self.missed = 0
        self._steps = Steps(plan.spans, recorder, self.watch.step_begins)
        self.triggers = triggers or Triggers()
        self._waiting: tuple[Waiting, float] | None = None
        self._reading_takes = 0.0

    def go(self) -> tuple[Ended, str]:
        """Prepare, play, and switch off, whatever comes: how it ended, and why."""
        try:
            ended, cause = self._guarded()
        finally:
            # Also for what nobody thought of: a fault of the program must not leave an output on.
            self._switch_off()
            self.rig.close()
        return ended, cause

    def _guarded(self) -> tuple[Ended, str]:
        try:
            self.cautions += prepare(self.rig, self.recorder, self.device, self._look)
            self._load_first()
            self._play()
        except Over as over:
            ended, cause = over.ended, over.cause
        except InstrumentError as error:
            self._failed(error)
            ended, cause, self.remedy = Ended.INSTRUMENT, str(error), error.remedy
        else:
            return Ended.COMPLETED, ""
        self.recorder.event("run ends", "run", cause)
        return ended, cause

    def _load_first(self) -> None:
        """The first point list of each input, loaded and verified while all outputs are off."""
        for move in self.plan.moves:
            if move.kind == "load" and move.time < 0.0 and move.listing is not None:
                self._look()
                self.recorder.progress.preparing(f"load the point list of {move.input}")
                self._load(move.listing)

    def _load(self, listing: Listing) -> None:
        self.rig.load(listing)
        self.recorder.write(
            "point list",
            input=listing.input,
            step=self.plan.spans[listing.step].name,
            between=listing.points.between,
            count=listing.count,
            voltages=listing.points.voltages.tolist(),
            dwells=listing.points.dwells.tolist(),
        )

    def _look(self) -> None:
        """Whether somebody, or the disk, wants it to end."""
        if self.stop.reason is not None:
            raise Over(Ended.INTERRUPTED, self.stop.reason)
        if self.recorder.failed is not None:
            raise Over(Ended.RECORD, f"the record could not be written: {self.recorder.failed}")

    def _play(self) -> None:
        """The procedure against the monotonic clock: every move is due at its own instant, no drift."""
        moves, spans = deque(move for move in self.plan.moves if move.time >= 0.0), self.plan.spans
        self.recorder.begin(time.monotonic() + LEAD_IN)
        self.began = dt.datetime.now().astimezone() + dt.timedelta(seconds=LEAD_IN)
        self.recorder.progress.begins(spans, self.plan.duration)
        turn = 0
        while True:
            self._look()
            if self._waits_on():
                now, next_move = self.recorder.now(), math.inf
            else:
                # In the record's time: that of the plan, and what was waited for until now.
                now = self.recorder.now()
                next_move = (moves[0].time if moves else self.plan.duration) + self.held
                self._steps.pass_time(min(now, next_move) - self.held, moves)
            if now >= next_move:
                if not moves:
                    break
                self._do(moves.popleft())
                continue
            due = turn * self.every - LEAD_IN
            # A reading that would still be going on when a move is due waits for the move.
            if now >= due and next_move - now > self._reading_takes:
                self._read()
                turn, before = int((self.recorder.now() + LEAD_IN) / self.every) + 1, turn
                self.missed += max(0, turn - before - 1)
                continue
            until = next_move if now >= due else min(due, next_move)
            time.sleep(min(NAP, max(0.0, until - self.recorder.now())))
        self._steps.end(self.plan.duration + self.held)

    @property
    def held(self) -> float:
        """How long was waited for triggers and keys so far [s]."""
        return self._steps.held

    def _wait(self, move: Move, wait: Waiting) -> None:
        """Begin to wait; the step that waits has begun with it."""
        now = self.recorder.now()
        self._steps.moved(move, now)
        self.triggers.begin(wait.source)
        self._waiting = (wait, now)
        told = f"{self.triggers.how(wait.source)}, within {show(wait.time_out, 's')}"
        self.recorder.event(f"waits for a {wait.source}", "run", told, now)

    def _waits_on(self) -> bool:
        """Whether the run still waits; when it no longer does, the plan goes on from here."""
        if self._waiting is None:
            return False
        (wait, since), now = self._waiting, self.recorder.now()
        if self.triggers.arrived(wait.source):
            self._waiting = None
            self._steps.held += now - since
            self.recorder.event(f"{wait.source} comes", "run", f"after {show(now - since, 's')}", now)
            return False
        if now - since > wait.time_out:
            raise Over(Ended.STOPPED, f"no {wait.source} came within {show(wait.time_out, 's')}")
        return True

    def _do(self, move: Move) -> None:
        """One move; the step it belongs to begins with it where it is the step's first."""
        watch, recorder = self.watch, self.recorder
        if move.kind == "load" and move.listing is not None:
            self._load(move.listing)
            return
        if move.kind == "arm" and move.listing is not None:
            self.rig.arm(move.listing)
            return
        if move.kind == "wait" and move.wait is not None:
            self._wait(move, move.wait)
            return
        if move.kind == "play" and move.listing is not None:
            done = recorder.at(self.rig.play(move.listing))
        elif move.kind == "limit":
            done = recorder.at(self.rig.limit(move.input, move.current))
        elif move.kind == "off":
            done = recorder.at(self.rig.off(move.input))
            self.recorder.add_all(watch.switched(move.input, False, done))
        else:
            done = recorder.at(self.rig.set(move.input, move.voltage, move.slew, switch_on=move.kind == "on"))
            if move.kind == "on":
                self.recorder.add_all(watch.switched(move.input, True, done))
        self._steps.moved(move, done)
        late = done - move.time - self.held
        self.late = max(self.late, late)
        recorder.write(
            "action",
            time=done,
            late=late,
            what=move.kind,
            input=move.input,
            voltage=move.voltage,
            slew=move.slew,
        )
        if move.kind == "play" and move.listing is not None:
            points, count = move.listing.points, move.listing.count
            often = f", {count} times" if count > 1 else ""
            told = f"{points.dwells.size} points in {'steps' if points.between == 'step' else 'lines'}{often}"
            recorder.event("point list starts", move.input, told, done)
        elif move.kind == "limit":
            told = "as settled" if move.current is None else show(move.current, "A")
            recorder.event("current limit", move.input, told, done)
        elif move.kind != "set":
            recorder.event(move.kind, move.input, time=done)

    def _read(self) -> None:
        """Read all inputs; what a reading shows may end the run."""
        start = time.monotonic()
        readings = self.rig.read(tuple(self.rig.set_points))
        took = time.monotonic() - start
        # What the last ones took counts half, this one three quarters: a margin for the next that is slower.
        self._reading_takes = min(0.5 * self._reading_takes + 0.75 * took, self.every)
        alarms: list[Alarm] = []
        for raw in readings:
            reading = self.recorder.reading(raw)
            events, alarm = self.watch.see(reading)
            self.recorder.add_all(events)
            if alarm is not None:
                alarms.append(alarm)
        if not alarms:
            return
        for alarm in alarms:
            if alarm.ended is Ended.TRIPPED:
                self._linked(alarm.input)
            else:
                self.recorder.event("stop condition", alarm.input, alarm.cause, alarm.time)
        first = min(alarms, key=lambda alarm: alarm.ended is not Ended.TRIPPED)
        raise Over(first.ended, "; ".join(alarm.cause for alarm in alarms))

    def _linked(self, tripped: str) -> None:
        """Linked trips: what goes off because another did, at once and whatever fails."""
        gone, follow = {tripped}, [tripped]
        while follow:
            source = follow.pop()
            for name, feed in self.rig.set_points.items():
                if source in feed.trips_when and name not in gone:
                    gone.add(name)
                    follow.append(name)
                    if name in self.rig.on:
                        done = self.recorder.at(self.rig.off(name, self._failed))
                        self.recorder.add_all(self.watch.switched(name, False, done))
                        self.recorder.event("trips linked", name, f"because {source} tripped", done)

    def _failed(self, error: InstrumentError) -> None:
        self.recorder.event("instrument fails", error.instrument, error.told)

    # The end

    def _switch_off(self) -> None:
        self._steps.end(self.recorder.now())
        if any(supply.identity is not None for supply in self.rig.supplies.values()):
            self.recorder.progress.switching_off(", then ".join(self.order))
        shut_down = ShutDown(self.rig, self.recorder, self.watch, self.device, self.stop)
        self.switched_off = shut_down.go(self.order, self.every, self.decay_limit)
        self.cautions += shut_down.cautions

    def outcome(self, folder: Path, run_id: str, ended: Ended, cause: str) -> RunOutcome:
        deviations = list(self.plan.notes)
        if self.late > LATE:
            deviations.append(f"a set point came {show(self.late, 's')} late")
        if self.missed:
            deviations.append(
                f"{self.missed} readings were left out: the instruments did not keep up with the interval"
            )
        if ended is not Ended.COMPLETED:
            deviations.append(f"the run ended early: {cause}")
        return RunOutcome(
            folder,
            run_id,
            ended,
            cause,
            bool(self.switched_off),
            self.recorder.record(),
            self.switched_off,
            tuple(self.cautions),
            tuple(deviations),
            self.late,
            self.missed,
            self.remedy,
        )
