"""The guard's process: `python -m railwright.guard`, started by a run and spoken to over an inherited socket.

It has a session and a process group of its own, so no terminal ends it. It outlives a run that dies, switches
off, and ends itself.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import selectors
import signal
import socket
import struct
import time
from collections.abc import AsyncGenerator
from contextlib import aclosing, suppress
from pathlib import Path
from typing import Any

from railwright.guard.core import SILENCE, Guard
from railwright.guard.journal import Journal
from railwright.guard.left_plans import forget_left_plans, plan_path
from railwright.guard.link import RUN_DIED
from railwright.guard.locks import Locks, runtime_folder
from railwright.guard.onlookers import Onlookers
from railwright.guard.wire import connect

HEAD = struct.Struct("!I")
"""Length of a frame on the link [bytes], before it."""

LARGEST_FRAME = 1 << 26
LARGEST_BACKLOG = 1 << 23
"""Bytes that wait for a run that does not read, before readings are left out."""

BEAT = 0.2
"""How often the guard shows the run that it lives [s]."""

GATHER = 0.005
"""Answers to polls that come faster than this [s] are told together: less to wake the run for."""

SOON = 0.05
"""How often somebody who asked for off is told how it goes on [s]."""

IGNORED = ("SIGINT", "SIGHUP", "SIGQUIT", "SIGTSTP", "SIGTTOU", "SIGTTIN", "SIGPIPE", "SIGUSR1", "SIGUSR2")


def frame(message: dict[str, Any]) -> bytes:
    """A message as it goes over the link: length, then JSON."""
    data = json.dumps(message, separators=(",", ":")).encode()
    return HEAD.pack(len(data)) + data


class GuardProcess:
    """One guard with its link to the run, its control socket and its journal."""

    def __init__(self, link: socket.socket, run: int) -> None:
        self._link, self._run = link, run
        self._run_descriptor = _open_process(run)
        self._journal = Journal()
        self._writer: asyncio.StreamWriter | None = None
        self._guard: Guard | None = None
        self._ended = False
        self._asking: set[asyncio.Task[None]] = set()
        self._onlookers = Onlookers()
        self._gathered: list[bytes] = []
        self._told = 0.0
        """When answers to polls were told last [s, the loop's clock]."""

    async def serve(self) -> None:
        """Until the run has said goodbye or died, and everything is off."""
        loop = asyncio.get_running_loop()
        reader, writer = await asyncio.open_connection(sock=self._link)
        self._writer = writer
        about = {"run_pid": self._run, "guard_pid": os.getpid()}
        folder = runtime_folder()
        control = folder / f"guard-{os.getpid()}.sock"
        locks = Locks(folder, {**about, "control": str(control), "plan": str(plan_path(folder, os.getpid()))})
        guard = self._guard = Guard(connect, self._tell, locks)
        loop.add_signal_handler(
            signal.SIGTERM, lambda: guard.switch_off("the guard was told to end (SIGTERM)")
        )
        server = await self._control(control)
        watching = [
            loop.create_task(guard.watch_beat(self._run_died)),
            loop.create_task(_watch_time(guard)),
            loop.create_task(self._show_life()),
        ]
        try:
            await self._listen(reader, guard)
            # The run has said goodbye, or is gone: what is still to be switched off is switched off.
            if not self._ended:
                self._run_died(RUN_DIED)
            elif guard.plan is not None:
                guard.switch_off("the run left its outputs to the guard")
            await guard.until_off()
        finally:
            for task in watching:
                task.cancel()
            await guard.end()
            self._onlookers.end()
            if self._asking:
                await asyncio.wait(set(self._asking), timeout=0.5)
            if server is not None:
                server.close()
            # Where something was not read to be off, the plan stays for `railwright off`.
            for path in (control, *([plan_path(folder, os.getpid())] if guard.is_all_off else [])):
                with suppress(OSError):
                    path.unlink()
            # The last line: what is not told before it did not happen.
            over = {"goodbye": self._ended, "longest_silence": guard.longest_silence}
            self._journal.close({"time": time.monotonic(), "kind": "over", **over})

    async def _listen(self, reader: asyncio.StreamReader, guard: Guard) -> None:
        """Messages of the run, whole ones only; one that is cut off is nothing."""
        while True:
            try:
                size = HEAD.unpack(await reader.readexactly(HEAD.size))[0]
                if size > LARGEST_FRAME:
                    return
                message = json.loads(await reader.readexactly(size))
            except (asyncio.IncompleteReadError, OSError, ValueError):
                return
            kind = message["kind"]
            if kind == "journal":
                self._journal.open(Path(message["path"]), Path(message["reserve"]))
            elif kind == "bye":
                self._ended = True
                return
            else:
                if kind not in ("beat", "exchange", "poll"):
                    self._journal.write({"time": time.monotonic(), **_short(message)})
                if kind == "arm":
                    self._keep_plan(message["plan"])
                guard.handle(message)
                if kind == "poll" and message["tag"] == "readings":
                    self._onlookers.reads(message, *guard.instrument(message["name"]))

    def _keep_plan(self, plan: str | None) -> None:
        """Write the plan where whoever switches off by hand finds it; a full disk is no reason to end. What
        an earlier guard left for the same supplies is out of date from now on.
        """
        folder = runtime_folder()
        path = plan_path(folder, os.getpid())
        with suppress(OSError):
            if plan is None:
                path.unlink(missing_ok=True)
                return
            beside = path.with_suffix(".part")
            beside.write_text(plan, "utf-8")
            os.replace(beside, path)
            forget_left_plans(folder, path)

    def _tell(self, message: dict[str, Any]) -> None:
        """To the run, without waiting for it, and to the journal."""
        if message["kind"] not in ("answer", "poll"):
            self._journal.write({"time": time.monotonic(), **message})
        if message["kind"] == "off begun" or message.get("tag") == "readings":
            self._onlookers.tell(message)
        writer = self._writer
        if writer is None or writer.is_closing():
            return
        if message["kind"] != "poll":
            self._pass_gathered(message)
        elif writer.transport.get_write_buffer_size() <= LARGEST_BACKLOG:
            self._gathered.append(frame(message))
            if len(self._gathered) == 1:
                asyncio.get_running_loop().call_at(self._told + GATHER, self._pass_gathered)

    def _pass_gathered(self, *last: dict[str, Any]) -> None:
        """What was gathered, and last these messages, to the run."""
        data = b"".join([*self._gathered, *map(frame, last)])
        self._gathered.clear()
        if data and self._writer is not None and not self._writer.is_closing():
            self._told = asyncio.get_running_loop().time()
            with suppress(OSError, RuntimeError):
                self._writer.write(data)

    async def _show_life(self) -> None:
        while True:
            await asyncio.sleep(BEAT)
            self._pass_gathered({"kind": "beat"})

    def _run_died(self, why: str) -> None:
        """End what may be left of the run, so that nothing of it speaks again, and switch off. One that had
        nothing switched on yet only loses its guard.
        """
        guard = self._guard
        assert guard is not None
        if guard.plan is None:
            return
        if self._run_descriptor is not None:
            with suppress(OSError):
                signal.pidfd_send_signal(self._run_descriptor, signal.SIGKILL)
        guard.switch_off(why)

    async def _asked(self, request: dict[str, Any]) -> AsyncGenerator[dict[str, Any], None]:
        """What somebody else on this computer asks: off, what is read, or how things stand. Where it is off,
        what became of each input so far follows every `SOON` until that is over.
        """
        guard = self._guard
        assert guard is not None
        if request.get("do") == "readings":
            async with aclosing(self._onlookers.look()) as told:
                async for each in told:
                    yield each
            return
        if request.get("do") != "off":
            yield {
                "armed": guard.plan is not None,
                "fenced": guard.fenced,
                "guard_pid": os.getpid(),
                "run_pid": self._run,
            }
            return
        guard.switch_off("switched off by 'railwright off'")
        yield {"off": "begun", "guard_pid": os.getpid()}
        while guard.ends is None:
            await asyncio.sleep(SOON)
            yield {"off": "going on", "ends": guard.ends_so_far}
        yield {"off": "over", "ends": guard.ends, **guard.switches_so_far}

    async def _control(self, path: Path) -> asyncio.AbstractServer | None:
        """The control socket; None where it cannot be had, which is no reason not to guard."""

        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            task = asyncio.current_task()
            assert task is not None
            self._asking.add(task)
            task.add_done_callback(self._asking.discard)
            with suppress(OSError, ValueError, TimeoutError, AttributeError):
                async with asyncio.timeout(5.0):
                    request = json.loads(await reader.readline())
                async with aclosing(self._asked(request)) as answers:
                    async for answer in answers:
                        async with asyncio.timeout(5.0):
                            writer.write(json.dumps(answer).encode() + b"\n")
                            await writer.drain()
            writer.close()

        try:
            server = await asyncio.start_unix_server(serve, str(path))
            # Whoever stands at the bench may switch off, under whatever name they have logged in.
            path.chmod(0o666)
        except OSError:
            return None
        return server


async def _watch_time(guard: Guard) -> None:
    """Switch off where this process itself stood still: a computer that slept, or a guard that was stopped
    and goes on, has watched nothing meanwhile, and outputs were on.
    """
    before = _time_passed()
    while True:
        await asyncio.sleep(BEAT)
        now = _time_passed()
        stood = now - before - BEAT
        if stood > SILENCE and guard.plan is not None:
            guard.switch_off(f"nothing was watched for {stood:.1f} s: the computer slept, or was held up")
        before = now


def _time_passed() -> float:
    """A clock that goes on while the computer sleeps [s], where there is one."""
    return time.clock_gettime(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))


