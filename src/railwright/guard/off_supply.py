"""One supply while it is switched off: OFF again until it works, looks, and new sessions where it is gone."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Sequence
from typing import Any

from railwright.guard.off_plan import Look, OffPlan, OutputOff, SupplyOff, read_look, read_master
from railwright.guard.session import Session, SessionError

Tell = Callable[[str, dict[str, Any]], None]
"""Told what happens: kind and fields. It must neither wait nor raise."""

REPEAT = 0.1
"""OFF is sent again after so long where the output does not say that it is off [s]."""

RETRY = (0.05, 0.1, 0.2, 0.5, 1.0)
"""Pauses between attempts to reach a supply that is gone [s]; the last one from then on."""

TRUST = 10.0
"""So long after a supply fell silent, OFF is sent to its address without an answer to who it is [s]."""

HELPER_START = 10.0
"""How long the process that speaks VISA for an address may take until it has it open [s]: beside others it
takes seconds to begin with.
"""

MORE_PATIENCE, MOST_PATIENCE = 1.0, 3.0
"""An exchange that failed is given so much more time when it is tried again, up to that [s]: a slow supply
has OFF to carry out before it answers.
"""


class SupplySwitchedOff:
    """Talks to one supply until it is `done`.

    wanted: outputs that are to be off. looks: what each output was last read to be, and when that was asked
    [s]. seen_on: when each was last read to say that it is on [s]. sent: when each was last told OFF [s];
    left: when OFF first left for it, which it does over no connection that is closed. lost_since: None while
    it answers. master_wanted: its master switch is to be off, too. master_off: what that was last read to be,
    and when that was asked [s].
    """

    def __init__(self, document: SupplyOff, session: Session, plan: OffPlan, tell: Tell) -> None:
        self.document, self.session = document, session
        self._plan, self._tell = plan, tell
        self._outputs = [o for each in plan.inputs for o in each.outputs if o.supply == document.name]
        self.wanted: dict[str, OutputOff] = {}
        self.looks: dict[str, tuple[Look, float]] = {}
        self.seen_on: dict[str, float] = {}
        self.sent: dict[str, float] = {}
        self.left: dict[str, float] = {}
        self.master_wanted = False
        self.master_off: tuple[bool, float] | None = None
        self.master_sent = 0.0
        self.wake = asyncio.Event()
        self.lost_since: float | None = None
        self.back_at = 0.0
        self.failure = ""
        self._deadline = plan.deadline
        """Of the next exchange [s]."""
        self.heard = False
        """Whether it has answered at all since switching off began."""
        self._mute = False
        """Whether it gave no answer when it was last asked without what a session begins with."""
        self.answered = ""
        """What it said that it is, when it was asked last; '' where it was not asked, or gave no answer."""
        self.done = False
        self._pushed = 0
        """How often something was sent without regard to what is under way."""

    async def deal_with(self) -> None:
        """Send OFF again where it did not work, look, and reach it anew where it is gone; until done. A fault
        of the program is like a supply that is lost: it is told, and begun anew.
        """
        while not self.done:
            try:
                await self._deal_with()
            except Exception as error:  # noqa: BLE001 - whatever it is, OFF is sent again, and looked at
                self._lose(f"a fault of the program: {error!r}")
                await asyncio.sleep(RETRY[0])

    async def _deal_with(self) -> None:
        loop, attempt = asyncio.get_running_loop(), 0
        while not self.done:
            if self.session.broken or not self.session.is_open:
                if not await self._reach():
                    pause = RETRY[min(attempt, len(RETRY) - 1)]
                    attempt += 1
                    await asyncio.sleep(pause)
                    continue
                attempt = 0
            due = loop.time() + self._plan.every
            # Another may be wanted while it is waited for a supply's pause.
            for output in tuple(self.wanted.values()):
                # A fault of the program may have kept back the first one.
                look, sent = self.looks.get(output.name), self.sent.get(output.name, -math.inf)
                if (look is None or not look[0].off) and loop.time() - sent >= REPEAT:
                    read = look is not None and look[1] >= sent
                    self._tell("off again", {"output": output.name, "read": read, "time": loop.time()})
                    await self._say_again(output.off)
                    self._told(output)
            if self.master_wanted and not self.is_master_off and loop.time() - self.master_sent >= REPEAT:
                await self._say_again(self.document.master)
                self.master_sent = loop.time()
            await self._look()
            with_time = max(0.0, due - loop.time())
            self.wake.clear()
            try:
                async with asyncio.timeout(with_time):
                    await self.wake.wait()
            except TimeoutError:
                continue

    def send(self, messages: Sequence[str], *, gives_way: bool = False) -> None:
        """Send at once, with nothing in between, whatever is under way. gives_way: to any OFF."""
        self._pushed += 1
        self.session.push_together(messages, gives_way=gives_way)

    async def _say_again(self, messages: Sequence[str]) -> None:
        """Send again what was sent at once and did not work: each with the pause before it that the supply
        wants, as one that is told too soon may take nothing, and would be told too soon each time; after what
        a session begins with, as somebody may have undone that.
        """
        await self.session.push_opening_paced()
        self.send(messages)
        await self.session.pause()

    def push(self, output: OutputOff) -> None:
        """Send OFF to an output."""
        self.send(output.off)
        self._told(output)

    def _told(self, output: OutputOff) -> None:
        now = self.sent[output.name] = asyncio.get_running_loop().time()
        if self.session.takes:
            self.left.setdefault(output.name, now)

    def push_master(self) -> None:
        """Send OFF to the switch over all its outputs."""
        self.master_wanted = True
        self.send(self.document.master)
        self.master_sent = asyncio.get_running_loop().time()

    @property
    def is_master_off(self) -> bool:
        """Whether the master switch was read to be off since it was last told to, and can still be read."""
        read = self.master_off
        return self.lost_since is None and read is not None and read[0] and read[1] >= self.master_sent

    async def _look(self) -> None:
        pushed = self._pushed
        try:
            async with self.session.lock:
                exchange = await self.session.say_all(self.document.look, self._deadline)
        except SessionError as error:
            self._be_patient()
            self._lose(str(error))
            return
        if len(self.document.look) > 1 and self._pushed != pushed:
            # What went out in between may have selected another output: the answers may be that one's.
            return
        sent, answers = exchange.sent, exchange.answer.split(";")
        told = {"sent": sent, "received": exchange.received, "answer": exchange.answer}
        self._tell("look", {"name": self.document.name, **told})
        try:
            for output in self._outputs:
                look = read_look(output, answers)
                if look is not None:
                    self.looks[output.name] = look, sent
                    if not look.off:
                        self.seen_on[output.name] = sent
            master = read_master(self.document, answers)
            self.master_off = None if master is None else (master, sent)
        except ValueError as error:
            # What it answers is no answer to what was asked: out of step, so start anew.
            self.session.broken = str(error)
            self._lose(str(error))
            return
        self._found()

    async def _reach(self) -> bool:
        """A new session with the same instrument, and OFF at once. Whether it is there.

        Once it is not trusted to be the same any more, it is asked who it is before it is told anything;
        where nothing answers that, what a session begins with goes first the next time: some answer only
        then.
        """
        session, document = self.session, self.document
        self._lose(session.broken or "no session is open")
        begins = bool(session.session_settings.opening) and (self._is_trusted or self._mute)
        try:
            async with session.lock:
                # A helper process takes longer to start than a socket to connect.
                a_helper = session.transport == "library"
                await session.open(HELPER_START if a_helper else self._plan.deadline)
                session.void()
                self._push_while_trusted()
                if begins:
                    # OFF went out before, whatever comes of these; some take it only after them.
                    session.push_opening()
                    self._push_while_trusted()
                await session.settle()
                while session.boots_for > 0.0:  # when it is through it may come on by itself
                    await asyncio.sleep(min(session.boots_for, REPEAT))
                    self._push_while_trusted()
                if begins:
                    if session.session_settings.pause or session.session_settings.boot:
                        await session.push_opening_paced()
                    self._push_while_trusted()
                self._mute = not begins
                identity = (await session.ask(document.identify, self._deadline)).answer
                self.answered = identity.strip()
                self._mute = self._mute and begins
        except SessionError as error:
            if session.is_open:
                self._be_patient()
            session.broken = session.broken or str(error)
            self._lose(str(error))
            return False
        if document.identity and identity != document.identity:
            if begins:
                await session.end()
            session.broken = f"another instrument answers there: {identity[:60]!r}"
            session.close()
            self._lose(session.broken)
            return False
        if not begins:
            await session.push_opening_paced()
        self._push_all()
        return True

    @property
    def _is_trusted(self) -> bool:
        """Whether it fell silent so lately that OFF goes out without an answer to who it is."""
        loop = asyncio.get_running_loop()
        return self.lost_since is None or loop.time() - self.lost_since < TRUST

    def _push_while_trusted(self) -> None:
        """OFF without an answer to who it is."""
        if self._is_trusted:
            self._push_all()

    def _be_patient(self) -> None:
        self._deadline = max(self._deadline, min(self._deadline + MORE_PATIENCE, MOST_PATIENCE))

    def _push_all(self) -> None:
        if self.master_wanted and self.document.master_first:
            self.push_master()
        for output in self.wanted.values():
            self.push(output)
        if self.master_wanted and not self.document.master_first:
            self.push_master()

    def _lose(self, failure: str) -> None:
        if self.lost_since is None:
            self.lost_since = asyncio.get_running_loop().time()
            self._tell("lost", {"name": self.document.name, "time": self.lost_since, "why": failure})
        self.failure = failure

    def _found(self) -> None:
        self.heard = True
        if self.lost_since is not None:
            now = asyncio.get_running_loop().time()
            told = {
                "name": self.document.name,
                "time": now,
                "after": now - self.lost_since,
                "why": self.failure,
            }
            self._tell("answers again", told)
            self.lost_since, self.back_at = None, now
