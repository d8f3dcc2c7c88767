"""Rules about how a run ends: what goes off after what, what ramps down first, what stays on, and what
switches off when nobody is there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from railwright.documents.figures import rated_slew
from railwright.grouping import grouped
from railwright.guard.off_level import DECAY, STEADY
from railwright.plan.off_order import off_threshold
from railwright.plan.timeline import Action
from railwright.quantities import Statement, round_up, show, state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule, with_seen
from railwright.settings.rules.energy import FALLEN, confirmed_off_in, slowest
from railwright.settings.rules.judge import inputs
from railwright.settings.rules.voltage import TOUCH_LIMIT

DANGEROUS = TOUCH_LIMIT["dry"]
"""Voltage above which nothing is left on, and nothing runs alone, unless an override says why [V]."""


def _following(context: Context) -> Iterator[tuple[FedInput, int, FedInput]]:
    """Every input with each that has to be confirmed off before it goes off, by its place in the list."""
    return (
        (source, position, context.sources[name])
        for source in context.sources.values()
        for position, name in enumerate(source.limits.off_after)
        if name in context.sources
    )


def _switched(context: Context) -> Iterator[tuple[Action, frozenset[str]]]:
    """Every switching on and off in order of time, with the inputs that are on just after it."""
    after = zip(context.timeline.actions, context.on[1:], strict=True)
    return ((action, on) for action, on in after if action.kind != "line")


def _place(context: Context, action: Action) -> tuple[str, Path]:
    """Name of the step that switches, and where it is written."""
    span = context.timeline.spans[action.step]
    return span.name, ("procedure", *(action.path or ("steps", action.step, span.kind, "order")))


@rule("off-after-order", Severity.STOP)
def off_after_order(context: Context) -> Outcome:
    """A step switches an input off while another is on that has to be confirmed off before it."""
    found = grouped(
        ((action.step, action.input, other), action)
        for action, on in _switched(context)
        if action.kind == "off" and action.input in context.sources
        for other in context.sources[action.input].limits.off_after
        if other in on
    )
    for (_, name, other), (first, *_) in found.items():
        step, path = _place(context, first)
        yield Hit(
            name,
            path,
            state(
                "'{step}' switches {input} off while {other} is on; by its 'off_after' it stays on "
                "until {other} is confirmed off",
                step=step,
                input=name,
                other=other,
            ),
            f"switch {other} off before {name}, or take {other} out of 'off_after'",
        )


@rule("off-after-up", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(_switched))
def off_after_up(context: Context, action: Action, on: frozenset[str]) -> Outcome:
    """An input comes up before another that has to stay on as long as it is on."""
    for name, source in context.sources.items():
        if action.kind == "on" and action.input in source.limits.off_after and name not in on:
            step, path = _place(context, action)
            yield Hit(
                name,
                path,
                state(
                    "'{step}' switches {other} on while {input} is off; by its 'off_after' {input} stays "
                    "on as long as {other} is",
                    step=step,
                    other=action.input,
                    input=name,
                ),
                f"switch {name} on first, and write it into the device's 'order'",
            )


def _gaps(context: Context) -> dict[tuple[str, str], tuple[float, Action]]:
    """(input, another that has to be confirmed off before it) -> the shortest time for which that one is off
    as the input is to go off [s], and what switches the input off.
    """
    found: dict[tuple[str, str], tuple[float, Action]] = {}
    went: dict[str, float] = {}
    for action, on in _switched(context):
        source = context.sources.get(action.input)
        if action.kind == "off" and source is not None:
            went[action.input] = action.time
            for other in source.limits.off_after:
                key = action.input, other
                if other in went and other not in on:
                    gap = action.time - went[other]
                    found[key] = min(
                        found.get(key, (math.inf, action)), (gap, action), key=lambda each: each[0]
                    )
    return found


@rule("off-after-waits", Severity.CAUTION, on_sheet=False, worst=Ranking("waits"))
def off_after_waits(context: Context) -> Outcome:
    """An input is to go off sooner after another than that one may take to be confirmed off: by its
    `off_after` the run waits for that, as the rehearsal does not: later steps start later than rehearsed, or,
    where that takes too long, the run ends and the input stays on.
    """
    for (name, other), (gap, action) in _gaps(context).items():
        falls = confirmed_off_in(context, context.sources[other], _goes_off_at(context.sources[other]))
        needs = falls + STEADY
        if needs <= gap:
            continue
        # A run waits from when the input is due, as long as the guard waits for a voltage to fall.
        in_time = needs - gap <= DECAY
        step, path = _place(context, action)
        remedy = f"give {other} a bleeder or a load that empties it in time"
        if falls < math.inf:
            leave = f"leave {show(round_up(needs), 's')} or more between the two"
            remedy = f"{leave}: it is then rehearsed as it is played" if in_time else f"{leave}, or {remedy}"
        yield Hit(
            name,
            path,
            state(
                "'{step}' switches {input} off {gap} after {other}; {off}: by its 'off_after' {input} stays "
                "on for up to {waits} more{then}",
                step=step,
                input=name,
                gap=(gap, "s"),
                other=other,
                off=_read_off(other, falls, off_threshold(context.device, other)),
                waits=(min(needs - gap, DECAY), "s"),
                then=", and later steps start later than rehearsed"
                if in_time
                else state(
                    "; {other} may not be confirmed off by then: the run ends, and {input} stays on",
                    other=other,
                    input=name,
                ),
            ),
            remedy,
        )


def _goes_off_at(source: FedInput) -> float:
    """The least voltage at which the procedure switches an input off [V], less its error."""
    stands, found = 0.0, [math.inf]
    for action in source.played.actions:
        if action.kind == "off":
            found.append(stands)
        stands = action.voltage if action.kind == "line" else 0.0
    least = min(found)
    return least - (source.voltage_error(least) or 0.0) if least < math.inf else 0.0


def _read_off(name: str, falls: float, threshold: float) -> Statement:
    """Until when an input is read that was switched off, by how long it may take to fall [s], below a voltage
    [V]; 0 s: what is read of it does not fall from above that.
    """
    if falls == 0.0:
        return state("{other} is read to be off for {steady}", other=name, steady=(STEADY, "s"))
    takes = state("{other} takes up to {falls} to fall", other=name, falls=(falls, "s"))
    if falls == math.inf:
        takes = state("the data sheet gives no time for {other} to fall", other=name)
    return state(
        "{takes} below {threshold}, where it is read for {steady}",
        takes=takes,
        threshold=(threshold, "V"),
        steady=(STEADY, "s"),
    )


@rule("off-after-unlinked", Severity.CAUTION, on_sheet=False)
@of_every(_following)
def off_after_unlinked(source: FedInput, position: int, other: FedInput) -> Outcome:
    """An input stays on when another trips that has to stay on as long as it is on."""
    if source.name not in other.limits.trips_when:
        yield Hit(
            other.name,
            (*other.at_limits, "trips_when"),
            state(
                "should {input} trip, {other} stays on without it; by 'off_after' of {input} it must not",
                input=source.name,
                other=other.name,
            ),
            f"write 'trips_when: [{source.name}]' in the limits of {other.name}",
        )


@rule("off-after-stays-on", Severity.STOP)
@of_every(_following)
def off_after_stays_on(source: FedInput, position: int, other: FedInput) -> Outcome:
    """An input is to go off after one that stays on: it never would."""
    reason = other.limits.at_end.stays_on
    if reason is not None and source.limits.at_end.stays_on is None:
        yield Hit(
            source.name,
            (*source.at_limits, "off_after", position),
            state(
                "{input} stays on until {other} is off, and {other} stays on, because: {reason}",
                input=source.name,
                other=other.name,
                reason=reason,
            ),
            f"take {other.name} out of 'off_after', or let it go off",
        )


def _beyond(source: FedInput) -> Statement:
    """That an input's outputs can reach a dangerous voltage."""
    return state(
        "{outputs} can reach {reach}, more than {touch} d.c. (IEC 61010-1, from memory)",
        outputs=", ".join(source.outputs),
        reach=(source.farthest, "V"),
        touch=(DANGEROUS, "V"),
    )


