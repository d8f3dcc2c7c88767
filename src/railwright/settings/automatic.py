"""`auto` limits: worked out from what the documents give, on the supply's own grid, with the reason.

Static rules. Each looks for the interval in which the setting is right and takes a value inside it; an empty
interval, or a figure that no document gives, is an `Impossible` with its reason, never a silent default. All
figures that lack are told together. A setting that hangs on a current limit which there is not is `Waiting`.
"""

from __future__ import annotations

from dataclasses import dataclass

from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.context import Source
from railwright.settings.rule import Path

HEADROOM = 1.10
"""Least ratio of a current limit, less its error, to the steady current (common practice, no source)."""

ROOM_TO_CHARGE = 1.5
"""Ratio of the chosen current limit to the largest steady current, where the interval allows it."""

OVP_MARGIN = 0.03
"""Least distance of an OVP level, less its error, above the highest voltage played, in parts of it."""

DELAY_MARGIN = 1.5
"""Ratio of a trip delay to the longest time in the current limit that normal operation causes."""


TO_ROUND = 0.04
"""What a trip delay is lengthened by so that a round value above the least one can be found."""

OVP_STEP, DELAY_STEP = 0.01, 1e-4
"""Steps taken for OVP levels [V] and trip delays [s], which a bench does not give."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """A value that was worked out, in SI units, and why."""

    value: float
    why: str


@dataclass(frozen=True, slots=True)
class Impossible:
    """Why no value can be worked out, where, and what would help."""

    path: Path
    why: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Waiting:
    """Nothing speaks against a value; it cannot be worked out before there is a current limit."""


Settled = Chosen | Waiting | tuple[Impossible, ...]
"""A value, or everything that has to be mended before there can be one."""


def _rounded(value: float, wanted: float, unit: str, step: float) -> str:
    """What rounding did to a wanted value, in words."""
    grid = f"the grid of {show(step, unit)}"
    if abs(value - wanted) <= 1e-9 * abs(wanted):
        return f"{show(wanted, unit)} lies on {grid} and stays"
    kept = figures.on_grid(value, step)
    return (
        f"{show(wanted, unit, 5)} rounded to {show(value, unit, 5)}, a round value on {grid}"
        if kept
        else f"{show(wanted, unit, 5)}: no value on {grid} lies between the two"
    )


def _deciding(source: Source) -> str:
    """Which figure for the steady current decides, beside the others."""
    if len(source.asked) < 2:
        return ""
    (_, decides), *others = sorted(source.asked, reverse=True)
    beside = " and ".join(f"{words}, {show(value, 'A')}" for value, words in others)
    return f"; {decides} decides, being no less than {beside}"


def _missing(path: Path, figure: str, needed: str) -> Impossible:
    return Impossible(
        path, f"{figure} is unknown, and {needed} without it", "give the figure, or write the value"
    )


def current_limit(source: Source) -> Chosen | tuple[Impossible, ...]:
    """Current limit of an input [A]: above what it needs, below what device, lead and outputs bear."""
    auto = "a current limit cannot be worked out"
    lacks: list[Impossible] = []
    if source.needs is None:
        lacks.append(_missing(source.at_input, "what the input draws", auto))
    elif source.needs[0] <= 0:
        lacks.append(
            Impossible(
                source.at_input,
                "the load model draws no steady current and none is declared: nothing says what the limit "
                "must carry",
                "declare 'current: {steady: …}' in the device document, or write the current limit",
            )
        )
    at_most = source.input.current.at_most
    if at_most is None:
        path = (*source.at_input, "current", "at_most")
        lacks.append(_missing(path, "the current that does the input no harm", auto))
    permitted = source.lead.permitted_current
    if permitted is None:
        path = (*source.at_lead, "permitted_current")
        lacks.append(_missing(path, f"the current that lead '{source.hook_up.lead}' may carry", auto))
    grids = [o.programming.current.resolution if o.programming else None for o in source.rows]
    known = [grid for grid in grids if grid]
    if len(known) < source.count:
        path = (*source.at_output, "programming")
        lacks.append(_missing(path, "accuracy or resolution of the current limit", auto))
    if lacks or source.needs is None or at_most is None or permitted is None:
        return tuple(lacks)
    need, need_from = source.needs
    step = max(known) * (source.count if source.parallel else 1)
    bounds = {
        f"the device bears {show(at_most, 'A')}": at_most,
        f"lead '{source.hook_up.lead}' bears {show(permitted, 'A')}": permitted,
    }
    capped = min(bounds, key=lambda words: bounds[words])
    borne = bounds[capped]
    upper = borne - (source.limit_error(borne) or 0.0)
    full = source.full_current
    if full < upper:
        upper, capped = full, f"the output's range ends at {show(full, 'A')}"
    lower = HEADROOM * need + (source.limit_error(HEADROOM * need) or 0.0)
    if lower > upper:
        nothing = Impossible(
            (*source.at_limits, "current_limit"),
            f"the limit must lie above {show(lower, 'A')} ({need_from}, {show(need, 'A')}, plus "
            f"{HEADROOM - 1:.0%} "
            f"and programming error) and below {show(upper, 'A')} ({capped}, less programming error)",
            "choose a lead or an output that bears more, or correct the device's figures",
        )
        return (nothing,)
    room = ROOM_TO_CHARGE * need
    wanted = min(upper, max(lower, room))
    value = figures.tidy(wanted, lower, upper, step)
    held = (
        ""
        if wanted == room
        else f", would be {show(room, 'A')}, which is out of these: the nearer end is taken"
    )
    return Chosen(
        value,
        f"between {show(lower, 'A')} ({need_from}, {show(need, 'A')}, plus {HEADROOM - 1:.0%} and "
        f"programming error) "
        f"and {show(upper, 'A')} ({capped}, less programming error){_deciding(source)}; "
        f"{ROOM_TO_CHARGE:g} times the need, to leave room to charge capacitors{held}; "
        f"{_rounded(value, wanted, 'A', step)}",
    )


def ovp(source: Source, limit: float | None) -> Settled:
    """OVP level of an input [V]: the middle between what is played and what the device withstands.

    limit [A]: None: there is none; it is needed where the drop on the lead is sensed away.
    """
    auto = "an OVP level cannot be worked out"
    lacks: list[Impossible] = []
    withstands = source.input.withstands_always
    if withstands is None:
        path = (*source.at_input, "withstands")
        lacks.append(_missing(path, "what the input withstands for any time", auto))
    ranges = [output.ovp.level for output in source.rows if output.ovp]
    accuracy, overshoot = source.ovp_error, source.ovp_overshoot
    if len(ranges) < source.count or accuracy is None:
        lacks.append(_missing((*source.at_output, "ovp"), "level or accuracy of the output's OVP", auto))
    if overshoot is None and len(ranges) == source.count:
        path = (*source.at_output, "ovp", "response")
        lacks.append(_missing(path, "response of the OVP, or rise of the output,", auto))
    highest = source.highest_terminals(limit or 0.0)
    if highest is None:
        lacks.append(
            _missing((*source.at_output, "programming"), "accuracy of the set voltage", auto)
            if source.played.highest
            else Impossible(
                ("procedure", "steps"),
                "nothing is played on the input, so nothing says what the level must lie above",
                "play a step on it, or write the level",
            )
        )
    if lacks or withstands is None or accuracy is None or overshoot is None or highest is None:
        return tuple(lacks)
    share = max(source.shares)
    from_range = min(level.high for level in ranges) / share
    upper = min(withstands - accuracy - overshoot, from_range)
    capped = (
        f"the input withstands {show(withstands, 'V')}, less OVP accuracy {show(accuracy, 'V')} and "
        f"overshoot while it "
        f"responds {show(overshoot, 'V')}"
        if upper < from_range
        else f"the output's OVP reaches {show(from_range, 'V')}"
    )
    lower = highest * (1 + OVP_MARGIN) + accuracy
    words = (
        f"{show(lower, 'V')} (highest voltage at the terminals {show(highest, 'V')} with programming "
        f"error and sensed "
        f"drop, plus {OVP_MARGIN:.0%} and OVP accuracy {show(accuracy, 'V')}) and {show(upper, 'V')} "
        f"({capped})"
    )
    if lower > upper:  # without a limit the drop is left out: what is too little then is so in any case
        nothing = Impossible(
            (*source.at_limits, "ovp"),
            f"no level lies between {words}",
            "write the level that you accept, play less voltage, or use an output with a better OVP",
        )
        return (nothing,)
    if limit is None and source.senses:
        return Waiting()
    least = max(max(level.low for level in ranges) / share, lower)
    middle = (least + upper) / 2
    value = figures.tidy(middle, least, upper, OVP_STEP)
    return Chosen(
        value,
        f"in the middle between {words}; {_rounded(value, middle, 'V', OVP_STEP)} (the OVP's own step is not "
        f"given: taken)",
    )


def trip_delay(source: Source, limit: float | None) -> Settled:
    """Trip delay of an input [s]: longer than the longest time in the limit at power-up.

    limit [A]: None: there is none, and nothing more than what lacks can be told.
    """
    auto = "a trip delay cannot be worked out"
    lacks: list[Impossible] = []
    wrong = source.limit_error(limit or 0.0)
    if wrong is None:
        path = (*source.at_output, "programming")
        lacks.append(_missing(path, "accuracy of the current limit", auto))
    ranges = [output.trip_delay for output in source.rows]
    known = [each for each in ranges if each is not None]
    if len(known) < source.count:
        path = (*source.at_output, "trip_delay")
        lacks.append(_missing(path, "the range of the output's trip delay", auto))
    if source.output_capacitance is None:
        path = (*source.at_output, "output_capacitance")
        lacks.append(_missing(path, "the output's own capacitance", auto))
    if source.load.current(source.input.nominal) is None:
        lacks.append(_missing(source.at_input, "what a part of the load draws", auto))
    if lacks or wrong is None:
        return tuple(lacks)
    if limit is None:
        return Waiting()
    low, high = max(each.low for each in known), min(each.high for each in known)
    longest = source.longest_charging(limit - wrong)
    wanted = max(low, DELAY_MARGIN * longest.time if longest else 0.0)
    words = (
        f"{longest.words} (the output's own with it) at {show(limit - wrong, 'A')} (the limit less its "
        f"error) "
        f"beside the load takes up to {show(longest.time, 's')}, from C·V/(I_limit − I_load)"
        if longest
        else "nothing that is played reaches the current limit"
    )
    if wanted > high:
        nothing = Impossible(
            (*source.at_limits, "trip_delay"),
            f"{words}; times {DELAY_MARGIN:g} that is beyond the longest delay, {show(high, 's')}",
            "raise the current limit, or regulate at the limit instead of tripping",
        )
        return (nothing,)
    aim = min((1.0 + TO_ROUND) * wanted, high)
    value = figures.tidy(aim, wanted, high, DELAY_STEP)
    decides = (
        f"times {DELAY_MARGIN:g} that is {show(wanted, 's')}"
        if longest and wanted > low
        else f"the shortest delay of the output, {show(low, 's')}, decides"
    )
    return Chosen(
        value,
        f"{words}; {decides}, with up to {TO_ROUND:.0%} more to round it, within the range of "
        f"{show(low, 's')} to {show(high, 's')}; {_rounded(value, aim, 's', DELAY_STEP)} (the delay's own "
        f"step is not given: taken)",
    )
