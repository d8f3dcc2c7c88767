"""Rehearsed rules about standards' tests: does the output keep to what the standard asks of its generator?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from railwright.documents.standard_tests import permitted_of, pieces_of
from railwright.plan.delivery import deliveries
from railwright.quantities import show
from railwright.rehearsal.generator import edges_into_load
from railwright.rehearsal.playback import PlayedShape, ahead, playback
from railwright.settings.findings import Severity
from railwright.settings.rehearsed.view import Rehearsed
from railwright.settings.rule import Hit, Outcome, rule
from railwright.waveforms.deviation import Edge
from railwright.waveforms.standards import Permitted


@rule("standard-missed", Severity.CAUTION)
def standard_missed(rehearsed: Rehearsed) -> Outcome:
    """Edges, overshoot or level of a standard's test lie outside what the standard permits the generator."""
    context = rehearsed.context
    shapes = (step.shape for step in context.procedure.steps if step.shape is not None)
    tested = (permitted_of(context.procedure, each) for shape in shapes for each in shape.waveforms.values())
    if all(permitted is None for permitted in tested):
        return
    early = ahead(deliveries(context.timeline, context.feeds, context.bench))
    for played in playback(context.timeline, rehearsed.record, early=early):
        shape = context.procedure.steps[played.step].shape
        if shape is None or played.input not in context.feeds or not played.edges:
            continue
        waveform = shape.waveforms[played.input]
        permitted = permitted_of(context.procedure, waveform)
        if permitted is None:
            continue
        nominal = context.device.inputs[played.input].nominal
        into_load: tuple[Edge, ...] = ()
        if permitted.load is not None:
            pieces = pieces_of(context.procedure, context.device, shape, played.input)
            feed = context.feeds[played.input]
            into_load = edges_into_load(context.documents, feed, pieces, nominal, permitted.load)
        missed = list(_missed(permitted, played, into_load, nominal))
        if missed:
            inside = ("inputs", played.input) if shape.inputs is not None else ()
            yield Hit(
                played.input,
                ("procedure", "steps", played.step, "shape", *inside, "standard"),
                f"rehearsed, '{played.span.name}' ({waveform.standard}): {'; '.join(missed)} "
                f"({permitted.cited})",
                "state the deviation with the result, or take a generator that switches fast between two "
                "supplies",
            )


def _missed(
    permitted: Permitted, played: PlayedShape, into_load: Sequence[Edge], nominal: float
) -> Iterator[str]:
    """What is not kept, with figures; nothing where all is."""
    at_load = f"into {show(permitted.load, 'ohm')} " if permitted.load is not None else ""
    decides = into_load or played.edges
    if permitted.edge is not None:
        shortest, longest = permitted.edge
        if not all(e.duration is not None and shortest <= e.duration <= longest for e in decides):
            asked = (
                f"{show(shortest, 's')} to {show(longest, 's')}"
                if shortest
                else f"{show(longest, 's')} or less"
            )
            got = [f"{at_load}{_durations(into_load)}"] if into_load else []
            got.append(f"at the input {_durations(played.edges)}")
            yield f"edges of {asked} are missed: {', '.join(got)}"
    if permitted.overshoot is not None:
        largest = max(each.overshoot or 0.0 for each in decides)
        if largest > permitted.overshoot:
            limit = f"{permitted.overshoot:.0%} is permitted"
            yield f"overshoot is {largest:.1%} of the change {at_load}({limit})"
    if permitted.level is not None:
        worst = max((each.error for each in played.edges), key=abs)
        if abs(worst) > permitted.level * abs(nominal):
            yield (
                f"the level is off by {show(worst, 'V')}, {abs(worst / nominal):.1%} of the rated voltage, "
                f"when its time is over (±{permitted.level:.0%} is permitted)"
            )


def _durations(edges: Sequence[Edge]) -> str:
    """'9.6 ms down and 1.2 ms up': the longest transition durations, 10 to 90 %."""
    said = []
    for word, own in (
        ("down", [each for each in edges if each.asked.goal < each.asked.start]),
        ("up", [each for each in edges if each.asked.goal > each.asked.start]),
    ):
        if not own:
            continue
        known = [each.duration for each in own if each.duration is not None]
        if not all(each.reached for each in own):
            short = max((each for each in own if not each.reached), key=lambda each: abs(each.error))
            instead = f"it gets to {show(short.after, 'V')} instead of {show(short.asked.goal, 'V')}"
            said.append(f"{word} not to 90 %: {instead}")
        elif not known:
            said.append(f"no edge {word}")
        else:
            rest = "" if all(each.settled for each in own) else ", not settled"
            said.append(f"{show(max(known), 's')} {word}{rest}")
    return " and ".join(said)
