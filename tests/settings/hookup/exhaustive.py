"""Every assignment of outputs to inputs, tried one after the other: what the program must not be worse than.

Nothing here is the program's own. Whether an input may be fed in some way is asked of the rules of the
check, by settling a procedure that hooks up this input alone, and of a few lines for what no rule looks at;
whether hook-ups go together is asked of the graph of joined terminals; what a hook-up is worth is worked out
anew from the published criteria.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from railwright.circuit import terminals as wiring
from railwright.documents.bench import Output
from railwright.documents.hook_up import HookUp, Source
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.settings.context import sources_of
from railwright.settings.findings import Severity
from railwright.settings.settle import settle

TODAY = dt.date(2026, 11, 25)
Key = tuple[int, ...]
Kind = tuple[str, str, tuple[str, ...]]


@dataclass(frozen=True)
class Way:
    """One way to feed one input that nothing speaks against, and what it is worth."""

    input: str
    hook_up: HookUp
    headroom: int
    cautions: int
    harm: int
    reading: int

    @property
    def outputs(self) -> tuple[str, ...]:
        return self.hook_up.outputs

    @property
    def minimal(self) -> tuple[str, frozenset[str]]:
        return self.hook_up.arrangement, frozenset(self.outputs)


def with_hook_up(documents: Documents, hook_up: dict[str, HookUp]) -> Documents:
    return replace(documents, procedure=documents.procedure.model_copy(update={"hook_up": hook_up}))


def all_outputs(documents: Documents) -> list[str]:
    return [f"{name}.{own}" for name, each in documents.bench.supplies.items() for own in each.outputs]


def groups(names: list[str], most: int) -> Iterator[str | Source]:
    yield from names
    for size in range(2, most + 1):
        for chosen in itertools.combinations(names, size):
            yield Source(parallel=chosen)
            for lowest in chosen:
                others = [name for name in chosen if name != lowest]
                yield Source(series=(*others, lowest))


def ways(documents: Documents, name: str, most: int = 3) -> list[Way]:
    """Every way to feed an input; what the procedure writes of its hook-up is kept to."""
    wish = documents.procedure.hook_up[name]
    written = {
        output
        for other, each in documents.procedure.hook_up.items()
        if other != name and not each.auto
        for output in each.outputs
    }
    free = [output for output in all_outputs(documents) if output not in written]
    sources = list(groups(free, most)) if wish.source == "auto" else [wish.source]
    leads = list(documents.bench.leads) if wish.lead == "auto" else [wish.lead]
    senses = ["at load", "at terminals"] if wish.sense == "auto" else [wish.sense]
    found = []
    for source, lead, sense in itertools.product(sources, leads, senses):
        hook_up = HookUp.model_validate(
            {"from": source, "lead": lead, "sense": sense, "fixture": wish.fixture}
        )
        if may(documents, name, hook_up):
            found.append(value_of(documents, name, hook_up))
    return found


def may(documents: Documents, name: str, hook_up: HookUp) -> bool:
    """Whether nothing speaks against feeding this input like this."""
    bench, limits = documents.bench, documents.procedure.limits[name]
    rows = [bench.output(each) for each in hook_up.outputs]
    series, parallel = hook_up.arrangement == "series", hook_up.arrangement == "parallel"
    if parallel and limits.at_limit == "trip":
        return False  # one of them gives all that it can, and trips
    if hook_up.sense == "at load" and any(o.sense is None or o.sense.compensates is None for o in rows):
        return False
    if bench.leads[hook_up.lead].permitted_current is None:
        return False
    negative = documents.device.inputs[name].rail == "negative"
    if series or negative:
        reach = (sum if series else max)(o.voltage.high for o in rows)
        if any((bench.supply_of(each).isolation or 0.0) < reach for each in hook_up.outputs):
            return False
    own = with_hook_up(documents, {name: hook_up})
    if not sound(own):
        return False
    volts, _, watts = asked(own, name)
    for output in rows:
        share = output.voltage.high / sum(o.voltage.high for o in rows) if series else 1.0
        part = output.current.high / sum(o.current.high for o in rows) if parallel else 1.0
        most = output.power if output.power is not None else output.voltage.high * output.current.high
        if share * volts > output.voltage.high + 1e-9 or share * part * watts > most + 1e-9:
            return False
        if lacks_list(own, name, output):
            return False
    if limits.current_limit == "auto" and not has_room(own, name):
        return False
    settings = settle(own, TODAY)
    return not any(f.severity is Severity.STOP and f.about == name for f in settings.findings)


def has_room(documents: Documents, name: str) -> bool:
    """Whether an automatic limit can carry the need, with its errors within outputs and lead."""
    sources, _ = sources_of(documents)
    source = sources[name]
    assert source.needs is not None
    if source.limit_error(0.0) is None:
        return False
    need = source.needs[0]
    limit = need
    for _ in range(20):
        limit = need + (source.limit_error(limit) or 0.0)
    steps = [o.programming.current.resolution or 1e-3 for o in source.rows if o.programming]
    step = max(steps) * (len(steps) if source.parallel else 1)
    limit = math.ceil(limit / step - 1e-9) * step
    permitted = source.lead.permitted_current
    assert permitted is not None
    return limit <= source.full_current and limit + (source.limit_error(permitted) or 0.0) <= permitted


def lacks_list(documents: Documents, name: str, output: Output) -> bool:
    """Whether a shape has holds or lines below 20 ms that the output's point list cannot play."""
    for step in documents.procedure.steps:
        if step.shape is None or step.shape.input != name:
            continue
        times = [s.hold or s.over for s in step.shape.segments if (s.hold or s.over)]
        if not times or min(times) >= 0.02:
            continue
        points = output.points
        if points is None or points.dwell.low > min(times):
            return True
        lines = sum(s.over is not None for s in step.shape.segments)
        each = 1 if "line" in points.between else 20
        if step.shape.repeat * (lines * each + len(times) - lines) > points.at_most:
            return True
    return False