def _short(message: dict[str, Any]) -> dict[str, Any]:
    """A message of the run for the journal: of a plan, whether there is one; it has a file of its own."""
    short = {key: value for key, value in message.items() if key != "plan"}
    return {**short, "armed": message["plan"] is not None} if "plan" in message else short


def _open_process(number: int) -> int | None:
    """A descriptor of a process, which no later process of the same number can be taken for."""
    try:
        return os.pidfd_open(number)
    except (OSError, AttributeError):
        return None


def main() -> None:
    """Serve one run: its end of the link and its process number are given as arguments."""
    parser = argparse.ArgumentParser(prog="railwright.guard")
    parser.add_argument("--link", type=int, required=True)
    parser.add_argument("--run", type=int, required=True)
    given = parser.parse_args()
    for name in IGNORED:
        signal.signal(getattr(signal, name), signal.SIG_IGN)
    # In a program with many files open it has a number that select() does not take.
    link = socket.socket(fileno=os.dup(given.link))
    os.close(given.link)
    link.setblocking(False)
    # select() has microseconds where epoll and poll round up to milliseconds.
    with asyncio.Runner(loop_factory=lambda: asyncio.SelectorEventLoop(selectors.SelectSelector())) as runner:
        runner.run(GuardProcess(link, given.run).serve())
