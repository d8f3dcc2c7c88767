"""From `auto` in the hook-up to documents that say what feeds each input, with reasons and the runner-up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from railwright.documents.bench import Bench, Output
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.quantities import joined, state
from railwright.settings.context import locate
from railwright.settings.engine_rules import HOOK_UP_IMPOSSIBLE
from railwright.settings.findings import Finding, Reason, Severity
from railwright.settings.group import tie_of
from railwright.settings.hookup.candidates import Candidate, Field, couplings_of, field_of, taken_by
from railwright.settings.hookup.demand import Demand, demands_of
from railwright.settings.hookup.program import Program, with_leads, worth
from railwright.settings.hookup.result import WHOLE, HookedUp
from railwright.settings.hookup.smallest import Smallest, smallest_change
from railwright.settings.hookup.words import costs, percent, why_chosen, why_none

Kind = tuple[str, tuple[str, tuple[int, ...]]]


def resolve(documents: Documents) -> HookedUp:
    """Work out every hook-up that is `auto`. What cannot be hooked up is left out, with a stop that says why,
    and what would be the smallest change.
    """
    bench = documents.bench
    demands = demands_of(documents)
    written = {name: each for name, each in demands.items() if not each.wish.auto}
    asking = {n: each for n, each in demands.items() if each.wish.auto and each.source.needs is not None}
    others = {name: each for name, each in demands.items() if name not in asking}
    findings = [_unknown_draw(each, documents) for each in others.values() if each.wish.auto]
    taken = taken_by(others, bench)
    fields = [field_of(each, taken) for each in asking.values()]
    best, runner_up = solved(fields, bench) if fields else (None, None)
    used = {each.wish.lead for each in written.values()}
    given: Sequence[Candidate] = best or ()
    if best is None and fields:
        smallest = smallest_change(fields, bench, taken)
        given = tuple(smallest.kept.values())
        findings.append(_nothing_fits(fields, smallest, documents))
    led = with_leads(given, asking, used)
    chosen = {each.input: each for each in led}
    reasons = _reasons(fields, chosen, documents)
    if best is not None:
        next_best = None if runner_up is None else with_leads(runner_up, asking, used)
        reasons.append(_whole(led, next_best, documents))
    hook_up = {
        name: chosen[name].hook_up if name in chosen else wish
        for name, wish in documents.procedure.hook_up.items()
        if name in chosen or name in written
    }
    return HookedUp(documents.with_procedure(hook_up=hook_up), tuple(reasons), tuple(findings))


def solved(
    fields: Sequence[Field], bench: Bench
) -> tuple[tuple[Candidate, ...] | None, tuple[Candidate, ...] | None]:
    """The best assignment, and the best of those that differ from it by more than an exchange of outputs of
    one kind; None: there is none.
    """
    candidates = [candidate for each in fields for candidate in each.admissible]
    best = Program(candidates).best() if all(each.admissible for each in fields) else None
    if best is None:
        return None, None
    kinds = kinds_of(bench)
    same = {_kind(each, kinds) for each in best}
    return best, Program(candidates, [each for each in candidates if _kind(each, kinds) in same]).best()


def kinds_of(bench: Bench) -> Mapping[OutputName, int]:
    """Output -> a number that it shares with those of the same figures, ties, coupling and isolation."""
    kinds: dict[OutputName, tuple[Output, object]] = {}
    for name in bench.output_names:
        supply, tie = bench.supply_of(name), tie_of(name, bench)
        tied, coupled = "inside" if tie == name.supply else tie, bool(couplings_of((name,), bench))
        kinds[name] = bench.output(name), (supply.isolation, supply.dialect.name, tied, coupled)
    found = list(kinds.values())
    return {name: found.index(kind) for name, kind in kinds.items()}


def _kind(candidate: Candidate, kinds: Mapping[OutputName, int]) -> Kind:
    own = (kinds[name] for name in candidate.outputs)
    return candidate.input, (candidate.source.arrangement, tuple(sorted(own)))


def _reasons(fields: Sequence[Field], chosen: Mapping[str, Candidate], documents: Documents) -> list[Reason]:
    """Why each input is fed as it is."""
    feeds = {name: each.input for each in chosen.values() for name in each.outputs}
    return [
        Reason(
            each.input,
            "hook_up",
            each.words,
            "",
            documents.where("procedure", ("hook_up", each.input)),
            why_chosen(field, each, feeds),
        )
        for field in fields
        if (each := chosen.get(field.demand.name)) is not None
    ]


def _whole(best: Sequence[Candidate], runner_up: Sequence[Candidate] | None, documents: Documents) -> Reason:
    """What the whole assignment is worth, and the next best one."""
    mine = worth(best)
    names = "output" if mine.outputs == 1 else "outputs"
    next_best = (
        state(
            "next best: {difference}; {costs}",
            difference=_difference(best, runner_up),
            costs=costs(mine, worth(runner_up)),
        )
        if runner_up is not None
        else "there is no other, save for exchanging outputs of one kind"
    )
    why = state(
        "the fewest outputs, then the largest smallest headroom ({least_headroom}), the fewest cautions "
        "({cautions}), the least reach beyond what the inputs withstand ({harm} times), the largest sum "
        "of headrooms ({headroom_sum}), the finest current readings (errors of {reading_error} together), "
        "the order of the documents; {next_best}",
        least_headroom=percent("least_headroom", mine.least_headroom),
        cautions=mine.cautions,
        harm=mine.harm,
        headroom_sum=percent("headroom_sum", mine.headrooms),
        reading_error=percent("reading_error", mine.readings),
        next_best=next_best,
    )
    return Reason(
        WHOLE, "hook_up", f"{mine.outputs} {names}", "", documents.where("procedure", ("hook_up",)), why
    )


def _difference(best: Sequence[Candidate], other: Sequence[Candidate]) -> str:
    """Of another assignment, the inputs that other outputs feed, and from which."""
    return "; ".join(
        f"{theirs.input} from {theirs.words}"
        for mine, theirs in zip(best, other, strict=True)
        if theirs.hook_up.source != mine.hook_up.source
    )


def _nothing_fits(fields: Sequence[Field], smallest: Smallest, documents: Documents) -> Finding:
    unfed = [field for field in fields if field.demand.name not in smallest.kept]
    return Finding(
        HOOK_UP_IMPOSSIBLE,
        Severity.STOP,
        ", ".join(field.demand.name for field in unfed),
        locate(documents, smallest.where),
        state("no hook-up feeds every input: {why}", why=joined("; ", (why_none(field) for field in unfed))),
        "the smallest change that would make one fit: "
        + " and ".join(each.change for each in smallest.changes if each.change),
    )


def _unknown_draw(demand: Demand, documents: Documents) -> Finding:
    return Finding(
        HOOK_UP_IMPOSSIBLE,
        Severity.STOP,
        demand.name,
        locate(documents, ("device", "inputs", demand.name)),
        f"'hook_up: auto' of {demand.name}: what the input draws is unknown, and no output can be chosen "
        "without it",
        f"write the figures of {demand.name} in amounts, with 'rail: negative'"
        if demand.input.nominal < 0
        else "declare 'current: {steady: …}' in the device document, or write its hook-up",
    )
