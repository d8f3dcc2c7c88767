"""What became of each input while it was switched off, in words and as data, from what the guard tells."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from railwright.guard.input_end import MAINS
from railwright.quantities import show
from railwright.records.ended import SwitchedOff


def switched_off_of(
    name: str,
    end: Mapping[str, Any],
    newest: tuple[float, float] | None,
    fell_after: float | None = None,
) -> SwitchedOff:
    """How the outputs of an input ended.

    end: as `InputEnd` has it. newest: as in `open_question`. fell_after: as `SwitchedOff` has it.
    """
    voltage, before = end["voltage"], None if newest is None else newest[1]
    if voltage is None and end["off_sent"] is None:
        voltage, before = before, None
    return SwitchedOff(
        name,
        end["off_read"] is not None,
        end["below"],
        fell_after if end["confirmed"] and end["holds"] is None else None,
        None if voltage is None else abs(voltage),
        end["confirmed"],
        end["holds"],
        end["stays_on"],
        before,
    )


def fell_after_off(end: Mapping[str, Any], newest: tuple[float, float] | None) -> float | None:
    """From OFF to the first look below what counts as off [s], where the record does not know it; None: it
    did not fall, or had before OFF. newest: as in `open_question`.
    """
    if end["fell"] is None or end["off_sent"] is None or (newest and abs(newest[1]) < end["below"]):
        return None
    return max(0.0, float(end["fell"] - end["off_sent"]))


def last_told(off: Mapping[str, Any], lead: str) -> str:
    """The same of what `run.json` says of an input, after `lead`; empty where nothing was read of it."""
    residual, before = off.get("residual"), off.get("before")
    return "" if residual is None and before is None else f"{lead}{last_read(residual, before)}"


def last_read(residual: float | None, before: float | None) -> str:
    """The last voltage that was read of an input [V], in words. before: the last one before OFF."""
    if residual is not None:
        return f"last read at {show(residual, 'V')}"
    if before is not None:
        return f"last read at {show(before, 'V')}, before OFF"
    return "no voltage was read"


def open_question(
    name: str,
    outputs: str,
    end: Mapping[str, Any],
    at: Callable[[float], float],
    newest: tuple[float, float] | None,
) -> str:
    """What is not confirmed about an input, in one line: which outputs, since when, the last voltage, what to
    do. Empty where nothing is open.

    at: time of the record of an instant of the guard's clock [s], nan where it is not known. newest: the last
    reading before OFF: its time in the record [s] and voltage [V].
    """
    if end["confirmed"] or end["stays_on"]:
        return ""
    sent = end["off_sent"]
    whole = " to all of them" if ", " in outputs else ""
    since = f"OFF was not sent{whole}" if sent is None else f"OFF was sent{_when(at(sent))}"
    last = "no voltage was read"
    if end["voltage"] is not None:
        last = f"last read {show(end['voltage'], 'V')}{_when(at(end['read_at']))}"
    elif newest is not None:
        before = ", before OFF" if sent is not None else ""
        last = f"last read {show(newest[1], 'V')} at {show(newest[0], 's')}{before}"
    which = f"{name} ({outputs})" if outputs else name
    return f"{which}: {end['why'] or 'waited for no longer'}; {since}; {last}; {MAINS}"


def _when(time: float) -> str:
    return "" if math.isnan(time) else f" at {show(time, 's')}"
