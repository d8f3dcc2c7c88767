"""Which simulated supply a simulated multimeter, or the contacts of a simulated relay, stand beside."""

from __future__ import annotations

from railwright.documents.bench import Bench
from railwright.documents.procedure import Procedure
from railwright.plan.contacts import contacts_in


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
    lies = contacts_in(bench, {name: each.fixture for name, each in hook_up.items()})
    return {name: each.input for name, each in lies.items()}


def supplies_beside(name: str, bench: Bench, procedure: Procedure | None) -> list[str]:
    """The supplies in whose physics the contacts of an instrument lie; any, where they are nowhere."""
    leads = leads_of(bench, procedure)
    hook_up = procedure.hook_up if procedure is not None else {}
    own = [leads[each] for each in bench.relays[name].contacts if each in leads]
    found = [output.supply for each in own for output in hook_up[each].outputs]
    return list(dict.fromkeys(found)) or [next(iter(bench.supplies))]