def asked(documents: Documents, name: str) -> tuple[float, float, float]:
    """Highest voltage at the terminals [V], largest current [A] and power [W] of a hooked-up input."""
    sources, _ = sources_of(documents)
    source = sources[name]
    assert source.needs is not None
    need = source.needs[0]
    levels = {level.voltage for level in source.played.levels}
    drop = source.drop(need) if source.senses else 0.0
    powers = [0.0]
    for volts in levels:
        drawn = source.load.current(volts) if volts > 0 else None
        amperes = drawn.high if drawn else 0.0
        powers.append((volts + (source.drop(amperes) if source.senses else 0.0)) * amperes)
    return max(levels) + drop, need, max(powers)


def value_of(documents: Documents, name: str, hook_up: HookUp) -> Way:
    """Headroom, cautions and reading error by the published criteria."""
    own = with_hook_up(documents, {name: hook_up})
    volts, amperes, watts = asked(own, name)
    bench = documents.bench
    rows = [bench.output(each) for each in hook_up.outputs]
    series, parallel = hook_up.arrangement == "series", hook_up.arrangement == "parallel"
    highest = [o.voltage.high for o in rows]
    largest = [o.current.high for o in rows]
    full_volts = sum(highest) if series else min(highest)
    full_amperes = sum(largest) if parallel else min(largest)
    parts = [each / sum(largest) if parallel else 1.0 for each in largest]
    shares = [each / sum(highest) if series else 1.0 for each in highest]
    errors = [
        o.programming.current.of_value * full_amperes * part + o.programming.current.offset
        if o.programming
        else 0.0
        for o, part in zip(rows, parts, strict=True)
    ]
    wrong = sum(errors) if parallel else max(errors)
    full_watts = min(
        (o.power if o.power is not None else o.voltage.high * o.current.high) / (share * part)
        for o, share, part in zip(rows, shares, parts, strict=True)
    )
    margin = full_volts / volts - 1
    counted = [0.5 if margin >= 0.1 else margin]
    counted += [min(0.5, (full_amperes - wrong) / amperes - 1), min(0.5, full_watts / watts - 1)]
    settings = settle(own, TODAY)
    rules = {f.rule for f in settings.findings if f.about == name and f.severity is Severity.CAUTION}
    counted_rules = {"touch-voltage", "unequal-group", "lead-drop"}
    if documents.procedure.limits[name].current_limit == "auto":
        counted_rules.add("limit-headroom")
    cautions = len(rules & counted_rules)
    cautions += len({each.partition(".")[0] for each in hook_up.outputs}) > 1
    if any(o.reading is None for o in rows):
        reading = 1000
    else:
        read = [
            o.reading.current.of_value * amperes * part + o.reading.current.offset  # type: ignore[union-attr]
            for o, part in zip(rows, parts, strict=True)
        ]
        reading = min(1000, round(1000 * sum(read) / (1 if parallel else len(read)) / amperes))
    always = [
        w.voltage
        for w in documents.device.inputs[name].withstands
        if w.voltage is not None and not w.duration
    ]
    bears = max(always) if always else max(volts, 1e-9)
    harm = 0 if full_volts <= bears + 1e-9 else max(1, int(full_volts / bears + 1e-9))
    return Way(name, hook_up, math.floor(1000 * min(counted) + 1e-6), cautions, harm, reading)


