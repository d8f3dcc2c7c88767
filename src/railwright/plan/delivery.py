"""How each shape reaches its outputs: set points timed by the host, or the outputs' own point lists.

The host is preferred where it can do what is asked: nothing has to be loaded. Where it cannot keep the times,
or the outputs have no slew for a line, the point list is fitted, stepping and interpolating, and the better
one taken. Where neither keeps within the tolerance, the better of the two is played, and a finding says so
before the run.

A captured waveform (a recording) may have edges that no output follows: they are asked as jumps. What host
and list make of it is compared by the same figures (`waveforms.figures`), and where no list keeps within the
tolerance, one of the least squares is fitted as well: the r.m.s. deviation decides.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeVar

from railwright.documents.bench import Bench, Points
from railwright.documents.output_name import OutputName
from railwright.plan.captured import MOST_LEVEL, by_set_points, far_off, is_captured, with_jumps
from railwright.plan.coupling import followers
from railwright.plan.host import Host, by_host
from railwright.plan.listing import Listing, Own, shape_actions
from railwright.plan.set_point import waveform
from railwright.plan.set_points import Feed, SetPoints
from railwright.plan.stairs import exchange_of, slew_range
from railwright.plan.timeline import Action, Timeline
from railwright.quantities import Statement, joined, show, state
from railwright.traces import Span

if TYPE_CHECKING:
    from railwright.waveforms.figures import PlayedFigures
    from railwright.waveforms.point_list import Abilities, Listed
    from railwright.waveforms.waveform import Waveform

Fit = TypeVar("Fit")
"""A list, with whatever is known of it."""

TOLERANCE = 0.01
"""Deviation that is accepted unless another is asked for, in parts of the shape's span."""

LONG_NUMBER = 9
"""Digits of a number of a list, at most."""

USUAL_STEP = 1e-3
"""Step of a dwell that is taken where the bench does not give it, and its shortest is not shorter [s]."""

FAR = 0.25
"""Part of the shape's span: a list that is off by more is not the shape any longer (the least deviation from
short dips is the middle between two levels, all the time), while the host's set points reach its levels.
"""

HOST_LATE = 0.1
"""Part of its shortest time between two set points by which the host may be late with an edge."""

HOPELESS = 2
"""Times as many points as a list has that are needed at least, from which on none is fitted."""

OWN = "every set point and line is the outputs' own, timed by the host"
"""Why the host plays a shape of which nothing is left out."""

ENDED = "a list cannot be ended between two turns by what ends the repeating"

OTHERS = "take outputs with a point list, or with a slew for it"
"""What would do where the outputs have no list that could."""

NO_RESOLUTION = 1e-3
"""Step of a voltage that is taken where the bench does not give it [V]."""


@dataclass(frozen=True, eq=False, slots=True)
class Delivery:
    """How one shape step reaches the outputs of one input.

    by: who times it. error: largest deviation of what they are told from what is asked [V], jumps apart;
    least: what no list of so many points can go below, None: by the host. edge: how far jumps are out of
    time, or how long they last [s]. tolerance: what was accepted [V]. serves: whether that is kept. why: the
    reason in numbers. remedy: what would do where it is not. listing: what is loaded, None: by the host.
    host: what the host can do of it. lacks: why no list does it, '' where one does or none is asked for.

    Of a captured waveform: figures of what is told. actions: what is asked of the outputs, edges that they
    cannot follow as jumps. far_off: in what it is no longer the capture, '' where it still is.
    """

    step: int
    input: str
    by: Literal["host", "list"]
    error: float
    least: float | None
    edge: float
    tolerance: float
    serves: bool
    why: str
    remedy: str
    listing: Listing | None
    host: Host
    lacks: str = ""
    figures: PlayedFigures | None = None
    actions: tuple[Action, ...] | None = None
    far_off: str = ""


class ListPoints(NamedTuple):
    """What the point lists of all outputs of an input can do: points, dwells in steps of `step` [s]."""

    at_most: int
    shortest: float
    longest: float
    step: float
    between: tuple[Literal["step", "line"], ...]


