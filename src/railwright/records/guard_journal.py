"""What the guard's own journal tells of the end of a run that was killed before it could tell itself."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from railwright.guard.input_end import MAINS
from railwright.guard.link import RUN_DIED
from railwright.quantities import show
from railwright.records.ended import SWITCHED_OFF
from railwright.records.ends import fell_after_off, open_question, switched_off_of
from railwright.records.log import LogLines
from railwright.traces import Event, EventKind

_EVENTS = {
    "off sent": EventKind.OFF_SENT,
    "confirmed off": EventKind.OFF_CONFIRMED,
    "came on again": EventKind.COMES_ON_AGAIN,
    "stays on": EventKind.STAYS_ON,
}
"""What the guard tells of an input, and the event that a run's own record has for it."""


@dataclass
class GuardJournal:
    """armed: it had a plan of what to switch off. begun, over: when it began to, and had come to its end, on
    the clock of run and guard [s]; None: it did not. why: it switched off. ends: what became of each input.
    closed: it ended in order, so that what is not told did not happen. said: (when, input, kind, text).
    """

    armed: bool = False
    begun: float | None = None
    over: float | None = None
    why: str = ""
    ends: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    closed: bool = False
    said: list[tuple[float, str, EventKind, str]] = field(default_factory=list)


def read_journal(path: Path) -> GuardJournal:
    """Read a guard's journal. Raises OSError where there is none; ValueError, KeyError or TypeError where it
    is no journal.
    """
    journal = GuardJournal()
    for line in LogLines(path):
        match line["kind"]:
            case "arm":
                journal.armed = bool(line.get("armed", True))
            case "off begun" if journal.begun is None:
                journal.begun, journal.why = float(line["time"]), str(line["why"])
            case "off" if line.get("what") in _EVENTS:
                detail = str(line.get("why") or "")
                told = (float(line["time"]), str(line["input"]), _EVENTS[line["what"]], detail)
                journal.said.append(told)
            case "off" if line.get("what") == "contact":
                kind = EventKind.CONTACT_RESTS if line["rests"] else EventKind.CONTACT_UNKNOWN
                detail = str(line["why"] or line["stands"])
                journal.said.append((float(line["time"]), str(line["contact"]), kind, detail))
            case "off over":
                journal.over, journal.ends = float(line["time"]), dict(line["ends"])
            case "over":
                journal.closed = True
    return journal


@dataclass(frozen=True)
class ToldByGuard:
    """The end of a run in the words of `run.json`, and the events that belong to it."""

    about: Mapping[str, Any]
    events: tuple[Event, ...]


def end_by_guard(
    journal: GuardJournal, zero: float | None, newest: Callable[[str], tuple[float, float] | None]
) -> ToldByGuard:
    """How a run that was killed ended, as far as its guard knows.

    zero: where the record's time begins on the guard's clock [s]; None: it is not known. newest: the last
    reading of an input: its time in the record [s] and voltage [V].
    """

    def at(instant: float) -> float:
        return instant - zero if zero is not None else math.nan

    def told(instant: float) -> str:
        return "" if zero is None else f" at {show(at(instant), 's')}"

    if not journal.armed:
        if not journal.closed:
            return ToldByGuard({}, ())
        words = "killed before anything was told to an output"
        return ToldByGuard({"cause": words, "energised": False, "off_confirmed": True}, ())
    events = (
        ()
        if zero is None
        else tuple(Event(at(when), name, kind, text=text) for when, name, kind, text in journal.said)
    )
    if journal.begun is None:
        open_ = f"neither the run nor its guard came to switch off; {MAINS}"
        return ToldByGuard({"off_confirmed": False, "not_confirmed": [open_]}, events)
    why = "" if journal.why == RUN_DIED else f" ({journal.why})"
    if journal.over is None:
        open_ = f"the guard began to switch off{told(journal.begun)} and did not come to its end; {MAINS}"
        cause = f"killed{why}; {open_}"
        return ToldByGuard({"cause": cause, "off_confirmed": False, "not_confirmed": [open_]}, events)
    lines = [
        line for name, end in journal.ends.items() if (line := open_question(name, "", end, at, newest(name)))
    ]
    confirmed = "did not confirm all outputs off" if lines else f"confirmed it{told(journal.over)}"
    read = {name: newest(name) for name in journal.ends}
    about = {
        "cause": f"killed{why}; the guard switched off{told(journal.begun)} and {confirmed}",
        "off_confirmed": not lines,
        "not_confirmed": lines,
        "switched_off": SWITCHED_OFF.write(
            {
                name: switched_off_of(name, end, read[name], fell_after_off(end, read[name]))
                for name, end in journal.ends.items()
            }
        ),
    }
    return ToldByGuard(about, events)
