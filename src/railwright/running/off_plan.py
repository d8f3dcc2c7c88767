"""The off plan of a run: what the guard is told, compiled from documents and dialects."""

from __future__ import annotations

from collections.abc import Collection

from railwright.documents.bench import Output
from railwright.documents.device import Device
from railwright.documents.figures import off_sink
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Procedure
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, RelaysOff
from railwright.instruments.off_entries import UNKNOWN_CURRENT, outputs_off, supply_off
from railwright.instruments.watchdog import off_messages
from railwright.plan.off_order import held_voltage, off_after, off_threshold
from railwright.running.rig import Rig

WAIT_FOR_LOST = 600.0
"""How long a supply that was lost with outputs on is waited for [s]."""

BLEEDER_SPREAD = 1.2
"""How much more than its figure a bleeder may take."""


def compile_off_plan(
    rig: Rig,
    device: Device,
    procedure: Procedure,
    *,
    decay: float,
    lost: float = WAIT_FOR_LOST,
    watchdogs: Collection[str] = (),
    relays: tuple[RelaysOff, ...] = (),
) -> OffPlan:
    """How everything that feeds an input is switched off and read to be off.

    decay: how long a voltage may take to fall [s]. lost: how long a supply that is gone is waited for [s].
    watchdogs: supplies whose watchdogs are switched off at the end. relays: contacts that come to rest then.
    """
    fed = {
        output.output: (held_voltage(device, name), off_threshold(device, name), output.share)
        for name, _, output in rig.feeds()
    }
    order = off_after(procedure, device, tuple(rig.set_points))
    supplies = []
    outputs: dict[OutputName, OutputOff] = {}
    for name, supply in rig.supplies.items():
        used = rig.used(name)
        watchdog = off_messages(supply) if name in watchdogs else ()
        at_once = not any(_waits(procedure, each, order[each]) for each in rig.inputs_of(name))
        supplies.append(supply_off(supply, used, watchdog, at_once=at_once))
        shares = {own: rig.share(OutputName.of(name, own)) for own in used}
        bleeding = {own: bleeds(supply.document.outputs[own], *fed[OutputName.of(name, own)]) for own in used}
        outputs |= outputs_off(supply, used, shares, bleeding)
    inputs = []
    for name, feed in rig.set_points.items():
        limits = procedure.limits.get(name)
        ending = limits.at_end if limits is not None else None
        inputs.append(
            InputOff(
                name,
                tuple(outputs[output.output] for output in feed.outputs),
                feed.arrangement == "series",
                off_threshold(device, name),
                after=order[name],
                only_after=tuple(limits.off_after) if limits is not None else (),
                holds=held_voltage(device, name),
                ramp_down=ending.ramp_down or 0.0 if ending is not None else 0.0,
                stays_on=ending.stays_on or "" if ending is not None else "",
            )
        )
    return OffPlan(tuple(supplies), tuple(inputs), decay=decay, lost=lost, relays=relays)


def _waits(procedure: Procedure, name: str, after: Collection[str]) -> bool:
    """Whether an input does not go off at once at every ending."""
    limits = procedure.limits.get(name)
    if limits is None:
        return bool(after)
    led = bool(limits.at_end.ramp_down or limits.at_end.stays_on)
    return bool(after or limits.off_after or led)


def bleeds(output: Output, held: tuple[float, float] | None, below: float, share: float) -> float:
    """Current that an output may take in while it is off [A], where the device holds up to `held` [V]: by its
    bleeder, and by what it says of itself that it takes in then.
    """
    if held is None:
        return 0.0
    sunk = off_sink(output)
    if sunk is None:
        # Unknown, and no sign of a fault where it is one that takes in current: what it can bear, at most.
        sunk = 0.0 if output.when_off is None else output.current.high
    if output.bleeder is None:
        return UNKNOWN_CURRENT * output.current.high + BLEEDER_SPREAD * sunk
    return BLEEDER_SPREAD * ((held[1] + below) * share / output.bleeder + sunk)
