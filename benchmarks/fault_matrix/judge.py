"""What a run must have done, whatever went wrong: judged by the twins' physics, not by what the run says."""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchmarks.fault_matrix.bench import OUTPUTS
from benchmarks.fault_matrix.cells import Cell
from benchmarks.fault_matrix.play import Played

from railwright.records.ended import Ended
from railwright.running.outcome import RunOutcome

HEALTHY = 0.3
"""A supply that does its work is off so soon after the decision [s]."""

DECIDED = 1.0
"""Every output that can be is off so soon after the decision, waiting for others included [s]."""

ONE_EXCHANGE = 1.1
"""How long an answer may be waited for [s]."""

RECORD = 1.0
"""The record may lack at most so much before the fault [s]."""

COMPLETED, CONFIRMED, NOT_CONFIRMED, FAULT = (
    "completed, off confirmed",
    "stopped, off confirmed",
    "off not confirmed",
    "no ending at all",
)
DIED = "died; the guard's ending"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The ending of a cell and what is wrong with it; '' where nothing is. off_after: from the fault to the
    last output off [s]; None: nothing was on after it, or it never was off.
    """

    cell: Cell
    ending: str
    wrong: str
    injected: bool
    off_after: float | None


def ending_of(played: Played) -> str:
    """One of the three endings, or none."""
    outcome = played.outcome
    if outcome is None:
        return FAULT if played.error != "died" else DIED
    if not outcome.off_confirmed:
        return NOT_CONFIRMED
    return COMPLETED if outcome.ended is Ended.COMPLETED else CONFIRMED


def judge(cell: Cell, played: Played) -> Verdict:
    """What became of one cell."""
    wrong = [text for text in _faults(cell, played) if text]
    ends = [end for each in OUTPUTS for end in [_last_end(played, each)] if end is not None]
    after = None
    if played.injected is not None and ends and all(math.isfinite(end) for end in ends):
        late = max(ends) - played.injected
        after = late if late > 0.0 else None
    return Verdict(cell, ending_of(played), "; ".join(wrong), played.injected is not None, after)


def _faults(cell: Cell, played: Played) -> list[str]:
    outcome = played.outcome
    if cell.of_run:
        return _after_death(cell, played)
    if outcome is None:
        return [f"it ended in {played.error}"]
    if played.injected is None:
        return ["the fault was never injected"] if cell.occurrence == "first" else []
    return [
        f"its folder cannot be read: {played.readable}" if played.readable else "",
        _said_off(played, outcome),
        _in_time(cell, played, outcome),
        _healthy(cell, played),
        _noticed(cell, played, outcome),
        _named(cell, played, outcome),
        _recorded(played),
    ]


def _after_death(cell: Cell, played: Played) -> list[str]:
    """The run is gone: the guard has switched off, and what was flushed can be read."""
    if played.injected is None:
        return []
    late = [
        f"{name} went off {end - played.injected:.3f} s after the run was gone"
        for name in OUTPUTS
        if (end := _last_end(played, name)) is not None
        and end - played.injected > cell.kind.within + played.delay
    ]
    unread = [f"its folder cannot be read: {played.readable}"] if played.readable else []
    return late + unread


def _last_end(played: Played, name: str) -> float | None:
    """When an input's output was last energised until; inf: it still is; None: it never was."""
    intervals = played.energised[name]
    if not intervals:
        return None
    return math.inf if intervals[-1][1] is None else intervals[-1][1]


def _said_off(played: Played, outcome: RunOutcome) -> str:
    """Off is said only of what is off."""
    told = " ".join(outcome.not_confirmed)
    for name, output in OUTPUTS.items():
        found_on = f"{output} is on" in outcome.cause
        if _last_end(played, name) == math.inf and f"{name} (" not in told and not found_on:
            return f"{name} is energised, and nothing says so"
    return ""


def _in_time(cell: Cell, played: Played, outcome: RunOutcome) -> str:
    """Every output that can be switched off is off in time."""
    assert played.injected is not None
    begun = played.off_begun if played.off_begun is not None else played.over
    for name, output in OUTPUTS.items():
        end = _last_end(played, name)
        mine = output.startswith(f"{cell.supply}.")
        if f"{output} is on" in outcome.cause:
            continue  # found on, and left alone
        if end is None or end <= played.injected or (mine and not cell.kind.controllable):
            continue
        within = cell.kind.within + played.delay
        if begun >= played.injected and cell.kind.notices and end - played.injected > within:
            return f"{name} went off {end - played.injected:.3f} s after the fault"
        if end - max(begun, played.injected) > DECIDED + (3.0 if mine else 0.0) + played.delay:
            return f"{name} went off {end - begun:.3f} s after the decision"
    return ""


def _healthy(cell: Cell, played: Played) -> str:
    """The other supply is not held up."""
    if played.off_begun is None:
        return ""
    for name, output in OUTPUTS.items():
        end = _last_end(played, name)
        if output.startswith(f"{cell.supply}.") or end is None or end <= played.off_begun:
            continue
        # Two of the inputs may wait for one of the faulty supply, each for a quarter of a second.
        if end - played.off_begun > HEALTHY + played.delay:
            return (
                f"{name}, on the healthy supply, went off {end - played.off_begun:.3f} s after the decision"
            )
    return ""


def _noticed(cell: Cell, played: Played, outcome: RunOutcome) -> str:
    """A fault that cannot be overlooked is not overlooked."""
    assert played.injected is not None
    # One exchange may still be waited for when the procedure is over.
    early = played.off_begun is None or played.injected < played.off_begun - ONE_EXCHANGE
    if cell.kind.notices and early and outcome.ended is Ended.COMPLETED:
        return "it was not noticed"
    return ""


def _named(cell: Cell, played: Played, outcome: RunOutcome) -> str:
    """The cause is one line that names the supply, or an input that it feeds."""
    if outcome.ended is Ended.COMPLETED:
        return ""
    mine = [name for name, output in OUTPUTS.items() if output.startswith(f"{cell.supply}.")]
    if "\n" in outcome.cause or not outcome.cause:
        return f"its cause is not one line: {outcome.cause!r}"
    if not any(word in outcome.cause for word in (cell.supply, *mine)):
        return f"its cause names another supply: {outcome.cause}"
    return ""


def _recorded(played: Played) -> str:
    """The record reaches at least to a second before the fault, or before the end of the procedure."""
    assert played.injected is not None
    if played.zero is None or not played.last_reading:
        return ""
    until = min(played.injected, played.off_begun or math.inf)
    newest = max(played.last_reading.values()) + played.zero
    if until > played.zero + 0.1 and newest < until - RECORD - played.delay:
        return f"the record ends {until - newest:.3f} s before the fault"
    return ""
