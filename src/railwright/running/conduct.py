"""A run in its course: prepare, play against the clock, and have everything switched off, whatever comes."""

from __future__ import annotations

import datetime as dt
import math
import traceback
from collections import deque
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from railwright.dialects.proofs import Proofs
from railwright.documents.loader import Documents
from railwright.guard.link import Answerless, GuardLink, GuardLost
from railwright.guard.off_level import DECAY
from railwright.instruments.errors import Fenced, InstrumentError
from railwright.instruments.off_entries import no_current
from railwright.plan.contacts import kind_of, subjects_of
from railwright.plan.listing import Listing
from railwright.plan.moves import Move
from railwright.plan.off_order import off_order, off_threshold
from railwright.plan.plan import Plan
from railwright.plan.stairs import looks_per_reading
from railwright.plan.timeline import ContactChange, Waiting
from railwright.quantities import show
from railwright.records.ended import AS_REQUIRED, Ended, SwitchedOff
from railwright.running.by_hand import Hands, NotSetByHand
from railwright.running.clocks import Clocks
from railwright.running.deviations import deviations_of
from railwright.running.end_run import EndRun
from railwright.running.holding import Holding
from railwright.running.intake import Intake
from railwright.running.interruption import StopRequest
from railwright.running.led import Led
from railwright.running.masters import masters_on
from railwright.running.multimeters import Multimeters
from railwright.running.off_plan import WAIT_FOR_LOST, compile_off_plan
from railwright.running.off_watch import OffWatch
from railwright.running.outcome import RunOutcome
from railwright.running.polling import Polling
from railwright.running.preparation import FoundOn, Ways, prepare
from railwright.running.proved import NotProved
from railwright.running.recorder import RunRecorder
from railwright.running.relays import RunRelays, place_of
from railwright.running.repeating import Repeating
from railwright.running.requests import Requests
from railwright.running.rig import Rig
from railwright.running.shutdown import ShutDown
from railwright.running.sources import Sources
from railwright.running.steps import Steps
from railwright.running.waiting import COMES, WAITS, Triggers
from railwright.running.watch import Watch
from railwright.running.watchdogs import arm_watchdogs, watched
from railwright.settings.engine_rules import DIALECT_UNPROVED
from railwright.settings.overrides import accepted_because
from railwright.traces import EventKind, Facts

if TYPE_CHECKING:
    from railwright.instruments.session import Trace

LEAD_IN = 0.1
"""The record begins so long before the first step [s]."""

NAP = 0.02
"""Longest wait of the loop, so that a trigger or a failing record is seen [s]."""

SHORTEST = 1e-4
"""Shortest interval of readings [s]; no supply answers faster."""

AHEAD = 0.03
"""So long before its time a set point is handed to the guard, which sends it on time [s]."""

SOURCE_AHEAD = 0.1
"""So long before an input goes on the voltage is read that a source of its own has there [s]: its outputs are
set to that, which takes two exchanges or more.
"""

HANDED_OVER = ("on", "set", "off", "limit", "play")
"""Moves that are handed over ahead, with their instant; the others begin at it."""


