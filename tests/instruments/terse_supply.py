"""A supply that is spoken to otherwise than any of ours, with a parser of its own: outputs that are selected
by name in a message of its own, one command a message, nothing but questions before it is told to be remote,
volts and amperes in one answer with their units, a word for what it does, a trip delay that nothing sets.

    REMote  LOCal  REMote?  SELect LEFT  SELect?  VSET 5  ISET 1  OVSET 6  OUT 1  TRIPS 1  (each with `?`)
    READ? (12.000V,0.500A)  STATE? (CV, CC, OFF, OV, OC)  TDEL? (0.100S)  CLEAR  ERR?  *IDN?
"""

from __future__ import annotations

import asyncio
import re
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

DIALECT = """\
dialect: terse
addressing: selected-output
called: {1: LEFT, 2: RIGHT}
compound: false
words: {"on": "1", "off": "0"}
session:
  opening: [{send: REMote, because: it leaves the front panel}, {send: "REMote?", answer: "1"}]
  closing: [{send: LOCal, because: it goes back to the front panel}]
instrument: {identify: "*IDN?", next_error: "ERR?", select: SELect, selected: "SELect?"}
settings:
  output: OUT
  voltage: VSET
  current_limit: {command: ISET, query: "ISET?", lowest: 0.01}
  ovp: OVSET
  trip_at_limit: TRIPS
  trip_delay: {query: "TDEL?", unit: s}
actions: {clear_trips: CLEAR}
readings: {both: {query: "READ?", fields: [voltage, current]}}
status:
  mode: {query: "STATE?", words: {CV: CV, CC: CC}}
  trips: {query: "STATE?", words: {OVP: OV, current limit: OC}, nothing: [CV, CC, "OFF"]}
"""
NAMES = {"LEFT": 1, "RIGHT": 2}
DELAY = 0.1
"""Its trip delay [s]."""


@dataclass
class TerseOutput:
    """One output into a resistor [ohm]."""

    resistance: float = 24.0
    on: bool = False
    tripped: str = ""
    set: dict[str, float] = field(
        default_factory=lambda: {"VSET": 0.0, "ISET": 0.01, "OVSET": 40.0, "TRIPS": 0.0}
    )
    limited: float | None = None
    sticks: bool = False
    """Its switch does nothing when it is told to go off."""

    def now(self, time: float) -> tuple[float, float, str]:
        """Voltage, current, and the word for what it does."""
        if self.on and self.set["VSET"] > self.set["OVSET"]:
            self.on, self.tripped = False, "OV"
        if not self.on:
            self.limited = None
            return 0.0, 0.0, self.tripped or "OFF"
        wanted = self.set["VSET"] / self.resistance
        if wanted <= self.set["ISET"]:
            self.limited = None
            return self.set["VSET"], wanted, "CV"
        self.limited = time if self.limited is None else self.limited
        if self.set["TRIPS"] and time - self.limited > DELAY:
            self.on, self.tripped = False, "OC"
            return 0.0, 0.0, "OC"
        return self.set["ISET"] * self.resistance, self.set["ISET"], "CC"


class Spoken:
    """How a supply of one of these files is reached: what it takes, a line at a time, it may answer."""

    clock: Callable[[], float]
    connections: int

    def take(self, line: str, connected: float) -> str | None:
        """One message; its answer. ConnectionError where it hangs up."""
        raise NotImplementedError

    async def serve(self, reader: asyncio.StreamReader, writer: Any) -> None:
        """In memory, on whatever clock the loop has."""
        connected = self.clock()
        self.connections += 1
        while line := (await reader.readline()).decode().strip():
            try:
                answer = self.take(line, connected)
            except ConnectionError:
                writer.close()
                return
            if answer is not None:
                writer.write(f"{answer}\n".encode())

    def listen(self) -> str:
        """Over TCP, in threads; the address."""
        server = socket.create_server(("127.0.0.1", 0))
        lock = threading.Lock()

        def serve(client: socket.socket) -> None:
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            connected = self.clock()
            self.connections += 1
            with client, client.makefile("rb") as lines:
                for line in lines:
                    with lock:
                        answer = self.take(line.decode().strip(), connected)
                    if answer is not None:
                        client.sendall(f"{answer}\n".encode())

        def accept() -> None:
            while True:
                client, _ = server.accept()
                threading.Thread(target=serve, args=(client,), daemon=True).start()

        threading.Thread(target=accept, daemon=True).start()
        return f"TCPIP::127.0.0.1::{server.getsockname()[1]}::SOCKET"


