"""How a run and its inputs ended, as `run.json` says it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from railwright.records.codec import FLAG, NUMBER, TEXT, by_name, fields, optional


class Ended(StrEnum):
    """How a run ended. Only `completed` played the whole procedure; `expected trip` played it up to a trip
    that the procedure requires.
    """

    COMPLETED = "completed"
    EXPECTED_TRIP = "expected trip"
    TRIPPED = "tripped"
    NEVER_CAME = "condition never came"
    AT_ONCE = "condition at once"
    STOPPED = "stopped"
    INTERRUPTED = "interrupted"
    CHANGED = "changed"
    INSTRUMENT = "instrument"
    GUARD = "guard"
    FAULT = "fault"
    RECORD = "record"
    KILLED = "killed"


AS_REQUIRED = (Ended.COMPLETED, Ended.EXPECTED_TRIP)
"""Ends that the procedure asks for: nothing went wrong."""

NEVER_ENDED = "it never came to its end"
"""How a run ended that was killed, where its cause is told beside it."""

ENDED_TEXTS = {
    Ended.COMPLETED: "the whole procedure was played",
    Ended.EXPECTED_TRIP: "an output tripped, as the procedure requires",
    Ended.TRIPPED: "an output tripped",
    Ended.NEVER_CAME: "what ends a hold never came",
    Ended.AT_ONCE: "what ends a hold came at once, or as a lead opened",
    Ended.STOPPED: "it was stopped",
    Ended.INTERRUPTED: "it was interrupted",
    Ended.CHANGED: "somebody else changed a setting",
    Ended.GUARD: "the guard died or hung, and the run switched off by itself",
    Ended.FAULT: "a fault of the program",
    Ended.INSTRUMENT: "an instrument failed or was lost",
    Ended.RECORD: "the record could not be written",
    Ended.KILLED: f"{NEVER_ENDED}: killed, or the power failed",
}


@dataclass(frozen=True, slots=True)
class SwitchedOff:
    """How the outputs of one input ended.

    fell_after: from the switching-off to the first reading below `threshold` [s]; None: it never fell so far,
    or not by that, as it had fallen, or gone off by itself, before. residual: what stood there at the end [V]
    (None: no voltage was read after OFF; `before` [V] is the last one before it, None: none was read at all).
    verified: the output's state says off. confirmed: that, and current and voltage were read to be those of
    an output that is off. holds: the voltage [V] that the device keeps at the terminals by a source of its
    own. stays_on: why the output is left on, for people; empty where it is not.
    """

    input: str
    verified: bool
    threshold: float
    fell_after: float | None
    residual: float | None
    confirmed: bool = False
    holds: float | None = None
    stays_on: str = ""
    before: float | None = None


SWITCHED_OFF = by_name(
    fields(
        SwitchedOff,
        input=TEXT,
        verified=FLAG,
        threshold=NUMBER,
        fell_after=optional(NUMBER),
        residual=optional(NUMBER),
        before=optional(NUMBER),
        confirmed=FLAG,
        holds=optional(NUMBER),
        stays_on=TEXT,
    ),
    field="input",
)
"""How the outputs of each input ended, as `run.json` has it. An earlier version wrote some of it only: who
reads a run takes what is there.
"""