def deliveries(
    timeline: Timeline, set_points: SetPoints, bench: Bench, tolerance: float | None = None
) -> tuple[Delivery, ...]:
    """How every shape step reaches every input that it moves. Pure.

    tolerance: deviation that is accepted [V]; None: `TOLERANCE` of the shape's span.
    """
    found: list[Delivery] = []
    waiting = {wait.step for wait in timeline.waits if wait.time > timeline.spans[wait.step].start}
    for (step, name), own in shape_actions(timeline).items():
        # What waits, or is off in between, is the host's: its times are not known beforehand.
        if name in set_points and step not in waiting and all(a.kind == "line" for a in own.actions):
            busy = [other.listing for other in found if other.listing and other.step == step]
            found.append(_delivery(timeline, set_points, bench, step, name, own, tolerance, busy))
    return tuple(found)


# One piece: the ways to deliver a shape, in the order in which they are preferred.
# Many: a timeline on outputs, and where in it this shape is.
def _delivery(
    timeline: Timeline,
    set_points: SetPoints,
    bench: Bench,
    step: int,
    name: str,
    own: Own,
    tolerance: float | None,
    busy: Sequence[Listing],
) -> Delivery:
    feed, span, level, actions = set_points[name], timeline.spans[step], own.level, own.actions
    turns, captured = timeline.turns.get(step, 1), is_captured(actions)
    # A capture begins where it does, wherever the output was left: its span is its own.
    levels = [*([] if captured else [level]), *(action.voltage for action in actions)]
    if tolerance is None:
        tolerance = max(TOLERANCE * (max(levels) - min(levels)), voltage_step(feed, bench))
    if captured:
        return _captured(set_points, bench, step, name, own, span, turns, tolerance, busy)
    apart = exchange_of(feed.names, bench)
    host = by_host(actions, level, slew_range(feed, bench), apart)
    kept = Delivery(
        step, name, "host", host.error, None, apart, tolerance, True, host.why or OWN, "", None, host
    )
    if host.error <= tolerance:
        return kept

    def neither(lacks: str, remedy: str) -> Delivery:
        """By the host all the same, and why no list does it better."""
        why = joined("; ", (host.why, lacks))
        return replace(kept, serves=False, why=why, remedy=remedy, lacks=lacks)

    ended = any(each.step == step for each in timeline.repeated)
    if hindrance := ENDED if ended else _hindrance(feed, bench, set_points, busy):
        return neither(hindrance, OTHERS)
    points = points_of(feed, bench)
    assert points is not None
    needed = points_needed(levels, tolerance) // turns
    if needed > HOPELESS * points.at_most:
        told = state(
            "its own list of {points} points cannot either: {points_needed} are needed at least",
            points=points.at_most,
            points_needed=needed,
        )
        return neither(told, _more(points))
    asked = waveform(level, actions, span.start, span.end - span.start)
    can = abilities(feed, bench)
    best = _whole_or_turn(
        asked,
        can,
        turns,
        fit=lambda wave: _better(wave, can, points, tolerance),
        off=lambda listed: listed.error,
        serves=lambda listed: listed.error <= tolerance,
    )
    if best is None:
        return neither(_too_brief(points, asked.duration), _more(points))
    listed, count = best
    if listed.error >= host.error or listed.error > FAR * (max(levels) - min(levels)):
        told = state(
            "its best list of {points} points is off by {list_error}",
            points=points.at_most,
            list_error=(listed.error, "V"),
        )
        return neither(told, _more(points))
    why = state(
        "{host}; {list} is off by {list_error} at most, no list of {most_points} points by less than "
        "{least_error}",
        host=host.why,
        list=_list_words(listed, count),
        list_error=(listed.error, "V"),
        most_points=points.at_most,
        least_error=(listed.least, "V"),
    )
    if listed.edge:
        why = state("{why}; a jump is {late} out at most", why=why, late=(listed.edge, "s"))
    serves = listed.error <= tolerance
    return Delivery(
        step, name, "list", listed.error, listed.least, listed.edge, tolerance, serves, why,
        "" if serves else _more(points), Listing(step, name, listed.points, count), host,
    )  # fmt: skip


