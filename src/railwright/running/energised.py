"""Outputs that are switched on outside a run, under a guard: off at every ending, and said where they are
not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import Any

from railwright.guard.input_end import MAINS
from railwright.guard.link import GuardLink, Message
from railwright.guard.off_plan import OffPlan
from railwright.running.interruption import StopRequest, signals_ask


class OffNotConfirmed(Exception):
    """Something ended early, and an output is not confirmed off; one line for people."""


@dataclass
class OffEnding:
    """How it ended. seen_on: what showed, before, that OFF did not work: whoever saw it says so, and what is
    read afterwards, at other set points, takes nothing of it back. not_confirmed: what is not confirmed off,
    and why; '' where all is. Known at the end.
    """

    seen_on: str = ""
    not_confirmed: str = ""


@contextmanager
def energised(
    link: GuardLink, plan: OffPlan, say: Callable[[str], None] = lambda line: None
) -> Iterator[OffEnding]:
    """Under it outputs of the plan may be on. However it ends they are switched off, and that is waited for;
    what ends it early is raised again when OFF was confirmed, else OffNotConfirmed. say: told, in lines for
    people, of what is waited for, and after an early ending of what is confirmed off.

    Signals end it as they end a run: the first breaks what is under way (KeyboardInterrupt), and one that
    comes while it is waited for OFF ends the waiting.
    """
    ending = OffEnding()

    def interrupt() -> None:
        if stop.reason is not None:
            raise KeyboardInterrupt(stop.reason)

    with closing(StopRequest()) as stop, signals_ask(stop):
        link.arm(plan)
        link.interrupted, link.watched = interrupt, (stop.wait_fd,)
        try:
            yield ending
        except BaseException as error:
            _switch_off(link, f"ended early: {error!r}", ending, stop, say, early=True)
            if ending.not_confirmed:
                told = f"OFF NOT CONFIRMED: {ending.not_confirmed}: {MAINS}; "
                raise OffNotConfirmed(f"{told}it ended early: {error or repr(error)}") from error
            raise
        _switch_off(link, "what was to be done is done", ending, stop, say)
        if stop.reason is not None and not ending.not_confirmed:
            raise KeyboardInterrupt(stop.reason)


# Many: what is switched off, and how that is told.
def _switch_off(
    link: GuardLink,
    why: str,
    ending: OffEnding,
    stop: StopRequest,
    say: Callable[[str], None],
    *,
    early: bool = False,
) -> None:
    """Nothing raises here: `ending` says how it went. early: what is confirmed off is told."""
    link.interrupted = lambda: None
    before, lost = stop.count, set[str]()

    def urgent() -> bool:
        stop.drain()
        return stop.count > before

    def tell(message: Message) -> None:
        if message.get("what") == "lost" and (name := str(message["name"])) not in lost:
            lost.add(name)
            told = f"{name} is lost ({message['why']}): OFF is sent until it is read to be off; "
            say(f"{told}Ctrl-C waits no longer. {MAINS[0].upper()}{MAINS[1:]}")
        elif message.get("what") == "came on again":
            told = f"{message['input']} came on again after it was confirmed off ({message['why']})"
            say(f"{told}: OFF is sent again")

    link.begin_off(why, tell=tell, urgent=urgent)
    over = link.finish_off(tell, urgent=urgent)
    link.watched = ()
    ends: dict[str, dict[str, Any]] = over["ends"]
    left = [
        f"{name}: {end['why'] or 'waited for no longer'}"
        for name, end in ends.items()
        if not end["confirmed"]
    ]
    left += [f"OFF was seen not to work: {ending.seen_on}"] if ending.seen_on else []
    ending.not_confirmed = "; ".join(left)
    if early and not ending.seen_on:
        for name, end in ends.items():
            if end["confirmed"]:
                say(f"{name}: off confirmed, {round(end['voltage'], 2) + 0.0:.2f} V")
