"""Rules about what is required: can it be failed, can it be passed, and can the readings tell?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from railwright.documents.bench import Bench, Output, Recorder
from railwright.documents.figures import error_bound
from railwright.documents.output_name import OutputName
from railwright.documents.procedure import Requirement
from railwright.measures.measure import Channel, Measure
from railwright.measures.sampling import (
    LEAST_COVERED,
    as_often,
    averaged,
    blind_time,
    covered_part,
    sample_rate,
)
from railwright.plan.set_points import Feed
from railwright.quantities import Statement, joined, named, state
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Path, Unknown, of_every, rule, with_seen
from railwright.settings.rules.judge import outputs

if TYPE_CHECKING:
    from railwright.physics.surge import SurgePath


def required_in(context: Context) -> Iterator[tuple[Path, Requirement, FedInput, Feed | None]]:
    """Every requirement of an input that is hooked up: where it stands, and what feeds its input."""
    return (
        (("procedure", "requires", index), each, context.sources[each.of], context.feeds.get(each.of))
        for index, each in enumerate(context.procedure.requires)
        if each.of in context.sources
    )


@rule("requirement-masked", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(required_in))
def requirement_masked(
    context: Context, path: Path, required: Requirement, source: FedInput, feed: Feed | None
) -> Outcome:
    """A setting keeps what is measured inside a limit that is required: the requirement proves little."""
    _, highest = required.limits
    if feed is None or highest is None:
        return
    here = (*path, required.limit_key)
    if required.known.bounded == "current":
        most = source.at_most(feed.limit)
        if highest >= most:
            yield Hit(
                source.name,
                here,
                state(
                    "'{requirement}' permits {permitted}; the current limit holds the current to {limit} "
                    "(with its error){until}",
                    requirement=required.name,
                    permitted=(highest, "A"),
                    limit=(most, "A"),
                    until=_until_it_responds(context, required, source, feed, highest),
                ),
                "lower what is permitted, or raise the current limit above it, where the device bears it",
            )
    elif required.known.bounded == "voltage":
        level = source.ovp_with_error(feed.ovp)
        if highest >= level:
            yield Hit(
                source.name,
                here,
                state(
                    "'{requirement}' permits {permitted}, but the OVP trips by {ovp}: {means}",
                    requirement=required.name,
                    permitted=(highest, "V"),
                    ovp=(level, "V"),
                    means=_past_ovp(required, source.ovp_overshoot(level, feed.limit)),
                ),
                "note that the OVP decides it, not the device",
            )


def _past_ovp(required: Requirement, rise: float | None) -> str:
    """What may exceed what is permitted where the OVP trips below it, in words. rise: what it lets through
    until it has responded [V].
    """
    if not required.known.momentary:
        return "it cannot fail, for what stays above trips"
    return state(
        "it can be exceeded only{after} by what the device or the lead adds for a moment, which the readings "
        "cannot see",
        after=state(" (until it has responded, {overshoot} more)", overshoot=(rise, "V")) if rise else "",
    )


def _until_it_responds(
    context: Context, required: Requirement, source: FedInput, feed: Feed, highest: float
) -> str:
    """What may exceed what is permitted [A] before the current limit has responded, in words."""
    from railwright.evaluation.hiding_bounds import voltage_bound
    from railwright.evaluation.observability import surge_path

    path = surge_path(context.bench, feed)
    time = (
        state("in {response}", response=(path.response, "s"))
        if path.response
        else "in a time that is not given"
    )
    if required.known.mean:
        bound = _mean_bound(context, required, path, source.ovp_at_most(feed))
        if bound is not None and highest >= bound:
            return ": it cannot fail"
        return state(
            " once it has responded, {time}: the mean can be higher only by what flows before that, again "
            "and again",
            time=time,
        )
    level = voltage_bound(context.bench, feed)
    surge = path.largest(level.value + level.tolerance)
    until: str = "what lead and output capacitor let through, which cannot be worked out from what is given"
    seen = ". The readings cannot see it"
    if surge is not None:
        until = state("up to {surge}, which {bound}", surge=(surge.current, "A"), bound=surge.words)
        if surge.current <= highest:
            seen = ": it cannot fail, but the readings cannot see it either"
    return state(
        " once it has responded, {time}; until then {until}{seen}", time=time, until=until, seen=seen
    )


def _mean_bound(context: Context, required: Requirement, path: SurgePath, highest: float) -> float | None:
    """What a mean current over the step cannot exceed [A]: the regulator always at what it gives before its
    limit responds, and the output capacitor emptied once. None: not known.

    highest: voltage that can stand at the terminals [V].
    """
    from railwright.evaluation.observability import SETTLING

    span = context.timeline.spans[context.procedure.position(required.during)]
    lengths = [SETTLING * (end - start) for _, start, end in span.points]
    length = min(lengths) if required.each_point and lengths else span.end - span.start
    if path.first is None or path.capacitance is None or length <= 0.0:
        return None
    return path.first + path.capacitance * highest / length


@rule("requirement-out-of-reach", Severity.CAUTION, on_sheet=False)
@of_every(required_in)
def requirement_out_of_reach(
    path: Path, required: Requirement, source: FedInput, feed: Feed | None
) -> Outcome:
    """A requirement asks for more than the settings permit: it can never pass."""
    lowest, _ = required.limits
    if feed is None or lowest is None:
        return
    bounds = {
        "current": (source.at_most(feed.limit), "A", "the current limit holds the current to"),
        "voltage": (source.highest_terminals(feed.limit), "V", "the procedure plays at most"),
    }
    most, unit, holds = bounds.get(required.known.bounded or "", (None, "", ""))
    if most is not None and lowest > most:
        yield Hit(
            source.name,
            (*path, required.limit_key),
            state(
                "'{requirement}' asks for {required} or more; {holds} {highest}",
                requirement=required.name,
                required=(lowest, unit),
                holds=holds,
                highest=(most, unit),
            ),
            "correct the requirement, the limit or the voltages played",
        )


def recorded_by(
    bench: Bench,
    measure: Measure,
    interval: float,
    exactly: str = "",
    exact: Callable[[Recorder], bool] = lambda recorder: True,
) -> str:
    """A recording of all that a measure needs, with this time between samples [s], and who on the bench can
    do it.

    exactly: what else is asked of it, in words; exact: whether a recorder of them does that.
    """
    channels = (*measure.records, *measure.also)
    needed = f"a recording of the {' and '.join(channels)} with at least {sample_rate(interval)}{exactly}"
    return needed + able_recorders(bench, measure, interval, exact)


def able_recorders(
    bench: Bench, measure: Measure, interval: float, exact: Callable[[Recorder], bool] = lambda recorder: True
) -> str:
    """Who on the bench can record all that a measure needs with this time between samples [s], to come behind
    what is needed; '' where nobody can. exact: whether a recorder of them is exact enough.
    """
    able = [
        f"'{name}'"
        for name, recorder in bench.recorders.items()
        if as_often(recorder.interval, interval)
        and all(getattr(recorder, each) is not None for each in (*measure.records, *measure.also))
        and exact(recorder)
    ]
    return f"; recorder {' or '.join(able)} can do it" if able else ""


@rule("reading-too-slow", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(required_in))
def reading_too_slow(
    context: Context, path: Path, required: Requirement, source: FedInput, feed: Feed | None
) -> Outcome:
    """A requirement hangs on an event that the supply's own readings cannot see, or are too slow for."""
    measure, every = required.known, context.procedure.record.every
    hangs = any(map(averaged, source.apertures)) if measure.momentary else measure.after_switching_on
    if measure.sampling is None or feed is None or not hangs:
        return
    if len(source.updates) < source.count:
        yield Unknown(
            source.name,
            (*source.at_output, "reading"),
            "update interval of the reading",
            f"whether it sees '{required.name}'",
        )
        return
    update, aperture = source.reading_times(every)
    slowest = max(update, every)
    able = recorded_by(context.bench, measure, measure.sampling(update, every, aperture))
    if measure.after_switching_on:
        lasts = min(limit for limit in required.limits if limit is not None)
        if lasts < 5 * slowest:
            yield Hit(
                source.name,
                (*path, "measure"),
                state(
                    "the time that '{requirement}' permits is {permitted}; a reading comes every "
                    "{interval}: what happens between two readings is not seen",
                    requirement=required.name,
                    permitted=(lasts, "s"),
                    interval=(slowest, "s"),
                ),
                f"expect 'inconclusive' unless the margin is large; decided by {able}",
            )
    else:
        yield Hit(
            source.name,
            (*path, "measure"),
            _averaged_away(required, blind_time(update, every, aperture)),
            f"decided by {able}",
        )


