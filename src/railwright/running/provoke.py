"""A dialect provoked at one output, with a guard that switches it off, and what that proves."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from railwright.dialects.dialect import Dialect
from railwright.dialects.operation import Setting
from railwright.dialects.proofs import Proof, entries_of
from railwright.documents.bench import Output, OverCurrent, OverPower, OverVoltage, Supply
from railwright.guard.link import GuardLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.off_entries import plan_of_outputs
from railwright.instruments.provoking import Connected, Provocation, Provoking
from railwright.instruments.supply import SupplyDriver
from railwright.quantities import Interval
from railwright.running.energised import energised

REACH = 30.0
"""Full scale that an output is taken to have, in parts of what is provoked: nothing more is known of it."""

ITS_OUTPUT = "1"
"""What the output is called that is tried, of a supply that no bench describes."""

BESIDE = "2"
"""What another output of it is called, whose trip is to take that one along."""


@dataclass(frozen=True)
class Provocations:
    """What came of it. not_confirmed: why the output is not confirmed off, '' where it is."""

    seen: tuple[Provocation, ...]
    not_confirmed: str


# Many: what is known of such a supply.
def bare_supply(
    dialect: Dialect, address: str, channel: int, voltage: float, current: float, beside: int | None = None
) -> Supply:
    """A supply of which nothing is known but its dialect, as a bench document would have it: with every
    protection that the dialect can set, and any slew. beside: the channel of another output of it.
    """
    volts = Interval(dialect.settings["voltage"].least, REACH * voltage)
    amperes = Interval(dialect.settings["current_limit"].least, REACH * current)
    can = dialect.can_set
    output = Output.model_construct(
        channel=channel,
        voltage=volts,
        current=amperes,
        ovp=OverVoltage.model_construct(level=volts) if can("ovp") else None,
        opp=OverPower.model_construct(level=Interval(0.0, volts.high * amperes.high)) if can("opp") else None,
        ocp=OverCurrent.model_construct(level=amperes) if can("ocp") else None,
        trip_delay=Interval(0.0, 1.0) if can("trip_at_limit") else None,
        slew=Interval(0.0, math.inf) if can("slew_rising") else None,
    )
    outputs = {ITS_OUTPUT: output}
    if beside is not None:
        outputs[BESIDE] = output.model_copy(update={"channel": beside})
    return Supply.model_construct(address=address, dialect=dialect, outputs=outputs)


# Many: what is provoked, where, and with what connected.
def provoke(
    link: GuardLink,
    supply: SupplyDriver,
    output: str,
    connected: Connected,
    *,
    voltage: float,
    current: float,
    tell: Callable[[Provocation], None] = lambda seen: None,
    restores: Collection[Setting] = (),
    beside: str = "",
    say: Callable[[str], None] = lambda line: None,
) -> Provocations:
    """Provoke what can be at an output of a supply that was identified. It is off at every ending; raises
    what ends it early, such as InstrumentError, when that is confirmed, else OffNotConfirmed. restores:
    settings that the supply tells, and that are left as they were found. beside: another output of the
    supply, with nothing connected either, that is switched on, too: its trip is to take this one along.
    say: as of `energised`.
    """
    seen: list[Provocation] = []
    if supply.has_master and not supply.master():
        # Nobody knows here which other outputs it has, and what hangs on them.
        told = "its master switch is off; make sure that its other outputs are off, then switch the master on"
        raise InstrumentError(supply.name, supply.dialect.master_queries[0], told)
    plan = plan_of_outputs({supply: (output, beside) if beside else (output,)}, masters=False)
    with energised(link, plan, say) as ending:
        work = Provoking(supply, output, voltage, current, link.sleep, link.now, restores, beside)
        try:
            for each in work.go(connected):
                seen.append(each)
                tell(each)
        finally:
            ending.seen_on = f"{supply.name}.{output}: {work.not_off}" if work.not_off else ""
    return Provocations(tuple(seen), ending.not_confirmed)


def proofs_of(
    seen: Sequence[Provocation], supply: SupplyDriver, output: str, *, by: str, how: str, at: dt.datetime
) -> list[Proof]:
    """What that proves; nothing at a simulated supply, which proves nothing of a real one."""
    identity, dialect, channel = supply.identity, supply.dialect, supply.channel(output)
    assert identity is not None, "provoked after it was identified"
    if identity.simulated:
        return []
    return [
        Proof(
            identity.instrument,
            channel,
            each.provoked,
            entries_of(dialect, each.provoked, channel),
            dialect.name,
            dialect.digest,
            at.isoformat(timespec="seconds"),
            by,
            how,
            each.seen,
        )
        for each in seen
        if each.proved
    ]
