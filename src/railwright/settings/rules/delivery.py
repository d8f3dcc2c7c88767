"""Rules about how set points reach the outputs: timed by the host, or by the outputs' own point lists."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import NamedTuple

from railwright.documents.standard_tests import pieces_in_step
from railwright.evaluation.played import LATE_PART, allowed_lateness, least_segment
from railwright.grouping import grouped
from railwright.plan.delivery import TOLERANCE, Delivery
from railwright.plan.host import by_host
from railwright.plan.line_time import link_time
from railwright.plan.linking import look_interval
from railwright.plan.listing import shape_actions
from railwright.plan.sending import HOST_TIMED
from railwright.plan.stairs import AT_ONCE, EXACT, STAIR, exchange_of, slew_range
from railwright.quantities import joined, round_down, show, state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule, with_seen
from railwright.settings.rules.shapes import shape_path
from railwright.waveforms.shapes import CHORDS, Hold, Line, Piece, Ripple, flat

LOW_STAIR = 0.05
"""Part of a shape's span up to which the stairs of a line count as the line (chosen)."""


def _delivered(context: Context) -> Iterator[tuple[Delivery, Path, str]]:
    """Every delivery with where its shape is written, and its step's name."""
    return (
        (each, shape_path(context, each.step, each.input), context.timeline.spans[each.step].name)
        for each in context.plan.deliveries
    )


@rule("shape-not-served", Severity.CAUTION, on_sheet=False, worst=Ranking("deviation", over="tolerance"))
@of_every(with_seen(_delivered))
def shape_not_served(context: Context, each: Delivery, path: Path, name: str) -> Outcome:
    """Neither the host nor the outputs' own point list keeps a shape within 1 % of its span."""
    stops = each.far_off or (each.by == "host" and not each.host.keeps)
    if not each.serves and not stops and not _as_a_line(context, each):
        yield Hit(
            each.input,
            path,
            state(
                "'{step}' is played up to {deviation} off what is asked; {tolerance} is accepted: {why}",
                step=name,
                deviation=(each.error, "V"),
                tolerance=(each.tolerance, "V"),
                why=each.why,
            ),
            each.remedy,
        )


def _as_a_line(context: Context, each: Delivery) -> bool:
    """Whether a shape is off by no more than low stairs of its lines, of which 'ramp-in-stairs' tells."""
    if each.by != "host" or not each.host.in_stairs or each.figures is not None:
        return False
    told = any(output.slew is None for output in context.sources[each.input].rows)
    return told and each.error <= (LOW_STAIR / TOLERANCE) * each.tolerance * (1.0 + EXACT)


@rule("capture-not-played", Severity.STOP)
@of_every(_delivered)
def capture_not_played(each: Delivery, path: Path, name: str) -> Outcome:
    """What would be played is no longer the captured waveform: an edge is missing, a flat stretch is off by
    more than 10 % of the span, or all of it by more than 5 % r.m.s.
    """
    if each.far_off and not (each.by == "host" and not each.host.keeps):
        yield Hit(
            each.input,
            path,
            state(
                "'{step}' would not be played as captured: {missed}; {why}",
                step=name,
                missed=each.far_off,
                why=each.why,
            ),
            each.remedy,
        )


@rule("host-cannot-keep", Severity.STOP, worst=Ranking("left_out"))
def host_cannot_keep(context: Context) -> Outcome:
    """Set points are asked of the host that follow each other sooner than it can send and verify them."""
    for each in (*_shapes_too_soon(context), *_sweeps_too_soon(context)):
        step, source = context.timeline.spans[each.step].name, context.sources[each.input]
        pieces = flat(pieces_in_step(context.procedure, context.device, each.step, each.input))
        apart = exchange_of(source.outputs, context.bench)
        unknown = _no_exchange(context, source)
        taken = (
            state(" (taken: the bench gives no 'exchange' of {supplies})", supplies=", ".join(unknown))
            if unknown
            else ""
        )
        left_out = context.plan.sending.left_out[each.step, each.input]
        late = context.plan.sending.late[each.step, each.input]
        others = state("send set points up to {late} late", late=(late, "s")) if late > AT_ONCE else ""
        missed = state("leave out {left_out} of them", left_out=left_out) if left_out else ""
        change = (
            slower(pieces, step, apart, each.closest)
            if each.alone
            else f"play the inputs of '{step}' one after the other, or their set points further apart"
        )
        yield Hit(
            each.input,
            each.path,
            state(
                "'{step}' asks for {set_points} set points of {input}, {closest} apart at the closest; the "
                "host keeps {exchange} between two{taken}: it would {kept}{lacks}",
                step=step,
                set_points=each.asked,
                input=each.input,
                closest=(each.closest, "s"),
                exchange=(apart, "s"),
                taken=taken,
                kept=joined(" and ", [told for told in (missed, others) if told]),
                lacks=each.lacks,
            ),
            f"{change}; or play it from outputs with a point list that holds it, or from a supply with a "
            "shorter exchange",
        )


