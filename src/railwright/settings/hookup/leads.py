"""Which lead for which input, once outputs are chosen: one of its own for each, where that costs nothing.

A bench document names a lead; how many of it there are it does not say. So no two inputs get the same one
where others are as good: among all leads and places of sensing that leave headroom and cautions as they are,
the fewest that come twice, then the least drop left unsensed and the fewest sense leads, then the least power
lost in leads. The same kind of program as the outputs', a small one.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from railwright.settings.hookup.candidates import Candidate, alike
from railwright.settings.hookup.demand import Demand
from railwright.settings.hookup.program import Rows, solve


def with_leads(
    chosen: Sequence[Candidate], demands: Mapping[str, Demand], taken: Collection[str]
) -> tuple[Candidate, ...]:
    """The same outputs for the same inputs, each with its lead and place of sensing.

    taken: leads of inputs whose hook-up is written.
    """
    options = [(each, cost) for own in chosen for each, cost in alike(demands[own.input], own)]
    names = list(dict.fromkeys(each.source.lead_name for each, _ in options))
    rows = Rows()
    for own in chosen:
        rows.add({c: 1.0 for c, (each, _) in enumerate(options) if each.input == own.input}, 1.0, 1.0)
    for number, name in enumerate(names):
        columns = {c: 1.0 for c, (each, _) in enumerate(options) if each.source.lead_name == name}
        rows.add({**columns, len(options) + number: -1.0}, -np.inf, 0.0 if name in taken else 1.0)
    upper = [1.0] * len(options) + [float(len(chosen))] * len(names)
    whole = [1] * len(upper)
    none = [0.0] * len(names)
    stages = (
        [0.0] * len(options) + [1.0] * len(names),
        [float(round(1e6 * cost[0])) for _, cost in options] + none,
        [cost[1] for _, cost in options] + none,
        [cost[2] * demands[each.input].current ** 2 for each, cost in options] + none,
    )
    found = None
    for cost in stages:
        found = solve(cost, rows, upper, whole)
        assert found is not None, "the leads that were chosen with the outputs are among them"
        most = float(np.dot(cost, np.round(found)))
        rows.add({column: each for column, each in enumerate(cost) if each}, -np.inf, most)
    assert found is not None
    return tuple(each for column, (each, _) in enumerate(options) if found[column] > 0.5)