class Conduct:
    """One run in its course."""

    # One piece: everything that a run has in its course, each with its beginning.
    # Many: what a run consists of, and the choices that its caller has.
    def __init__(
        self,
        documents: Documents,
        plan: Plan,
        rig: Rig,
        recorder: RunRecorder,
        link: GuardLink,
        stop: StopRequest,
        multimeters: Multimeters,
        relays: RunRelays,
        *,
        decay_limit: float = DECAY,
        wait_for_lost: float = WAIT_FOR_LOST,
        triggers: Triggers | None = None,
        trace: Trace | None = None,
        consent: bool = False,
        hands: Hands | None = None,
        proofs: Proofs | None = None,
        requests: Requests | None = None,
    ) -> None:
        self.procedure, self.device, self.plan = documents.procedure, documents.device, plan
        self.rig, self.recorder, self.link, self.stop = rig, recorder, link, stop
        self.decay_limit, self.wait_for_lost = decay_limit, wait_for_lost
        self.consent, self.hands = consent, hands
        self.multimeters, self.relays = multimeters, relays
        self.sources = Sources(documents, rig, multimeters, recorder, link.now)
        self.proofs = proofs or Proofs()
        outputs = [str(output.output) for _, _, output in rig.feeds()]
        reasons = {
            name: accepted_because(documents, DIALECT_UNPROVED, name) for name in (*rig.supplies, *outputs)
        }
        self.unproved = {name: because for name, because in reasons.items() if because is not None}
        below = {name: off_threshold(documents.device, name) for name in rig.set_points}
        most = {
            name: limits.charge_at_most
            for name, limits in self.procedure.limits.items()
            if limits.charge_at_most is not None
        }
        self.watch = Watch(self.procedure.stop_when, below, rig.unproved_trip, most)
        self.every = max(self.procedure.record.every, SHORTEST)
        self.looks = looks_per_reading(self.every)
        """Outputs are looked at so many times for each reading that is recorded."""
        self.polling = Polling(rig, link, trace)
        self.order = off_order(self.procedure, self.device, tuple(rig.set_points))
        self.began: dt.datetime | None = None
        self.switched_off: dict[str, SwitchedOff] = {}
        self.not_confirmed: tuple[str, ...] = ()
        self.cautions: list[str] = []
        self.remedy = ""
        self.fault = ""
        self._ended_by: Exception | None = None
        self._linked: dict[str, str] = {}
        """Input that goes off at once -> the input whose trip takes it along."""
        self._coupled = any(supply.document.coupled for supply in rig.supplies.values())
        self._told: dict[str, float] = {}
        """When each input's set point was told last [s, the link's clock]."""
        self.late = 0.0
        self.left_out = 0
        self.clocks = Clocks()
        self._steps = Steps(plan.spans, recorder, self.watch.step_begins, self.watch.status_gap)
        self.triggers = triggers or Triggers()
        self._repeating = Repeating(
            plan.timeline.repeated, self._steps, self.watch, self.triggers, recorder, AHEAD
        )
        none = {
            name: sum(no_current(documents.bench.output(own)) for own in feed.names)
            for name, feed in (rig.set_points if plan.timeline.held else {}).items()
        }
        first = min((each.end for each in plan.timeline.held), default=0.0)
        ahead = max((self._ahead(move) for move in plan.moves if move.time >= first), default=AHEAD)
        self._holding = Holding(plan.timeline.held, self._steps, recorder, ahead, none)
        self._led = None if requests is None else Led(requests, rig, recorder, self._steps)
        self._off_since: float | None = None
        """Since when the next input waits for others to be confirmed off, in the record's time [s]."""
        self._waiting: tuple[Waiting, float] | None = None
        self.off_watch = OffWatch()
        self.intake = Intake(
            link,
            rig,
            recorder,
            self.watch,
            self.polling,
            self.looks,
            self.off_watch,
            multimeters,
            relays,
            self._holding,
            self.procedure.expects_trip,
        )
        rig.switched = self._switched

    def go(self) -> tuple[Ended, str]:
        """Prepare, play, and switch off, whatever comes: how it ended, and why."""
        self.link.interrupted = self._break_wait
        self.link.watched = (self.stop.wait_fd,)
        ended, cause = Ended.FAULT, "a fault of the program"
        try:
            ended, cause = self._guarded()
        finally:
            # Also for what nobody thought of: a fault of the program must not leave an output on.
            try:
                self._switch_off(ended, cause)
            finally:
                self.rig.close()
                self.link.close()
        return ended, cause

    def _guarded(self) -> tuple[Ended, str]:
        """How it ended, and why. Nothing is said or written of that before OFF has gone out."""
        try:
            ways = Ways(
                self._look,
                lambda: self._arm(energising=False),
                self.link.sleep,
                self.consent,
                self.hands,
                self.proofs,
                self.unproved,
            )
            self.cautions += prepare(self.rig, self.recorder, self.device, ways)
            if self.relays.drivers:
                self.relays.identify(self._look)
                # From here on whatever ends the run brings their contacts to rest, or says that it did not.
                self._arm(energising=False)
                self.relays.prepare(self._look, self._loaded)
            self.multimeters.prepare(self._look)
            self.sources.prepare(self.plan.moves, self._look)
            self._load_first()
            self._arm(energising=True)
            # Last of all: what an output holds, or whatever else is switched on by itself, comes with it.
            masters_on(self.rig, self.recorder, self._look, self.link.sleep)
            arm_watchdogs(self.rig, self.procedure, self.recorder, self.every / self.looks)
            self._play()
        except EndRun as over:
            ended, cause, self._linked = over.ended, over.cause, over.linked
        except (FoundOn, NotProved, NotSetByHand) as found:
            ended, cause = Ended.STOPPED, str(found)
        except Fenced as fenced:
            ended, cause = Ended.STOPPED, fenced.what
        except GuardLost as lost:
            ended, cause = Ended.GUARD, str(lost)
        except InstrumentError as error:
            self._ended_by = error
            ended, cause, self.remedy = Ended.INSTRUMENT, str(error), error.remedy
        except Exception as error:  # noqa: BLE001 - it ends the run as anything else does, and is shown
            self._ended_by = error
            ended, cause = Ended.FAULT, f"a fault in Railwright itself: {error!r}"
        else:
            return Ended.COMPLETED, ""
        return ended, cause

    def _loaded(self, name: str) -> str:
        """What stands or flows at an input whose outputs are off; '' for nothing."""
        (reading,) = self.rig.read((name,))
        if abs(reading.voltage) >= off_threshold(self.device, name):
            return f"{show(reading.voltage, 'V')} stand there"
        flows = abs(reading.current) > self.relays.none[name]
        return f"{show(reading.current, 'A')} flow there" if flows else ""

    def _arm(self, *, energising: bool) -> None:
        """Give the guard what is to be switched off. Before anything was on, no lost supply is waited for."""
        lost = self.wait_for_lost if energising else min(2.0, self.wait_for_lost)
        # Those of watchdogs that are armed next are known to the guard before they are.
        watchdogs = watched(self.rig, self.procedure) if energising else ()
        plan = compile_off_plan(
            self.rig,
            self.device,
            self.procedure,
            decay=self.decay_limit,
            lost=lost,
            watchdogs=watchdogs,
            relays=self.relays.off(),
        )
        plan = replace(plan, meters=self.multimeters.off() if energising else ())
        self.off_watch.plan = plan
        try:
            self.link.arm(plan)
        except Answerless as fenced:
            raise EndRun(Ended.STOPPED, str(fenced)) from None

    def _switched(self, name: str, on: bool, when: float) -> None:
        """An input was switched and said so: from now on its readings are judged by that."""
        time = self.recorder.at(when)
        self.off_watch.switched(name, time)
        self.recorder.add_all(self.watch.switched(name, on, time, self.recorder.now()))

    def _break_wait(self) -> None:
        """What is looked at in every wait for an answer: it may end the run, and so the wait."""
        self._look()
        self.intake.take_in()

    def _load_first(self) -> None:
        """The first point list of each input, loaded and verified while all outputs are off."""
        for move in self.plan.moves:
            if move.kind == "load" and move.time < 0.0 and move.listing is not None:
                self._look()
                self.recorder.progress.preparing(f"load the point list of {move.input}")
                self._load(move.listing)

    def _load(self, listing: Listing) -> None:
        """Load and verify a point list, and write down what was loaded."""
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
        """Whether somebody, the disk or the computer wants it to end."""
        self.stop.drain()
        if slept := self.clocks.look():
            raise EndRun(Ended.STOPPED, slept)
        if self.stop.reason is not None:
            raise EndRun(Ended.INTERRUPTED, self.stop.reason)
        if self.recorder.failed is not None:
            raise EndRun(Ended.RECORD, f"the record could not be written: {self.recorder.failed}")

    def _play(self) -> None:
        """The procedure against the clock: every move is due at its own instant, no drift."""
        moves, spans = deque(move for move in self.plan.moves if move.time >= 0.0), self.plan.spans
        zero = self.link.now() + LEAD_IN
        recorder = self.recorder
        self.began = dt.datetime.now().astimezone() + dt.timedelta(seconds=LEAD_IN)
        recorder.begin(zero, self.began)
        self.recorder.progress.begins(spans, self.plan.duration)
        self.polling.begin(zero - LEAD_IN, self.every / self.looks)
        self.multimeters.begin(zero - LEAD_IN)
        self.relays.begin(zero - LEAD_IN)
        for name, period in self.polling.periods.items():
            recorder.event(EventKind.SETTINGS_WATCHED, name, facts=Facts(period=period))
        while True:
            self._look()
            self.intake.take_in()
            self._follow_hand(moves)
            waits = self._waits_on() or self._waits_for_off(moves)
            now = self.recorder.now()
            if not waits:
                self._repeating.look(moves)
                self._holding.look(now)
            # In the record's time: that of the plan, and what was waited for until now.
            due = math.inf if waits else (moves[0].time if moves else self.plan.duration) + self.held
            if not waits:
                self._steps.pass_time(min(now, due) - self.held, moves)
            ahead = self._ahead(moves[0]) if moves else 0.0
            if now >= due - ahead:
                if not moves:
                    break
                move = moves.popleft()
                if self._overtaken(move, moves, now) or (self._led and self._led.left_out(move)):
                    continue
                self._repeating.moved(move)
                # The step of a move that is handed over ahead of its time begins with it, when it is done.
                self._do(move, zero + due)
                continue
            # Never for nothing: what rounding leaves of a wait would not let virtual time pass.
            left = max(1e-6, due - ahead - now)
            self.link.wait(self.link.now() + min(NAP, left))
        self.polling.end()
        self.multimeters.end()
        self.relays.end()
        self.intake.take_in()
        # The last one may still be under way.
        self.intake.close(int((recorder.now() + LEAD_IN) / self.every) - 1)
        self._steps.end(self.plan.duration + self.held)

    def _ahead(self, move: Move) -> float:
        """So long before its time a move is handed over [s]."""
        if move.kind == "on" and move.input in self.sources.names:
            return SOURCE_AHEAD
        return AHEAD if move.kind in HANDED_OVER else 0.0

    def _follow_hand(self, moves: deque[Move]) -> None:
        """What was asked by hand since, done at once."""
        if self._led is not None:
            for move in self._led.asked(moves, self.plan.duration):
                self._do(move, self.link.now())

    def _overtaken(self, move: Move, moves: deque[Move], now: float) -> bool:
        """Whether a set point is late and the next one of its input is due, too: then only that one is sent,
        so that a host that is too slow does not stretch the procedure.
        """
        if move.kind != "set":
            return False
        following = next((other for other in moves if other.input in (move.input, "")), None)
        if following is None or following.kind != "set" or following.time + self.held > now:
            return False
        if following.behind:
            return False  # a line that begins where this one leads
        self.left_out += 1
        self._steps.left_out(1)
        return True

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
        self.recorder.event(WAITS[wait.source], "run", told, now)

    def _waits_on(self) -> bool:
        """Whether the run still waits; when it no longer does, the plan goes on from here."""
        if self._waiting is None:
            return False
        (wait, since), now = self._waiting, self.recorder.now()
        if self.triggers.arrived(wait.source):
            self._waiting = None
            self._steps.held += now - since
            self.recorder.event(COMES[wait.source], "run", time=now, facts=Facts(after=now - since))
            return False
        if now - since > wait.time_out:
            raise EndRun(Ended.STOPPED, f"no {wait.source} came within {show(wait.time_out, 's')}")
        return True

    def _waits_for_off(self, moves: Sequence[Move]) -> bool:
        """Whether the next move switches an input off that, by its `off_after`, stays on until others are
        confirmed off. What was waited for moves the rest of the plan; where it does not come, the run ends,
        and the input stays on.
        """
        now = self.recorder.now()
        move = moves[0] if moves else None
        if move is None or move.kind not in ("off", "contact") or now < move.time + self.held - AHEAD:
            return False
        subject, others = self._off_before(move)
        # One that is on by an override of the check's finding is not waited for: it will not go off.
        left = [
            other
            for other in others
            if other in self.rig.ever_on - self.rig.on and not self.off_watch.confirmed(other)
        ]
        if left and self._off_since is None:
            self._off_since = now
            self.recorder.event(EventKind.WAITS_FOR_OFF, subject, ", ".join(left), now)
        # As the guard does: the time for a voltage to fall begins when the output says that it is off.
        begun = max([self._off_since or now, *(self.off_watch.said_off.get(other, 0.0) for other in left)])
        if left and now - begun > self.decay_limit:
            missing = "; ".join(
                f"{other}: {self.off_watch.missing.get(other) or 'not read to be off for long enough'}"
                for other in left
            )
            stays = f"{subject} stays on" if move.kind == "off" else f"contact '{subject}' is not moved"
            told = f"{stays}: {' and '.join(left)} not confirmed off within "
            raise EndRun(Ended.STOPPED, f"{told}{show(self.decay_limit, 's')} ({missing})")
        if not left and self._off_since is not None:
            self._off_since = None
            self._steps.held += max(0.0, now - move.time - self.held)
        return bool(left)

    def _off_before(self, move: Move) -> tuple[str, tuple[str, ...]]:
        """What a move is about, and the inputs that are confirmed off before it. EndRun where it would move a
        contact under load that is not rated for that, whatever was accepted.
        """
        if move.contact is None:
            limits = self.procedure.limits.get(move.input)
            return move.input, tuple(limits.off_after) if limits is not None else ()
        lies = self.relays.lies[move.contact.contact]
        if not lies.needs_no_load:
            return lies.name, ()
        if lies.input in self.rig.on:
            told = f"contact '{lies.name}' is not rated to switch under load, and {lies.input} is on"
            raise EndRun(Ended.STOPPED, f"{told}: it is not moved")
        return lies.name, (lies.input,)

    def _move_contact(self, change: ContactChange, move: Move, at: float) -> None:
        """Open or close a lead, or drive a pin, verified; its step begins with it."""
        lies = self.relays.lies[change.contact]
        with self.link.last_word() if change.closed else nullcontext():
            done = self.recorder.at(self.relays.move(change.contact, change.closed, at))
        late = self._moved(move, done)
        kind = kind_of(lies, change.closed)
        self.recorder.write("action", time=done, late=late, what=kind.value, contact=change.contact)
        for subject in subjects_of(lies, self.device):
            self.recorder.event(kind, subject, place_of(lies), done)

    def _moved(self, move: Move, done: float) -> float:
        """Count a move that is done [s]: how late it was [s]."""
        self._steps.moved(move, done)
        late = done - move.time - self.held
        self.late = max(self.late, late)
        self._steps.late(late)
        return late

    def _do(self, move: Move, at: float) -> None:
        """One move at its instant [s, the link's clock]; its step begins with it where it is the step's
        first.
        """
        recorder, limits = self.recorder, dict[str, float]()
        if move.kind == "load" and move.listing is not None:
            self._load(move.listing)
            return
        if move.kind == "arm" and move.listing is not None:
            self.rig.arm(move.listing)
            return
        if move.contact is not None:
            self._move_contact(move.contact, move, at)
            return
        if move.kind == "wait" and move.wait is not None:
            self._wait(move, move.wait)
            return
        if move.kind == "play" and move.listing is not None:
            done = recorder.at(self.rig.play(move.listing, at))
        elif move.kind == "limit":
            limits = self.rig.limits()
            done = recorder.at(self.rig.limit(move.input, move.current, at))
        elif move.kind == "off":
            self.watch.switches(move.input)
            done = recorder.at(self.rig.off(move.input, at=at))
        else:
            done = recorder.at(self._set(move, at))
        late = self._moved(move, done)
        self._steps.time_error(self.rig.exchange_error)
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
            recorder.event(EventKind.POINT_LIST_STARTS, move.input, told, done)
            self.watch.followed.forget(move.input)
        elif move.kind == "limit":
            facts = Facts(limit=move.current)
            recorder.event(EventKind.CURRENT_LIMIT_SET, move.input, time=done, facts=facts)
            for name, limit in self.rig.limits().items():
                if name != move.input and limit != limits.get(name):
                    told, facts = f"with that of {move.input}", Facts(limit=limit)
                    recorder.event(EventKind.CURRENT_LIMIT_SET, name, told, done, facts)
        elif move.kind == "on":
            recorder.event(EventKind.ON, move.input, time=done)
        elif move.kind == "off":
            recorder.event(EventKind.OFF, move.input, time=done)

    def _set(self, move: Move, at: float) -> float:
        """Tell a set point at an instant, and when that was done [s, the link's clock]."""
        if move.kind == "on":
            self.watch.switches(move.input)
        if move.behind:
            # A jump that was told late is over late: what is told before that would take its place.
            at = max(at, self._told.get(move.input, at) + move.behind)
        on = move.kind == "on"
        if on:
            self.sources.start(move.input, move.voltage)
        with self.link.last_word() if on else nullcontext():
            told = self.rig.set(move.input, move.voltage, move.slew, switch_on=on, at=at)
        self._told[move.input] = told
        if not self._coupled:
            self.watch.followed.told(move.input, self.recorder.at(told), move.voltage, move.slew)
        return told

    def _failed(self, error: InstrumentError, time: float | None = None) -> None:
        self.recorder.event(EventKind.INSTRUMENT_FAILS, error.instrument, error.told, time)

    # The end

    def _switch_off(self, ended: Ended, cause: str) -> None:
        """OFF goes out before anything else is done or said, and nothing that is said ends the waiting."""
        at = self.recorder.now()
        self.link.interrupted = lambda: None
        self.link.watched = ()
        armed = self.link.plan is not None
        shut_down = ShutDown(self.rig, self.recorder, self.watch, self.polling, self._linked)
        if armed:
            orderly = ended in (Ended.COMPLETED, Ended.STOPPED, Ended.INTERRUPTED)
            why = "the procedure was played" if ended is Ended.COMPLETED else cause
            # Where the guard is gone, this waits until everything is off: what happens is told meanwhile.
            self.link.begin_off(
                why,
                orderly=orderly,
                first=tuple(self._linked),
                explain=self._ended_by.instrument if isinstance(self._ended_by, InstrumentError) else "",
                tell=shut_down.told,
                urgent=lambda: self.stop.urgent,
            )
        try:
            self._say_end(ended, cause, at, armed)
        except Exception as error:  # noqa: BLE001 - whoever is told may fail; the outputs go off first
            self.cautions.append(f"a fault of the program while it told of the end of the run: {error!r}.")
        finally:
            if armed:
                self.switched_off = shut_down.go(self.link, self.stop)
                self.cautions += shut_down.cautions
                self.not_confirmed = tuple(shut_down.not_confirmed)

    def _say_end(self, ended: Ended, cause: str, at: float, armed: bool) -> None:
        """Why it ended, at that time of the record [s]. armed: outputs go off now."""
        self._steps.end(at, whole=False)
        if self._ended_by is not None:
            if isinstance(self._ended_by, InstrumentError):
                self._failed(self._ended_by, at)
            else:
                self.fault = "".join(traceback.format_exception(self._ended_by))
        if ended is not Ended.COMPLETED:
            self.recorder.event(EventKind.RUN_ENDS, "run", cause, at)
        if armed:
            self.recorder.progress.switching_off(", then ".join(self.order))

    def outcome(self, folder: Path, run_id: str, ended: Ended, cause: str) -> RunOutcome:
        deviations = (
            *self.plan.notes,
            *deviations_of(
                self.late,
                self.left_out,
                self.intake.missed,
                self.clocks.notes,
                self.polling.periods,
                self.rig.slower_than_taken(),
            ),
            *self.watch.followed.differences.values(),
            *(() if self._led is None else self._led.deviations),
            *([f"the run ended early: {cause}"] if ended not in AS_REQUIRED else []),
        )
        return RunOutcome(
            folder,
            run_id,
            ended,
            cause,
            bool(self.rig.ever_on),
            self.recorder.record(),
            self.switched_off,
            tuple(self.cautions),
            deviations,
            self.late,
            self.intake.missed,
            self.remedy,
            not self.not_confirmed,
            self.not_confirmed,
            self.fault,
            dict(self.polling.periods),
        )
