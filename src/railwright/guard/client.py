"""The run's end of the guard: ask, wait, and take over where the guard itself dies.

`GuardLink` is what a run needs; `ProcessLink` has the guard in a process of its own, `LocalLink` on an event
loop of this process, whose time may be virtual. Everything that waits here gives signs of life meanwhile.
"""

from __future__ import annotations

import asyncio
import json
import os
import select
import signal
import socket
import subprocess
import sys
import time
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

from railwright.guard.core import Guard
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import OffPlan
from railwright.guard.process import HEAD, frame
from railwright.guard.session import Session
from railwright.guard.wire import Connect, connect

BEAT = 0.1
"""How often the run shows the guard that it lives [s]."""

GUARD_SILENCE = 1.0
"""A guard that gives no sign of life for so long [s] has died or hangs."""

LEAST_WAIT = 1e-6
"""Shortest wait on a loop of this process [s]."""

SLACK = 0.5
"""What the guard's own deadline is given on top [s], before the guard counts as hanging."""

Message = dict[str, Any]


class GuardLost(Exception):
    """The guard died or hangs; whoever holds the plan switches off by itself."""


class Answerless(Exception):
    """An exchange failed; the text says what happened. fenced: the guard passes nothing on any more."""

    def __init__(self, what: str, *, fenced: bool = False, locked: bool = False) -> None:
        super().__init__(what)
        self.fenced = fenced
        self.locked = locked


class GuardLink(ABC):
    """Speaks with one guard. `inbox` holds what it told unasked: polls and how switching off goes on.

    interrupted: looked at in every wait for an answer; what it raises breaks the wait. watched: descriptors
    that end any wait when they can be read.
    """

    def __init__(self) -> None:
        self.inbox: deque[Message] = deque()
        self.plan: OffPlan | None = None
        self.interrupted: Callable[[], None] = lambda: None
        self.watched: tuple[int, ...] = ()
        self._answers: dict[int, Message] = {}
        self._number = 0
        self._off_over: Message | None = None

    # What a link is made of

    @abstractmethod
    def now(self) -> float:
        """The clock that exchanges are stamped with [s]."""

    @abstractmethod
    def _send(self, message: Message) -> None:
        """Hand a message to the guard. Raises GuardLost."""

    @abstractmethod
    def _pump(self, until: float) -> None:
        """Take in what the guard tells; return when something came, or at `until`. Raises GuardLost."""

    @abstractmethod
    def close(self) -> None:
        """Let the guard go; it ends by itself when everything is off."""

    @abstractmethod
    def take_over(self, why: str, tell: Callable[[Message], None], *, urgent: Callable[[], bool]) -> Message:
        """End a guard that does not do its work, and switch off without it. Gives what `off over` says."""

    # What a run does with it

    def wait(self, until: float) -> None:
        """Wait for something to happen, until an instant at most. Raises GuardLost."""
        if not self.inbox:
            self._pump(until)

    def sleep(self, duration: float) -> None:
        """As `sleep_until`, for so long [s]."""
        self.sleep_until(self.now() + duration)

    def sleep_until(self, instant: float) -> None:
        """Let time pass; what comes meanwhile is kept in the inbox."""
        while self.now() < instant:
            self.interrupted()
            self._pump(instant)

    def open(self, name: str, address: str, identify: str, deadline: float) -> Message:
        """Have a session opened and the instrument asked who it is; what it answers.

        Raises Answerless, GuardLost.
        """
        return self._ask(
            "open", deadline + 3.0, name=name, address=address, identify=identify, deadline=deadline
        )

    def exchange(
        self, name: str, text: str, deadline: float, *, answers: bool = True, at: float | None = None
    ) -> Message:
        """One message to a supply, at an instant where one is given. Raises Answerless, GuardLost."""
        wait = deadline + max(0.0, (at or 0.0) - self.now())
        return self._ask("exchange", wait, name=name, text=text, deadline=deadline, answers=answers, at=at)

    def poll(self, name: str, tag: str, messages: Sequence[Any], **fields: Any) -> None:
        """Begin, replace or (without messages) end a poll; see `Guard` for the fields of each tag."""
        self._send({"kind": "poll", "name": name, "tag": tag, "messages": list(messages), **fields})

    def arm(self, plan: OffPlan | None) -> None:
        """Give the guard what is to be switched off; from then on it watches this run. Raises GuardLost."""
        self.plan = plan
        self._ask("arm", 1.0, plan=None if plan is None else plan.to_json())

    def keep_journal(self, path: Path) -> None:
        """Where the guard's own log goes."""
        self._send({"kind": "journal", "path": str(path)})

    def switch_off(
        self,
        why: str,
        tell: Callable[[Message], None],
        *,
        orderly: bool = False,
        urgent: Callable[[], bool] = lambda: False,
    ) -> Message:
        """Have everything switched off and wait for it; never raises for a guard that fails.

        tell: told of everything on the way. urgent: where it becomes true, what is not confirmed is no longer
        waited for. Gives what `off over` says: `why` and, for each input, what became of it.
        """
        hurried = False
        try:
            self._send({"kind": "off", "why": why, "orderly": orderly})
            while self._off_over is None:
                while self.inbox:
                    tell(self.inbox.popleft())
                if urgent() and not hurried:
                    hurried = True
                    self._send({"kind": "hurry"})
                self._pump(self.now() + 0.1)
            while self.inbox:
                tell(self.inbox.popleft())
        except GuardLost as lost:
            return self.take_over(f"{why}; {lost}", tell, urgent=urgent)
        return self._off_over

    def _ask(self, kind: str, patience: float, **fields: Any) -> Message:
        self._number += 1
        number = self._number
        self._send({"kind": kind, "id": number, **fields})
        last = self.now() + patience + SLACK
        while number not in self._answers:
            self.interrupted()
            if self.now() > last:
                raise GuardLost(f"the guard gave no answer within {patience + SLACK:g} s")
            self._pump(last)
        answer = self._answers.pop(number)
        if "error" in answer:
            raise Answerless(
                answer["error"], fenced=answer.get("fenced", False), locked=answer.get("locked", False)
            )
        return answer

    def _take(self, message: Message) -> None:
        """Sort what the guard told."""
        match message["kind"]:
            case "answer":
                self._answers[message["id"]] = message
            case "beat":
                return
            case "off over":
                self._off_over = message
            case _:
                self.inbox.append(message)


