"""Rehearsed rules about standards' tests: does the output keep to what the standard asks of its generator?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from railwright.documents.standard_tests import permitted_of, pieces_in_step
from railwright.plan.delivery import deliveries
from railwright.plan.timeline import StandardTurn
from railwright.quantities import Statement, joined, named, state
from railwright.rehearsal.generator import edges_into_load
from railwright.rehearsal.playback import PlayedShape, ahead, playback
from railwright.settings.findings import Severity
from railwright.settings.rehearsed.view import Rehearsed
from railwright.settings.rule import Hit, Outcome, rule
from railwright.settings.rules.shapes import waveforms
from railwright.waveforms.deviation import Edge
from railwright.waveforms.standards import Permitted

START_LEVEL = 0.05
"""± part of its own level within which a standard's test begins, where the standard says nothing (common
practice, no source).
"""

START_WATCHED = 0.1
"""Part of the time at that level, at its end, in which the voltage has to be within it."""


@rule("standard-start", Severity.STOP)
def standard_start(rehearsed: Rehearsed) -> Outcome:
    """The voltage at the input is not at a standard's own level (U_T) when its test leaves it."""
    context = rehearsed.context
    worst: dict[tuple[int, str], tuple[float, float, StandardTurn]] = {}
    for turn in context.timeline.tests:
        traces = rehearsed.record.traces.get(turn.input)
        if traces is None or turn.input not in context.feeds or turn.start > rehearsed.record.played_until:
            continue
        since = turn.start - START_WATCHED * max(0.0, turn.start - turn.arrived)
        inside = traces.time.searchsorted([since, turn.start], side="right")
        voltages = traces.columns["voltage"][max(0, int(inside[0]) - 1) : int(inside[1])]
        if not voltages.size:
            continue
        off = voltages - turn.level
        largest = float(off[abs(off).argmax()])
        if abs(largest) > abs(worst.get((turn.step, turn.input), (0.0,))[0]):
            worst[turn.step, turn.input] = largest, turn.start, turn
    placed = {(step, source.name): (here, waveform) for step, here, source, waveform in waveforms(context)}
    for (step, name), (largest, at, turn) in worst.items():
        here, waveform = placed[step, name]
        permitted = permitted_of(context.procedure, waveform)
        part = permitted.level if permitted is not None and permitted.level else START_LEVEL
        nominal = abs(context.device.inputs[name].nominal)
        if abs(largest) > part * nominal:
            yield Hit(
                name,
                (*here, "standard"),
                state(
                    "rehearsed, '{step}' ({test}) leaves its level of {level} at {at} while the input is at "
                    "{voltage}, {part:.1%} of the rated voltage off (±{permitted:.0%} is permitted)",
                    step=context.timeline.spans[step].name,
                    test=waveform.standard or "",
                    level=(turn.level, "V"),
                    at=(at, "s"),
                    voltage=(turn.level + largest, "V"),
                    part=(abs(largest) / nominal, "1"),
                    permitted=(part, "1"),
                ),
                "lengthen 'pause_between', put a 'hold' at this level before the step, or resolve what keeps "
                "the input from it",
            )


@rule("standard-missed", Severity.CAUTION, on_sheet=False)
def standard_missed(rehearsed: Rehearsed) -> Outcome:
    """Edges, overshoot or level of a standard's test lie outside what the standard permits the generator."""
    context = rehearsed.context
    tested = {
        (step, source.name): (permitted, here, waveform.standard)
        for step, here, source, waveform in waveforms(context)
        if (permitted := permitted_of(context.procedure, waveform)) is not None
    }
    if not tested:
        return
    early = ahead(deliveries(context.timeline, context.feeds, context.bench))
    for played in playback(context.timeline, rehearsed.record, early=early):
        feed, asked = context.feeds.get(played.input), tested.get((played.step, played.input))
        if feed is None or asked is None or not played.edges:
            continue
        permitted, here, test = asked
        nominal = context.device.inputs[played.input].nominal
        into_load: tuple[Edge, ...] = ()
        if permitted.load is not None:
            pieces = pieces_in_step(context.procedure, context.device, played.step, played.input)
            into_load = edges_into_load(context.documents, feed, pieces, nominal, permitted.load)
        missed = list(_missed(permitted, played, into_load, nominal))
        if missed:
            yield Hit(
                played.input,
                (*here, "standard"),
                state(
                    "rehearsed, '{step}' ({test}): {missed} ({cited})",
                    step=played.span.name,
                    test=test or "",
                    missed=joined("; ", missed),
                    cited=permitted.cited,
                ),
                "state the deviation with the result, or take a generator that switches fast between two "
                "supplies",
            )


