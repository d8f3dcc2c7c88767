"""Which simulated supply a simulated multimeter, or the contacts of a simulated relay, stand beside."""

from __future__ import annotations

from typing import NamedTuple

from railwright.documents.bench import Bench
from railwright.documents.device import Device, enabled_inputs
from railwright.documents.procedure import Procedure
from railwright.plan.contacts import contacts_in, drivers_of


def supply_beside(name: str, bench: Bench, procedure: Procedure | None) -> str:
    """The supply in whose physics a multimeter's probes are: the first that feeds its input; any, where they
    are nowhere.
    """
    probe = procedure.multimeters.get(name) if procedure else None
    hook_up = procedure.hook_up.get(probe.of) if procedure and probe else None
    fed = hook_up.outputs if hook_up else ()
    return fed[0].supply if fed else next(iter(bench.supplies))


def leads_of(bench: Bench, procedure: Procedure | None) -> dict[str, str]:
    """Contact of a relay -> the input in whose lead it lies by a procedure."""
    hook_up = procedure.hook_up if procedure is not None else {}
    lies = contacts_in(bench, hook_up)
    return {name: each.input for name, each in lies.items()}


class DrivenBy(NamedTuple):
    """A pin that a contact drives, the inputs that it enables parts of, and whether it does while closed."""

    pin: str
    inputs: tuple[str, ...]
    active_closed: bool


def pins_of(device: Device | None, bench: Bench, procedure: Procedure | None) -> dict[str, DrivenBy]:
    """Contact of a relay -> the pin that it drives by a procedure."""
    if device is None or procedure is None:
        return {}
    return {
        name: DrivenBy(each.pin, enabled_inputs(device, each.pin), each.active_closed)
        for name, each in drivers_of(device, bench, procedure).items()
    }


def supplies_beside(name: str, device: Device | None, bench: Bench, procedure: Procedure | None) -> list[str]:
    """The supplies in whose physics the contacts of an instrument lie, or what they enable; any, where they
    are nowhere.
    """
    leads, pins = leads_of(bench, procedure), pins_of(device, bench, procedure)
    hook_up = procedure.hook_up if procedure is not None else {}
    contacts = bench.relays[name].contacts
    own = [leads[each] for each in contacts if each in leads]
    own += [fed for each in contacts if each in pins for fed in pins[each].inputs if fed in hook_up]
    found = [output.supply for each in own for output in hook_up[each].outputs]
    return list(dict.fromkeys(found)) or [next(iter(bench.supplies))]
