"""What an off plan says of one supply and one output, compiled from document and dialect."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from railwright.documents.bench import Output
from railwright.documents.output_name import OutputName
from railwright.guard.off_level import DECAY, OFF_BELOW
from railwright.guard.off_plan import InputOff, OffPlan, OutputOff, SupplyOff
from railwright.instruments.electronic_load import ITS_INPUT, ElectronicLoadDriver
from railwright.instruments.supply import OutputSetting, SupplyDriver

UNKNOWN_CURRENT = 0.005
"""Part of full scale that counts as no current where the bench does not state how exactly it is read, and
that an output may take in where it states no bleeder.
"""

NOISE = 4.0
"""How many times the r.m.s. noise a reading may be off by."""

LOST = 60.0
"""How long a supply that is gone is waited for where nothing but a lead hangs on it [s]."""


def supply_off(
    supply: SupplyDriver, used: Sequence[str], watchdog: tuple[str, ...] = (), *, at_once: bool = True
) -> SupplyOff:
    """One supply, which was identified; `used`: the outputs that are switched off. at_once: none of them
    waits for anything, so that a master switch may take them off first.
    """
    assert supply.identity is not None, "only supplies that were identified are ever told anything"
    master = supply.dialect.master
    return SupplyOff(
        supply.name,
        supply.document.address,
        supply.dialect.instrument.identify,
        supply.identity.answer,
        supply.look(used),
        watchdog,
        supply.dialect.off_answers,
        supply.document.session_settings,
        master=() if master is None else supply.messages([supply.dialect.master_unit(False)]),
        master_state=supply.master_place(used),
        master_off=supply.dialect.master_off_answers,
        master_first=master is not None and master.goes_off == "first" and at_once,
        errors=supply.dialect.error_query or "",
    )


def outputs_off(
    supply: SupplyDriver,
    used: Sequence[str],
    shares: Mapping[str, float] | None = None,
    bleeding: Mapping[str, float] | None = None,
) -> dict[OutputName, OutputOff]:
    """Those outputs of a supply. shares: of its input's voltage that each carries (default: all of it);
    bleeding: current that each may take in while it is off [A] (default: none).
    """
    places, found = supply.places(used), {}
    voltage = supply.dialect.settings["voltage"]
    for own in used:
        name = OutputName.of(supply.name, own)
        found[name] = OutputOff(
            name,
            supply.name,
            supply.told([OutputSetting(own, "output", False)]),
            **places[own],
            no_current=no_current(supply.document.outputs[own]),
            off_words=supply.dialect.off_answers,
            set_voltage=supply.template(own, "voltage"),
            least=voltage.least,
            volt_code=supply.dialect.readings.codes[0],
            ampere_code=supply.dialect.readings.codes[1],
            set_code=voltage.sent_code,
            share=(shares or {}).get(own, 1.0),
            bleeds=(bleeding or {}).get(own, 0.0),
            volt=supply.dialect.readings.factors[0],
            ampere=supply.dialect.readings.factors[1],
            set_volt=voltage.factor,
            set_digits=voltage.digits,
            selected_as=supply.dialect.spoken.name(supply.channel(own)) if "selected" in places[own] else "",
        )
    return found


def plan_of_outputs(
    supplies: Mapping[SupplyDriver, Sequence[str]],
    loads: Sequence[ElectronicLoadDriver] = (),
    *,
    masters: bool = True,
) -> OffPlan:
    """Each of these outputs by itself, all at once: nothing hangs on them that needs an order. Then the
    inputs of electronic loads, which take what the outputs' capacitors hold until then. masters: the master
    switches of the supplies go off with them.
    """
    found = [supply_off(supply, used) for supply, used in supplies.items()]
    if not masters:
        found = [replace(each, master=(), master_first=False) for each in found]
    found += [supply_off(load, (ITS_INPUT,)) for load in loads]
    outputs = [entry for supply, used in supplies.items() for entry in outputs_off(supply, used).values()]
    inputs = [InputOff(each.name, (each,), False, OFF_BELOW) for each in outputs]
    before = tuple(each.name for each in outputs)
    for load in loads:
        (entry,) = outputs_off(load, (ITS_INPUT,)).values()
        # A voltage may stand at it: that of an output that is not off. Its input is off without a current.
        holds = 0.0, load.load.voltage.high
        inputs.append(InputOff(entry.name, (entry,), False, OFF_BELOW, after=before, holds=holds))
    return OffPlan(tuple(found), tuple(inputs), decay=DECAY, lost=LOST)


def no_current(output: Output) -> float:
    """Current that is read as none [A]: what a reading of nothing may be off by."""
    accuracy = output.reading.current if output.reading is not None else None
    if accuracy is None or not (accuracy.offset or accuracy.resolution):
        return UNKNOWN_CURRENT * output.current.high
    return accuracy.offset + (accuracy.resolution or 0.0) + NOISE * (accuracy.noise or 0.0)