@rule("stays-on", Severity.CAUTION)
@of_every(inputs)
def stays_on(source: FedInput) -> Outcome:
    """An input stays on at the end of a run."""
    if (reason := source.limits.at_end.stays_on) is not None:
        highest = source.played.highest
        yield Hit(
            source.name,
            (*source.at_limits, "at_end"),
            state(
                "{input} stays on{volts} at the end of a run, also of one that is stopped, because: {reason}",
                input=source.name,
                volts=state(" at up to {highest}", highest=(highest.voltage, "V")) if highest else "",
                reason=reason,
            ),
            "switch it off at the supply when it is not needed any more; measure before touching",
        )


@rule("stays-on-high", Severity.STOP)
@of_every(inputs)
def stays_on_high(source: FedInput) -> Outcome:
    """An input stays on at the end whose outputs can reach a dangerous voltage."""
    if source.limits.at_end.stays_on is not None and source.farthest > DANGEROUS:
        yield Hit(
            source.name,
            (*source.at_limits, "at_end"),
            state("{beyond}, and would be left on", beyond=_beyond(source)),
            "let it go off at the end, or feed it from outputs that reach less",
        )


@rule("ramp-down-too-fast", Severity.CAUTION, on_sheet=False)
@of_every(inputs)
def ramp_down_too_fast(source: FedInput) -> Outcome:
    """A ramp to 0 V at the end is faster than the output's slew, its fall or the load can follow."""
    time, highest = source.limits.at_end.ramp_down, source.played.highest
    if time is None or highest is None or highest.voltage <= FALLEN:
        return
    slow = [(highest.voltage / able, words) for able, words in _rates(source)]
    if any(output.fall.unloaded is None for output in source.rows):
        yield Unknown(
            source.names[0],
            (*source.at_output, "fall"),
            "unloaded fall time of the output",
            f"the ramp of {source.name} at the end",
        )
    discharge, empties = slowest(source, highest.voltage, sinks=True)
    if discharge.held > 0.0 and empties is not None:
        emptied = state(
            "{capacitance} fall to {discharged} in {emptied}",
            capacitance=(discharge.farads, "F"),
            discharged=(FALLEN, "V"),
            emptied=discharge.emptied(empties),
        )
        slow.append((empties, emptied))
    longest, why = max(slow, key=lambda each: each[0], default=(0.0, ""))
    if longest > time * (1 + 1e-9):
        least = f"ramp for {show(longest, 's')} or more, or " if longest < float("inf") else ""
        yield Hit(
            source.name,
            (*source.at_limits, "at_end", "ramp_down"),
            state(
                "{highest} in {ramp_down} are {rate}; {why}: the voltage lags behind the ramp",
                highest=(highest.voltage, "V"),
                ramp_down=(time, "s"),
                rate=(highest.voltage / time, "V/s"),
                why=why,
            ),
            f"{least}take an output that sinks current",
        )


