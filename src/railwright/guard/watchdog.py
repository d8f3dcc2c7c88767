"""A supply's communication watchdog, switched off when its outputs are."""

from __future__ import annotations

import asyncio

from railwright.guard.off_plan import SupplyOff
from railwright.guard.session import Session, SessionError

TRIES = 5
"""How often a watchdog is told to go off before it is left on."""

PAUSE = 0.1
"""Time between two tries [s]."""


async def end_watchdog(document: SupplyOff, session: Session, deadline: float) -> str:
    """Switch it off, and read that it is; '' where it is, else why not. deadline: of one exchange [s]."""
    why, answer = "", ""
    for _ in range(TRIES):
        try:
            async with session.lock:
                for message in document.watchdog:
                    answer = (await session.say(message, deadline)).answer
        except SessionError as error:
            why = str(error)
        else:
            if answer.strip().upper() in document.watchdog_off:
                return ""
            why = f"its state reads {answer[:40]!r}"
        await asyncio.sleep(PAUSE)
    return why
