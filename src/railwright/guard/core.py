"""What the guard does, apart from how it is spoken to: it owns sessions, exchanges messages, polls on its own
schedule, and switches off.

One object on one event loop; the loop's time may be virtual. It never waits for whoever it tells.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator, Callable, Collection, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict
from typing import Any

from railwright.guard.link import QUEUE
from railwright.guard.locks import Locked, Locks
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import OffPlan
from railwright.guard.session import CONNECT_DEADLINE, LONGEST_ANSWER, Exchange, Session, SessionError
from railwright.guard.session_settings import SessionCommand, settings_from
from railwright.guard.wire import Connect

Tell = Callable[[dict[str, Any]], None]
"""Told every message to the run: `kind`, and what belongs to it. Neither waits nor raises."""

SILENCE = 1.0
"""An armed run that gives no sign of life for so long [s] has died or hangs."""

GOODBYE = 5.0
"""A run that is silent for so long after everything was switched off [s] hangs, and would hold the bench."""


class Guard:
    """Owns the sessions of a bench.

    fenced: why nothing is passed on any more; '' while it is. ends: what became of each input when everything
    was switched off; None until that is over.
    """

    def __init__(self, connect: Connect, tell: Tell, locks: Locks | None = None) -> None:
        self.plan: OffPlan | None = None
        self.fenced = ""
        self.ends: dict[str, Any] | None = None
        self._connect, self._tell = connect, tell
        self._locks = locks or Locks(None)
        self._sessions: dict[str, Session] = {}
        self._identities: dict[str, str] = {}
        self._exchanges: dict[int, asyncio.Task[None]] = {}
        self._held: dict[int, asyncio.Event] = {}
        """Exchanges that leave only when the run says so once more."""
        self._polls: dict[tuple[str, str], asyncio.Task[None]] = {}
        self.longest_silence = 0.0
        """The longest that an armed run gave no sign of life [s]."""
        self._last_beat = asyncio.get_running_loop().time()
        self._switching: SwitchOff | None = None
        self._off: asyncio.Task[Any] | None = None

    # What the run asks for

    def handle(self, message: dict[str, Any]) -> None:
        """One message of the run; its answer, where it has one, is told later, with its `id`."""
        now = asyncio.get_running_loop().time()
        if self.plan is not None and not self.fenced:
            self.longest_silence = max(self.longest_silence, now - self._last_beat)
        self._last_beat = now
        match message["kind"]:
            case "beat":
                return
            case "open" | "exchange" as kind:
                work = self._open if kind == "open" else self._exchange
                number = message["id"]
                task = asyncio.get_running_loop().create_task(work(message))
                self._exchanges[number] = task
                task.add_done_callback(lambda done: self._ended(message, done))
            case "poll":
                self._poll(message)
            case "arm" if self.fenced:
                # What was switched off is over by now, or does not know this plan.
                self._answer(message, error=self.fenced, fenced=True)
            case "arm":
                self.plan = None if message["plan"] is None else OffPlan.from_json(message["plan"])
                self._answer(message, armed=self.plan is not None)
            case "off":
                orderly, explain = message["orderly"], message.get("explain", "")
                first = message.get("first", ())
                self.switch_off(message["why"], orderly=orderly, first=first, explain=explain)
            case "go on":
                if (going := self._held.get(message["id"])) is not None:
                    going.set()
            case "hurry":
                if self._switching is not None:
                    self._switching.hurry()

    def _ended(self, message: dict[str, Any], task: asyncio.Task[None]) -> None:
        """An exchange is over. One that ended in a fault of the program is answered, too."""
        self._exchanges.pop(message["id"], None)
        if not task.cancelled() and (error := task.exception()) is not None:
            self._answer(message, error=f"a fault of the guard: {error!r}")

    async def watch_beat(self, died: Callable[[str], None]) -> None:
        """Call `died` once when an armed run gives no sign of life for `SILENCE`, or none for `GOODBYE` after
        everything was switched off.
        """
        loop = asyncio.get_running_loop()
        while True:
            await asyncio.sleep(SILENCE / 10)
            at_most = GOODBYE if self.fenced else SILENCE
            if self.plan is None or (self._off is not None and not self._off.done()):
                self._last_beat = loop.time()
            elif loop.time() - self._last_beat > at_most:
                died(f"the run gave no sign of life for {at_most:g} s")
                return

    def switch_off(
        self, why: str, *, orderly: bool = False, first: Collection[str] = (), explain: str = ""
    ) -> None:
        """Fence the run and switch everything of the plan off; `off over` is told at the end. first: inputs
        that go off at once, whatever their order says. explain: the supply whose errors are asked for then.
        """
        if self._off is not None:
            return
        self.fenced = why
        if self.plan is not None:
            self.plan = self.plan.with_first(first)
        for number, task in list(self._exchanges.items()):
            task.cancel()
            self._tell({"kind": "answer", "id": number, "error": why, "fenced": True})
        for task in self._polls.values():
            task.cancel()
        self._tell({"kind": "off begun", "why": why, "time": asyncio.get_running_loop().time()})
        self._off = asyncio.get_running_loop().create_task(self._switch_off(orderly, explain))

    @property
    def is_all_off(self) -> bool:
        """Whether nothing of a plan is left on, but what is to stay on."""
        if self.plan is None or self.ends is None:
            return self.plan is None
        return all(end["confirmed"] or end["stays_on"] for end in self.ends.values())

    @property
    def ends_so_far(self) -> dict[str, Any]:
        """What became of each input by now; nothing before anything was switched off."""
        if self._switching is None:
            return {}
        return {name: asdict(end) for name, end in self._switching.ends.items()}

    @property
    def switches_so_far(self) -> dict[str, Any]:
        """What became of each contact of a relay and of each master switch by now."""
        contacts, masters = (
            ({}, {}) if self._switching is None else (self._switching.contacts, self._switching.masters)
        )
        return {"contacts": dict(contacts), "masters": dict(masters)}

    def instrument(self, name: str) -> tuple[str, str]:
        """Address of an instrument, and who it said that it is; '' where it is not known."""
        session = self._sessions.get(name)
        return session.address if session is not None else "", self._identities.get(name, "")

    async def until_off(self) -> None:
        """Until a switching-off that was begun is over."""
        if self._off is not None:
            await asyncio.wait([self._off])

    async def _switch_off(self, orderly: bool, explain: str) -> None:
        if self.plan is not None:
            for each in self.plan.sessions:
                if each.name not in self._sessions:
                    made = Session(each.name, each.address, self._connect, each.session_settings)
                    self._sessions[each.name] = made
            self._switching = SwitchOff(self.plan, self._sessions, self._tell_off)
            try:
                await self._switching.go(orderly=orderly, explain=explain)
            except Exception as error:  # noqa: BLE001 - whoever waits for the end must hear of it
                for end in self._switching.ends.values():
                    end.why = end.why or f"a fault of the program: {error!r}"
        self.ends = self.ends_so_far
        self._tell({"kind": "off over", "why": self.fenced, "ends": self.ends})

    def _tell_off(self, what: str, fields: dict[str, Any]) -> None:
        self._tell({"kind": "off", "what": what, **fields})

    async def end(self) -> None:
        """End everything, each session with what its instrument is to be told then; outputs stay as they
        are.
        """
        self._end_tasks()
        await asyncio.gather(*(session.end() for session in self._sessions.values()))
        self.close()

    def _end_tasks(self) -> None:
        for task in (*self._exchanges.values(), *self._polls.values()):
            task.cancel()

    def close(self) -> None:
        """End everything at once; outputs stay as they are."""
        self._end_tasks()
        for session in self._sessions.values():
            session.close()
        self._locks.release()

    # Sessions

    async def _open(self, message: dict[str, Any]) -> None:
        """Connect, and lock the address; the answer to who it is locks the instrument itself."""
        name, address = message["name"], message["address"]
        if self.fenced:
            self._answer(message, error=self.fenced, fenced=True)
            return
        session_settings = settings_from(message["session_settings"])
        session = self._sessions.get(name)
        if session is None or (session.address, session.session_settings) != (address, session_settings):
            session = self._sessions[name] = Session(name, address, self._connect, session_settings)
        try:
            async with asyncio.timeout(CONNECT_DEADLINE):
                await self._locks.take_address(name, address)
            async with session.lock:
                opening, exchange = await _identified(session, message["identify"], message["deadline"])
            self._locks.take_instrument(name, exchange.answer)
            self._identities[name] = exchange.answer
        except Locked as error:
            session.close()
            self._answer(message, error=str(error), locked=True)
        except TimeoutError:
            self._answer(message, error=f"no name service knows {address} within {CONNECT_DEADLINE:g} s")
        except SessionError as error:
            self._answer(message, error=str(error))
        else:
            said = [[each.text, done.answer, done.sent, done.received] for each, done in opening]
            fields = {"answer": exchange.answer, "sent": exchange.sent, "received": exchange.received}
            self._answer(message, opening=said, **fields)

    async def _exchange(self, message: dict[str, Any]) -> None:
        name, at = message["name"], message.get("at")
        loop = asyncio.get_running_loop()
        session = self._sessions.get(name)
        if self.fenced or session is None:
            self._answer(message, error=self.fenced or "no session is open", fenced=bool(self.fenced))
            return
        try:
            if at is not None:
                session.reserved.append(at)
                try:
                    await asyncio.sleep(max(0.0, at - session.duration - loop.time()))
                    async with _hold(session, message["deadline"]):
                        await asyncio.sleep(max(0.0, at - loop.time()))
                        exchange = await self._pass_on(session, message)
                finally:
                    with suppress(ValueError):
                        session.reserved.remove(at)
            else:
                async with _hold(session, message["deadline"]):
                    exchange = await self._pass_on(session, message)
        except SessionError as error:
            await self._held_up()
            self._answer(message, error=str(error))
        else:
            self._answer(message, answer=exchange.answer, sent=exchange.sent, received=exchange.received)

    async def _held_up(self) -> None:
        """Let it be said first where this process itself stood still: then no instrument is to blame for an
        answer that came too late. Who waits here is cancelled by it.
        """
        await asyncio.sleep(0)

    async def _pass_on(self, session: Session, message: dict[str, Any]) -> Exchange:
        """All of it; whoever passes on holds the session."""
        if message.get("held"):
            await self._until_run_goes_on(message["id"])
        if message.get("more"):
            return await session.say_all([message["text"], *message["more"]], message["deadline"])
        if message["answers"]:
            return await session.ask(
                message["text"], message["deadline"], message.get("longest", LONGEST_ANSWER)
            )
        return await session.tell(message["text"], message["deadline"])

    async def _until_run_goes_on(self, number: int) -> None:
        """Let the run take in all that it was told until now: it may have to end, and this is never sent."""
        going = self._held[number] = asyncio.Event()
        try:
            self._tell({"kind": "held", "id": number})
            await going.wait()
        finally:
            del self._held[number]

    # Polls

    def _poll(self, message: dict[str, Any]) -> None:
        """Begin, replace or end (no messages) a poll of one supply."""
        key = (message["name"], message["tag"])
        old = self._polls.pop(key, None)
        if old is not None:
            old.cancel()
        session = self._sessions.get(message["name"])
        if message["messages"] and session is not None and not self.fenced:
            work = (
                self._keep_asking(session, message)
                if message["tag"] == "readings"
                else self._rotate(session, message)
            )
            self._polls[key] = asyncio.get_running_loop().create_task(work)

    async def _keep_asking(self, session: Session, message: dict[str, Any]) -> None:
        """Ask the same every `every` [s] from `start` on, on a grid that does not drift."""
        loop = asyncio.get_running_loop()
        start, every, turn = message["start"], message["every"], 0
        with suppress(asyncio.CancelledError):
            while True:
                due = start + turn * every
                if (early := due - loop.time()) > 0.0:
                    await asyncio.sleep(early)
                await self._let_pass(session, due + every)
                answers, sent, received = await self._all_of(
                    session, message["messages"], message["deadline"]
                )
                if answers is None:
                    self._tell({**_head(message), "error": session.broken})
                    return
                told = {**_head(message), "turn": turn, "sent": sent, "received": received, "answer": answers}
                # Told while the supply already works on the next question, where that is due.
                loop.call_soon(self._tell, told)
                # One that is late by then is asked for at once; those before it are left out.
                turn = max(turn + 1, int((loop.time() - start) / every + 1e-9))

    async def _rotate(self, session: Session, message: dict[str, Any]) -> None:
        """Ask one question after the other, in at most `share` of the time; and, every `known_every` [s], the
        one whose answer is known, which tells whether answers still belong to their questions.
        """
        loop, place = asyncio.get_running_loop(), 0
        least = message["least"]
        questions: Sequence[Sequence[str]] = message["messages"]
        question_due = known_due = loop.time()
        with suppress(asyncio.CancelledError):
            while True:
                await asyncio.sleep(max(0.0, min(question_due, known_due) - loop.time()))
                await self._let_pass(session, loop.time() + message["every"])
                began = loop.time()
                known = began >= known_due
                asked = message["known"] if known else questions[place]
                answer, sent, received = await self._all_of(session, asked, message["deadline"])
                if answer is None:
                    return  # the poll of the readings tells it
                turn = -1 if known else place
                self._tell(
                    {**_head(message), "turn": turn, "sent": sent, "received": received, "answer": answer}
                )
                if known:
                    known_due = began + message["known_every"]
                else:
                    place = (place + 1) % len(questions)
                    # What was waited for, until an exchange before it was over, is none of its own time.
                    interval = max((received - sent) / message["share"], least)
                    question_due = max(question_due + interval, loop.time() - interval)

    async def _let_pass(self, session: Session, at_latest: float) -> None:
        """Let an exchange that is soon due go first where this one would delay it, but not longer than that.

        One whose time has come stands in the session's queue already: this one takes its turn behind it.
        """
        loop = asyncio.get_running_loop()
        while (now := loop.time()) < at_latest:
            due = min((each for each in session.reserved if each > now), default=math.inf)
            if now + session.duration < due:
                return
            await asyncio.sleep(max(1e-4, min(due, at_latest) - now))

    async def _all_of(
        self, session: Session, messages: Sequence[str], deadline: float
    ) -> tuple[str | None, float, float]:
        """The answers of several messages, joined as those of one; None: the session failed."""
        try:
            async with session.lock:
                exchange = await session.say_all(messages, deadline)
        except SessionError:
            await self._held_up()
            return None, 0.0, 0.0
        return exchange.answer, exchange.sent, exchange.received

    def _answer(self, message: dict[str, Any], **fields: Any) -> None:
        self._tell({"kind": "answer", "id": message["id"], **fields})


Opening = list[tuple[SessionCommand, Exchange]]


async def _identified(session: Session, identify: str, deadline: float) -> tuple[Opening, Exchange]:
    """A session anew, what it began with, and who is there. On a serial line the first message may have
    become the end of what a session before left unended there, such as one at another speed: it is ended, and
    said once more.
    """
    await session.open()
    await session.settle()
    try:
        return await session.begin(deadline), await session.ask(identify, deadline)
    except SessionError:
        if session.transport != "serial":
            raise
    await session.open()
    session.void()
    await session.settle()
    return await session.begin(deadline), await session.ask(identify, deadline)


@asynccontextmanager
async def _hold(session: Session, deadline: float) -> AsyncIterator[None]:
    """A session for oneself, after what is under way. Raises SessionError where that takes too long."""
    at_most = QUEUE * deadline
    try:
        async with asyncio.timeout(at_most):
            await session.lock.acquire()
    except TimeoutError:
        raise SessionError(f"is too slow: busy for {at_most:g} s with what it was asked before") from None
    try:
        yield
    finally:
        session.lock.release()


def _head(message: dict[str, Any]) -> dict[str, Any]:
    return {
        "kind": "poll",
        "name": message["name"],
        "tag": message["tag"],
        "series": message.get("series", 0),
    }