@rule("reading-too-seldom", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(required_in))
def reading_too_seldom(
    context: Context, path: Path, required: Requirement, source: FedInput, feed: Feed | None
) -> Outcome:
    """A requirement hangs on all that flows in a step, of most of which no reading tells."""
    every = context.procedure.record.every
    if not required.known.accumulates or feed is None or not any(map(averaged, source.apertures)):
        return
    update, aperture = source.reading_times(every)
    part = covered_part(update, every, aperture)
    if part < LEAST_COVERED:
        yield Hit(
            source.name,
            (*path, "measure"),
            state(
                "the readings cover {covered:.0%} of the time, an aperture of {aperture} every {apart}; what "
                "is drawn between them, '{requirement}' does not tell",
                covered=(part, "1"),
                aperture=(aperture, "s"),
                apart=(max(update, every), "s"),
                requirement=required.name,
            ),
            "expect 'inconclusive' unless the current limit itself keeps what is required; record the current"
            + (", or read it at every update" if every > update else ""),
        )


def _averaged_away(required: Requirement, blind: float) -> Statement:
    """That a peak shorter than a time [s] does not show in the readings, and what that means."""
    low, high = required.limits
    if required.known.level_of is None:
        return state(
            "'{requirement}' may depend on a peak shorter than {blind_time}, which the supply's readings "
            "average away or miss; by the readings alone it passes only where the largest current that the "
            "limit lets through, and what exceeds it until it responds, would pass all the time",
            requirement=required.name,
            blind_time=(blind, "s"),
        )
    return state(
        "'{requirement}' may depend on a peak shorter than {blind_time}, which the supply's readings average "
        "away or miss; {says}",
        requirement=required.name,
        blind_time=(blind, "s"),
        says=state(
            "readings of {required} or more pass it, lower ones are inconclusive",
            required=(low, required.unit),
        )
        if high is None and low is not None
        else "by the readings alone it is inconclusive, unless one of them exceeds the limit itself",
    )