def switch_off_here(
    plan: OffPlan, connect_to: Connect, tell: Callable[[Message], None], urgent: Callable[[], bool], why: str
) -> Message:
    """Carry out an off plan in this process, over sessions of its own."""

    async def go() -> Message:
        sessions = {each.name: Session(each.name, each.address, connect_to) for each in plan.supplies}
        off = SwitchOff(plan, sessions, lambda what, fields: tell({"kind": "off", "what": what, **fields}))

        async def look() -> None:
            while not urgent():
                await asyncio.sleep(0.05)
            off.hurry()

        looking = asyncio.get_running_loop().create_task(look())
        try:
            ends = await off.go()
        finally:
            looking.cancel()
            for session in sessions.values():
                session.close()
        return {"kind": "off over", "why": why, "ends": {name: asdict(end) for name, end in ends.items()}}

    return asyncio.run(go())


class ProcessLink(GuardLink):
    """A guard in a process of its own, started at once; that it is ready shows at the first answer."""

    def __init__(self) -> None:
        super().__init__()
        self._socket, theirs = socket.socketpair()
        with theirs:
            self._process = subprocess.Popen(
                [
                    sys.executable,
                    "-P",
                    "-m",
                    "railwright.guard",
                    "--link",
                    str(theirs.fileno()),
                    "--run",
                    str(os.getpid()),
                ],
                pass_fds=(theirs.fileno(),),
                start_new_session=True,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        self._socket.setblocking(False)
        self._heard = self._shown = time.monotonic()
        self._answered = False
        self._buffer = bytearray()
        self._closed = False

    @property
    def pid(self) -> int:
        """The guard's process."""
        return self._process.pid

    def now(self) -> float:
        return time.monotonic()

    def _send(self, message: Message) -> None:
        data = memoryview(frame(message))
        last = self.now() + GUARD_SILENCE
        while data:
            try:
                data = data[self._socket.send(data) :]
            except BlockingIOError:
                if self.now() > last:
                    raise GuardLost("the guard takes nothing in") from None
                select.select([], [self._socket], [], 0.05)
            except OSError:
                raise GuardLost("the guard has died") from None
        self._shown = self.now()

    def _pump(self, until: float) -> None:
        while True:
            self._show_life()
            now = self.now()
            wait = max(0.0, min(until, self._shown + BEAT) - now)
            try:
                ready, _, _ = select.select([self._socket.fileno(), *self.watched], [], [], wait)
            except InterruptedError:
                ready = []
            if self._socket.fileno() in ready:
                if self._receive():
                    return
                continue
            if ready:
                return
            # Starting up may take its time beside a busy machine; a guard that spoke once must go on.
            patience = GUARD_SILENCE if self._answered else 10.0
            if self.now() - self._heard > patience:
                raise GuardLost(f"the guard gave no sign of life for {patience:g} s")
            if self.now() >= until:
                return

    def _show_life(self) -> None:
        if self.now() - self._shown >= BEAT:
            self._send({"kind": "beat"})

    def _receive(self) -> bool:
        """Take in what is there; whether any of it was more than a sign of life."""
        try:
            data = self._socket.recv(1 << 18)
        except BlockingIOError:
            return False
        except OSError:
            data = b""
        if not data:
            raise GuardLost("the guard has died")
        self._heard, self._answered = self.now(), True
        self._buffer += data
        something = False
        while len(self._buffer) >= HEAD.size:
            size = HEAD.unpack_from(self._buffer)[0]
            if len(self._buffer) < HEAD.size + size:
                break
            message = json.loads(self._buffer[HEAD.size : HEAD.size + size])
            del self._buffer[: HEAD.size + size]
            self._take(message)
            something = something or message["kind"] != "beat"
        return something

    def take_over(self, why: str, tell: Callable[[Message], None], *, urgent: Callable[[], bool]) -> Message:
        self._end_guard()
        if self.plan is None:
            return {"kind": "off over", "why": why, "ends": {}}
        tell({"kind": "off begun", "why": why})
        return switch_off_here(self.plan, connect, tell, urgent, why)

    def _end_guard(self) -> None:
        with suppress(OSError):
            self._process.send_signal(signal.SIGKILL)
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(1.0)
        self._socket.close()
        self._closed = True

    def close(self) -> None:
        if self._closed:
            return
        self._closed = True
        with suppress(GuardLost):
            self._send({"kind": "bye"})
        self._socket.close()
        try:
            self._process.wait(2.0)
        except subprocess.TimeoutExpired:
            # One that hangs, and has nothing left to guard.
            if self.plan is None or self._off_over is not None:
                self._process.kill()


class LocalLink(GuardLink):
    """A guard on an event loop of this process, for virtual time and for tests.

    loop: driven by whoever waits here. `cut` is what the run's death looks like to the guard.
    """

    def __init__(self, loop: asyncio.AbstractEventLoop, connect_to: Connect) -> None:
        super().__init__()
        self.loop, self._connect = loop, connect_to
        self._arrived = asyncio.Event()
        self.told: list[Message] = []
        self.guard = self._complete(self._make())
        self._beats: asyncio.Task[None] | None = None

    async def _make(self) -> Guard:
        return Guard(self._connect, self._hear)

    def _complete(self, work: Any) -> Any:
        return self.loop.run_until_complete(work)

    def _hear(self, message: Message) -> None:
        if message["kind"] not in ("answer", "poll"):
            self.told.append(message)
        self._take(message)
        self._arrived.set()

    def wake(self) -> None:
        """End a wait that is going on."""
        self._arrived.set()

    def now(self) -> float:
        return self.loop.time()

    def _send(self, message: Message) -> None:
        self._complete(self._hand_over(message))

    async def _hand_over(self, message: Message) -> None:
        self.guard.handle(message)

    def _pump(self, until: float) -> None:
        self._complete(self._wait(until))

    async def _wait(self, until: float) -> None:
        self._arrived.clear()
        # Virtual time must go on, also where what is left of a wait is lost in rounding.
        left = max(LEAST_WAIT, until - self.loop.time())
        try:
            async with asyncio.timeout(left):
                await self._arrived.wait()
        except TimeoutError:
            pass
        self.guard.handle({"kind": "beat"})

    def watch(self) -> None:
        """Have the guard watch this run's signs of life, as its process does."""
        self._beats = self.loop.create_task(self.guard.watch_beat(self.guard.switch_off))

    def cut(self) -> None:
        """The run is gone: the guard switches off. Returns when that is over."""
        self._complete(self._cut())

    async def _cut(self) -> None:
        self.guard.switch_off("the run died")
        await self.guard.until_off()

    def take_over(self, why: str, tell: Callable[[Message], None], *, urgent: Callable[[], bool]) -> Message:
        raise AssertionError("a guard in this process dies with it")

    def close(self) -> None:
        if self._beats is not None:
            self._beats.cancel()
        self._complete(self._close())

    async def _close(self) -> None:
        self.guard.close()
        await asyncio.sleep(0)
