"""Contacts of relays brought to rest, once the outputs are off: none is moved that may carry a current, or
stand between two voltages, unless it is rated for that.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping

from railwright.guard.input_end import InputEnd
from railwright.guard.off_plan import ContactOff, OffPlan, RelaysOff
from railwright.guard.off_supply import HELPER_START, Tell
from railwright.guard.session import Session, SessionError

TRIES = 3
"""How often an instrument is told before its contacts are left as they are."""

PAUSE = 0.1
"""Time for a contact to move before it is asked how it stands, and between two tries [s]."""


async def rest(
    relays: RelaysOff, session: Session, plan: OffPlan, ends: Mapping[str, InputEnd], tell: Tell
) -> None:
    """Bring each contact of an instrument to rest, and tell of each whether it was read to be so."""
    left = {each.name: _loaded(each, ends) for each in relays.contacts}
    for each in relays.contacts:
        if left[each.name]:
            told_of(each, f"not moved: {left[each.name]}; how it stands is unknown", tell)
    free = [each for each in relays.contacts if not left[each.name]]
    why = "no session is open"
    for number in range(TRIES if free else 0):
        if number:
            await asyncio.sleep(PAUSE)
        try:
            async with session.lock:
                await _reach(relays, session, plan.deadline)
                for each in tuple(free):
                    await _move(each, session, plan.deadline)
                    told_of(each, "", tell)
                    free.remove(each)
            return
        except SessionError as error:
            why = str(error)
        except _NotMoved as error:
            why = str(error)
    for each in free:
        told_of(each, f"{why}; how it stands is unknown", tell)


class _NotMoved(Exception):
    """A contact does not stand as it was told to."""


def _loaded(each: ContactOff, ends: Mapping[str, InputEnd]) -> str:
    """Why a contact may not be moved; '' where it may."""
    if each.under_load:
        return ""
    for name in each.inputs:
        end = ends.get(name)
        if end is not None and end.kept_on:
            return f"{name} stays on"
        if end is None or not end.confirmed:
            return f"{name} is not confirmed off"
        if end.holds is not None and each.stands == "closed":
            return f"the device holds {end.holds:.3g} V at {name}"
    return ""


async def _reach(relays: RelaysOff, session: Session, deadline: float) -> None:
    """A session with the same instrument as before."""
    if session.is_open and not session.broken:
        return
    await session.open(HELPER_START if session.transport == "library" else deadline)
    session.void()
    await session.settle()
    identity = (await session.ask(relays.identify, deadline)).answer
    if relays.identity and identity != relays.identity:
        session.close()
        session.broken = f"another instrument answers there: {identity[:60]!r}"
        raise SessionError(session.broken)


async def _move(each: ContactOff, session: Session, deadline: float) -> None:
    """One contact, which is asked how it stands before and after."""
    answer = (await session.ask(each.query, deadline)).answer
    if answer.strip().upper() in each.resting:
        return
    await session.tell(each.rest, deadline)
    await asyncio.sleep(PAUSE)
    answer = (await session.ask(each.query, deadline)).answer
    if answer.strip().upper() not in each.resting:
        raise _NotMoved(f"it was told to be {each.stands}, and answers {answer[:40]!r}")


def told_of(each: ContactOff, why: str, tell: Tell) -> None:
    """Tell of a contact that it rests, or why it is not known to."""
    now = asyncio.get_running_loop().time()
    inputs = list(each.inputs)
    told = {"contact": each.name, "inputs": inputs, "stands": each.stands, "rests": not why}
    tell("contact", {**told, "why": why, "time": now})