# One piece: the host's figures, the list's, and what follows from both.
# Many: as `_delivery`.
def _captured(
    set_points: SetPoints,
    bench: Bench,
    step: int,
    name: str,
    own: Own,
    span: Span,
    turns: int,
    tolerance: float,
    busy: Sequence[Listing],
) -> Delivery:
    """How a captured waveform reaches its outputs: by the host where that keeps within the tolerance, else by
    whichever has the least r.m.s. deviation.
    """
    from railwright.waveforms.figures import figures

    feed, level, duration = set_points[name], own.level, span.end - span.start
    apart = exchange_of(feed.names, bench)
    slews, points = slew_range(feed, bench), points_of(feed, bench)
    hindrance = _hindrance(feed, bench, set_points, busy)
    brief = apart if points is None or hindrance else min(apart, points.shortest)
    actions = with_jumps(own.actions, level, slews[1] if slews else None, brief)
    asked = waveform(level, actions, span.start, duration)
    voltages = [action.voltage for action in actions]
    reach = max(voltages) - min(voltages)
    least = MOST_LEVEL * reach
    host = by_host(actions, level, slews, apart)
    told = by_set_points(actions, level, slews, apart, span.start, duration)
    beside = HOST_LATE * apart
    of_host = best = figures(asked, told, beside, least)
    serves, lacks, listing, bound, late = _within(best, tolerance, beside), hindrance, None, None, apart
    why = host.why or OWN
    if not serves and not hindrance:
        assert points is not None
        can = abilities(feed, bench)
        found = _whole_or_turn(
            asked,
            can,
            turns,
            fit=lambda wave: _best_listed(wave, can, points, tolerance, least),
            off=lambda listed: listed[1].rms,
            serves=lambda listed: _within(listed[1], tolerance, points.shortest + can.step),
        )
        if found is None:
            lacks = _too_brief(points, duration)
        elif found[0][1].rms >= of_host.rms and (host.keeps or far_off(found[0][1], reach)):
            lacks = state(
                "its best list of {points} points is off by {list_rms} r.m.s.",
                points=points.at_most,
                list_rms=(found[0][1].rms, "V"),
            )
        else:
            (listed, best), count = found
            bound, late = listed.least, best.late
            serves = _within(best, tolerance, points.shortest + points.step)
            listing = Listing(step, name, listed.points, count)
            why = state(
                "{list} is off by {list_error} at most and {list_rms} r.m.s., the host by {host_rms} r.m.s.; "
                "no list of {most_points} points by less than {least_error} at most",
                list=_list_words(listed, count),
                list_error=(best.largest, "V"),
                list_rms=(best.rms, "V"),
                host_rms=(of_host.rms, "V"),
                most_points=points.at_most,
                least_error=(listed.least, "V"),
            )
            if late:
                why = state("{why}; an edge is {late} out at most", why=why, late=(late, "s"))
            why = joined("; ", (host.why, why)) if host.why else why
    if not serves and listing is None:
        why = state("{why}; it is off by {rms} r.m.s.; {lacks}", why=why, rms=(best.rms, "V"), lacks=lacks)
    remedy = OTHERS if points is None else _more(points)
    return Delivery(
        step, name, "host" if listing is None else "list", best.largest, bound, late, tolerance, serves,
        why, "" if serves else remedy, listing, host, lacks, best, actions,
        "" if serves else far_off(best, reach),
    )  # fmt: skip


def _within(figures: PlayedFigures, tolerance: float, beside: float) -> bool:
    """Whether what is told is what is asked: within a tolerance [V], every edge there, and in time [s]."""
    return (
        max(figures.largest, figures.steady, figures.level) <= tolerance
        and not figures.missing
        and figures.late <= beside * (1.0 + 1e-6)
    )


def _whole_or_turn(
    asked: Waveform,
    can: Abilities,
    turns: int,
    *,
    fit: Callable[[Waveform], Fit | None],
    off: Callable[[Fit], float],
    serves: Callable[[Fit], bool],
) -> tuple[Fit, int] | None:
    """The list of a waveform, or that of one of its turns where the whole one does not serve and is off by
    more; and how often it is played. None: there is none.
    """
    whole = fit(asked)
    turn = None if whole is not None and serves(whole) else _one_turn(asked, can, turns)
    once = None if turn is None else fit(turn)
    if once is not None and (whole is None or off(once) < off(whole)):
        return once, turns
    return None if whole is None else (whole, 1)


