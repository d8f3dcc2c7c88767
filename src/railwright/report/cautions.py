"""Cautions that a report carries: what can be reached, stored and fed back, in numbers where there are any.

References
----------
.. [1] Energy of a capacitor: ½ C V².
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from railwright.quantities import round_up, show
from railwright.settings.draw import LoadModel
from railwright.settings.group import group_of
from railwright.settings.rules.voltage import TOUCH_LIMIT

if TYPE_CHECKING:
    from railwright.documents.bench import Bench
    from railwright.documents.device import Device
    from railwright.documents.procedure import Procedure


@dataclass(frozen=True, slots=True)
class Caution:
    """A heading and what to heed; `pressing` where this bench exceeds a limit."""

    title: str
    text: str
    pressing: bool = False


def cautions(
    device: Device, bench: Bench, procedure: Procedure, highest: Mapping[str, float]
) -> tuple[Caution, ...]:
    """All cautions, those that this bench calls for with its own numbers. highest: what may stand at each
    input at most [V].
    """
    reach = {
        name: group_of(hook_up.outputs, hook_up.arrangement, bench).farthest
        for name, hook_up in procedure.hook_up.items()
    }
    return (
        _touch(bench, reach),
        _stored(device, bench, procedure, highest),
        Caution(
            "Feeding back",
            "A device with batteries, motors or large capacitors can feed current back into an output. A "
            "supply without a sink cannot take it, and its terminal voltage then follows the device."
            f"{_taken_in(bench, procedure)}",
        ),
        Caution(
            "Hot leads",
            "A lead carries what the output can deliver, not what was set, once a setting is wrong. Leads "
            "and contacts may be hot during and after the test.",
        ),
        _floating(bench, procedure),
        Caution(
            "Off is not disconnected",
            "An output that is off may still be joined to the device through its capacitor, bleeder and "
            f"reverse diode. {_while_off(bench, procedure)}Measure before you touch.",
        ),
        _mains(bench, procedure),
        Caution(
            "No emergency stop",
            "A stop by software is not an emergency stop. A means of disconnection that does not depend "
            "on the computer must be within reach.",
        ),
        Caution(
            "Who decides",
            "Local electrical codes and the judgement of a competent person on the spot take precedence "
            "over anything that this report or the program says.",
        ),
    )


def _taken_in(bench: Bench, procedure: Procedure) -> str:
    """What outputs take in while they are off, for people; '' where none is known to."""
    said = []
    for name in procedure.outputs:
        output = bench.output(name)
        if output.takes_in_off:
            much = "an unknown current" if output.sink is None else f"up to {show(output.sink, 'A')}"
            said.append(f"{name} takes in {much}")
    return f" While off, {', '.join(said)}: a source in the device is drawn on." if said else ""


def _while_off(bench: Bench, procedure: Procedure) -> str:
    """What each output is while it is off, for people."""
    said = [f"{name} {bench.output(name).when_off or 'unknown'}" for name in procedure.outputs]
    return f"While off: {', '.join(said)}. "


def _mains(bench: Bench, procedure: Procedure) -> Caution:
    supplies = dict.fromkeys(name.supply for name in procedure.outputs)
    does = {name: bench.supplies[name].after_mains for name in supplies}
    stated = ", ".join(f"{name} {what or 'unknown'}" for name, what in does.items())
    text = f"What each supply does then: {stated}. "
    comes = [name for name, what in does.items() if what != "stays off"]
    if comes:
        text += (
            f"After a mains failure switch off the mains of {' and '.join(comes)} first: outputs may come on "
            "by themselves, as they were before."
        )
    else:
        text += "What was on before is to be switched on anew."
    return Caution("When the mains return", text, "comes on" in does.values())


def _touch(bench: Bench, reach: dict[str, float]) -> Caution:
    limit = TOUCH_LIMIT[bench.location]
    over = {name: voltage for name, voltage in reach.items() if voltage > limit}
    stated = ", ".join(f"{name} {show(voltage, 'V')}" for name, voltage in reach.items())
    text = (
        f"Voltages that the outputs reach at full scale, whatever is set: {stated}. In a {bench.location} "
        f"location {show(limit, 'V')} d.c. is the limit for parts that can be touched (IEC 61010-1; 60 V "
        "dry, 35 V wet; from memory). "
    )
    if over:
        names = ", ".join(over)
        text += (
            f"Above it: {names}. Cover terminals and connectors, and work on them only when they are dead."
        )
    else:
        text += "None lies above it. Outputs joined in series add up, and may."
    return Caution("Voltage that can be touched", text, bool(over))


def _stored(device: Device, bench: Bench, procedure: Procedure, highest: Mapping[str, float]) -> Caution:
    parts, unknown = [], []
    for name, hook_up in procedure.hook_up.items():
        if name not in device.inputs:
            continue
        total = LoadModel(device.inputs[name], bench.fixture(hook_up.fixture)).capacitance.high
        at = max(device.inputs[name].operating.high, highest.get(name, 0.0))
        group = group_of(hook_up.outputs, hook_up.arrangement, bench)
        given = zip(group.outputs, group.rows, group.shares, strict=True)
        own = [(each, output.output_capacitance, share) for each, output, share in given]
        unknown += [str(each) for each, farads, _ in own if farads is None]
        held = sum((farads or 0.0) * (share * at) ** 2 / 2 for _, farads, share in own)
        stands = f"{show(round_up(at, 4), 'V')}"
        if total > 0:
            energy = show(round_up(total * at**2 / 2), "J", 2)
            parts.append(f"{name} {energy} ({show(total, 'F')} at {stands})")
        if held > 0:
            parts.append(f"the outputs of {name} {show(round_up(held), 'J', 2)} (at {stands})")
    known = (
        f"Declared capacitors hold at most: {', '.join(parts)} (½CV²). "
        if parts
        else "No capacitor is declared. "
    )
    if unknown:
        known += f"Not declared, and not counted: the output capacitors of {', '.join(unknown)}. "
    return Caution(
        "Stored energy", known + "Capacitors stay charged after switching off. Discharge, then measure."
    )


def _floating(bench: Bench, procedure: Procedure) -> Caution:
    floating = [name for name in procedure.outputs if bench.output(name).negative == "floating"]
    limits = {
        name: supply.isolation
        for name in dict.fromkeys(output.supply for output in floating)
        if (supply := bench.supplies[name]).isolation is not None
    }
    rated = ", ".join(f"{name} {show(voltage, 'V')}" for name, voltage in limits.items())
    names = ", ".join(floating) or "none"
    text = f"These float: {names}. Either terminal of a floating output may lie far from earth."
    if rated:
        text += f" Stated isolation from any terminal to earth: {rated}."
    return Caution("Floating outputs", text)
