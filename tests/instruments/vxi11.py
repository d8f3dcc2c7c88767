"""A VXI-11 instrument of a few lines that misbehaves as some do; ONC RPC (RFC 5531) and VXI-11 1.0 by hand.

It has one output that is on at 12 V, and takes `OFF`, `LOOK?`, `*IDN?`, `*CLS`.
"""

from __future__ import annotations

import asyncio
import struct
from dataclasses import dataclass, field
from typing import Any

IDENTITY = "maker,model,1,0"
CREATE_LINK, WRITE, READ, CLEAR, DESTROY_LINK = 10, 11, 12, 15, 23
PARAMETER_ERROR, OUT_OF_RESOURCES, IO_TIMEOUT = 5, 9, 15


@dataclass
class Vxi11Instrument:
    """hangs: requests that get no reply, and how often. late: answers that come only after their read has
    ended, and stay to be read until a device clear. lock_time: what it does where one is asked for, 'refused'
    or 'hangs'. one_link: it has one, and frees it only where that is destroyed.
    """

    hangs: dict[int, int] = field(default_factory=dict)
    late: int = 0
    lock_time: str = "taken"
    one_link: bool = False
    on: bool = True
    links: set[int] = field(default_factory=set)
    took: list[str] = field(default_factory=list)
    answers: list[bytes] = field(default_factory=list)
    cleared: int = 0
    port: int = 0
    made: int = 0
    server: Any = None
    writers: list[asyncio.StreamWriter] = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"TCPIP::127.0.0.1,{self.port}::inst0::INSTR"

    async def start(self) -> None:
        self.server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self.port = self.server.sockets[0].getsockname()[1]

    def stop(self) -> None:
        self.server.close()
        for writer in self.writers:
            writer.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.writers.append(writer)
        mine: set[int] = set()
        try:
            while True:
                (head,) = struct.unpack(">I", await reader.readexactly(4))
                call = await reader.readexactly(head & 0x7FFFFFFF)
                number, _, _, _, _, procedure = struct.unpack(">6I", call[:24])
                result = await self._do(procedure, call[40:], mine)
                if result is None:
                    continue
                reply = struct.pack(">6I", number, 1, 0, 0, 0, 0) + result
                writer.write(struct.pack(">I", len(reply) | 0x80000000) + reply)
        except (asyncio.IncompleteReadError, ConnectionError):
            if not self.one_link:
                self.links -= mine

    async def _do(self, procedure: int, given: bytes, mine: set[int]) -> bytes | None:
        """The result of a call; None: there is no reply."""
        if self.hangs.get(procedure, 0):
            self.hangs[procedure] -= 1
            return None
        lock_time = self._lock_time(procedure, given)
        if lock_time and self.lock_time != "taken":
            failed = struct.pack(">4I", PARAMETER_ERROR, 0, 0, 0)
            return None if self.lock_time == "hangs" else failed
        match procedure:
            case 10:
                if self.one_link and self.links:
                    return struct.pack(">4I", OUT_OF_RESOURCES, 0, 0, 0)
                self.made += 1
                self.links.add(self.made)
                mine.add(self.made)
                return struct.pack(">4I", 0, self.made, 0, 4096)
            case 11:
                length = struct.unpack(">I", given[16:20])[0]
                self._take(given[20 : 20 + length].decode().strip())
                return struct.pack(">2I", 0, length)
            case 12:
                if self.late:
                    self.late -= 1
                    return struct.pack(">3I", IO_TIMEOUT, 0, 0)
                if not self.answers:
                    return struct.pack(">3I", IO_TIMEOUT, 0, 0)
                answer = self.answers.pop(0)
                return struct.pack(">3I", 0, 4, len(answer)) + answer + bytes(-len(answer) % 4)
            case 15:
                self.cleared += 1
                self.answers.clear()
                return struct.pack(">I", 0)
            case 23:
                self.links.discard(struct.unpack(">I", given[:4])[0])
                return struct.pack(">I", 0)
        raise AssertionError(f"a call that nobody makes here: {procedure}")

    def _lock_time(self, procedure: int, given: bytes) -> int:
        place = {CREATE_LINK: 8, WRITE: 8, READ: 12, CLEAR: 8}.get(procedure)
        return 0 if place is None else int(struct.unpack(">I", given[place : place + 4])[0])

    def _take(self, text: str) -> None:
        self.took.append(text)
        if text == "OFF":
            self.on = False
        known = {"*IDN?": IDENTITY, "LOOK?": f"{int(self.on)};{12.0 * self.on};{0.5 * self.on}"}
        if text in known:
            self.answers.append(known[text].encode() + b"\n")
