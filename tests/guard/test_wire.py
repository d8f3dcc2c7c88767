"""Ways to an instrument that hangs."""

from __future__ import annotations

import asyncio
import os
import socket
import threading
import time
from typing import Any

import pytest

from railwright.guard import wire
from railwright.guard.session import Session, SessionError, Unreachable
from railwright.guard.session_settings import SessionSettings


def test_a_helper_that_hangs_in_its_library_is_not_left_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    """It would go on holding the instrument, and each new try would leave one more."""
    started: list[asyncio.subprocess.Process] = []
    start = asyncio.create_subprocess_exec

    async def noted(*command: Any, **options: Any) -> asyncio.subprocess.Process:
        started.append(await start(*command, **options))
        return started[-1]

    monkeypatch.setattr(asyncio, "create_subprocess_exec", noted)

    async def go(address: str) -> None:
        with pytest.raises(Unreachable, match="no connection within"):
            await Session("left", address, wire.connect, SessionSettings(visa="@py")).open(0.5)
        await asyncio.wait_for(started[0].wait(), 5.0)

    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        asyncio.run(go(f"TCPIP::127.0.0.1::hislip0,{port}::INSTR"))
    with pytest.raises(ProcessLookupError):
        os.kill(started[0].pid, 0)


def test_an_answer_that_came_while_the_process_stood_still_counts() -> None:
    """Stopped and continued, it finds the deadline passed and the answer there, which came in time."""
    answers = threading.Event()

    def serve(server: socket.socket) -> None:
        client, _ = server.accept()
        with client:
            client.recv(64)
            client.sendall(b"12.0\n")
            answers.set()
            client.recv(64)

    async def go(address: str) -> tuple[str, bool]:
        session = Session("left", address, wire.connect)
        await session.open()
        loop = asyncio.get_running_loop()
        # As SIGSTOP would: the question is out, and nothing of this process works until long after.
        loop.call_later(0.0, lambda: (answers.wait(5.0), time.sleep(0.6)))
        try:
            exchange = await session.ask("VOLT?", 0.3)
        finally:
            session.close()
        return exchange.answer, bool(session.broken)

    with socket.create_server(("127.0.0.1", 0)) as server:
        threading.Thread(target=serve, args=(server,), daemon=True).start()
        port = server.getsockname()[1]
        assert asyncio.run(go(f"TCPIP::127.0.0.1::{port}::SOCKET")) == ("12.0", False)


def test_a_connection_that_is_closed_right_after_the_process_stood_still_is_broken() -> None:
    """It may not be used again as if nothing had happened."""
    goes_on = threading.Event()

    def serve(server: socket.socket) -> None:
        client, _ = server.accept()
        with client:
            goes_on.wait(5.0)
            time.sleep(0.02)

    async def go(address: str) -> str:
        session = Session("left", address, wire.connect)
        await session.open()
        asyncio.get_running_loop().call_later(0.0, lambda: (time.sleep(0.6), goes_on.set()))
        with pytest.raises(SessionError):
            await session.ask("VOLT?", 0.3)
        broken = session.broken
        session.close()
        return broken

    with socket.create_server(("127.0.0.1", 0)) as server:
        threading.Thread(target=serve, args=(server,), daemon=True).start()
        broken = asyncio.run(go(f"TCPIP::127.0.0.1::{server.getsockname()[1]}::SOCKET"))
    assert broken


def test_an_answer_that_never_came_fails_also_where_the_process_stood_still() -> None:
    async def go(address: str) -> None:
        session = Session("left", address, wire.connect)
        await session.open()
        asyncio.get_running_loop().call_later(0.05, time.sleep, 0.6)
        try:
            with pytest.raises(SessionError, match="gives no whole answer"):
                await session.ask("VOLT?", 0.3)
        finally:
            session.close()

    with socket.create_server(("127.0.0.1", 0)) as silent:
        asyncio.run(go(f"TCPIP::127.0.0.1::{silent.getsockname()[1]}::SOCKET"))