@dataclass
class TerseSupply(Spoken):
    """took: (when [s], message). refuses_remote: REMote is an error. hangs_up: it ends the connection at
    REMote. takes_off_while_local: OUT 0 works without REMote, too. wants: silence before a message that it
    takes [s]. low_ovp, high_voltage: a level of the OVP below the set point, and a set point above it, are
    taken. boots: so long after a connection begins it takes nothing [s]. latches: CLEAR is taken, and clears
    nothing.
    """

    outputs: dict[str, TerseOutput] = field(default_factory=lambda: {name: TerseOutput() for name in NAMES})
    refuses_remote: bool = False
    hangs_up: bool = False
    takes_off_while_local: bool = False
    wants: float = 0.0
    boots: float = 0.0
    low_ovp: bool = True
    high_voltage: bool = True
    latches: bool = False
    connections: int = 0
    highest: float = 0.0
    """Set point that it was told at most [V]."""
    identity: str = "Quay,T-2,7,1.0"
    clock: Callable[[], float] = time.monotonic
    remote: bool = False
    selected: str = "LEFT"
    errors: list[str] = field(default_factory=list)
    took: list[tuple[float, str]] = field(default_factory=list)
    on_take: Callable[[str], None] = lambda message: None
    spoke: float = -1e9

    def take(self, line: str, connected: float) -> str | None:
        """One message; its answer. ConnectionError where it hangs up."""
        now = self.clock()
        too_soon, self.spoke = now - self.spoke < self.wants, now
        if too_soon or now - connected < self.boots:
            return None
        self.took.append((now, line))
        self.on_take(line)
        answer = self._done(line, now)
        if answer is not None:
            self.spoke = self.clock()
        return answer

    def _done(self, line: str, now: float) -> str | None:
        found = re.fullmatch(r"([*A-Za-z]+)(\?)?(?: ([A-Z0-9.+-]+))?", line)
        if found is None:
            self.errors.append(f'-102,"Syntax error;{line}"')
            return None
        word, asks, value = found[1].upper(), bool(found[2]), found[3] or ""
        output = self.outputs[self.selected]
        if word == "REMOTE" and not asks:
            if self.hangs_up:
                raise ConnectionError
            self.remote = self.remote or not self.refuses_remote
            self.errors += ['-200,"Execution error"'] * self.refuses_remote
        elif word == "LOCAL":
            self.remote = False
        elif asks:
            return self._asked(word, output, now)
        elif not self.remote and not (self.takes_off_while_local and (word, value) == ("OUT", "0")):
            if word != "SELECT" or not self.takes_off_while_local:
                self.errors.append('-203,"Command protected"')
            elif value in NAMES:
                self.selected = value
        else:
            self._set(word, value, output, now)
        return None

    def _asked(self, word: str, output: TerseOutput, now: float) -> str | None:
        voltage, current, state = output.now(now)
        answers = {
            "*IDN": self.identity,
            "REMOTE": str(int(self.remote)),
            "SELECT": self.selected,
            "OUT": str(int(output.on)),
            "READ": f"{voltage:.3f}V,{current:.3f}A",
            "STATE": state,
            "TDEL": f"{DELAY:.3f}S",
            "TRIPS": str(int(output.set["TRIPS"])),
            "VSET": f"{output.set['VSET']:.3f}V",
            "OVSET": f"{output.set['OVSET']:.3f}V",
            "ISET": f"{output.set['ISET'] * 1e3:.1f}mA",
        }
        if word == "ERR":
            return self.errors.pop(0) if self.errors else '0,"none"'
        if word not in answers:
            self.errors.append(f'-113,"Undefined header;{word}"')
        return answers.get(word)

    def _set(self, word: str, value: str, output: TerseOutput, now: float) -> None:
        if word == "SELECT" and value in NAMES:
            self.selected = value
        elif word == "OUT" and value in ("0", "1"):
            if value == "1" and output.tripped:
                self.errors.append('-221,"Settings conflict"')
            output.on = (value == "1" and not output.tripped) or (output.on and output.sticks)
        elif word == "CLEAR":
            output.tripped = output.tripped if self.latches else ""
        elif word in output.set and value and (word, value) != ("ISET", "0"):
            output.now(now)
            low = word == "OVSET" and float(value) < output.set["VSET"]
            high = word == "VSET" and float(value) > output.set["OVSET"]
            if (low and not self.low_ovp) or (high and not self.high_voltage):
                self.errors.append('-221,"Settings conflict"')
                return
            output.set[word] = float(value)
            self.highest = max(self.highest, output.set["VSET"])
        else:
            self.errors.append(f'-224,"Illegal parameter value;{word} {value}"')