def _missed(
    permitted: Permitted, played: PlayedShape, into_load: Sequence[Edge], nominal: float
) -> Iterator[Statement]:
    """What is not kept, with figures; nothing where all is."""
    at_load = state("into {load} ", load=(permitted.load, "ohm")) if permitted.load is not None else ""
    decides = into_load or played.edges
    if permitted.edge is not None:
        shortest, longest = permitted.edge
        if not all(e.duration is not None and shortest <= e.duration <= longest for e in decides):
            yield _edges_missed(shortest, longest, at_load, into_load, played.edges)
    if permitted.overshoot is not None:
        largest = max(each.overshoot or 0.0 for each in decides)
        if largest > permitted.overshoot:
            yield state(
                "overshoot is {overshoot:.1%} of the change {at_load}"
                "({permitted_overshoot:.0%} is permitted)",
                overshoot=(largest, "1"),
                at_load=at_load,
                permitted_overshoot=(permitted.overshoot, "1"),
            )
    if permitted.level is not None:
        worst = max((each.error for each in played.edges), key=abs)
        if abs(worst) > permitted.level * abs(nominal):
            yield state(
                "the level is off by {level_error}, {part_of_rated:.1%} of the rated voltage, when its time "
                "is over (±{permitted_level:.0%} is permitted)",
                level_error=(worst, "V"),
                part_of_rated=(abs(worst / nominal), "1"),
                permitted_level=(permitted.level, "1"),
            )


def _edges_missed(
    shortest: float, longest: float, at_load: str, into_load: Sequence[Edge], at_input: Sequence[Edge]
) -> Statement:
    """That edges are not as short or as long [s] as is asked. at_load: the load that they are meant at."""
    asked = (
        state("{shortest} to {longest}", shortest=(shortest, "s"), longest=(longest, "s"))
        if shortest
        else state("{longest} or less", longest=(longest, "s"))
    )
    got = [state("at the input {durations}", durations=_durations(at_input, "input"))]
    if into_load:
        got.insert(0, state("{at_load}{durations}", at_load=at_load, durations=_durations(into_load, "load")))
    return state("edges are to take {asked}: {got}", asked=asked, got=joined(", ", got))


def _durations(edges: Sequence[Edge], place: str) -> Statement:
    """'9.6 ms down and 1.2 ms up': the longest transition durations at a place, 10 to 90 %."""
    down = [each for each in edges if each.asked.goal < each.asked.start]
    up = [each for each in edges if each.asked.goal > each.asked.start]
    ways = ((down, "down", f"{place}_fall"), (up, "up", f"{place}_rise"))
    return joined(" and ", (_longest(own, way, name) for own, way, name in ways if own))


def _longest(edges: Sequence[Edge], way: str, name: str) -> Statement:
    """The longest transition duration of some edges, or that one does not get to 90 %. name: of its figures,
    in front.
    """
    if not all(each.reached for each in edges):
        short = max((each for each in edges if not each.reached), key=lambda each: abs(each.error))
        return state(
            "{way} not to 90 %: it gets to {reached} instead of {goal}",
            way=way,
            reached=named(f"{name}_reached", short.after, "V"),
            goal=named(f"{name}_goal", short.asked.goal, "V"),
        )
    known = [each.duration for each in edges if each.duration is not None]
    if not known:
        return state("no edge {way}", way=way)
    rest = "" if all(each.settled for each in edges) else ", not settled"
    duration = named(f"{name}_time", max(known), "s")
    return state("{duration} {way}{rest}", duration=duration, way=way, rest=rest)
