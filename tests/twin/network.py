"""The test bench in virtual time, and a client that speaks to it."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, TypeVar

from tests.twin.bench import BENCH, DEVICE, PROCEDURE

from railwright.twin.mischief.script import parse_mischief
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import Streams, VirtualLoop

Result = TypeVar("Result")


class Client:
    """A connection to a supply of the network."""

    def __init__(self, streams: Streams) -> None:
        self.reader, self.writer = streams

    async def tell(self, message: str) -> None:
        self.writer.write(message.encode("latin-1") + b"\n")
        await self.writer.drain()

    async def line(self, within: float = 1.0) -> str:
        async with asyncio.timeout(within):
            return (await self.reader.readline()).decode("latin-1")

    async def ask(self, message: str, within: float = 1.0) -> str:
        await self.tell(message)
        return (await self.line(within)).rstrip("\n")


class Network:
    """The test bench's twins on a loop of their own."""

    def __init__(self, *mischief: str, **more: Any) -> None:
        self.loop = VirtualLoop()
        script = parse_mischief(mischief, BENCH.supplies)
        self.twins = VirtualNetwork(self.loop, BENCH, DEVICE, PROCEDURE, mischief=script, **more)
        self.began = self.loop.now()

    async def client(self, supply: str = "left") -> Client:
        return Client(await self.twins.connect(BENCH.supplies[supply].address))

    def play(self, what: Callable[[Network], Coroutine[Any, Any, Result]]) -> Result:
        """Play to the end of `what`, and end all connections; what was true can still be asked."""
        try:
            return self.loop.complete(what(self))
        finally:
            self.twins.close()
            self.loop.close()

    @property
    def acts(self) -> list[str]:
        return [act.what for act in self.twins.acts()]


async def fails(waiting: Awaitable[object]) -> type[BaseException] | None:
    """What a wait ended with; None: nothing."""
    try:
        await waiting
    except (OSError, EOFError) as error:
        return type(error)
    return None
