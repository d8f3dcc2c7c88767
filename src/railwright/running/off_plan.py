"""The off plan of a run: what the guard is told, compiled from documents and dialects."""

from __future__ import annotations

from collections.abc import Collection

from railwright.documents.bench import Output
from railwright.documents.device import Device
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Procedure
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.instruments.supply import OutputSetting
from railwright.instruments.watchdog import off_messages
from railwright.plan.off_order import held_voltage, off_after, off_threshold
from railwright.running.rig import Rig

WAIT_FOR_LOST = 600.0
"""How long a supply that was lost with outputs on is waited for [s]."""

UNKNOWN_CURRENT = 0.005
"""Part of full scale that counts as no current where the bench does not state how exactly it is read, and
that an output may take in where it states no bleeder.
"""

BLEEDER_SPREAD = 1.2
"""How much more than its figure a bleeder may take."""

NOISE = 4.0
"""How many times the r.m.s. noise a reading may be off by."""


# One piece: every word of the plan, in the order of its fields.
def compile_off_plan(
    rig: Rig,
    device: Device,
    procedure: Procedure,
    *,
    decay: float,
    lost: float = WAIT_FOR_LOST,
    watchdogs: Collection[str] = (),
) -> OffPlan:
    """How everything that feeds an input is switched off and read to be off.

    decay: how long a voltage may take to fall [s]. lost: how long a supply that is gone is waited for [s].
    watchdogs: supplies whose watchdogs are switched off at the end.
    """
    fed = {
        output.output: (held_voltage(device, name), off_threshold(device, name), output.share)
        for name, _, output in rig.feeds()
    }
    order = off_after(procedure, device, tuple(rig.set_points))
    supplies = []
    outputs: dict[str, OutputOff] = {}
    for name, supply in rig.supplies.items():
        used = rig.used(name)
        assert supply.identity is not None, "only supplies that were identified are ever told anything"
        supplies.append(
            SupplyOff(
                name,
                supply.document.address,
                supply.dialect.instrument.identify,
                supply.identity.answer,
                supply.look(used),
                off_messages(supply) if name in watchdogs else (),
                supply.dialect.off_answers,
                supply.document.session_settings,
            )
        )
        places = supply.places(used)
        for own in used:
            document, output = supply.document.outputs[own], OutputName.of(name, own)
            outputs[output] = OutputOff(
                output,
                name,
                supply.told([OutputSetting(own, "output", False)]),
                **places[own],
                no_current=no_current(document),
                off_words=supply.dialect.off_answers,
                set_voltage=supply.template(own, "voltage"),
                share=rig.share(output),
                bleeds=bleeds(document, *fed[output]),
                volt=supply.dialect.readings.factors[0],
                ampere=supply.dialect.readings.factors[1],
                set_volt=supply.dialect.settings["voltage"].factor,
                set_digits=supply.dialect.settings["voltage"].digits,
            )
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
    return OffPlan(tuple(supplies), tuple(inputs), decay=decay, lost=lost)


def bleeds(output: Output, held: tuple[float, float] | None, below: float, share: float) -> float:
    """Current that an output may take in while it is off [A], where the device holds up to `held` [V]."""
    if held is None:
        return 0.0
    if output.bleeder is None:
        return UNKNOWN_CURRENT * output.current.high
    return BLEEDER_SPREAD * (held[1] + below) * share / output.bleeder


def no_current(output: Output) -> float:
    """Current that is read as none [A]: what a reading of nothing may be off by."""
    accuracy = output.reading.current if output.reading is not None else None
    if accuracy is None or not (accuracy.offset or accuracy.resolution):
        return UNKNOWN_CURRENT * output.current.high
    return accuracy.offset + (accuracy.resolution or 0.0) + NOISE * (accuracy.noise or 0.0)
