"""The driver of a multimeter: identify it, tell it what to measure, verify that, take a reading.

It is spoken to in SCPI-1999's own tree (vol. 2: CONFigure, READ?, SENSe) and nothing else, so that it needs
no dialect. It never resets the instrument.
"""

from __future__ import annotations

import math

from railwright.documents.bench import Multimeter
from railwright.guard.session_settings import SessionSettings
from railwright.instruments.conversation import queued_errors
from railwright.instruments.errors import InstrumentError
from railwright.instruments.identified import IDENTIFY, NEXT_ERROR, identified
from railwright.instruments.session import TIMEOUT, Answer, InstrumentSession, OpenSession
from railwright.instruments.supply import Identity
from railwright.scpi.numbers import parse_response

READ = "READ?"

FUNCTIONS = {"voltage": "VOLTage:DC", "current": "CURRent:DC"}
"""What is measured -> its function (SCPI-1999 vol. 2, SENSe:FUNCtion; from memory)."""

SAME_TIME = 0.01
"""Part of an aperture by which the one that is set may differ from the one that was asked for."""

SLOWEST = 2.0
"""An answer is waited for as long as answers usually take, and so many apertures: it may measure its own zero
between two readings.
"""


class MultimeterDriver:
    """One multimeter over one session. Failures are InstrumentErrors."""

    def __init__(self, name: str, document: Multimeter, open_session: OpenSession) -> None:
        self.name, self.document = name, document
        self.identity: Identity | None = None
        self._open = open_session
        self._session: InstrumentSession | None = None

    @property
    def patience(self) -> float:
        """How long an answer may take [s]."""
        return TIMEOUT + SLOWEST * self.document.aperture

    def connect(self) -> None:
        """Open the session and ask who it is; refuse one that is not that of the bench document."""
        settings = self.document.carried(SessionSettings(patience=self.patience))
        self._session = self._open(self.name, self.document.address, IDENTIFY, settings)
        answer = self._session.identity or self._ask(IDENTIFY).text
        self.identity = identified(self.name, answer, self.document.model, self.document.serial)

    def configure(self) -> None:
        """Tell it what to measure, in which range and over which aperture, and ask all of it back."""
        document = self.document
        function, wanted = FUNCTIONS[document.quantity], document.measures.range
        sense = f"SENSe:{function}"
        self._errors()  # what stood there before is none of ours
        self._tell(f"CONFigure:{function} {wanted:.9g}")
        self._tell(f"{sense}:APERture {document.aperture:.9g}")
        if entries := self._errors():
            raise InstrumentError(self.name, f"CONFigure:{function}", "reports " + "; ".join(entries))
        asked = "SENSe:FUNCtion?"
        got = self._ask(asked).text.strip().strip("\"'").upper().removesuffix(":DC")
        if not got or not FUNCTIONS[document.quantity].upper().startswith(got) or len(got) < len("VOLT"):
            raise InstrumentError(self.name, asked, f"expected '{function}', got '{got}'")
        # An instrument takes the smallest of its ranges that holds what it was asked for.
        in_range = self._number(f"{sense}:RANGe?")
        if in_range < wanted * (1.0 - 1e-6):
            told = f"expected a range up to {wanted:g} at least, got {in_range:g}"
            raise InstrumentError(self.name, f"{sense}:RANGe?", told)
        aperture = self._number(f"{sense}:APERture?")
        if abs(aperture - document.aperture) > SAME_TIME * document.aperture:
            told = f"expected {document.aperture:g} s, got {aperture:g} s; write what it can do"
            raise InstrumentError(self.name, f"{sense}:APERture?", told)

    def read(self) -> float | None:
        """One reading [V, A]; None: beyond its range."""
        return self.understood(self._ask(READ).text)

    def understood(self, answer: str) -> float | None:
        """What an answer to `READ` says; None: beyond its range."""
        try:
            value = parse_response(answer)
        except ValueError:
            raise InstrumentError(self.name, READ, f"expected a number, got '{answer}'") from None
        return value if math.isfinite(value) else None

    def _number(self, query: str) -> float:
        answer = self._ask(query).text
        try:
            return parse_response(answer)
        except ValueError:
            raise InstrumentError(self.name, query, f"expected a number, got '{answer}'") from None

    def _errors(self) -> tuple[str, ...]:
        return queued_errors(self.name, NEXT_ERROR, self._ask)

    def _ask(self, message: str) -> Answer:
        assert self._session is not None
        return self._session.ask(message)

    def _tell(self, message: str) -> None:
        assert self._session is not None
        self._session.tell(message)
