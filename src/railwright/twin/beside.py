"""Which simulated supply a simulated multimeter stands beside."""

from __future__ import annotations

from railwright.documents.bench import Bench
from railwright.documents.procedure import Procedure


def supply_beside(name: str, bench: Bench, procedure: Procedure | None) -> str:
    """The supply in whose physics a multimeter's probes are: the first that feeds its input; any, where they
    are nowhere.
    """
    probe = procedure.multimeters.get(name) if procedure else None
    hook_up = procedure.hook_up.get(probe.of) if procedure and probe else None
    fed = hook_up.outputs if hook_up else ()
    return fed[0].supply if fed else next(iter(bench.supplies))
