"""How an instrument wants to be spoken to: its serial line, what ends a line, and how much time it takes."""

from __future__ import annotations

import re
import termios
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

from railwright.guard.answers import names

Parity = Literal["none", "even", "odd"]
FlowControl = Literal["none", "hardware", "software"]

BAUDS = tuple(sorted(int(name[1:]) for name in dir(termios) if name[0] == "B" and name[1:].isdecimal()))
"""Rates that the system can set [Bd]; 0, which ends a call, among them."""


@dataclass(frozen=True, slots=True)
class LineSettings:
    """A serial line. baud: bits a second [Bd]. flow_control: hardware is RTS/CTS, software is XON/XOFF."""

    baud: int = 9600
    data_bits: int = 8
    parity: Parity = "none"
    stop_bits: int = 1
    flow_control: FlowControl = "none"

    @property
    def byte_time(self) -> float:
        """How long one byte takes on the line [s], its start bit included."""
        return (1 + self.data_bits + (self.parity != "none") + self.stop_bits) / self.baud


_QUOTED = re.compile(r""""[^"]*"|'[^']*'""")


def is_query(message: str) -> bool:
    """Whether a message asks something: its header, before the first blank, ends in a question mark (IEEE
    488.2-1992, 7.6.1), or what stands last in it does, as in `LAMP A?`, which is no form of that standard.
    """
    return has_query_header(message) or message.rstrip().endswith("?")


def has_query_header(message: str) -> bool:
    """Whether the header of a message is that of a query."""
    return "".join(message.split(None, 1)[:1]).endswith("?")


def questions(message: str) -> int:
    """How many of the messages that are joined in one ask something; texts in quotes do not count."""
    return sum(map(is_query, _QUOTED.sub("", message).split(";")))


class SessionCommand(NamedTuple):
    """A message that a session begins or ends with, and what it has to be answered where it asks something;
    '': anything.
    """

    text: str
    answer: str = ""

    @property
    def asks(self) -> bool:
        """Whether it is answered."""
        return is_query(self.text)

    def taken(self, answer: str) -> bool:
        """Whether it may be answered so."""
        return not self.answer or names(answer, self.answer)


@dataclass(frozen=True, slots=True)
class SessionSettings:
    """sends, answers: what ends a message, and an answer. pause: time that it wants before a message,
    since the last one or its own last answer [s]; an OFF of one message goes out at once, and again after
    it. patience: how long an answer may take [s]: a run waits so long where that is longer than it would;
    what switches off does not. boot: time that it wants before the first message of a session [s]; OFF
    does not wait for it, but OFF again does. opening, closing: what a session begins and ends with. line:
    of a serial address. parted_by: what parts the fields of an answer, which is handed on with commas.
    visa: the VISA library that carries the messages, `@ivi` or a path; '': what the guard does not carry
    itself, pyvisa-py does.
    """

    sends: str = "\n"
    answers: str = "\n"
    pause: float = 0.0
    patience: float = 0.0
    line: LineSettings = LineSettings()
    visa: str = ""
    boot: float = 0.0
    opening: tuple[SessionCommand, ...] = ()
    closing: tuple[SessionCommand, ...] = ()
    parted_by: str = ","

    def fields(self, message: str, answer: str) -> str:
        """An answer to a message with commas between its fields; as it is of a common query (IEEE 488.2)."""
        if self.parted_by == "," or message.startswith("*"):
            return answer
        return ",".join(answer.split() if self.parted_by == " " else answer.split(self.parted_by))


USUAL = SessionSettings()
"""Lines that end in a newline, and no time but the caller's."""


def settings_from(data: Mapping[str, Any]) -> SessionSettings:
    """What `dataclasses.asdict` made of settings, after JSON. TypeError for anything else."""
    line = LineSettings(**data["line"]) if "line" in data else LineSettings()
    told = {key: tuple(SessionCommand(*each) for each in data.get(key, ())) for key in ("opening", "closing")}
    return SessionSettings(**{**data, **told, "line": line})
