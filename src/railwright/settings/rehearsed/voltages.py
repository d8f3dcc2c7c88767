"""Rehearsed rules about what the device sees: peaks against what it withstands, differences, requirements."""

from __future__ import annotations

from railwright.quantities import show
from railwright.settings.findings import Severity
from railwright.settings.rehearsed.view import Rehearsed, longest, stretches
from railwright.settings.rule import Hit, Outcome, rehearsed_rule
from railwright.traces import Traces


@rehearsed_rule("withstand-rehearsed", Severity.STOP)
def withstand(rehearsed: Rehearsed) -> Outcome:
    """The rehearsed voltage at the connector is more than the input withstands, or for too long."""
    for source, traces in rehearsed.inputs:
        voltage = traces.columns["voltage"]
        forward = sorted(
            (float(each.voltage), float("inf") if each.duration is None else each.duration)
            for each in source.input.withstands
            if each.voltage is not None
        )
        for level, _ in forward:
            allowed = max((duration for other, duration in forward if other > level), default=0.0)
            held = longest(stretches(traces.time, voltage > level))
            if held is not None and held[1] - held[0] > allowed:
                span = rehearsed.span_at(held[0])
                yield Hit(
                    source.name,
                    (*source.at_input, "withstands"),
                    f"rehearsed, the connector is above {show(level, 'V')} for "
                    f"{show(held[1] - held[0], 's')} in "
                    f"'{span.name if span else 'the procedure'}' (peak {show(float(voltage.max()), 'V')}); "
                    f"{show(allowed, 's')} is permitted",
                    "rise more slowly, or play a lower voltage",
                )
                break


@rehearsed_rule("never-rehearsed", Severity.STOP)
def never(rehearsed: Rehearsed) -> Outcome:
    """The rehearsed voltages of two inputs differ by more than the device permits."""
    import numpy as np

    traces_of = rehearsed.record.traces
    for index, rule in enumerate(rehearsed.context.device.never):
        first, second = traces_of.get(rule.voltage_of), traces_of.get(rule.minus)
        if first is None or second is None:
            continue
        time = np.union1d(first.time, second.time)
        difference = np.interp(time, first.time, first.columns["voltage"]) - np.interp(
            time, second.time, second.columns["voltage"]
        )
        beyond = np.maximum(rule.outside.low - difference, difference - rule.outside.high)
        worst = int(np.argmax(beyond))
        if beyond[worst] > 1e-9:
            span = rehearsed.span_at(float(time[worst]))
            yield Hit(
                rule.voltage_of,
                ("device", "never", index),
                f"rehearsed, {rule.voltage_of} minus {rule.minus} is "
                f"{show(float(difference[worst]), 'V')} at "
                f"{show(float(time[worst]), 's')} in '{span.name if span else 'the procedure'}'; it must "
                f"stay within "
                f"{show(rule.outside.low, 'V')} to {show(rule.outside.high, 'V')}",
                "change the order, the gap or the voltages",
            )


def _measured(measure: str, part: Traces) -> float | None:
    """A measure that a rehearsed trace gives without more ado; None: not one of these."""
    import numpy as np

    current, voltage = part.columns["current"], part.columns["voltage"]
    length = float(part.time[-1] - part.time[0])
    match measure:
        case "peak_current":
            return float(current.max())
        case "peak_voltage":
            return float(voltage.max())
        case "charge":
            return float(np.trapezoid(current, part.time))
        case "energy":
            return float(np.trapezoid(current * voltage, part.time))
        case "mean_current":
            return float(np.trapezoid(current, part.time)) / length
        case "mean_voltage":
            return float(np.trapezoid(voltage, part.time)) / length
        case "mean_power":
            return float(np.trapezoid(current * voltage, part.time)) / length
        case _:
            return None


@rehearsed_rule("requirement-predicted", Severity.CAUTION)
def requirement_predicted(rehearsed: Rehearsed) -> Outcome:
    """By rehearsal, a device with its nominal figures does not meet a requirement."""
    for index, required in enumerate(rehearsed.context.procedure.requires):
        traces = rehearsed.record.traces.get(required.of)
        span = next((span for span in rehearsed.record.spans if span.name == required.during), None)
        if traces is None or span is None or required.each_point is not None:
            continue
        part = traces.closed(span.start, span.end)
        if part.time.size < 2 or part.time[-1] <= part.time[0]:
            continue
        value = _measured(required.measure, part)
        if value is None:
            continue
        low, high = required.limits
        if (low is not None and value < low) or (high is not None and value > high):
            permitted = " to ".join(show(limit, required.unit) for limit in (low, high) if limit is not None)
            yield Hit(
                required.of,
                ("procedure", "requires", index),
                f"rehearsed, '{required.name}' comes to {show(value, required.unit)}; {permitted} is "
                f"permitted",
                "expect a failure, or correct the requirement or the load model",
            )


@rehearsed_rule("peak-brief", Severity.NOTE)
def peak_brief(rehearsed: Rehearsed) -> Outcome:
    """A peak that a requirement looks at stands, by rehearsal, for less than one reading's time."""
    for index, required in enumerate(rehearsed.context.procedure.requires):
        source = rehearsed.context.sources.get(required.of)
        traces = rehearsed.record.traces.get(required.of)
        span = next((span for span in rehearsed.record.spans if span.name == required.during), None)
        if (
            source is None
            or traces is None
            or span is None
            or required.measure not in ("peak_current", "peak_voltage")
        ):
            continue
        updates = [
            output.reading.update for output in source.rows if output.reading and output.reading.update
        ]
        part = traces.closed(span.start, span.end)
        if len(updates) < source.count or part.time.size < 2:
            continue
        values = part.columns[required.measure.removeprefix("peak_")]
        peak = float(values.max())
        held = longest(stretches(part.time, values >= 0.9 * peak))
        if peak > 0 and held is not None and held[1] - held[0] < max(updates):
            yield Hit(
                source.name,
                ("procedure", "requires", index),
                f"rehearsed, '{required.name}' peaks at {show(peak, required.unit)} and is above 90 % of "
                f"it for "
                f"{show(held[1] - held[0], 's')}; a reading comes every {show(max(updates), 's')}",
                f"record it with {show(10 / (held[1] - held[0] or 1e-6), '1/s')} or more".replace(
                    "1/s", "samples/s"
                ),
            )
