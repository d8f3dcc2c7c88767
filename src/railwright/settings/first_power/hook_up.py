"""A hook-up for a first power-up where no procedure gives one: an output for each input, the smallest."""

from __future__ import annotations

from railwright.documents.bench import Bench, Lead
from railwright.documents.device import Device, Input
from railwright.documents.hook_up import HookUp
from railwright.quantities import show
from railwright.settings.draw import LoadModel
from railwright.settings.first_power.figures import NotPossible

HEADROOM = 1.2
"""Largest current of an output, at least, in parts of what its input draws."""


def choose_hook_up(device: Device, bench: Bench) -> dict[str, HookUp]:
    """Each input from an output of its own, the most demanding input first. NotPossible where one is left."""
    needs = {name: _need(wanted) for name, wanted in device.inputs.items()}
    free = [f"{supply}.{output}" for supply, given in bench.supplies.items() for output in given.outputs]
    leads = dict(bench.leads)
    chosen: dict[str, HookUp] = {}
    for name in sorted(device.inputs, key=lambda each: -needs[each] * device.inputs[each].nominal):
        wanted, need = device.inputs[name], needs[name]
        able = [
            output
            for output in free
            if bench.output(output).voltage.high >= wanted.operating.high
            and bench.output(output).current.high >= HEADROOM * need
        ]
        if not able:
            raise NotPossible(
                f"{name}: no output of the bench that is free gives {show(wanted.operating.high, 'V')} and "
                f"{show(HEADROOM * need, 'A')} by itself; write the hook-up into a procedure and name it "
                "with --hook-up"
            )
        output = min(able, key=lambda each: bench.output(each).voltage.high * bench.output(each).current.high)
        free.remove(output)
        lead = next((key for key, each in leads.items() if _bears(each, need)), None)
        if lead is None:
            raise NotPossible(
                f"{name}: no lead of the bench is permitted to carry {show(need, 'A')}; add one"
            )
        if len(leads) > 1:
            del leads[lead]
        sense = "at load" if bench.output(output).sense is not None else "at terminals"
        chosen[name] = HookUp.model_validate({"from": output, "lead": lead, "sense": sense})
    return {name: chosen[name] for name in device.inputs}


def _need(wanted: Input) -> float:
    """Largest steady current that is declared, or drawn over the operating range [A]; 0: unknown."""
    drawn = LoadModel(wanted).over(wanted.operating.low, wanted.operating.high)
    declared = wanted.current.steady.high if wanted.current.steady else 0.0
    return max(declared, drawn[0].high if drawn is not None else 0.0)


def _bears(lead: Lead, current: float) -> bool:
    return lead.permitted_current is None or lead.permitted_current >= current
