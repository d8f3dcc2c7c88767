"""Rules about what a whole supply does beside what its outputs are told: what is switched with them."""

from __future__ import annotations

from railwright.quantities import state
from railwright.settings.context import Context
from railwright.settings.findings import Severity
from railwright.settings.rule import Hit, Outcome, rule


@rule("master-switch", Severity.CAUTION)
def master_switch(context: Context) -> Outcome:
    """Outputs that the procedure does not use go on and off with the master switch of their supply, which a
    run switches.
    """
    for name, supply in context.used_supplies.items():
        if supply.dialect.master is None:
            continue
        unused = unused_outputs(context, name)
        if unused:
            yield Hit(
                name,
                ("bench", "supplies", name, "dialect"),
                state(
                    "{outputs} of {name}, which the procedure does not use, would go on and off with its "
                    "master switch",
                    outputs=" and ".join(unused),
                    name=name,
                ),
                "switch them off before: a run that finds one on refuses to begin",
            )


def unused_outputs(context: Context, supply: str) -> list[str]:
    """Outputs of a supply that feed no input."""
    used = {
        name.output for each in context.sources.values() for name in each.outputs if name.supply == supply
    }
    return [own for own in context.bench.supplies[supply].outputs if own not in used]