def _by_multimeter(
    context: Context, required: Requirement, quantity: Channel, value: float, error: float
) -> bool:
    """Whether a multimeter reads what is required with no more than this error at a value [V, A]."""
    probes, meters = context.procedure.multimeters, context.bench.multimeters
    return any(
        (probe.of, meters[name].quantity) == (required.of, quantity)
        and (quantity == "current" or probe.at == required.at)
        and error_bound(meters[name].measures, value) <= error
        for name, probe in probes.items()
    )


@rule("reading-too-coarse", Severity.CAUTION, on_sheet=False, worst=Ranking("reading_error", over="room"))
@of_every(with_seen(required_in))
def reading_too_coarse(
    context: Context, path: Path, required: Requirement, source: FedInput, feed: Feed | None
) -> Outcome:
    """The reading's error takes more than a third of what a requirement permits: good ones may not pass."""
    quantity = required.known.level_of
    if quantity is None:
        return
    limits = [limit for limit in required.limits if limit is not None]
    bound = source.reading_error(quantity, limits[-1])
    if bound is None:
        yield Unknown(
            source.name,
            (*source.at_output, "reading"),
            "accuracy of the reading",
            f"whether it can decide '{required.name}'",
        )
        return
    width = (limits[1] - limits[0]) / 2 if len(limits) > 1 else abs(limits[0])
    if bound > width / 3 and not _by_multimeter(context, required, quantity, limits[-1], width / 3):
        yield Hit(
            source.name,
            (*path, required.limit_key),
            state(
                "the reading is exact to ±{reading_error}; '{requirement}' leaves ±{room}",
                reading_error=(bound, required.unit),
                requirement=required.name,
                room=(width, required.unit),
            ),
            "read with a more exact instrument, or widen what is required",
        )


