"""A session with one instrument over VISA: lines out, lines in, each with its time."""

from __future__ import annotations

import errno
import socket
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from railwright.guard.session_settings import USUAL, LineSettings, SessionCommand, SessionSettings, questions
from railwright.instruments.errors import InstrumentError, NotReached

Trace = Callable[[float, str, Literal["sent", "received"], str], None]
"""Told of every line: time on the monotonic clock [s], instrument, direction, the line."""

TIMEOUT = 1.0
"""How long an answer may take [s]."""

STOP_BITS = {1: 10, 2: 20}
FLOW_CONTROLS = {"none": "none", "hardware": "rts_cts", "software": "xon_xoff"}
"""As VISA numbers and pyvisa names them (VPP-4.3)."""

EXTRAS = {"ASRL": "serial", "USB": "usb", "GPIB": "gpib"}
"""Interface -> the extra that brings what pyvisa-py needs for it."""

OPEN_TIMEOUT = 3.0
"""How long a connection may take [s]."""


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer with the times [s, monotonic clock] at which the question left and the answer had come."""

    text: str
    sent: float
    received: float

    @property
    def middle(self) -> float:
        return (self.sent + self.received) / 2


class InstrumentSession(Protocol):
    """What the driver needs of a session. Every failure is an InstrumentError with `lost` set."""

    name: str
    identity: str
    """What it answered to *IDN? when the session was opened; '' where it was not asked."""

    def tell(self, message: str, at: float | None = None) -> float:
        """Send a message, at an instant of the monotonic clock [s] where one is given; when it left."""

    def ask(self, message: str, at: float | None = None) -> Answer:
        """As `tell`, and wait for the one line it answers."""

    def together(self, messages: Sequence[str], at: float | None = None) -> Answer:
        """Messages one after the other, with nothing of anybody else in between; the first at an instant
        where one is given. Their answers are joined by `;`.
        """

    def close(self) -> None:
        """End the session; never fails."""


OpenSession = Callable[[str, str, str, SessionSettings], InstrumentSession]
"""(instrument's name, VISA address, what asks who it is, its session's settings) -> an open session. A guard
that owns sessions can stand behind it.
"""


class VisaSession:
    """A session through pyvisa: with the pyvisa-py backend, which needs no vendor's library, or with the one
    that the settings name.
    """

    def __init__(
        self,
        name: str,
        address: str,
        _identify: str = "",
        session_settings: SessionSettings = USUAL,
        *,
        timeout: float = TIMEOUT,
        trace: Trace | None = None,
    ) -> None:
        import pyvisa

        self.name = name
        self.identity = ""
        self._address = address
        self._heard = False
        self._trace = trace
        self._resource: Any = None
        self._manager: Any = None
        try:
            self._manager = pyvisa.ResourceManager(session_settings.visa or "@py")
            _no_lock_time()
            self._resource = self._manager.open_resource(
                address,
                open_timeout=int(OPEN_TIMEOUT * 1000),
                timeout=int(max(timeout, session_settings.patience) * 1000),
                read_termination=session_settings.answers,
                write_termination=session_settings.sends,
            )
            self._set_line(session_settings.line)
            self._send_at_once()
        # The backend raises bare Exception where an address cannot be reached: whatever it is,
        # no session is open.
        except Exception as error:
            raise NotReached(name, self._silence(error)) from error
        self._closing = session_settings.closing
        time.sleep(session_settings.boot)
        for command in session_settings.opening:
            self._say(command)

    def _say(self, command: SessionCommand) -> None:
        """What a session begins or ends with. InstrumentError."""
        if not command.asks:
            self.tell(command.text)
        elif not command.taken(got := self.ask(command.text).text):
            raise InstrumentError(self.name, command.text, f"expected '{command.answer}', got '{got[:40]}'")

    def _set_line(self, line: LineSettings) -> None:
        """The settings of a serial line, where it is one."""
        from pyvisa import constants
        from pyvisa.resources import SerialInstrument

        if isinstance(self._resource, SerialInstrument):
            self._resource.baud_rate = line.baud
            self._resource.data_bits = line.data_bits
            self._resource.parity = constants.Parity[line.parity]
            self._resource.stop_bits = constants.StopBits(STOP_BITS[line.stop_bits])
            self._resource.flow_control = constants.ControlFlow[FLOW_CONTROLS[line.flow_control]]

    def _send_at_once(self) -> None:
        """Have small messages leave at once (TCP_NODELAY); pyvisa-py's attribute for it raises."""
        sessions = getattr(self._manager.visalib, "sessions", {})
        interface = getattr(sessions.get(self._resource.session), "interface", None)
        raw = getattr(interface, "sock", interface)
        if isinstance(raw, socket.socket):
            raw.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def ask(self, message: str, at: float | None = None) -> Answer:
        sent = self.tell(message, at)
        try:
            text = str(self._resource.read())
        except _failures() as error:
            raise self._lost(message, "gives no answer", error) from error
        received = time.monotonic()
        self._heard = True
        text = text.rstrip("\r")
        if self._trace:
            self._trace(received, self.name, "received", text)
        return Answer(text, sent, received)

    def together(self, messages: Sequence[str], at: float | None = None) -> Answer:
        """One after the other: nobody else uses this session."""
        answers, sent = [], []
        for message in messages:
            if questions(message):
                answers.append(self.ask(message, at))
                sent.append(answers[-1].sent)
            else:
                sent.append(self.tell(message, at))
            at = None
        received = answers[-1].received if answers else sent[-1]
        return Answer(";".join(each.text for each in answers), sent[0], received)

    def clear(self) -> None:
        """Device clear, where the interface has one; what the backend raises where it has none."""
        self._resource.clear()

    def tell(self, message: str, at: float | None = None) -> float:
        if at is not None:
            time.sleep(max(0.0, at - time.monotonic()))
        sent = time.monotonic()
        if self._trace:
            self._trace(sent, self.name, "sent", message)
        try:
            self._resource.write(message)
        except _failures() as error:
            raise self._lost(message, "cannot be told", error) from error
        return sent

    def _lost(self, message: str, what: str, error: Exception) -> InstrumentError:
        if not self._heard:
            return NotReached(self.name, self._silence(error))
        return InstrumentError(self.name, message, f"{what}: {_why(error)}", lost=True)

    def _silence(self, error: Exception) -> str:
        """Why nothing is heard at the address. The backend opens a socket without waiting for it: that nobody
        listens there shows at the first line.
        """
        if isinstance(error, OSError) and error.errno == errno.ECONNREFUSED:
            return f"nothing listens at {self._address}"
        why = _why(error)
        if why.startswith("Please install"):
            kind = next((each for each in EXTRAS if self._address.upper().startswith(each)), "")
            why = f"install 'railwright[{EXTRAS[kind]}]'" if kind else why
        return f"no answer from {self._address}: {why}"

    def close(self) -> None:
        with suppress(InstrumentError):
            for command in self._closing:
                self._say(command)
        self._closing = ()
        resource, self._resource = self._resource, _Closed()
        # One that was lost before has nothing left to close.
        with suppress(*_failures()):
            resource.close()

    def end(self) -> None:
        """Close the session, and the library's manager with all sessions of this process: some instruments
        take the next one only then.
        """
        self.close()
        with suppress(*_failures()):
            self._manager.close()


def _no_lock_time() -> None:
    """Nothing here is ever locked by VXI-11: no request waits for a lock. Some instruments refuse, or never
    answer, one that would; pyvisa-py has 10 s, and no attribute for it.
    """
    with suppress(ImportError, AttributeError):
        from pyvisa_py.tcpip import TCPIPInstrVxi11

        TCPIPInstrVxi11.lock_timeout = 0


class _Closed:
    """Stands where a resource was."""

    def write(self, message: str) -> None:
        raise OSError("the session is closed")

    def read(self) -> str:
        raise OSError("the session is closed")

    def close(self) -> None:
        return


def _failures() -> tuple[type[Exception], ...]:
    import pyvisa

    return (pyvisa.errors.Error, OSError, UnicodeError)


def _why(error: Exception) -> str:
    """The first sentence of a backend's message, in our words where the code is a common one."""
    code = getattr(error, "error_code", None)
    if code is not None and getattr(code, "name", "") == "error_timeout":
        return "timeout"
    first, *more = (str(error).strip() or type(error).__name__).splitlines()
    return (f"{first} {more[0].strip()}" if first.endswith(":") and more else first).rstrip(".:")
