"""A multimeter at an input that was switched off: asked once the supply's own readings confirm that,
whether its voltage has gone there, too. OFF waits for none.
"""

from __future__ import annotations

import math

from railwright.guard.answers import in_si
from railwright.guard.off_plan import NO_NUMBER, InputOff, MeterOff
from railwright.guard.off_supply import HELPER_START
from railwright.guard.session import Session, SessionError


class MeterAsked:
    """One multimeter while its input, `at`, is switched off.

    shown: what it showed last [V], infinite beyond its range; None: nothing yet. since: for which
    confirmation that was, by the time of its last look [s]; settled: for which one it agreed, or had its
    time. failed: why it is asked no more; '' while it answers.
    """

    def __init__(self, document: MeterOff, at: InputOff, session: Session, deadline: float) -> None:
        self.document, self.at = document, at
        self.shown: float | None = None
        self.since = self.settled = -math.inf
        # One that was given up while the run went on is not tried anew.
        self.failed = session.broken
        self._session = session
        self._opens_within = HELPER_START if session.transport == "library" else deadline

    async def read(self, since: float) -> bool:
        """One reading that begins now; whether there is one. since: as of the class."""
        document, session = self.document, self._session
        try:
            async with session.lock:
                if not session.is_open:
                    await session.open(self._opens_within)
                    identity = (await session.ask(document.identify, document.deadline)).answer
                    if document.identity and identity != document.identity:
                        raise SessionError(f"another instrument answers there: {identity[:60]!r}")
                answer = (await session.ask(document.ask, document.deadline)).answer
            value = in_si(answer, "V", 1.0)
        except (SessionError, ValueError) as error:
            self.failed = str(error)
            return False
        self.shown, self.since = value if abs(value) < NO_NUMBER else math.inf, since
        return True

    def contradiction(self) -> str:
        """What it shows that speaks against off, beyond its uncertainty; '' for nothing."""
        if self.shown is None:
            return ""
        held = 0.0 if self.at.holds is None else self.at.holds[1]
        stands = abs(self.shown)
        surely = stands - (self.document.of_value * stands + self.document.offset)
        if math.isfinite(stands) and surely < held + self.at.below:
            return ""
        shows = f"{self.shown:.4g} V" if math.isfinite(stands) else "a voltage beyond its range"
        told = f"off was read at the supply, but the multimeter {self.document.name} shows"
        return f"{told} {shows} at {self.at.name}"