@rule(
    "step-too-short",
    Severity.CAUTION,
    on_sheet=False,
    worst=Ranking("duration", over="permitted", lowest=True),
)
@of_every(with_seen(required_in))
def step_too_short(
    context: Context, path: Path, required: Requirement, source: FedInput, feed: Feed | None
) -> Outcome:
    """A start-up time, or the time of an inrush, is longer than the step it is measured in."""
    _, longest = required.limits if required.within is None else (None, required.within)
    position = context.procedure.position(required.during)
    span, power_up = context.timeline.spans[position], context.procedure.steps[position].power_up
    own = power_up is not None and source.name in power_up.order
    begins = required.known.after_switching_on or required.known.inrush
    if longest is not None and power_up is not None and own and begins:
        on = span.start + power_up.order.index(source.name) * power_up.gap
        if span.end - on < longest:
            yield Hit(
                source.name,
                (*path, required.limit_key if required.within is None else "within"),
                state(
                    "'{requirement}' {looks} {permitted}; after {input} is switched on, '{step}' lasts "
                    "{duration}",
                    requirement=required.name,
                    looks="permits" if required.within is None else "is looked at for",
                    permitted=(longest, "s"),
                    input=source.name,
                    step=required.during,
                    duration=(span.end - on, "s"),
                ),
                "lengthen 'settle' of the power-up",
            )


@rule("threshold-not-crossed", Severity.CAUTION, on_sheet=False)
@of_every(required_in)
def threshold_not_crossed(path: Path, required: Requirement, source: FedInput, feed: Feed | None) -> Outcome:
    """A turn-on or turn-off voltage is looked for in a step that does not play through what is permitted."""
    levels = [level.voltage for level in source.played.levels if level.step == required.during]
    if required.known.turns is None or not levels:
        return
    low, high = required.limits
    if (low is not None and min(levels) > low) or (high is not None and max(levels) < high):
        ends = {"permitted_low": low, "permitted_high": high}
        yield Hit(
            source.name,
            (*path, "during"),
            state(
                "'{step}' plays {lowest} to {highest}; '{requirement}' permits {permitted}: the voltage "
                "may lie where nothing is played",
                step=required.during,
                lowest=(min(levels), "V"),
                highest=(max(levels), "V"),
                requirement=required.name,
                permitted=joined(
                    " to ", (named(name, end, "V") for name, end in ends.items() if end is not None)
                ),
            ),
            "play through the whole range that is permitted",
        )


@rule("recorded-too-fast", Severity.NOTE, worst=Ranking("record_interval", over="interval", lowest=True))
@of_every(with_seen(outputs))
def recorded_too_fast(context: Context, source: FedInput, name: OutputName, output: Output) -> Outcome:
    """Readings are recorded more often than the supply makes new ones."""
    every = context.procedure.record.every
    if output.reading is None or output.reading.update is None:
        yield Unknown(
            name,
            (*source.at_output, "reading"),
            "update interval of the reading",
            "whether it keeps up with the record",
        )
    elif every < output.reading.update * (1 - 1e-9):
        yield Hit(
            source.name,
            ("procedure", "record", "every"),
            state(
                "recorded every {record_interval}; {output} makes a new reading every {interval}",
                record_interval=(every, "s"),
                output=name,
                interval=(output.reading.update, "s"),
            ),
            "record no faster than the readings come",
        )
