"""A guard in a process of its own, as the run sees it: started, watched, taken over from where it fails."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict

from railwright.guard.link import GuardLink, GuardLost, Message
from railwright.guard.off import SwitchOff
from railwright.guard.off_plan import OffPlan
from railwright.guard.process import HEAD, frame
from railwright.guard.readiness import ready
from railwright.guard.session import Session
from railwright.guard.wire import Connect, connect

BEAT = 0.1
"""How often the run shows the guard that it lives [s]."""

GUARD_SILENCE = 1.0
"""A guard that gives no sign of life for so long [s] has died or hangs."""


def switch_off_here(
    plan: OffPlan, connect_to: Connect, tell: Callable[[Message], None], urgent: Callable[[], bool], why: str
) -> Message:
    """Carry out an off plan in this process, over sessions of its own."""

    async def go() -> Message:
        sessions = {
            each.name: Session(each.name, each.address, connect_to, each.session_settings)
            for each in plan.sessions
        }
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
            await asyncio.gather(*(session.end() for session in sessions.values()))
        return {"kind": "off over", "why": why, "ends": {name: asdict(end) for name, end in ends.items()}}

    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return asyncio.run(go())
    # A notebook, for one, runs an event loop in this thread already.
    with ThreadPoolExecutor(1, "switch off") as own:
        return own.submit(asyncio.run, go()).result()


class ProcessLink(GuardLink):
    """A guard in a process of its own, started at once; that it is ready shows at the first answer.

    Raises OSError where no process can be started.
    """

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
                ready((), [self._socket.fileno()], 0.05)
            except OSError:
                raise GuardLost("the guard has died") from None
        self._shown = self.now()

    def _pump(self, until: float) -> None:
        while True:
            self._show_life()
            now = self.now()
            wait = max(0.0, min(until, self._shown + BEAT) - now)
            found = ready([self._socket.fileno(), *self.watched], wait=wait)
            if self._socket.fileno() in found:
                if self._receive():
                    return
                continue
            if found:
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
