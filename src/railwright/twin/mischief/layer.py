"""The layer between the connections of a twin and its supply: it carries out a script of faults.

The server hands it every message before it is carried out, every answer before it is sent, and tells it when
a message is done. Times are the server's clock. Every act is kept with its time, for whoever judges.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from random import Random
from typing import Literal, Protocol

from railwright.dialects.dialect import Dialect
from railwright.scpi.errors import ScpiError
from railwright.scpi.grammar import parse_message
from railwright.twin.commands import execute
from railwright.twin.mischief import answers
from railwright.twin.mischief.kinds import KINDS
from railwright.twin.mischief.script import Mischief, commands_of
from railwright.twin.supply import TwinSupply

COMES_ON = "and comes on"
REBOOTS = ("reboots", f"reboots {COMES_ON}")
RESTARTS = ("restarts", f"restarts {COMES_ON}")
"""Kinds by which a supply loses its mains: with its connections, and without."""

MOST_ACTS = 10_000
"""How many acts are kept, from the first on."""


@dataclass(frozen=True, slots=True)
class Act:
    """Something that a fault did: when, on the server's clock [s], the line of its script, and what."""

    time: float
    line: str
    what: str


@dataclass(frozen=True, slots=True)
class Manner:
    """How a message is treated: carried out, answered, and how much longer it takes [s]."""

    done: bool = True
    answered: bool = True
    longer: float = 0.0


@dataclass(frozen=True, slots=True)
class Altered:
    """What is sent instead of an answer: these bytes, and whether bytes without end follow on."""

    data: bytes
    endless: bool = False


class MischiefHost(Protocol):
    """What the layer can do to the server."""

    supply: TwinSupply
    one_client: bool

    def now(self) -> float: ...
    def catch_up(self) -> None: ...
    def refuse(self, refusing: bool) -> None: ...
    def drop(self, how: Literal["reset", "close", "ignore"]) -> None: ...


class _Fault:
    """One line of the script as it goes."""

    def __init__(self, script: Mischief, seed: int, number: int, dialect: Dialect) -> None:
        self.script = script
        self.draw = Random(f"{seed}/{script.supply}/{number}/{script.line}")
        self.dialect = dialect
        self.header = commands_of(script.when.header, dialect)
        self.seen = 0
        self.state: Literal["waiting", "due", "active", "over"] = "waiting"
        self.left = script.times
        self.was_on: set[int] = set()

    @property
    def by_time(self) -> bool:
        return self.script.when.between is not None

    def names(self, message: bytes) -> bool:
        """Whether the message has the header or the text that this fault is about; without one, any has."""
        when = self.script.when
        if when.text:
            return when.text.encode("latin-1", "replace") in message.upper()
        return not self.header or self.header[0] in commands_of(message, self.dialect)

    def use(self) -> None:
        """It has acted once more."""
        self.left -= 1
        if self.left <= 0:
            self.state = "over"