def key_of(chosen: list[Way]) -> Key:
    """What an assignment is worth; smaller is better."""
    return (
        sum(len(each.outputs) for each in chosen),
        -min(each.headroom for each in chosen),
        sum(each.cautions for each in chosen),
        sum(each.harm for each in chosen),
        -sum(each.headroom for each in chosen),
        sum(each.reading for each in chosen),
    )


def sound(documents: Documents) -> bool:
    """Whether the hook-ups go together: nothing is shorted, no inner point of a group is joined to anything
    outside it, isolated inputs are isolated, coupled outputs feed one input.
    """
    procedure, device, bench = documents.procedure, documents.device, documents.bench
    links = wiring.links_of(procedure, device, bench)
    used = [output for each in procedure.hook_up.values() for output in each.outputs]
    if wiring.shorted(links, used):
        return False
    sets = wiring.joined(links)
    for name, each in procedure.hook_up.items():
        others = [
            terminal
            for other in procedure.hook_up
            if other != name
            for terminal in terminals(documents, other)
        ]
        inner = [wiring.minus(output) for output in each.outputs]
        if device.inputs[name].rail != "negative":
            inner = inner[:-1] if each.arrangement == "series" else []
        if device.inputs[name].returns == "isolated":
            inner.append(f"input {name} 0 V")
        if any(sets.together(point, outside) for point in inner for outside in (wiring.EARTH, *others)):
            return False
    for supply, each_supply in bench.supplies.items():
        for coupling in each_supply.coupled:
            coupled = {f"{supply}.{own}" for own in coupling.outputs}
            used = [coupled & set(each.outputs) for each in procedure.hook_up.values()]
            currents = [bench.output(OutputName(name)).current for own in used for name in own]
            unlike = {(each.low, each.high) for each in currents}
            if sum(map(bool, used)) > 1 or (coupling.of == "current_limit" and len(unlike) > 1):
                return False
    return True


def terminals(documents: Documents, name: str) -> list[str]:
    """Every terminal of an input's hook-up."""
    outputs = documents.procedure.hook_up[name].outputs
    return [f"input {name} 0 V", *map(wiring.plus, outputs), *map(wiring.minus, outputs)]


def assignments(documents: Documents, by_input: list[list[Way]]) -> Iterator[list[Way]]:
    """Every assignment in which no output feeds two inputs."""

    def go_on(place: int, chosen: list[Way], used: frozenset[str]) -> Iterator[list[Way]]:
        if place == len(by_input):
            yield list(chosen)
            return
        for way in by_input[place]:
            if used.isdisjoint(way.outputs):
                yield from go_on(place + 1, [*chosen, way], used | set(way.outputs))

    yield from go_on(0, [], frozenset())


def ways_of(documents: Documents, most: int = 3) -> list[list[Way]]:
    """The ways of every input that is auto, in the order of the device."""
    return [ways(documents, name, most) for name, wish in documents.procedure.hook_up.items() if wish.auto]


def best(
    documents: Documents,
    by_input: list[list[Way]],
    unlike: set[Kind] | None = None,
) -> tuple[Key, list[list[Way]]] | None:
    """The best value, and every assignment that has it; None: there is none.

    unlike: kinds (see `kind_of`) that must not all come again.
    """
    written = {name: each for name, each in documents.procedure.hook_up.items() if not each.auto}
    value: Key | None = None
    found: list[list[Way]] = []
    for chosen in assignments(documents, by_input):
        key = key_of(chosen)
        if value is not None and key > value:
            continue
        if unlike is not None and {kind_of(documents, each) for each in chosen} == unlike:
            continue
        if not sound(with_hook_up(documents, {**written, **{each.input: each.hook_up for each in chosen}})):
            continue
        if value is None or key < value:
            value, found = key, []
        found.append(chosen)
    return None if value is None else (value, found)


def kind_of(documents: Documents, way: Way) -> Kind:
    """Input, arrangement, and the figures of the outputs, whatever they are called."""
    bench = documents.bench
    figures = []
    for name in way.outputs:
        supply, own = bench.supply_of(name), name.output
        coupled = any(own in coupling.outputs for coupling in supply.coupled)
        inside = own in supply.common_negative
        text = repr((bench.output(name), supply.isolation, supply.dialect.name, inside, coupled))
        figures.append(text)
    return way.input, way.hook_up.arrangement, tuple(sorted(figures))


def only_minimal(by_input: list[list[Way]]) -> list[list[Way]]:
    """Without groups of which a part would do."""
    kept = []
    for each in by_input:
        able = {way.minimal for way in each}

        def needless(way: Way, able: set[tuple[str, frozenset[str]]] = able) -> bool:
            arrangement, names = way.minimal
            return any(part < names and how in ("alone", arrangement) for how, part in able)

        kept.append([way for way in each if not needless(way)])
    return kept