def _rates(source: FedInput) -> Iterator[tuple[float, Statement]]:
    """How fast the outputs can go down together [V/s], by their slew and by their fall, and in words."""
    for what, each in (
        ("can be set to a slew of", [output.slew.high if output.slew else None for output in source.rows]),
        ("falls without load at", [rated_slew(output, output.fall.unloaded) for output in source.rows]),
    ):
        if (able := source.fastest(each)) is not None:
            yield (
                able,
                state(
                    "{outputs} {what} {fastest} at most",
                    outputs=" and ".join(source.outputs),
                    what=what,
                    fastest=(able, "V/s"),
                ),
            )


def _alone(context: Context) -> list[str]:
    """Why nothing but this computer switches off when nobody is there; empty: something does, or somebody is
    there.
    """
    lacks = [
        f"{name} has no watchdog"
        if supply.watchdog is None
        else f"dialect '{supply.dialect.name}' has no command for the watchdog of {name}"
        for name, supply in context.used_supplies.items()
        if supply.watchdog is None or supply.dialect.watchdog is None
    ]
    if context.procedure.attended or not lacks or context.interlock is not None:
        return []
    interlock = context.bench.interlock
    return [
        *lacks,
        "the bench names no interlock"
        if interlock is None
        else f"its interlock was seen to act on {interlock.seen_to_act}, after {context.today}",
    ]


_REMEDY = (
    "give a 'watchdog' of each supply in the bench, or an 'interlock' that a person has opened and seen to "
    "act; else stay beside the bench (attended: yes)"
)


def _high(context: Context) -> list[FedInput]:
    return [source for source in context.sources.values() if source.farthest > DANGEROUS]


@rule("unattended", Severity.CAUTION)
def unattended(context: Context) -> Outcome:
    """A run is to go on alone, and only this computer would switch its outputs off."""
    lacks = _alone(context)
    if lacks and not _high(context):
        yield Hit(
            ", ".join(context.used_supplies),
            ("procedure", "attended"),
            state(
                "nobody is there, and only this computer would switch off: {lacks}", lacks="; ".join(lacks)
            ),
            _REMEDY,
        )


@rule("unattended-high", Severity.STOP)
def unattended_high(context: Context) -> Outcome:
    """A run is to go on alone at outputs that can reach a dangerous voltage, and only this computer would
    switch them off.
    """
    lacks = _alone(context)
    for source in _high(context) if lacks else ():
        yield Hit(
            source.name,
            ("procedure", "attended"),
            state(
                "nobody is there, {beyond}, and only this computer would switch off: {lacks}",
                beyond=_beyond(source),
                lacks="; ".join(lacks),
            ),
            _REMEDY,
        )
