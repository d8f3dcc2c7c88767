"""A small stand-in for a supply, in a thread: enough SCPI for the driver's tests, and every fault."""

from __future__ import annotations

import contextlib
import math
import re
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

LONG = {"ON": "1", "OFF": "0", "EXTERNAL": "EXT", "INTERNAL": "INT", "LINEAR": "LIN", "FIXED": "FIX"}


@dataclass
class FakeOutput:
    """One output into a resistor, falling exponentially when it is off."""

    resistance: float = 40.0
    fall_time: float = 0.05
    residual: float = 0.0
    on: bool = False
    trip_bits: int = 0
    settings: dict[str, str] = field(default_factory=dict)
    changed: float = 0.0
    level_at_change: float = 0.0

    def voltage(self) -> float:
        if self.on:
            return float(self.settings.get("VOLT", "0"))
        age = time.monotonic() - self.changed
        return self.residual + (self.level_at_change - self.residual) * math.exp(-age / self.fall_time)

    def current(self) -> float:
        return self.voltage() / self.resistance if self.on else 0.0

    def switch(self, on: bool) -> None:
        if on == self.on:
            return
        self.level_at_change = self.voltage()
        self.on, self.changed = on, time.monotonic()
        if not on and self.level_at_change < self.residual:
            self.level_at_change = self.residual


class FakeSupply:
    """A TCP server; `answers` overrides a header's answer, `on_unit` sees every command before it is done."""

    def __init__(self, *, channels: int = 1, identity: str = "", selected: bool = False) -> None:
        self.outputs = {number: FakeOutput() for number in range(1, channels + 1)}
        self.selected = 1 if selected else None
        self.errors: list[str] = []
        self.events = 0
        self.started: set[int] = set()
        self.links: dict[int, str] = {}
        self.answers: dict[str, str] = {}
        self.units: list[str] = []
        self.on_unit: Callable[[str], None] = lambda unit: None
        self.silent = False
        self.one_client = False
        self._server = socket.create_server(("127.0.0.1", 0))
        self._port = self._server.getsockname()[1]
        # No two are one instrument: their versions differ.
        self.identity = identity or f"Railwright,M-1,S-1,{self._port}"
        self._clients: list[socket.socket] = []
        self._accepting = threading.Thread(target=self._accept, daemon=True)
        self._accepting.start()

    @property
    def address(self) -> str:
        return f"TCPIP::127.0.0.1::{self._port}::SOCKET"

    def drop(self) -> None:
        """Close every connection; new ones are taken."""
        clients, self._clients = self._clients, []
        for client in clients:
            with contextlib.suppress(OSError):
                client.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """No more connections, and those that are there end."""
        with contextlib.suppress(OSError):
            self._server.shutdown(socket.SHUT_RDWR)  # wakes the thread that waits in accept
        self._server.close()
        self.drop()

    def __enter__(self) -> FakeSupply:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            if self.one_client and any(other.fileno() >= 0 for other in self._clients):
                client.close()
                continue
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._clients.append(client)
            threading.Thread(target=self._serve, args=(client,), daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        try:
            with client, client.makefile("rb") as lines:
                for line in lines:
                    answers = [
                        a for unit in line.decode().strip().split(";") if (a := self._do(unit)) is not None
                    ]
                    if answers and not self.silent:
                        client.sendall((";".join(answers) + "\n").encode())
        except OSError:
            return

    def _do(self, unit: str) -> str | None:
        unit = unit.removeprefix(":")
        self.units.append(unit)
        self.on_unit(unit)
        header, _, parameters = unit.partition(" ")
        header = header.upper().replace("SOURCE:", "").replace("VOLTAGE", "VOLT").replace("CURRENT", "CURR")
        if header in self.answers:
            return self.answers[header]
        channels = re.search(r"\(@([\d,]+)\)", parameters)
        numbers = [int(c) for c in channels[1].split(",")] if channels else [self.selected or 1]
        value = parameters.split(",(")[0] if not parameters.startswith("(") else ""
        outputs = [self.outputs[number] for number in numbers]
        match header:
            case "*IDN?":
                return self.identity
            case "*CLS":
                self.errors.clear()
            case "*ESR?":
                events, self.events = self.events, 0
                return str(events)
            case "SYSTEM:ERROR?":
                return self.errors.pop(0) if self.errors else '0,"No error"'
            case "INSTRUMENT:NSELECT":
                self.selected = int(value)
            case "OUTPUT:STATE":
                for output in outputs:
                    output.switch(value.upper() in ("ON", "1"))
            case "OUTPUT:STATE?":
                return ",".join(str(int(output.on)) for output in outputs)
            case "OUTPUT:PROTECTION:CLEAR":
                for output in outputs:
                    output.trip_bits = 0
            case "OUTPUT:PROTECTION:LINK":
                for number in numbers:
                    self.links[number] = parameters.rpartition(",(")[0] or parameters
            case "OUTPUT:PROTECTION:LINK?":
                return self.links.get(numbers[0], "NONE")
            case "MEASURE:VOLT?":
                return ",".join(f"{output.voltage():.4E}" for output in outputs)
            case "FETCH:CURR?":
                return ",".join(f"{output.current():.4E}" for output in outputs)
            case _ if found := re.fullmatch(r"STATUS:(\w+):INSTRUMENT:ISUMMARY(\d):CONDITION\?", header):
                output = self.outputs[int(found[2])]
                return str(output.trip_bits if found[1] == "QUESTIONABLE" else 1024 * output.on)
            case "ABORT":
                self.started.clear()
            case "INITIATE":
                self.started.update(numbers)
            case _ if re.fullmatch(
                r"LIST:(VOLT|DWELL|COUNT|INT)\??|VOLT:MODE\??|(VOLT|CURR|POWER)(:(PROTECTION|SLEW|ALC:SOURCE)(:LEVEL)?(:STATE|:DELAY|:FALLING)?)?\??",
                header,
            ):
                if header.endswith("?"):
                    return ",".join(output.settings.get(header[:-1], "0") for output in outputs)
                for output in outputs:
                    output.settings[header] = LONG.get(value.upper(), value)
            case _:
                self.refuse(f'-113,"Undefined header;{header}"', bit=5)
        return None

    def refuse(self, *entries: str, bit: int = 4) -> None:
        """Entries of the error queue, and the bit of the event status register that goes with them."""
        self.errors += entries
        self.events |= 1 << bit

    def trip(self, channel: int, bit: int = 9) -> None:
        """As a protection does: off, with the bit of its cause."""
        self.outputs[channel].trip_bits = 1 << bit
        self.outputs[channel].switch(False)
