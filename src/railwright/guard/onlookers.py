"""Who looks on while a run is read: its guard passes on what the supplies answer, and asks nothing for it."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator
from contextlib import suppress
from typing import Any

MOST = 16
"""Onlookers at a time."""

MOST_WAITING = 2_000
"""Answers that wait for an onlooker; later ones are left out, and counted."""

SIGN = 1.0
"""How often an onlooker is shown that the guard lives [s], where nothing else is told."""


class _Onlooker:
    """What one of them has still to be told."""

    def __init__(self) -> None:
        self.queue: asyncio.Queue[dict[str, Any] | None] = asyncio.Queue()
        self.left_out = 0


class Onlookers:
    """Tells every onlooker what is read: `reads`, what a supply is asked and how often; then each answer, as
    the run has it. It neither waits for one nor raises.
    """

    def __init__(self) -> None:
        self._there: set[_Onlooker] = set()
        self._reads: dict[str, dict[str, Any]] = {}

    def reads(self, poll: dict[str, Any], address: str, identity: str) -> None:
        """A supply is read from now on, as the run asked; no messages: no longer."""
        kept = {key: poll.get(key) for key in ("name", "messages", "outputs", "every")}
        told = {"kind": "reads", "address": address, "identity": identity, **kept}
        self._reads[poll["name"]] = told
        self.tell(told)

    def tell(self, message: dict[str, Any]) -> None:
        """To all of them."""
        for each in self._there:
            if each.queue.qsize() < MOST_WAITING:
                told = {**message, "left_out": each.left_out} if each.left_out else message
                each.queue.put_nowait(told)
                each.left_out = 0
            else:
                each.left_out += 1

    def end(self) -> None:
        """Nothing more comes: each of them is told."""
        for each in self._there:
            each.queue.put_nowait(None)

    async def look(self) -> AsyncGenerator[dict[str, Any], None]:
        """What one onlooker is told, as long as it looks on."""
        if len(self._there) >= MOST:
            yield {"kind": "refused", "why": f"{MOST} others look on already"}
            return
        mine = _Onlooker()
        for told in self._reads.values():
            mine.queue.put_nowait(told)
        self._there.add(mine)
        try:
            while True:
                message: dict[str, Any] | None = {"kind": "beat"}
                with suppress(TimeoutError):
                    async with asyncio.timeout(SIGN):
                        message = await mine.queue.get()
                if message is None:
                    return
                yield message
        finally:
            self._there.discard(mine)