def _best_listed(
    asked: Waveform, can: Abilities, points: ListPoints, tolerance: float, least: float
) -> tuple[Listed, PlayedFigures] | None:
    """The list that keeps within the tolerance, or of the least r.m.s. deviation; None: there is none."""
    from railwright.waveforms.figures import figures
    from railwright.waveforms.list_squares import line_squares, stepping_squares

    beside = points.shortest + can.step  # a jump in lines takes the one, and is moved by half the other
    found: list[tuple[Listed, PlayedFigures]] = []
    start = float(asked.value[0])
    if points_needed(asked.value.tolist(), tolerance) <= HOPELESS * points.at_most:
        listed = _better(asked, can, points, tolerance)
        if listed is None:
            return None
        found.append((listed, figures(asked, listed.points.wave, beside, least)))
        if _within(found[0][1], tolerance, beside):
            return found[0]
    for kind in (each for each in ("step", "line") if each in points.between):
        squares = stepping_squares(asked, can) if kind == "step" else line_squares(asked, can, start)
        if squares is not None:
            found.append((squares, figures(asked, squares.points.wave, beside, least)))
    return min(found, key=lambda each: (each[1].missing, each[1].rms)) if found else None


def points_needed(corners: Sequence[float], tolerance: float) -> int:
    """A lower bound of the points of any list, stepping or interpolating, that stays within a tolerance [V].

    corners: voltages of a waveform at its corners, in order [V]. Between two reversals of more than twice the
    tolerance, of which one lies between, no single line is within it: it ends in each such stretch.
    """
    low = high = corners[0]
    rising: bool | None = None
    reversals = 0
    for value in corners:
        low, high = min(low, value), max(high, value)
        turned = high - value > 2.0 * tolerance if rising is not False else value - low > 2.0 * tolerance
        if rising is None and not turned and value - low > 2.0 * tolerance:
            rising = True
        elif turned:
            reversals += rising is not None
            rising = rising is False
            low = high = value
    return (reversals + 1) // 2 + 1


def _list_words(listed: Listed, count: int) -> Statement:
    """A list by its points and by how often it is played, for people."""
    often = state(", {turns} times", turns=count) if count > 1 else ""
    return state(
        "its own list of {points} points in {between}{often}",
        points=int(listed.points.dwells.size),
        between="steps" if listed.points.between == "step" else "lines",
        often=often,
    )


def _too_brief(points: ListPoints, duration: float) -> Statement:
    """That no list lasts so long [s]."""
    return state(
        "a list of {points} points cannot last {duration}", points=points.at_most, duration=(duration, "s")
    )


def _more(points: ListPoints) -> str:
    """What would do."""
    return (
        f"accept more, or take an output with more points than {points.at_most}, dwells shorter than "
        f"{show(points.shortest, 's')}, or a slew for it"
    )


def _hindrance(feed: Feed, bench: Bench, set_points: SetPoints, busy: Sequence[Listing]) -> str:
    """Why the outputs' own lists are out of the question; '' where they are not."""
    for output in feed.outputs:
        if bench.output(output.output).points is None:
            return f"{output.output} has no point list"
        dialect = bench.supply_of(output.output).dialect
        if dialect.points is None:
            return f"dialect '{dialect.name}' has no commands for a point list"
        if points_of(feed, bench) is None:
            return f"the longest message of dialect '{dialect.name}' holds no point of a list"
        if followers(bench, output.output):
            return f"{output.output} is coupled with others, which a list would not take along"
    mine = {name.supply for name in feed.names}
    for other in busy:
        if mine & {name.supply for name in set_points[other.input].names}:
            # ABORt of SCPI-1999 has no channel: ending one would end the other.
            return f"a list for {other.input} runs on the same supply"
    return ""


def most_points(bench: Bench, name: OutputName, *, alone: bool) -> int:
    """How many points the list of an output holds: by the bench, and by the longest message of its dialect.
    0: it has none. alone: the voltages in it are those of the input, on the output's grid.
    """
    own, supply = bench.output(name), bench.supply_of(name)
    if own.points is None:
        return 0
    step = own.programming.voltage.resolution if alone and own.programming is not None else None
    width = max(_width(own.voltage.high, step), _width(own.points.dwell.high, _dwell_step(own.points)))
    fits = supply.dialect.most_points(supply.channels[name.output], width)
    return own.points.at_most if fits is None else min(own.points.at_most, fits)


