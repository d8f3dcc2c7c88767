"""Outputs that are switched on outside a run, under a guard: off at every ending, and said where they are
not.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from railwright.guard.input_end import MAINS
from railwright.guard.link import GuardLink
from railwright.guard.off_plan import OffPlan


class OffNotConfirmed(Exception):
    """Something ended early, and an output is not confirmed off; one line for people."""


@dataclass
class OffEnding:
    """How it ended. not_confirmed: what is not confirmed off, and why; '' where all is. Known at the end."""

    not_confirmed: str = ""


@contextmanager
def energised(link: GuardLink, plan: OffPlan) -> Iterator[OffEnding]:
    """Under it outputs of the plan may be on. However it ends they are switched off, and that is waited for;
    what ends it early is raised again when OFF was confirmed, else OffNotConfirmed.
    """
    link.arm(plan)
    ending = OffEnding()
    try:
        yield ending
    except BaseException as error:
        ending.not_confirmed = _switch_off(link, f"ended early: {error!r}")
        if ending.not_confirmed:
            told = f"OFF NOT CONFIRMED: {ending.not_confirmed}: {MAINS}; it ended early: {error or error!r}"
            raise OffNotConfirmed(told) from error
        raise
    ending.not_confirmed = _switch_off(link, "what was to be done is done")


def _switch_off(link: GuardLink, why: str) -> str:
    link.begin_off(why)
    ends = link.finish_off(lambda message: None)["ends"]
    return "; ".join(f"{name}: {end['why']}" for name, end in ends.items() if not end["confirmed"])
