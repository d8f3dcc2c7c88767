"""Rules about how set points reach the outputs: timed by the host, or by the outputs' own point lists."""

from __future__ import annotations

import math
from collections.abc import Iterator

from railwright.documents.standard_tests import pieces_of
from railwright.plan.delivery import TOLERANCE, Delivery
from railwright.plan.host import by_host
from railwright.plan.listing import shape_actions
from railwright.plan.stairs import EXACT, exchange_of, slew_range
from railwright.plan.timeline import Action, Timeline
from railwright.quantities import state
from railwright.settings.context import Context
from railwright.settings.findings import Severity, most
from railwright.settings.rule import Hit, Outcome, Path, rule
from railwright.settings.slower import slower
from railwright.waveforms.shapes import flat

LOW_STAIR = 0.05
"""Part of a shape's span up to which the stairs of a line count as the line (chosen)."""


def _delivered(context: Context) -> Iterator[tuple[Delivery, Path, str]]:
    """Every delivery with where its shape is written, and its step's name."""
    for each in context.deliveries:
        path = _shape_path(context, each.step, each.input)
        yield each, path, context.timeline.spans[each.step].name


def _shape_path(context: Context, step: int, name: str) -> Path:
    """Where a shape, or its part for one input, is written."""
    shape = context.procedure.steps[step].shape
    return ("procedure", "steps", step, "shape", *(shape.at(name) if shape is not None else ()))


@rule("shape-not-served", Severity.CAUTION, on_sheet=False, worst=most("deviation", over="tolerance"))
def shape_not_served(context: Context) -> Outcome:
    """Neither the host nor the outputs' own point list keeps a shape within 1 % of its span."""
    for each, path, name in _delivered(context):
        stops = each.far_off or (each.by == "host" and each.host.left_out)
        if not each.serves and not stops and not _as_a_line(context, each):
            yield Hit(
                each.input,
                path,
                state(
                    "'{step}' is played off by up to {deviation}, {tolerance} is accepted: {why}",
                    step=name,
                    deviation=(each.error, "V"),
                    tolerance=(each.tolerance, "V"),
                    why=each.why,
                ),
                each.remedy,
            )


def _as_a_line(context: Context, each: Delivery) -> bool:
    """Whether a shape is off by no more than low stairs of its lines, of which 'ramp-in-stairs' tells."""
    rows = context.sources[each.input].rows
    told = any(output.slew is None for output in rows) and each.figures is None
    low = each.error <= (LOW_STAIR / TOLERANCE) * each.tolerance * (1.0 + EXACT)
    return each.by == "host" and each.host.in_stairs and told and low


@rule("capture-not-played", Severity.STOP)
def capture_not_played(context: Context) -> Outcome:
    """What would be played is no longer the captured waveform: an edge is missing, a flat stretch is off by
    more than 10 % of the span, or all of it by more than 5 % r.m.s.
    """
    for each, path, name in _delivered(context):
        if each.far_off and not (each.by == "host" and each.host.left_out):
            yield Hit(
                each.input,
                path,
                state(
                    "'{step}' would not be the capture: {missed}; {why}",
                    step=name,
                    missed=each.far_off,
                    why=each.why,
                ),
                each.remedy,
            )


@rule("host-cannot-keep", Severity.STOP, worst=most("left_out"))
def host_cannot_keep(context: Context) -> Outcome:
    """Set points are asked of the host that follow each other sooner than it can send and verify them."""
    for number, name, path, asked, left_out, closest, lacks in _too_soon(context):
        step, shape = context.timeline.spans[number].name, context.procedure.steps[number].shape
        pieces = flat(pieces_of(context.procedure, context.device, shape, name)) if shape is not None else ()
        source = context.sources[name]
        apart = exchange_of(source.outputs, context.bench)
        supplies = dict.fromkeys(output.supply for output in source.outputs)
        unknown = [supply for supply in supplies if context.bench.supplies[supply].exchange is None]
        taken = (
            state(" (taken: the bench gives no 'exchange' of {supplies})", supplies=", ".join(unknown))
            if unknown
            else ""
        )
        yield Hit(
            name,
            path,
            state(
                "'{step}' asks for {set_points} set points of {input}, {closest} apart at the closest; the "
                "host keeps {exchange} between two{taken}: it would leave out {left_out} of them{lacks}",
                step=step,
                set_points=asked,
                input=name,
                closest=(closest, "s"),
                exchange=(apart, "s"),
                taken=taken,
                left_out=left_out,
                lacks=lacks,
            ),
            f"{slower(pieces, step, apart, closest)}; or play it from outputs with a point list that holds "
            "it, or from a supply with a shorter exchange",
        )


def _too_soon(context: Context) -> Iterator[tuple[int, str, Path, int, int, float, str]]:
    """Steps of which the host would leave out set points: position of the step, input, where it is
    written; set points asked for, and left out; time between the closest two [s]; and why no list plays
    them, in words.
    """
    delivered = {(each.step, each.input): each for each in context.deliveries}
    ends = _at_the_end(context.timeline)
    for (step, name), own in shape_actions(context.timeline).items():
        draft, delivery = context.drafts.get(name), delivered.get((step, name))
        if draft is None or (delivery is not None and delivery.by == "list"):
            continue
        last = ends.get((step, name), [])
        if delivery is None or last:
            apart = exchange_of(context.sources[name].outputs, context.bench)
            waits = [wait.time for wait in context.timeline.waits if wait.step == step]
            slews = slew_range(draft.feed, context.bench)
            actions = own.actions if delivery is None or delivery.actions is None else delivery.actions
            host = by_host([*actions, *last], own.level, slews, apart, waits)
        else:
            host = delivery.host
        if delivery is not None and delivery.figures is not None and delivery.serves and not last:
            continue  # what is left out of a captured waveform does not show
        if host.left_out and (delivery is None or host.error > delivery.tolerance):
            lacks = state("; {lacks}", lacks=delivery.lacks) if delivery and delivery.lacks else ""
            path = _shape_path(context, step, name)
            yield step, name, path, host.asked, host.left_out, host.closest, lacks
    for index, step_ in enumerate(context.procedure.steps):
        sweep = step_.sweep
        if sweep is None or sweep.input not in context.sources:
            continue
        apart = exchange_of(context.sources[sweep.input].outputs, context.bench)
        every = math.ceil(min(apart / sweep.dwell, float(sweep.points)) * (1.0 - EXACT))
        left_out = sweep.points - math.ceil(sweep.points / max(1, every))
        if left_out:
            path = ("procedure", "steps", index, "sweep", "dwell")
            yield index, sweep.input, path, sweep.points, left_out, sweep.dwell, ""


def _at_the_end(timeline: Timeline) -> dict[tuple[int, str], list[Action]]:
    """(position of a shape's step, input) -> what the shape does at its very end: `shape_actions` leaves that
    to the next step.
    """
    found: dict[tuple[int, str], list[Action]] = {}
    for action in timeline.actions:
        span = timeline.spans[action.step]
        if span.kind == "shape" and action.time >= span.end:
            found.setdefault((action.step, action.input), []).append(action)
    return found


@rule("shape-by-list", Severity.NOTE)
def shape_by_list(context: Context) -> Outcome:
    """A shape is played by the outputs' own point list, because the host cannot keep its times."""
    for each, path, name in _delivered(context):
        if each.serves and each.listing is not None:
            yield Hit(
                each.input,
                path,
                state("'{step}' is played by the outputs' own point list: {why}", step=name, why=each.why),
                "nothing to do; the list is verified before anything is energised",
            )