class Layer:
    """A script of faults on one supply. `acts`: what they have done so far, in order of time."""

    def __init__(self, script: Sequence[Mischief], seed: int, host: MischiefHost) -> None:
        self.acts: list[Act] = []
        self._host = host
        dialect = host.supply.document.dialect
        self._faults = [_Fault(each, seed, number, dialect) for number, each in enumerate(script)]
        self._previous: bytes | None = None
        self._begun = False
        self._timers: list[asyncio.TimerHandle] = []
        host.supply.on_off = self._told_off

    def received(self, message: bytes) -> Manner:
        """A message has come and is about to be carried out: start what is due, and say how to treat it."""
        if not self._begun:
            self._begun = True
            self._begin()
        for fault in self._faults:
            when = fault.script.when
            if fault.state == "waiting" and not fault.by_time and fault.names(message):
                fault.seen += 1
                if fault.seen >= when.count:
                    fault.state = "due"
                    if not when.after:
                        self._start(fault)
        silent, deaf = self._acting("silent"), self._acting("deaf")
        slow = self._acting("slow")
        for fault in (*silent, *deaf, *slow):
            fault.use()
        longer = sum(float(fault.script.value) for fault in slow)
        deaf += [fault for kind in RESTARTS for fault in self._acting(kind)]
        return Manner(done=not deaf, answered=not (deaf or silent), longer=longer)

    def answered(self, message: bytes, answer: bytes) -> Altered:
        """What is to be sent instead of this answer, newline included, to this message."""
        data, endless = answer, False
        for fault in self._faults:
            kind = fault.script.kind
            if fault.state != "active" or not KINDS[kind].on_answers or not fault.names(message):
                continue
            if kind == "previous answer" and self._previous is None:
                continue
            self._act(fault, kind)
            fault.use()
            match kind:
                case "half answer":
                    data = answers.half(data)
                case "two answers":
                    data += data
                case "garbage":
                    data = answers.garbage(fault.draw)
                case "previous answer":
                    data = self._previous or data
                case "wrong answer":
                    data = answers.wrong(data, fault.draw)
                case "endless answer":
                    data, endless = data.rstrip(b"\n"), True
        self._previous = answer
        return Altered(data, endless)

    def done(self) -> None:
        """The message has been carried out and answered."""
        for fault in self._faults:
            if fault.state == "due":
                self._start(fault)

    def close(self) -> None:
        """No fault begins or ends any more."""
        for timer in self._timers:
            timer.cancel()

    def _begin(self) -> None:
        """The first message: times count from here."""
        for fault in self._faults:
            if fault.script.when.between is not None:
                self._later(fault.draw.uniform(*fault.script.when.between), partial(self._start, fault))

    def _later(self, seconds: float, what: Callable[[], None]) -> None:
        loop = asyncio.get_running_loop()
        self._timers = [timer for timer in self._timers if timer.when() > loop.time()]
        self._timers.append(loop.call_later(seconds, what))

    def _acting(self, kind: str) -> list[_Fault]:
        return [fault for fault in self._faults if fault.state == "active" and fault.script.kind == kind]

    def _act(self, fault: _Fault, what: str) -> None:
        if len(self.acts) < MOST_ACTS:
            self.acts.append(Act(self._host.now(), fault.script.line, what))

    def _start(self, fault: _Fault) -> None:
        script = fault.script
        fault.state = "active"
        if not KINDS[script.kind].on_answers and script.kind != "comes on again":
            self._act(fault, script.kind)  # the others act later, each time anew
        self._host.catch_up()
        self._do(fault)
        self._host.supply.refresh()
        if script.seconds == 0.0:
            fault.state = "over"
        elif math.isfinite(script.seconds):
            self._later(script.seconds, partial(self._end, fault))

    def _do(self, fault: _Fault) -> None:
        """What a fault does when it begins."""
        host, supply, value = self._host, self._host.supply, fault.script.value
        match fault.script.kind:
            case "reset":
                host.drop("reset")
            case "taken over":
                host.drop("close")
            case "taken over silently":
                host.drop("ignore")
            case "refuses":
                host.refuse(True)
                host.drop("reset")
            case "reboots" | "reboots and comes on":
                host.refuse(True)
                host.drop("reset")
                supply.power_fails()
            case "restarts" | "restarts and comes on":
                supply.power_fails()
            case "one client":
                host.one_client = True
            case "refuses conflicts":
                supply.refuses_conflicts = True
            case "error":
                supply.status.report(ScpiError(int(float(value)), "of a script of faults"))
            case "told":
                self._tell(str(value))
        for channel in self._channels(fault):
            self._do_to_output(fault, channel)

    def _do_to_output(self, fault: _Fault, channel: int) -> None:
        supply = self._host.supply
        name = supply.panels[channel].name
        match fault.script.kind:
            case "goes off":
                supply.switch(channel, False)
            case "comes on":
                self._switch_on(channel)
            case "stays on" | "stays on but says off":
                supply.sticking[channel] = fault.script.kind != "stays on"
            case "overheats" | "overheats and comes back":
                if supply.panels[channel].on:
                    fault.was_on.add(channel)
                supply.plant.heat(name)

    def _end(self, fault: _Fault) -> None:
        """A fault that lasts a time is over."""
        host, kind = self._host, fault.script.kind
        fault.state = "over"
        host.catch_up()
        if kind in (*REBOOTS, *RESTARTS):
            host.supply.power_on(True if kind.endswith(COMES_ON) else None)
        if kind in ("refuses", *REBOOTS):
            host.refuse(False)
        elif kind == "one client":
            host.one_client = False
        elif kind == "refuses conflicts":
            host.supply.refuses_conflicts = False
        for channel in self._channels(fault):
            if kind in ("stays on", "stays on but says off"):
                host.supply.sticking.pop(channel, None)
            elif kind in ("overheats", "overheats and comes back"):
                host.supply.plant.cool(host.supply.panels[channel].name)
                if kind == "overheats and comes back" and channel in fault.was_on:
                    self._act(fault, "comes on again")
                    self._switch_on(channel)
        host.supply.refresh()

    def _told_off(self, channel: int, was_on: bool) -> None:
        """An output has been told to go off."""
        for fault in self._acting("overheats and comes back"):
            fault.was_on.discard(channel)
        for fault in self._acting("comes on again"):
            if was_on and channel in self._channels(fault):
                fault.use()
                self._later(float(fault.script.value), partial(self._again, fault, channel))

    def _again(self, fault: _Fault, channel: int) -> None:
        self._host.catch_up()
        self._act(fault, "comes on again")
        self._switch_on(channel)
        self._host.supply.refresh()

    def _switch_on(self, channel: int) -> None:
        """On, by itself; not while it is too hot."""
        supply = self._host.supply
        name = supply.panels[channel].name
        if not supply.plant.is_hot(name):
            supply.plant.clear_trip(name)
            supply.switch(channel, True)

    def _tell(self, message: str) -> None:
        """Carry out a message as if from the panel: nobody is answered."""
        supply = self._host.supply
        try:
            for unit in parse_message(message.encode("latin-1", "replace")):
                execute(supply, unit)
        except ScpiError as error:
            supply.status.report(error)

    def _channels(self, fault: _Fault) -> list[int]:
        """Places of the outputs that a fault is about."""
        names = list(self._host.supply.document.outputs)
        return [names.index(output) for output in fault.script.outputs]