def _width(highest: float, step: float | None) -> int:
    """Characters of a number up to this on that grid, with point and comma; None: all digits are sent."""
    decimals = LONG_NUMBER
    if step is not None:
        scaled = ((n, step * 10.0**n) for n in range(LONG_NUMBER))
        decimals = next((n for n, one in scaled if one > 0.5 and abs(round(one) - one) < 1e-6), LONG_NUMBER)
    return min(len(str(int(highest))) + decimals, LONG_NUMBER) + 2


def points_of(feed: Feed, bench: Bench) -> ListPoints | None:
    """What the lists of all outputs of a feed can do; None: one has none."""
    each = [bench.output(output.output).points for output in feed.outputs]
    known = [points for points in each if points is not None]
    at_most = min(most_points(bench, each.output, alone=len(feed.outputs) == 1) for each in feed.outputs)
    if len(known) < len(each) or not at_most:
        return None
    kinds = [kind for kind in known[0].between if all(kind in points.between for points in known)]
    return ListPoints(
        at_most=at_most,
        shortest=max(points.dwell.low for points in known),
        longest=min(points.dwell.high for points in known),
        step=max(_dwell_step(points) for points in known),
        between=tuple(kinds) or ("step",),
    )


def _dwell_step(points: Points) -> float:
    if points.dwell_resolution is not None:
        return points.dwell_resolution
    return min(points.dwell.low or USUAL_STEP, USUAL_STEP)


def voltage_step(feed: Feed, bench: Bench) -> float:
    """Smallest step of the input's voltage [V]; `NO_RESOLUTION` where the bench does not give it."""
    known = ((bench.output(each.output).programming, each.share) for each in feed.outputs)
    steps = ((each.voltage.resolution if each else None, share) for each, share in known)
    return max((NO_RESOLUTION if step is None else step) / share for step, share in steps)


def abilities(feed: Feed, bench: Bench) -> Abilities:
    """What a list for an input may hold, in voltages of the input. ValueError where an output has no list."""
    from railwright.waveforms.point_list import Abilities

    points = points_of(feed, bench)
    if points is None:
        raise ValueError(f"an output of {feed.input} has no point list")
    ranges = [(bench.output(output.output).voltage, output.share) for output in feed.outputs]
    return Abilities(
        at_most=points.at_most,
        shortest=points.shortest,
        longest=points.longest,
        step=points.step,
        lowest=max(reach.low / share for reach, share in ranges),
        highest=min(reach.high / share for reach, share in ranges),
        resolution=voltage_step(feed, bench),
    )


def _one_turn(asked: Waveform, can: Abilities, turns: int) -> Waveform | None:
    """The first of so many turns, from where the output stands before; if that is where the turn begins, from
    where the turn ends, as all later ones. None: there is but one, or its duration is not on the list's grid.
    """
    import numpy as np

    from railwright.waveforms.fit import just_before
    from railwright.waveforms.waveform import Waveform

    period = asked.duration / turns
    if turns == 1 or abs(round(period / can.step) - period / can.step) > 1e-6:
        return None  # rounded, each turn would begin later than the one before
    first = asked.time < period * (1.0 - 1e-9)
    begin, end = asked.at(np.zeros(1)), just_before(asked, np.array([period]))
    before = end if begin == asked.value[0] else asked.value[:1]
    return Waveform(
        np.concatenate(([0.0], asked.time[first], [period])),
        np.concatenate((before, asked.value[first], end)),
    )


def _better(asked: Waveform, can: Abilities, points: ListPoints, tolerance: float) -> Listed | None:
    """A stepping list where it keeps the tolerance: its jumps are jumps. Else the one with less error."""
    import numpy as np

    from railwright.waveforms.list_lines import line_list
    from railwright.waveforms.list_stepping import stepping_list

    steps = stepping_list(asked, can) if "step" in points.between else None
    if "line" not in points.between or (steps is not None and steps.error <= tolerance):
        return steps
    if steps is not None and not (np.diff(asked.value)[np.diff(asked.time) > 0.0]).any():
        # Nothing but jumps and holds: lines would only make its edges slower.
        return steps
    lines = line_list(asked, can, float(asked.value[0]))
    if steps is None or lines is None:
        return lines or steps
    return lines if lines.error < steps.error else steps
