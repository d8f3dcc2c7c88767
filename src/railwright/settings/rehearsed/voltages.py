"""Rehearsed rules about what the device sees: peaks against what it withstands, differences, requirements."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from railwright.documents.procedure import Requirement
from railwright.evaluation.outcome import Result
from railwright.evaluation.played import out_of_time
from railwright.measures.sampling import blind_time, deciding_interval, sample_rate
from railwright.quantities import StatedFigure, Statement, named, state
from railwright.settings.context import FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rehearsed.view import Rehearsed, longest, rehearsed_inputs, stretches
from railwright.settings.rule import Hit, Outcome, Path, of_every, rule, with_seen
from railwright.traces import Traces, span_named

TOP = 10.0
"""Samples within the time above 90 % of a peak that show its height (common practice, no source)."""

CLOSE = 0.1
"""A requirement is met by little within this part of its limit, or of what lies between its two limits."""


@rule("withstand-rehearsed", Severity.STOP, worst=Ranking("peak", over="withstood"))
@of_every(with_seen(rehearsed_inputs))
def withstand(rehearsed: Rehearsed, source: FedInput, traces: Traces) -> Outcome:
    """The rehearsed voltage at the connector is more than the input withstands, or for too long."""
    voltage = traces.columns["voltage"]
    withstood = source.input.withstood
    for level, _ in sorted(withstood):
        allowed = max((lasts for other, lasts in withstood if other > level), default=0.0)
        above = stretches(traces.time, voltage > level)
        held = longest(traces.time, voltage > level)
        if held is not None and held[1] > allowed:
            yield Hit(
                source.name,
                (*source.at_input, "withstands"),
                state(
                    "rehearsed, the connector is above {withstood} for {held} in {step} ({longest}peak "
                    "{peak}); {allowed} is permitted",
                    withstood=(level, "V"),
                    held=(held[1], "s"),
                    longest=state("the longest of {times:g} such times; ", times=(len(above), ""))
                    if len(above) > 1
                    else "",
                    step=rehearsed.step_words(held[0]),
                    peak=(float(voltage.max()), "V"),
                    allowed=(allowed, "s"),
                ),
                "rise more slowly, or play a lower voltage",
            )
            break


@rule("never-rehearsed", Severity.STOP)
def never(rehearsed: Rehearsed) -> Outcome:
    """The rehearsed voltages of two inputs differ by more than the device permits."""
    traces_of = rehearsed.record.traces
    for index, asked in enumerate(rehearsed.context.device.never):
        first, second = traces_of.get(asked.voltage_of), traces_of.get(asked.minus)
        if first is None or second is None:
            continue
        time, inputs = np.union1d(first.time, second.time), rehearsed.context.device.inputs
        difference = inputs[asked.voltage_of].sign * np.interp(
            time, first.time, first.columns["voltage"]
        ) - inputs[asked.minus].sign * np.interp(time, second.time, second.columns["voltage"])
        beyond = np.maximum(asked.outside.low - difference, difference - asked.outside.high)
        worst = int(np.argmax(beyond))
        if beyond[worst] > 1e-9:
            yield Hit(
                asked.voltage_of,
                ("device", "never", index),
                state(
                    "rehearsed, {input} minus {other} is {difference} at {time} in {step}; it must stay "
                    "within {low} to {high}",
                    input=asked.voltage_of,
                    other=asked.minus,
                    difference=(float(difference[worst]), "V"),
                    time=(float(time[worst]), "s"),
                    step=rehearsed.step_words(float(time[worst])),
                    low=(asked.outside.low, "V"),
                    high=(asked.outside.high, "V"),
                ),
                "change the order, the gap or the voltages",
            )


def _judged(rehearsed: Rehearsed) -> Iterator[tuple[Path, Requirement, Result]]:
    """Every requirement, where it stands, and how it comes out by the rehearsal."""
    each = zip(rehearsed.context.procedure.requires, rehearsed.judged, strict=True)
    return ((("procedure", "requires", index), *both) for index, both in enumerate(each))


@rule("requirement-predicted", Severity.CAUTION, on_sheet=False)
@of_every(with_seen(_judged))
def requirement_predicted(rehearsed: Rehearsed, path: Path, required: Requirement, result: Result) -> Outcome:
    """By rehearsal, a device with its nominal figures fails a requirement, or it cannot be worked out."""
    if result.outcome in ("pass", "not judged") or required.of not in rehearsed.record.traces:
        return
    span = span_named(rehearsed.record.spans, required.during)
    # What is not played as it is asked has a value, which says nothing of the requirement.
    unplayed = span is not None and out_of_time(span, rehearsed.context.timeline, rehearsed.record)
    if result.measured is None or (unplayed and result.outcome != "fail"):
        why = state(
            "rehearsed, '{requirement}' {what}: {reason}",
            requirement=required.name,
            what="fails" if result.outcome == "fail" else "cannot be judged",
            reason=result.reason,
        )
    else:
        why = state(
            "rehearsed, '{requirement}' comes to {expected}; {permitted} is permitted{undecided}",
            requirement=required.name,
            expected=_amount("expected", result.measured.value, required.unit),
            permitted=_permitted(required),
            undecided="" if result.outcome == "fail" else state("; {reason}", reason=result.reason),
        )
    yield Hit(
        required.of,
        path,
        why,
        "change the step so that it can be measured, or correct the requirement"
        if result.outcome != "fail"
        else "expect a failure, or correct the requirement or the load model",
    )


@rule("requirement-close", Severity.NOTE)
@of_every(_judged)
def requirement_close(path: Path, required: Requirement, result: Result) -> Outcome:
    """By rehearsal, a device with its nominal figures meets a requirement by little."""
    if result.outcome != "pass" or result.measured is None or required.unit == "1":
        return
    value, (low, high) = result.measured.value, required.limits
    room = min(abs(value - limit) for limit in (low, high) if limit is not None)
    # Between two limits the whole is what lies between them; else it is the one limit.
    whole = abs(high - low) if low is not None and high is not None else abs(high or low or 0.0)
    if room < CLOSE * whole:
        yield Hit(
            required.of,
            path,
            state(
                "rehearsed, '{requirement}' comes to {expected}, only {room} inside what is permitted "
                "({permitted})",
                requirement=required.name,
                expected=_amount("expected", value, required.unit),
                room=_amount("room", room, required.unit),
                permitted=_permitted(required),
            ),
            "allow for the tolerances of the device and the errors of the readings",
        )


def _amount(name: str, value: float, unit: str) -> Statement:
    """What is measured or required, as a figure of this name; a count is a plain number."""
    if unit == "1":
        return Statement(f"{value:g}", (StatedFigure(name, value, unit),))
    return named(name, value, unit)


def _permitted(required: Requirement) -> Statement:
    """What a requirement permits, in words."""
    low, high = required.limits
    least = "" if low is None else _amount("permitted_low", low, required.unit)
    most = "" if high is None else _amount("permitted_high", high, required.unit)
    if least and most:
        return state("{least} to {most}", least=least, most=most)
    return state("at most {most}", most=most) if most else state("at least {least}", least=least)


@rule("peak-brief", Severity.NOTE, worst=Ranking("held", over="interval", lowest=True))
@of_every(with_seen(_judged))
def peak_brief(rehearsed: Rehearsed, path: Path, required: Requirement, result: Result) -> Outcome:
    """A peak that a requirement looks at stands, by rehearsal, for less than one reading's time."""
    source = rehearsed.context.sources.get(required.of)
    traces = rehearsed.record.traces.get(required.of)
    span = span_named(rehearsed.record.spans, required.during)
    if source is None or traces is None or span is None or required.known.level_of is None:
        return
    if not required.known.momentary:
        return
    part = traces.closed(span.start, span.end)
    if len(source.updates) < source.count or part.time.size < 2:
        return
    every = rehearsed.context.procedure.record.every
    update, aperture = source.reading_times(every)
    blind = blind_time(update, every, aperture)
    values = part.columns[required.known.records[0]]
    peak = float(values.max())
    held = longest(part.time, values >= 0.9 * peak)
    if peak > 0 and held is not None and held[1] < update:
        shows = max(held[1], 1e-6) / TOP
        finer = f"; as short as it is rehearsed, {sample_rate(shows)} show its height"
        yield Hit(
            source.name,
            path,
            state(
                "rehearsed, '{requirement}' peaks at {peak} and is above 90 % of it for {held}; a reading "
                "comes every {interval}",
                requirement=required.name,
                peak=(peak, required.unit),
                held=(held[1], "s"),
                interval=(update, "s"),
            ),
            f"record it with {sample_rate(deciding_interval(blind))} or more"
            f"{finer if shows < deciding_interval(blind) else ''}",
        )
