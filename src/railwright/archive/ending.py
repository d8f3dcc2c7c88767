"""How a stored run ended, from what its folder says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from railwright.evaluation.ending import Ending
from railwright.records.ended import ENDED_TEXTS, Ended
from railwright.records.ends import last_told
from railwright.records.stored import RunData

_KILLED = "the run was killed before it recorded how its outputs went off"


def ending_of(data: RunData) -> Ending:
    """How a run ended. What an earlier version did not record is taken from what it did."""
    about = data.about
    confirmed, lines = _off(about)
    return Ending(
        completed=data.ended is Ended.COMPLETED,
        expected_trip=data.ended is Ended.EXPECTED_TRIP,
        cause=_cause(data),
        at=max((span.end for span in data.record.spans), default=None),
        energised=bool(about.get("energised", True)),
        off_confirmed=confirmed,
        not_confirmed=lines,
    )


def _cause(data: RunData) -> str:
    """Why a run did not play the whole procedure; empty where it did."""
    text, cause = ENDED_TEXTS[data.ended], str(data.about.get("cause") or "")
    match data.ended:
        case Ended.COMPLETED:
            return ""
        case Ended.KILLED:
            return cause or "killed, or the power failed"
        case Ended.STOPPED:
            return f"stopped: {cause}" if cause else text
        case Ended.INSTRUMENT if cause:
            return f"an instrument failed: {cause}"
        case _:
            return cause or text


def _off(about: Mapping[str, Any]) -> tuple[bool | None, tuple[str, ...]]:
    """Whether the outputs were confirmed off, and a line for each that was not."""
    lines = tuple(str(line) for line in about.get("not_confirmed") or ())
    inputs = about.get("switched_off") or {}
    doubtful = {name: off for name, off in inputs.items() if _doubtful(off)}
    if doubtful or about.get("off_confirmed") is False:
        return False, lines or tuple(f"{name}{last_told(off, ': ')}" for name, off in doubtful.items())
    if about.get("off_confirmed"):
        return True, ()
    return (False, (_KILLED,)) if about.get("ended") is None else (None, ())


def _doubtful(off: Mapping[str, Any]) -> bool:
    """Whether an input had to go off, and was not read to be off; an earlier version only says `verified`."""
    confirmed = off.get("confirmed")
    return not off.get("stays_on") and not (off.get("verified") if confirmed is None else confirmed)
