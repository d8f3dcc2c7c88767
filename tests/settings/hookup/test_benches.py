"""On each bench: what a person would hook up, and the best of every assignment there is."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from tests.settings.hookup import exhaustive
from tests.settings.hookup.benches import BENCHES, lead_current, less_drop
from tests.settings.hookup.scene import key_of

from railwright.documents.hook_up import HookUp
from railwright.documents.loader import Documents
from railwright.settings.hookup import hooked_up
from railwright.settings.hookup.candidates import Candidate, field_of, taken_by
from railwright.settings.hookup.demand import demands_of
from railwright.settings.hookup.resolve import solved
from railwright.settings.settle import settle


def said(hook_up: HookUp) -> str:
    names = hook_up.outputs
    if hook_up.arrangement == "alone":
        return names[0]
    return f"{', '.join(names[:-1])} and {names[-1]} in {hook_up.arrangement}"


def by_program(documents: Documents) -> tuple[tuple[Candidate, ...] | None, tuple[Candidate, ...] | None]:
    demands = demands_of(documents)
    written = {name: each for name, each in demands.items() if not each.wish.auto}
    taken = taken_by(written, documents.bench)
    fields = [field_of(each, taken) for each in demands.values() if each.wish.auto]
    return solved(fields, documents.bench)


def kinds_of(documents: Documents, chosen: Iterable[Candidate]) -> set[exhaustive.Kind]:
    ways = [exhaustive.Way(each.input, each.hook_up, 0, 0, 0, 0) for each in chosen]
    return {exhaustive.kind_of(documents, way) for way in ways}


@pytest.mark.parametrize("make", BENCHES, ids=lambda make: make.__name__)
def test_what_a_person_would_hook_up(make):
    bench = make()
    wished = bench.documents.procedure.hook_up
    resolved = hooked_up(bench.documents)
    if bench.fed is None:
        assert [f.rule for f in resolved.findings] == ["hook-up-impossible"], bench.because
        return
    hook_up = resolved.documents.procedure.hook_up
    chosen = {name: said(each) for name, each in hook_up.items() if wished[name].auto}
    assert chosen == bench.fed, bench.because
    assert not any(f.blocks for f in settle(resolved.documents, exhaustive.TODAY).findings)


@pytest.mark.parametrize("make", BENCHES, ids=lambda make: make.__name__)
def test_no_assignment_is_better(make):
    documents = make().documents
    mine, other = by_program(documents)
    ways = exhaustive.ways_of(documents)
    found = exhaustive.best(documents, ways)
    if found is None:
        assert mine is None
        return
    key, assignments = found
    assert mine is not None
    assert key_of(mine) == key
    assert [each.hook_up for each in mine] in [[way.hook_up for way in chosen] for chosen in assignments]
    second = exhaustive.best(documents, exhaustive.only_minimal(ways), unlike=kinds_of(documents, mine))
    assert key_of(other) == (None if second is None else second[0])


def test_the_lead_is_chosen_too():
    for make, lead in ((less_drop, "thick"), (lead_current, "lead")):
        (hook_up,) = hooked_up(make().documents).documents.procedure.hook_up.values()
        assert hook_up.lead == lead