@rule(
    "readings-between-set-points", Severity.CAUTION, on_sheet=False, worst=Ranking("late", over="permitted")
)
def readings_between_set_points(context: Context) -> Outcome:
    """Set points share the link to their supply with the questions for its readings: one that is due while an
    answer is under way waits for it, and where both ask for more than the link's time, some of them are left
    out. Where a set point comes late by more than an evaluation permits, its step's requirements stay open.
    """
    look = look_interval(context.procedure.record.every)
    listed = _listed(context)
    for step, name in _host_timed(context):
        source, span = context.sources.get(name), context.timeline.spans[step]
        hangs = [each.name for each in context.procedure.requires if each.during == span.name]
        if source is None or not hangs or context.plan.sending.misses(step, name):
            continue
        # The run is judged by the shortest segment of all inputs.
        shortest = least_segment(span, context.timeline, {of for at, of in listed if at == step})
        permitted, apart = allowed_lateness(shortest), exchange_of(source.outputs, context.bench)
        if apart <= permitted * (1.0 + EXACT):
            continue
        path = _where_timed(context, step, name)
        supplies = context.bench.supplies
        # A line that is slower than what is taken tells it by itself.
        if unknown := [each for each in _no_exchange(context, source) if link_time(supplies[each]) <= STAIR]:
            yield Unknown(
                unknown[0],
                ("bench", "supplies", unknown[0]),
                "exchange",
                f"whether the set points of '{span.name}' come in time beside the readings",
            )
            continue
        segment = least_segment(replace(span, inputs=(name,)), context.timeline, ())
        part = apart / segment + apart / look
        yield Hit(
            name,
            path,
            state(
                "'{step}' sets {input} every {closest} at the closest, and readings are asked for every "
                "{look}: on one link, {exchange} each{full}. A set point that meets a reading comes up to "
                "{late} late; later than {permitted}{by}, it leaves {hangs} inconclusive",
                step=span.name,
                input=name,
                closest=(segment, "s"),
                look=(look, "s"),
                exchange=(apart, "s"),
                full=state(", {part:.0%} of its time, so that some are left out", part=(part, "1"))
                if part > 1.0
                else "",
                late=(apart, "s"),
                permitted=(permitted, "s"),
                by=state(" (by the shortest segment of all inputs, {shortest})", shortest=(shortest, "s"))
                if shortest < segment
                else "",
                hangs=joined(" and ", (state("'{required}'", required=each) for each in hangs)),
            ),
            f"space the set points of '{span.name}' by {show(apart / LATE_PART, 's', 2)} or more, use "
            "outputs with a point list that holds them, or a supply with a shorter exchange",
        )


def _listed(context: Context) -> set[tuple[int, str]]:
    """Steps, each with an input of which a point list plays the set points."""
    return {(each.step, each.input) for each in context.plan.deliveries if each.listing is not None}


def _host_timed(context: Context) -> Iterator[tuple[int, str]]:
    """Steps whose set points the host times, each with an input of which no point list plays them."""
    listed = _listed(context)
    for step, span in enumerate(context.timeline.spans):
        if span.kind in HOST_TIMED:
            yield from ((step, name) for name in span.inputs if (step, name) not in listed)


def _no_exchange(context: Context, source: FedInput) -> list[str]:
    """The supplies of an input of which the bench gives no time for an exchange."""
    supplies = dict.fromkeys(output.supply for output in source.outputs)
    return [each for each in supplies if context.bench.supplies[each].exchange is None]


def _where_timed(context: Context, step: int, name: str) -> Path:
    """Where what the host times of an input in a step is written."""
    if context.procedure.steps[step].sweep is not None:
        return ("procedure", "steps", step, "sweep", "dwell")
    return shape_path(context, step, name)


class _TooSoon(NamedTuple):
    """What the host is asked too soon of one input in one step.

    asked: set points. closest: time between the closest two [s]. lacks: why no list plays them, in words.
    alone: whether they come too soon by themselves, and not only beside those of other inputs.
    """

    step: int
    input: str
    path: Path
    asked: int
    closest: float
    lacks: str
    alone: bool


