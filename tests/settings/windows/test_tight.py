"""One step of the grid beyond any end of a window breaks the reason stated for it; at the end it holds.

The reasons are worked out here from the documents, or by playing the case that an end names.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from benchmarks.window_ends.driven import driven
from tests.settings.windows.thirteen import NAMES, Device, device

from railwright.rehearsal.circuit import uncertain_quantities
from railwright.rehearsal.corners import corner_case
from railwright.rehearsal.rehearse import rehearse
from railwright.settings.context import FedInput
from railwright.settings.windows.window import End, Window

BRUTE = 3e-3
"""What a step of the brute force is worth [V]: 1 µs at 2.4 V/ms."""

SAFER = {"dc-motor": 0.3, "filament-lamp": 0.3, "battery-charger": 0.3, "": 0.1}
"""By how much an OVP's upper end may be lower than it need be [V]: a motor or lamp that is just starting
draws more than what is counted on. Else, as no single corner is the hardest, by ten steps of the grid.
"""

TRIPS = {"trip_delay": "trips current limit", "ovp": "trips OVP", "opp": "trips OPP"}


def programming_error(source: FedInput, limit: float) -> float:
    """Of the current limit, from the bench's figures: the sum in parallel, the largest otherwise."""
    errors = []
    for output, part in zip(source.rows, source.parts, strict=True):
        assert output.programming is not None
        accuracy = output.programming.current
        errors.append(accuracy.of_value * limit * part + accuracy.offset)
    return sum(errors) if source.parallel else max(errors)


def ovp_accuracy(source: FedInput) -> float:
    each = [output.ovp.accuracy for output in source.rows if output.ovp and output.ovp.accuracy]
    return sum(each) if source.series else max(each)


def holds(found: Device, window: Window, end: End, value: float) -> bool:
    """Whether a setting keeps to the reason of one end."""
    if end.key == "rehearsed":
        return played(found, window, end, value)
    source = found.sources[window.about]
    current, rows = source.input.current, source.rows
    match window.setting, end.key, end.side:
        case "current_limit", "range", side:
            reach = [output.current for output in rows]
            whole = sum(each.high for each in reach) if source.parallel else min(each.high for each in reach)
            return value <= whole if side == "high" else value >= max(each.low for each in reach)
        case "current_limit", "responding", "high":
            assert current.at_most is not None
            more = (sum if source.parallel else max)(0.5 * output.current.high for output in rows)
            return value + programming_error(source, value) + more <= current.at_most + 1e-9
        case "current_limit", key, "high":
            bears = current.at_most if key == "device" else source.lead.permitted_current
            assert bears is not None
            return value + programming_error(source, value) <= bears
        case "current_limit", "declared", _:
            assert current.steady is not None
            return value - programming_error(source, value) >= current.steady.high
        case "current_limit", ("draw" | "start"), _:
            return value - programming_error(source, value) >= drawn(source, end) * (1 - 1e-9)
        case "ovp", "range", side:
            assert all(output.ovp for output in rows)
            levels = [(o.ovp.level, s) for o, s in zip(rows, source.shares, strict=True) if o.ovp]
            return all(value * share in level for level, share in levels)
        case "ovp", "withstands", _:
            always = source.input.withstands_always
            return always is not None and value + ovp_accuracy(source) <= always + 1e-9
        case "ovp", "brief", _:
            most = max(float(each.voltage or 0.0) for each in source.input.withstands)
            limit = found.window("current_limit", window.about).recommended
            assert limit is not None
            peaks = [
                course.voltage for _, course in driven(found.documents, source, limit, value, settles=0.5)
            ]
            return max(*peaks, value + ovp_accuracy(source)) <= most + BRUTE
        case "trip_delay", "range", _:
            return all(output.trip_delay is not None and value in output.trip_delay for output in rows)
        case "opp", "range", _:
            shares = [p * s for p, s in zip(source.parts, source.shares, strict=True)]
            levels = [(o.opp.level, part) for o, part in zip(rows, shares, strict=True) if o.opp]
            return all(level.low - 1e-9 <= value * part <= level.high + 1e-9 for level, part in levels)
        case "opp", "steady", _:
            return value > max(
                (level.voltage + (source.drop(amperes.high) if source.senses else 0.0)) * amperes.high
                for level in source.played.levels
                if level.voltage > 0 and (amperes := source.load.current(level.voltage)) is not None
            )
        case "opp", "device", _:
            assert source.played.highest is not None
            assert current.at_most is not None
            return value <= source.played.highest.voltage * current.at_most + 1e-9
        case "opp", "idle", _:
            limit = found.window("current_limit", window.about).recommended
            level = found.window("ovp", window.about).recommended
            assert limit is not None
            assert level is not None
            return value <= (level + ovp_accuracy(source)) * (limit + programming_error(source, limit)) + 1e-9
        case "rise", "slew", side:
            slews = [output.slew for output in rows]
            assert all(slews)
            each = [(slew, share) for slew, share in zip(slews, source.shares, strict=True) if slew]
            if side == "low":
                return all(value * share >= slew.low for slew, share in each)
            return all(value * share <= slew.high * (1 + 1e-9) for slew, share in each)
        case "rise", "order", _:
            return source.input.operating.low / value <= 50e-3 * (1 + 1e-9)
        case "rise", "required", _:
            # 12 V and 14 mV of error; then 1.2 mF through lead and its own resistance, until no more than a
            # tenth of the least current charges it; and 80 µs of recovery: 0.45 ms after the slope.
            return 12.014 / value <= 60e-3 - 0.45e-3
        case what:
            raise AssertionError(f"no test of {what}")


