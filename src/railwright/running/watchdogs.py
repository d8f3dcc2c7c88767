"""Communication watchdogs of a run that is left alone: which supplies, after how long, armed last of all.

The guard switches each off again when the supply's outputs are confirmed off: see `guard.off`.
"""

from __future__ import annotations

from collections.abc import Mapping

from railwright.documents.procedure import Procedure
from railwright.instruments import watchdog
from railwright.instruments.errors import InstrumentError
from railwright.instruments.supply import Supply
from railwright.quantities import show
from railwright.running.recorder import Recorder
from railwright.running.rig import Rig
from railwright.traces import EventKind, Facts

SILENCES = 3.0
"""A watchdog waits at least so many times the longest silence of the run."""

TAKE_OVER = 1.0
"""So long nothing is sent where a guard that hangs is noticed and gone round [s]."""


def watched(rig: Rig, procedure: Procedure) -> tuple[str, ...]:
    """The supplies whose watchdogs this run uses: those that have one, where nobody is to be there."""
    if procedure.attended:
        return ()
    return tuple(name for name, supply in rig.supplies.items() if watchdog.has_watchdog(supply))


def arm_watchdogs(rig: Rig, procedure: Procedure, recorder: Recorder, interval: float) -> None:
    """Set and switch on the watchdogs that this run uses, and ask them back; nothing is on yet.

    interval: at which each supply is spoken to [s]. Raises InstrumentError, also for a supply whose watchdog
    cannot wait long enough.
    """
    turns = _turns(rig, procedure)
    for name in watched(rig, procedure):
        supply = rig.supplies[name]
        recorder.progress.preparing(f"watchdog of {name}")
        exchange = watchdog.ask(supply)
        silence = max(interval, 2.0 * (exchange.received - exchange.sent))
        time = _time(supply, silence, turns[name])
        watchdog.arm(supply, time)
        recorder.event(EventKind.WATCHDOG_ARMED, name, facts=Facts(after=time, period=silence))


def _time(supply: Supply, silence: float, turn: int) -> float:
    """Time to set [s]: what is held on for others acts later than they do, as far as it can be set."""
    document = supply.document.watchdog
    assert document is not None
    low, high = document.times.low, document.times.high
    least = SILENCES * silence
    if high < least:
        raise InstrumentError(
            supply.name,
            "",
            f"its watchdog waits for {show(high, 's')} at most, and the run may be silent for "
            f"{show(silence, 's')}: three times that is needed. Read it more often, or use an interlock",
        )
    return min(max(max(least, SILENCES * TAKE_OVER) * (1 + turn), low), high)


def _turns(rig: Rig, procedure: Procedure) -> Mapping[str, int]:
    """Supply -> how many others, one after the other, have to be off before it."""
    before = {name: limits.off_after for name, limits in procedure.limits.items()}

    def depth(name: str, seen: tuple[str, ...] = ()) -> int:
        others = [other for other in before.get(name, ()) if other not in seen]
        return max((1 + depth(other, (*seen, name)) for other in others), default=0)

    return {supply: max(depth(name) for name in rig.inputs_of(supply)) for supply in rig.supplies}
