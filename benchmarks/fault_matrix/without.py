"""A program from which something is taken away, to see that the matrix finds it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from unittest.mock import patch

from railwright.guard.core import Guard
from railwright.guard.off import SwitchOff
from railwright.instruments.supply import SupplyDriver
from railwright.running.polling import Polling, Seen


@contextmanager
def take_away(what: str) -> Iterator[None]:
    """While this lasts: 'verification', no setting is compared and OFF is taken as done once it was sent;
    'guard', nobody switches off for a run that is gone.
    """
    with ExitStack() as stack:
        if what == "verification":
            stack.enter_context(patch.object(SupplyDriver, "same", lambda self, change, got: True))
            stack.enter_context(patch.object(Polling, "_settings", lambda self, name, turn, answer: Seen()))
            stack.enter_context(patch.object(SwitchOff, "_judge", lambda self, each, end: ""))
            stack.enter_context(patch.object(SwitchOff, "_has_come_on", lambda self, each: False))
            stack.enter_context(patch.object(SwitchOff, "_is_closed", lambda self, each: True))
        if what == "guard":
            stack.enter_context(patch.object(Guard, "switch_off", _only_for_a_living_run))
        yield


_SWITCH_OFF = Guard.switch_off


def _only_for_a_living_run(guard: Guard, why: str, *, orderly: bool = False) -> None:
    if "died" not in why and "sign of life" not in why:
        _SWITCH_OFF(guard, why, orderly=orderly)