def drawn(source: FedInput, end: End) -> float:
    """What the load model draws at most, on the way up or where a converter starts."""
    top = source.played.highest
    assert top is not None
    if end.key == "start":
        (converter,) = source.load.converters
        amperes = source.load.current(converter.starts_at.low)
        assert amperes is not None
        return amperes.high
    starts = min((each.starts_at.low for each in source.load.converters), default=1e-3)
    most = source.load.over(starts, top.voltage)
    assert most is not None
    return most[0].high


def played(found: Device, window: Window, end: End, value: float) -> bool:
    """Whether the case that an end names passes with the setting at a value, all others as recommended."""
    assert end.replay is not None
    assert end.replay.corner is not None
    feeds = dict(found.settings.set_points)
    quantities = uncertain_quantities(found.documents, feeds)
    feed = feeds[window.about]
    told = tuple(
        replace(points, **{window.setting: value * window.parts[points.output]}) for points in feed.outputs
    )
    feeds[window.about] = replace(feed, outputs=told, trips_when=())
    case = corner_case(quantities, end.replay.corner)
    if window.setting != "current_limit":
        return rehearse(found.documents, feeds, case).inputs[window.about].tripped != TRIPS[window.setting]
    free = tuple(replace(points, at_limit="regulate", ovp=math.inf, opp=math.inf) for points in told)
    feeds[window.about] = replace(feeds[window.about], outputs=free)
    result = rehearse(found.documents, feeds, case)
    goal = max(level.voltage for level in found.sources[window.about].played.levels)
    span = next(span for span in result.record.spans if span.kind == "power_up")
    reached = result.record.traces[window.about].closed(span.start, span.end).columns
    return float(reached["voltage" if feed.sense == "at load" else "terminal_voltage"][-1]) >= 0.98 * goal


@pytest.mark.parametrize("name", NAMES)
def test_each_end_holds_and_one_step_beyond_it_does_not(name: str) -> None:
    found = device(name)
    seen = 0
    for window in found.settings.windows:
        for end in window.ends:
            if end.bracket or (end.key == "rehearsed" and "comes up at" in end.why):
                continue
            assert end.value / window.step == pytest.approx(round(end.value / window.step), abs=1e-6)
            beyond = end.value + (window.step if end.side == "high" else -window.step)
            told = (window.about, window.setting, end.side, end.key, end.value)
            assert end.value <= 0.0 or holds(found, window, end, end.value), told
            if end.key == "brief":
                beyond = end.value + SAFER.get(name, SAFER[""])
            assert beyond < 0.0 or not holds(found, window, end, beyond), told
            seen += 1
    assert seen >= 6


@pytest.mark.parametrize("name", NAMES)
def test_what_is_recommended_lies_within_its_window_and_on_the_grid(name: str) -> None:
    found = device(name)
    assert not found.settings.blocked
    for window in found.settings.windows:
        low, high, value = window.low, window.high, window.recommended
        if window.setting == "rise" and window.colliding():
            continue  # the limit acts while it rises, which is no fault
        assert low is not None
        assert high is not None
        assert value is not None
        assert low.value <= value <= high.value
        assert value / window.step == pytest.approx(round(value / window.step), abs=1e-6)
        for end in (low, high):
            assert end.where is not None
            assert end.where.line > 0
