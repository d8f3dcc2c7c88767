"""The driver of a multimeter: identify it, tell it what to measure, verify that, take a reading.

It is spoken to in SCPI-1999's own tree (vol. 2: CONFigure, READ?, SENSe) and nothing else, so that it needs
no dialect. It never resets the instrument.
"""

from __future__ import annotations

import math

from railwright.documents.bench import Multimeter
from railwright.guard.session_settings import SessionSettings
from railwright.instruments.errors import InstrumentError
from railwright.instruments.identified import PlainDriver
from railwright.instruments.session import TIMEOUT
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


class MultimeterDriver(PlainDriver):
    """One multimeter over one session. Failures are InstrumentErrors."""

    document: Multimeter

    @property
    def patience(self) -> float:
        """How long an answer may take [s]."""
        return TIMEOUT + SLOWEST * self.document.aperture

    @property
    def spoken(self) -> SessionSettings:
        return SessionSettings(patience=self.patience)

    def configure(self) -> None:
        """Tell it what to measure, in which range and over which aperture, and ask all of it back."""
        document = self.document
        function, wanted = FUNCTIONS[document.quantity], document.measures.range
        sense = f"SENSe:{function}"
        self._errors()  # what stood there before is none of ours
        self._ready().tell(f"CONFigure:{function} {wanted:.9g}")
        self._ready().tell(f"{sense}:APERture {document.aperture:.9g}")
        self._check(f"CONFigure:{function}")
        asked = "SENSe:FUNCtion?"
        got = self._ask(asked).text.strip().strip("\"'").upper().removesuffix(":DC")
        if not got or not FUNCTIONS[document.quantity].upper().startswith(got) or len(got) < len("VOLT"):
            raise InstrumentError(self.name, asked, f"expected '{function}', got '{got}'")
        # An instrument takes the smallest of its ranges that holds what it was asked for.
        asked = f"{sense}:RANGe?"
        in_range = self._number(asked, self._ask(asked).text)
        if in_range < wanted * (1.0 - 1e-6):
            told = f"expected a range up to {wanted:g} at least, got {in_range:g}"
            raise InstrumentError(self.name, asked, told)
        asked = f"{sense}:APERture?"
        aperture = self._number(asked, self._ask(asked).text)
        if abs(aperture - document.aperture) > SAME_TIME * document.aperture:
            told = f"expected {document.aperture:g} s, got {aperture:g} s; write what it can do"
            raise InstrumentError(self.name, asked, told)

    def read(self) -> float | None:
        """One reading [V, A]; None: beyond its range."""
        return self.understood(self._ask(READ).text)

    def understood(self, answer: str) -> float | None:
        """What an answer to `READ` says; None: beyond its range."""
        value = self._number(READ, answer)
        return value if math.isfinite(value) else None

    def _number(self, query: str, answer: str) -> float:
        try:
            return parse_response(answer)
        except ValueError:
            raise InstrumentError(self.name, query, f"expected a number, got '{answer}'") from None
