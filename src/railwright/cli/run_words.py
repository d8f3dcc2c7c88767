"""How a run ended, in one line and as an exit code."""

from __future__ import annotations

from typing import TYPE_CHECKING

from railwright.cli.exits import Exit

if TYPE_CHECKING:
    from railwright.running.outcome import RunOutcome


def headline(outcome: RunOutcome) -> str:
    """How the run ended and whether its outputs are off, in one line; *off* only where it was confirmed."""
    from railwright.records.ended import ENDED_TEXTS, Ended

    why = outcome.cause or ENDED_TEXTS[outcome.ended]
    if not outcome.off_confirmed:
        played = "PLAYED TO ITS END" if outcome.ended is Ended.COMPLETED else "STOPPED"
        if outcome.ended is Ended.EXPECTED_TRIP:
            played = "ENDED BY THE REQUIRED TRIP"
        return f"{played}, OFF NOT CONFIRMED: {why}"
    if outcome.ended is Ended.COMPLETED:
        return "completed, off confirmed" + (f": {outcome.cause}" if outcome.cause else "")
    if outcome.ended is Ended.EXPECTED_TRIP:
        return f"ended by the required trip, off confirmed: {why}"
    return f"stopped, off confirmed: {why}" if outcome.energised else f"stopped: {why}"


def code_of_run(outcome: RunOutcome) -> Exit:
    """6 where an output could not be confirmed off, whatever else happened; else 0 when the run played to its
    end or to a trip that the procedure requires, 4 when an instrument failed, 70 for a fault in Railwright, 3
    when anything else ended it.
    """
    from railwright.records.ended import Ended

    if not outcome.off_confirmed:
        return Exit.OFF_NOT_CONFIRMED
    if outcome.as_required:
        return Exit.DONE
    codes = {Ended.INSTRUMENT: Exit.INSTRUMENT, Ended.FAULT: Exit.FAULT}
    return codes.get(outcome.ended, Exit.STOPPED)
