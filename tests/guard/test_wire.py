"""Ways to an instrument that hangs."""

from __future__ import annotations

import asyncio
import os
import socket
from typing import Any

import pytest

from railwright.guard import wire
from railwright.guard.session import Session, Unreachable


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
            await Session("left", address, wire.connect).open(0.5)
        await asyncio.wait_for(started[0].wait(), 5.0)

    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        asyncio.run(go(f"TCPIP::127.0.0.1::hislip0,{port}::INSTR"))
    with pytest.raises(ProcessLookupError):
        os.kill(started[0].pid, 0)
