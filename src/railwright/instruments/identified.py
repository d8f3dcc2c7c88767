"""What all instruments beside the supplies have in common: they are spoken to in SCPI-1999's own tree, and
say who they are, which is held against the bench document.
"""

from __future__ import annotations

from railwright.documents.bench import Multimeter
from railwright.documents.relays import Relays
from railwright.guard.session_settings import USUAL, SessionSettings
from railwright.instruments.conversation import entry_told, queued_errors
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer, InstrumentSession, OpenSession
from railwright.instruments.supply import Identity
from railwright.printable import printable

IDENTIFY, NEXT_ERROR = "*IDN?", "SYSTem:ERRor?"


def identified(name: str, answer: str, model: str | None, serial: str | None) -> Identity:
    """What an answer to `*IDN?` says. InstrumentError where it has not four fields, or another model or
    serial number than the bench document (None: it gives none).
    """
    parts = [printable(each.strip(), one_line=True) for each in answer.split(",")]
    if len(parts) != 4:
        told = f"expected four fields, got '{answer}': an unknown instrument"
        raise InstrumentError(name, IDENTIFY, told)
    identity = Identity(parts[0], parts[1], parts[2], parts[3], answer)
    identity.expect(name, IDENTIFY, model, serial)
    return identity


class PlainDriver:
    """One instrument that needs no dialect, over one session. Failures are InstrumentErrors."""

    def __init__(self, name: str, document: Multimeter | Relays, open_session: OpenSession) -> None:
        self.name, self.document = name, document
        self.identity: Identity | None = None
        self._open = open_session
        self._session: InstrumentSession | None = None

    @property
    def spoken(self) -> SessionSettings:
        """How a session with it is spoken."""
        return USUAL

    def connect(self) -> None:
        """Open the session and ask who it is; refuse one that is not that of the bench document."""
        document = self.document
        self._session = self._open(self.name, document.address, IDENTIFY, document.carried(self.spoken))
        answer = self._session.identity or self._ask(IDENTIFY).text
        self.identity = identified(self.name, answer, document.model, document.serial)

    def _check(self, command: str) -> None:
        """Raise the oldest error that its queue holds, as the doing of `command`. What follows it is not read
        now: whoever hears of it may have outputs to switch off.
        """
        try:
            told = entry_told(self._ask(NEXT_ERROR).text)
        except ValueError as error:
            raise InstrumentError(self.name, NEXT_ERROR, str(error)) from None
        if told:
            raise InstrumentError(self.name, command, f"reports {told}")

    def _errors(self) -> tuple[str, ...]:
        return queued_errors(self.name, NEXT_ERROR, self._ask)

    def _ask(self, message: str) -> Answer:
        return self._ready().ask(message)

    def _ready(self) -> InstrumentSession:
        if self._session is None:
            raise InstrumentError(self.name, "", "no session is open", lost=True)
        return self._session
