"""Contacts of relays brought to rest, once the outputs are off: none is moved that may carry a current, or
stand between two voltages, unless it is rated for that. Those that drive pins carry no load, and go there at
once.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping

from railwright.guard.input_end import InputEnd
from railwright.guard.off_plan import ContactOff, RelaysOff
from railwright.guard.off_supply import HELPER_START, Tell
from railwright.guard.session import Session, SessionError

TRIES = 3
"""How often an instrument is told before its contacts are left as they are."""

PAUSE = 0.1
"""Time for a contact to move before it is asked how it stands, and between two tries [s]."""


async def rest(
    relays: RelaysOff, session: Session, deadline: float, loaded: Callable[[ContactOff], str], tell: Tell
) -> None:
    """Bring each contact of an instrument to rest, and tell of each whether it was read to be so.

    loaded: why a contact may not be moved now, '' where it may; asked right before it is. deadline: of an
    exchange [s].
    """
    left = {each.name: "no session is open" for each in relays.contacts}
    for number in range(TRIES):
        if number:
            await asyncio.sleep(PAUSE)
        try:
            async with session.lock:
                for each in (own for own in relays.contacts if own.name in left):
                    if why := loaded(each):
                        left[each.name] = f"not moved: {why}"
                        continue
                    await _reach(relays, session, deadline)
                    left[each.name] = await _move(each, session, deadline)
                    if not left[each.name]:
                        tell_contact(each, "", tell)
                        del left[each.name]
        except SessionError as error:
            left = {name: told if told.startswith("not moved") else str(error) for name, told in left.items()}
        if not left:
            return
    for each in relays.contacts:
        if each.name in left:
            tell_contact(each, f"{left[each.name]}; how it stands is unknown", tell)


def loaded(each: ContactOff, ends: Mapping[str, InputEnd]) -> str:
    """Why a contact may not be moved, by how its inputs ended; '' where it may."""
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


async def _move(each: ContactOff, session: Session, deadline: float) -> str:
    """One contact, which is asked how it stands before and after; why it does not rest, '' where it does."""
    answer = (await session.ask(each.query, deadline)).answer
    if answer.strip().upper() in each.resting:
        return ""
    await session.tell(each.rest, deadline)
    await asyncio.sleep(PAUSE)
    answer = (await session.ask(each.query, deadline)).answer
    if answer.strip().upper() in each.resting:
        return ""
    return f"it was told to be {each.stands}, and answers {answer[:40]!r}"


def tell_contact(each: ContactOff, why: str, tell: Tell) -> None:
    """Tell of a contact that it rests, or why it is not known to."""
    now = asyncio.get_running_loop().time()
    inputs = list(each.inputs)
    told = {"contact": each.name, "pin": each.pin, "inputs": inputs, "stands": each.stands, "rests": not why}
    tell("contact", {**told, "why": why, "time": now})