def _shapes_too_soon(context: Context) -> Iterator[_TooSoon]:
    """Shapes of which the host would leave out set points."""
    delivered = {(each.step, each.input): each for each in context.plan.deliveries}
    # What a shape does at its very end, which `shape_actions` leaves to the next step.
    ends = grouped(
        ((action.step, action.input), action)
        for action in context.timeline.actions
        if (span := context.timeline.spans[action.step]).kind == "shape" and action.time >= span.end
    )
    for (step, name), own in shape_actions(context.timeline).items():
        if not context.plan.sending.misses(step, name):
            continue
        delivery, last = delivered.get((step, name)), ends.get((step, name), [])
        if delivery is None or last:
            apart = exchange_of(context.sources[name].outputs, context.bench)
            waits = [wait.time for wait in context.timeline.waits if wait.step == step]
            slews = slew_range(context.drafts[name], context.bench)
            actions = own.actions if delivery is None or delivery.actions is None else delivery.actions
            host = by_host([*actions, *last], own.level, slews, apart, waits)
        else:
            host = delivery.host
        if delivery is not None and (
            (host.error <= delivery.tolerance and not host.keeps)
            # What is left out of a captured waveform does not show.
            or (delivery.figures is not None and delivery.serves and not last)
        ):
            continue
        lacks = state("; {lacks}", lacks=delivery.lacks) if delivery and delivery.lacks else ""
        if host.keeps:
            others = sorted(other for at, other in context.plan.sending.levels if (at, other) != (step, name))
            lacks = state("; it sends those of {others} between them", others=", ".join(others))
        yield _TooSoon(
            step,
            name,
            shape_path(context, step, name),
            host.asked,
            host.closest,
            lacks,
            alone=not host.keeps,
        )


def _sweeps_too_soon(context: Context) -> Iterator[_TooSoon]:
    """Sweeps of which the host would leave out points."""
    for index, step in enumerate(context.procedure.steps):
        sweep = step.sweep
        if sweep is not None and context.plan.sending.misses(index, sweep.input):
            yield _TooSoon(
                index,
                sweep.input,
                ("procedure", "steps", index, "sweep", "dwell"),
                sweep.points,
                sweep.dwell,
                "",
                alone=True,
            )


@rule("shape-by-list", Severity.NOTE)
@of_every(_delivered)
def shape_by_list(each: Delivery, path: Path, name: str) -> Outcome:
    """A shape is played by the outputs' own point list, because the host cannot keep its times."""
    if each.serves and each.listing is not None:
        yield Hit(
            each.input,
            path,
            state("'{step}' is played by the outputs' own point list: {why}", step=name, why=each.why),
            "nothing to do; the list is verified before anything is energised",
        )


def slower(pieces: Iterable[Piece], step: str, apart: float, closest: float) -> str:
    """The change of a step with which none of its set points comes sooner than the host keeps.

    pieces: of a shape, as `shapes.flat` gives them; those that say nothing of what to change are an
    exponential and what is switched off. step: its name. apart: shortest time between two set points that the
    host keeps [s]; closest: that is asked for [s].
    """
    changes: list[str] = []
    for piece in pieces:
        if isinstance(piece, Ripple):
            changes += _ripple(piece, step, apart)
        elif isinstance(piece, Hold | Line) and 0.0 < piece.duration < apart * (1.0 - EXACT):
            changes.append(f"make every hold and line of '{step}' {show(apart, 's')} or longer")
    if not changes:
        times = math.ceil(10.0 * apart / max(closest, AT_ONCE) * (1.0 - EXACT)) / 10.0
        changes.append(f"play '{step}' {times:g} times as slowly")
    return " and ".join(dict.fromkeys(changes))


def _ripple(piece: Ripple, step: str, apart: float) -> Iterable[str]:
    """The highest frequency, and the shortest edges, of a ripple that the host times: the lines in which it
    is played last so long at least, and no part of a period stands at its end.
    """
    edge, period = 0.0, CHORDS * apart
    if piece.form == "trapezoid":
        edge = max(piece.edge, 2.0 * apart) if piece.edge else 0.0  # half of one leads to the level
        period = 2.0 * (edge + apart)
    if edge > piece.edge * (1.0 + EXACT):
        yield f"give the ripple of '{step}' edges of {show(edge, 's')} or longer"
    if period * piece.frequency > 1.0 + EXACT:
        whole = math.floor(piece.duration / period * (1.0 + EXACT))
        most = round_down(whole / piece.duration if whole else 1.0 / period, 3)
        yield f"play the ripple of '{step}' at {show(most, 'Hz')} or less, in whole periods"
