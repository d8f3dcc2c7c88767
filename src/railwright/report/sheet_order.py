"""What a set-up sheet says is to be done, step by step, from all off to all off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.loader import Documents
from railwright.documents.procedure import Limits
from railwright.first_power.figures import reading_error
from railwright.grouping import grouped
from railwright.guard.off_level import OFF_BELOW
from railwright.plan.coming_up import ComingUp, Stage
from railwright.plan.contacts import closed_after
from railwright.plan.coupling import tied_limits
from railwright.plan.current_limits import limits_in_order
from railwright.plan.off_order import held_voltage, off_order, off_threshold
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.sources import fed_sources
from railwright.plan.stairs import slew_range, too_flat
from railwright.plan.timeline import ContactChange, Timeline
from railwright.quantities import round_up, show
from railwright.report.contact_words import contacts_first, contacts_last, contacts_moved, lying
from railwright.settings.constraints.current_limit import charged_after
from railwright.settings.context import FedInput
from railwright.settings.draw import Bounds

HAND = 2.0
"""Shortest time between two outputs that a hand can keep [s] (common practice, no source)."""


AT_ONCE = 1.0
"""What is over so soon is over before somebody looks [s]: chosen."""


ALL_OFF = "{all off}"
"""Stands in a task for what to do where it does not succeed: the number of that step is known last."""


@dataclass(frozen=True, slots=True)
class Task:
    """One numbered step; parts: what belongs to it, line by line."""

    words: str
    parts: tuple[str, ...] = ()


def in_order(
    documents: Documents,
    set_points: SetPoints,
    sources: Mapping[str, FedInput],
    timeline: Timeline,
    ups: Sequence[ComingUp],
) -> list[Task]:
    """What to do, from all off until every input is up, as the procedure has it, and to all off again.

    ups: how each input comes up in the procedure's timeline.
    """
    before = [
        Task("All outputs off, voltages at their minimum. Wire as drawn; compare with the list of wires."),
        Task(
            "On each output dial in, from the top of the table down: protections, sense, current limit; the "
            "voltage stays at its minimum. Read every setting back; a second person compares them with the "
            "table.",
            tuple(_coupled_limits(documents.bench, set_points)),
        ),
    ]
    for supply, unused in _mastered(documents.bench, set_points):
        also = f", also {', '.join(unused)}, which the procedure does not use" if unused else ""
        before.append(
            Task(
                f"First check that all outputs of {supply} read off{also}. Then switch on the master of "
                f"{supply}, and check that no output comes on."
            )
        )
    if contacts := contacts_first(documents):
        before.append(Task("Relays, while all outputs are off:", tuple(contacts)))
    later = _closed_later(documents, ups)
    groups = _groups(timeline, ups, later)
    if not groups:
        return before
    rising = list(_rising(documents, set_points, sources, groups, later))
    # 'All off' stands after the steps before, the one about trips, and those of switching on and verifying.
    place = len(before) + 1 + len(rising) + 1
    off = f"all outputs off, {'in the order of' if len(ups) > 1 else 'as in'} step {place}"
    down = list(_down(documents, set_points))
    if contacts := contacts_last(documents):
        down.insert(
            -1,
            Task("Relays, once the outputs read off; open or closed, they isolate nothing:", tuple(contacts)),
        )
    told = (replace(each, words=each.words.replace(ALL_OFF, off)) for each in rising)
    return [*before, Task(_trips(set_points, off)), *told, *down]


Happening = ComingUp | Stage | ContactChange


def _groups(timeline: Timeline, ups: Sequence[ComingUp], later: Mapping[str, int]) -> list[list[Happening]]:
    """What happens until every input is up, in order, grouped by what is one task: outputs that go on sooner
    after each other than a hand can keep; the stages of one input; contacts that are moved. later: see
    `_closed_later`.
    """
    stages = [stage for up in ups if up.at_once is None for stage in up.stages]
    rising: list[ComingUp | Stage] = [*ups, *stages]
    steps = [each.step for each in rising]
    last = max([*steps, *later.values()], default=0)
    moved = [each for each in timeline.contacts if steps and steps[0] < each.step <= last]
    happening: list[Happening] = [*rising, *moved]
    groups: list[list[Happening]] = []
    for each in sorted(happening, key=lambda each: (each.time, each.step)):
        before = groups[-1][-1] if groups else None
        if type(before) is type(each) and (
            before.input == each.input
            if isinstance(before, Stage) and isinstance(each, Stage)
            else not isinstance(each, ComingUp) or each.time - groups[-1][-1].time < HAND
        ):
            groups[-1].append(each)
        else:
            groups.append([each])
    return groups


def _closed_later(documents: Documents, ups: Sequence[ComingUp]) -> dict[str, int]:
    """Inputs that come up while a contact in their lead is open -> the step that closes it."""
    procedure, found = documents.procedure, {}
    for up in ups:
        leads = [lies for lies in lying(documents) if lies.input == up.input]
        stands = closed_after(leads, procedure.steps[: up.step + 1])
        for number, step in enumerate(procedure.steps[up.step + 1 :], up.step + 1):
            moves = step.relays.moves if step.relays is not None else ()
            if any((lies.name, True) in moves for lies in leads if not stands[lies.name]):
                found[up.input] = number
                break
    return found


def _rising(
    documents: Documents,
    set_points: SetPoints,
    sources: Mapping[str, FedInput],
    groups: Sequence[Sequence[Happening]],
    later: Mapping[str, int],
) -> Iterator[Task]:
    """Switching on, group by group, and what to verify. later: see `_closed_later`."""
    last: ComingUp | None = None
    levels: dict[str, float] = {}
    for group in groups:
        if stages := [each for each in group if isinstance(each, Stage)]:
            name = stages[0].input
            yield _climb(sources[name], set_points[name], stages)
        if moved := [each for each in group if isinstance(each, ContactChange)]:
            yield Task("Relays, while outputs are on:", tuple(contacts_moved(documents, moved)))
            for name in [name for name, step in later.items() if step == moved[-1].step and name in levels]:
                said = _verify(sources[name], set_points[name], levels[name])
                yield Task(f"Verify {name}: {said} If not: {ALL_OFF}.")
        ups = [each for each in group if isinstance(each, ComingUp)]
        if ups:
            yield _switching_on(documents, set_points, last, ups)
            last = ups[-1]
        for up in ups:
            if (stage := up.at_once) is not None:
                source, feed = sources[up.input], set_points[up.input]
                if up.input in later:
                    levels[up.input] = stage.voltage
                    said = f"{_exact(source, stage.voltage)} at the terminals, no current: its lead is open."
                    yield Task(f"Verify {up.input}: {said} If not: {ALL_OFF}.")
                    continue
                once, said = _once_charged(source, feed, stage.voltage), _verify(source, feed, stage.voltage)
                yield Task(f"Verify {up.input}{once}: {said} If not: {ALL_OFF}.")


def _switching_on(
    documents: Documents, set_points: SetPoints, last: ComingUp | None, ups: Sequence[ComingUp]
) -> Task:
    """Outputs that go on in one task. last: what went on before them."""
    ons = [_on(documents, set_points[up.input], up) for up in ups]
    waits = [] if last is not None else [""]
    for before, up in pairwise([last, *ups] if last is not None else ups):
        after = f"{show(up.time - before.time, 's')} after {_outputs(set_points[before.input])} came on, "
        waits.append(after)
    if len(ups) == 1:
        return Task(f"{waits[0]}{ons[0]}")
    gaps = {show(up.time - before.time, "s") for before, up in pairwise(ups)}
    if len(gaps) > 1:
        apart, ons[1:] = ",", [f"{wait}{on}" for wait, on in zip(waits[1:], ons[1:], strict=True)]
    else:
        alike = ups[0].time == ups[-1].time
        apart = " at the same time," if alike else f", {gaps.pop()} from one to the next,"
    begins = f"{waits[0]}switching on" if waits[0] else "Switching on"
    return Task(f"{begins}{apart} by the program or the supply: too quick by hand.", tuple(ons))


LOOKS = 12
"""How often the drop along a lead and the current that it makes are worked out in turn."""
MOST_STAGES = 6
"""Stages of one input that find room."""


def _climb(source: FedInput, feed: Feed, stages: Sequence[Stage]) -> Task:
    """The stages by which an input is led up, each with what to verify there."""
    quick = any(stage.over + stage.held < HAND for stage in stages)
    how = ", by the program or the supply (too quick by hand)," if quick else ""
    told = stages if len(stages) <= MOST_STAGES else (*stages[: MOST_STAGES - 1], stages[-1])
    parts = []
    for stage in told:
        over = f" in {show(stage.over, 's')}" if stage.over else " at once"
        if not stage.held and stage is not stages[-1]:
            parts.append(f"To {_to(feed, stage.voltage)}{over}, and on without a stop.")
            continue
        held = f", there for {show(stage.held, 's')}" if stage.held else ", which the procedure does not hold"
        once = _once_charged(source, feed, stage.voltage)
        expected = _expected(source, stage.voltage)
        said = [_exact(source, stage.voltage)] + ([_range(*expected)] if expected is not None else [])
        parts.append(f"To {_to(feed, stage.voltage)}{over}{held}{once}: {', '.join(said)}.")
    if more := len(stages) - len(told):
        parts.insert(-1, f"{more} more stages.")
    series = f", {_outputs(feed)} in series" if feed.arrangement == "series" else ""
    sums = " (the currents added up)" if feed.arrangement == "parallel" else ""
    return Task(
        f"{source.name}: raise {_together(feed)} as follows{how} and verify it {_where(feed)}{series}{sums}, "
        f"without a trip. If not: {ALL_OFF}.",
        tuple(parts),
    )


def _mastered(bench: Bench, set_points: SetPoints) -> Iterator[tuple[str, list[str]]]:
    """Supplies in use whose outputs deliver only while a switch over all of them is on, too, each with those
    of its outputs that feed nothing.
    """
    used = {points.output for feed in set_points.values() for points in feed.outputs}
    for name in dict.fromkeys(output.supply for output in used):
        if bench.supplies[name].dialect.master is not None:
            yield name, bench.unused_outputs(name, used)


def _coupled_limits(bench: Bench, set_points: SetPoints) -> Iterator[str]:
    """In which order limits are dialled in that move each other, a line for each group."""
    in_order = limits_in_order(bench, set_points)
    for _, _, used in tied_limits(bench, list(in_order)):
        told = [each for output in used for each in in_order[output]]
        steps = ", ".join(f"{output} {show(limit, 'A')}" for output, limit in told)
        yield (
            f"The current limits of {' and '.join(used)} move together: each to its lowest first, then, in "
            f"this order, {steps}."
        )


def _outputs(feed: Feed) -> str:
    return " and ".join(points.output for points in feed.outputs)


def _together(feed: Feed) -> str:
    return _outputs(feed) + (" together" if len(feed.outputs) > 1 else "")


def _trips(set_points: SetPoints, off: str) -> str:
    """What to do when an output trips: linked trips, and everything else."""
    linked = grouped((feed.trips_when, name) for name, feed in set_points.items() if feed.trips_when)
    said = [
        f"{' or '.join(causes)} trip, switch {' and '.join(follow)} off at once (linked trip), then what is "
        "still on"
        for causes, follow in linked.items()
    ]
    several = sum(len(feed.outputs) for feed in set_points.values()) > 1
    which = "anything else" if said else "any output" if several else "the output"
    return f"From here on: should {'. Should '.join([*said, f'{which} trip: {off}'])}."


def _on(documents: Documents, feed: Feed, up: ComingUp) -> str:
    """How the outputs of one input are switched on."""
    if up.input in fed_sources(documents.procedure, documents.device) and up.at_once is not None:
        return _on_source(documents, feed, up.at_once.voltage)
    minimum = "its voltage" if len(feed.outputs) == 1 else "their voltages"
    on = f"{_together(feed)}: switch on with {minimum} at minimum"
    if up.at_once is None:
        return f"{on}, and leave {'it' if len(feed.outputs) == 1 else 'them'} there."
    raised = {1: "raise it", 2: "raise both together"}.get(len(feed.outputs), "raise all together")
    return (
        f"{on}, then {raised} to {_to(feed, up.at_once.voltage)} {_how(up.at_once, feed, documents.bench)}."
    )


def _on_source(documents: Documents, feed: Feed, goal: float) -> str:
    """How the outputs are switched on of an input that has a source of its own and is fed with current."""
    lowest = documents.device.inputs[feed.input].never_under
    least = off_threshold(documents.device, feed.input) if lowest is None else lowest
    return (
        f"{_together(feed)}: while off, read what stands there: from {show(least, 'V')} on and below "
        f"{show(goal, 'V')}, with its plus at plus; if not, leave it off and take the lead away. Set that "
        f"voltage, switch on, then set {_to(feed, goal)}."
    )


def _to(feed: Feed, goal: float) -> str:
    """A voltage of an input, with the shares of outputs in series."""
    if feed.arrangement != "series":
        return show(goal, "V")
    shares = [show(goal * points.share, "V") for points in feed.outputs]
    each = f"{shares[0]} each" if len(set(shares)) == 1 else " and ".join(shares)
    return f"{each} ({show(goal, 'V')} in all)"


def _how(stage: Stage, feed: Feed, bench: Bench) -> str:
    """At which rise, for the outputs that can be told one and for those that cannot."""
    if stage.rate is None:
        return "at its own rise" if len(feed.outputs) == 1 else "at their own rise"
    slews = slew_range(feed, bench)
    return "at the rise in the table" if slews and not too_flat(stage.rate, slews) else "slowly, in steps"


def _where(feed: Feed) -> str:
    return "at the connector" if feed.sense == "at load" else "at the terminals"


def _exact(source: FedInput, goal: float) -> str:
    """A voltage, and within what its reading lies: set and read with their errors."""
    error = source.voltage_error(goal)
    if error is None:
        return show(goal, "V")
    assumed = " (the reading's error assumed)" if None in source.readings else ""
    within = round_up(error + reading_error(source, "voltage", goal))
    return f"{show(goal, 'V')} ± {show(within, 'V', 2)}{assumed}"


def _expected(source: FedInput, goal: float) -> Bounds | None:
    """Current that is read at a voltage to which an input has come up [A]: what is drawn where that is set
    with its error, read with its own; None: unknown.
    """
    # The declared steady current is that of a device that operates.
    declared = source.input.current.steady if goal in source.input.operating else None
    drawn = _drawn_at(source, goal) or declared
    if drawn is None:
        return None
    low, high = drawn.low, drawn.high
    least = low - reading_error(source, "current", low)
    return Bounds(max(0.0, least) if low >= 0.0 else least, high + reading_error(source, "current", high))


def _drawn_at(source: FedInput, goal: float) -> Bounds | None:
    """Current that its load model draws once the input has come up to a voltage that is set with its error
    [A]; None: unknown. A converter behind a lead that is not sensed draws more by what the lead drops.
    """
    off = source.voltage_error(goal) or 0.0
    if goal <= off:
        return None
    drawn = Bounds(0.0, 0.0)
    for _ in range(LOOKS):
        bottom, top = goal - off, goal + off
        if not source.senses:
            bottom, top = max(bottom - source.drop(drawn.high), 0.0), top - source.least_drop(drawn.low)
        found = source.rising_load.over(min(bottom, top), top, came_from=0.0)
        if found is None or found[0] == drawn:
            break
        drawn = found[0]
    return None if found is None else drawn


def _verify(source: FedInput, feed: Feed, goal: float) -> str:
    """What the readings should say once an input has come up to a voltage above 0 V."""
    both = "both" if len(feed.outputs) == 2 else "all"
    over = f", {_outputs(feed)} in series" if feed.arrangement == "series" else ""
    if source.fed_current is not None:
        limited = f"constant current of {show(source.fed_current, 'A')} at less than {show(goal, 'V')}"
        return f"{limited} {_where(feed)}{over}, or {show(goal, 'V')} and less current. No trip."
    said = [f"{_exact(source, goal)} {_where(feed)}{over}."]
    expected = _expected(source, goal)
    if feed.sense != "at load" and expected is not None and source.drop(expected.high) > 0.0:
        said.append(f"At the connector up to {show(round_up(source.drop(expected.high)), 'V', 2)} less.")
    amperes = _range(expected.low, expected.high) if expected is not None else ""
    if feed.arrangement == "series":
        said.append(f"The same current in {both}{f': {amperes}' if amperes else ''}.")
    elif feed.arrangement == "parallel":
        if amperes:
            said.append(f"The currents of {both} add up to {amperes}.")
        said.append(_shared(feed, expected.high if expected is not None else None))
    elif amperes:
        said.append(f"Current {amperes}.")
    said.append("No trip." if feed.arrangement == "parallel" else "Constant voltage, no trip.")
    return " ".join(said)


def _once_charged(source: FedInput, feed: Feed, goal: float) -> str:
    """From when on the readings should say that, where its capacitors take longer to charge than somebody
    takes to look: until then more flows, up to the limit.
    """
    takes = charged_after(source, feed.limit, goal) if goal > 0.0 and source.load.banks else 0.0
    if takes <= AT_ONCE or source.fed_current is not None:
        return ""
    within = f", in up to {show(takes, 's', 2)}" if math.isfinite(takes) else ""
    return f", once it is charged{within} (until then more may flow, up to {show(feed.limit, 'A')})"


def _shared(feed: Feed, most: float | None) -> str:
    """How outputs in parallel share a current of at most `most` [A]; None: unknown.

    They are never set exactly alike: the higher ones give up to their limit, and the lowest one regulates
    (common practice, no source; docs/hook-up.md says the same, and the rehearsal has it so).
    """
    limit = min(points.current_limit for points in feed.outputs)
    regulates = all(points.at_limit == "regulate" for points in feed.outputs)
    if most is None or most > limit:
        if not regulates:
            return "One of them may reach its limit, and then trips."
        if len(feed.outputs) == 2:
            return "One of them may show constant current; the other then regulates the voltage."
        return "All but one of them may show constant current; the one left then regulates the voltage."
    return "One of them may carry nearly all of it; constant voltage."


def _range(low: float, high: float) -> str:
    ends = [show(low, "A", 3), show(high, "A", 3)]
    return " to ".join(dict.fromkeys(ends))


def _down(documents: Documents, set_points: SetPoints) -> Iterator[Task]:
    """Off, and when anything may be touched."""
    steps, limits = documents.procedure.steps, documents.procedure.limits
    down = next((step.power_down for step in reversed(steps) if step.power_down is not None), None)
    staying = [name for name in set_points if limits[name].at_end.kind == "stays_on"]
    names = off_order(documents.procedure, documents.device, tuple(set_points))
    told = down.order if down is not None else ()
    going = [name for name in names if name not in staying]
    order = [_off(documents.device, set_points, limits, name, name in told) for name in going]
    every = "All off" if not staying else "Off"
    if len(order) == 1:
        yield Task(f"{every}: {order[0]}.")
    elif order:
        gap = f" ({show(down.gap, 's')} apart)" if down is not None and down.gap else ""
        yield Task(f"{every} in this order{gap}: {', then '.join(order)}.")
    kept = {points.output.supply for name in staying for points in set_points[name].outputs}
    for supply, _ in _mastered(documents.bench, set_points):
        if supply not in kept:
            yield Task(f"Master switch of {supply} off.")
    for name in staying:
        yield Task(f"{_together(set_points[name])}: stays on, because: {limits[name].at_end.stays_on}.")
    yield from _after_mains(documents.bench, set_points)
    which = "every output" if not staying else "every output, also one that stayed on,"
    yield Task(
        f"Before anything is touched or unplugged: {which} below {show(OFF_BELOW, 'V')}, by its reading"
        f"{_held(documents, set_points)}."
    )


def _after_mains(bench: Bench, set_points: SetPoints) -> Iterator[Task]:
    """What is to be done after a mains failure, where a supply does not stay off then, or may not."""
    supplies = dict.fromkeys(p.output.supply for feed in set_points.values() for p in feed.outputs)
    for words, does in (("comes on by itself", "comes on"), ("may come on by itself", None)):
        named = [name for name in supplies if bench.supplies[name].after_mains == does]
        if named:
            yield Task(
                f"Should the mains fail: switch off the mains of {' and '.join(named)} before they return. "
                f"Each {words} then, as it was before."
            )


def _held(documents: Documents, set_points: SetPoints) -> str:
    """What a device's own source keeps at outputs, whatever is switched off."""
    held = {name: held_voltage(documents.device, name) for name in set_points}
    said = [
        f"{_outputs(set_points[name])} stays at up to {show(reach[1], 'V')}, which the device itself holds: "
        "cover it"
        for name, reach in held.items()
        if reach is not None
    ]
    return f"; but {'; '.join(said)}" if said else ""


def _off(
    device: Device, set_points: SetPoints, limits: Mapping[str, Limits], name: str, at_once: bool
) -> str:
    """How the outputs of one input are switched off, and what has to be off before. at_once: a power_down
    does it, which leads nothing down.
    """
    own, said = limits[name], []
    before = [_outputs(set_points[other]) for other in own.off_after if other in set_points]
    if before:
        read = "reads" if len(before) == 1 else "read"
        below = min(off_threshold(device, other) for other in own.off_after if other in set_points)
        said.append(f"once {' and '.join(before)} {read} off, below {show(below, 'V')}")
    if own.at_end.ramp_down is not None and not at_once:
        said.append(f"lowered to 0 V in {show(own.at_end.ramp_down, 's')} first")
    return _together(set_points[name]) + (f" ({'; '.join(said)})" if said else "")
