"""The window of the rate at which an input rises: slow enough for the limit, fast enough for the device.

All ends are closed forms. That the limit acts while an input rises is no fault by itself: where a rate is
written a note tells it, `ramp-in-limit`; for `rise: auto` it is an end like any other. That a converter's
soft start ends before the input has risen is no demand: the current limit carries what it draws from the
lowest voltage at which it may start.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from railwright.documents.loader import Documents
from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.context import Source
from railwright.settings.rule import Path
from railwright.settings.windows import current_limit
from railwright.settings.windows.window import (
    EXACT,
    Demand,
    Impossible,
    Window,
    ends_of,
    missing,
    rounded,
    threshold,
)

RISE_STEP = 1.0
"""Step of rates of rise [V/s], which a bench does not give."""

RISE_MARGIN = 1.25
"""Ratio of the fastest rate that is right to the one that is chosen (common practice, no source)."""

REACHED = 0.98
"""Part of the set voltage at which an input counts as up: as the start-up time has it."""


@dataclass(frozen=True, slots=True)
class _PowerUp:
    """A power-up of an input: its step's number and name, the voltage [V], the rate asked for [V/s]
    and where it or its step is written; on: instants at which its inputs are switched on [s].
    """

    index: int
    name: str
    voltage: float
    rate: float | None
    path: Path
    on: dict[str, float]


def window(
    source: Source, documents: Documents, limit: float | None, number: int | None = None
) -> Window | None:
    """The window of an input's rate of rise [V/s] in its first power-up, or in the step of that number; None:
    it has none.

    limit [A]: the current limit; None: there is none yet.
    """
    step = _power_up(source, documents, number)
    if step is None or step.voltage <= 0.0:
        return None
    demands = [*_highs(source, step, limit), *_lows(source, step, documents)]
    found = Window(
        source.name,
        "rise",
        "V/s",
        RISE_STEP,
        "the rate's own step is not given: taken",
        ends_of(demands, RISE_STEP),
        tuple(_lacks(source)),
        dict(zip(source.outputs, source.shares, strict=True)),
        step.rate,
        used=step.rate is not None,
        path=step.path,
    )
    return recommend(found)


def recommend(found: Window) -> Window:
    """With the recommended value: some way below the rate that the limit or the output bears."""
    low, high = found.low, found.high
    if found.lacks or found.colliding() or low is None or high is None or high.value <= 0.0:
        return found
    wanted = max(low.value, high.value / RISE_MARGIN)
    value = figures.tidy(wanted, low.value, high.value, found.step)
    why = (
        f"between {show(low.value, 'V/s')} ({low.why}) and {show(high.value, 'V/s')} ({high.why}), the "
        f"latter by {RISE_MARGIN:g}; {rounded(value, wanted, 'V/s', found.step)} ({found.taken})"
    )
    return replace(found, recommended=value, why=why)


def _power_up(source: Source, documents: Documents, number: int | None) -> _PowerUp | None:
    for index, step in enumerate(documents.procedure.steps):
        up = step.power_up
        if up is None or source.name not in up.order or (number is not None and index != number):
            continue
        voltage = up.voltages.get(source.name, source.input.nominal)
        here: Path = ("procedure", "steps", index, "power_up")
        path = (*here, "rise") if up.rise is not None else here
        on = {name: place * up.gap for place, name in enumerate(up.order)}
        return _PowerUp(index, step.called(index), voltage, up.rate, path, on)
    return None


def _lacks(source: Source) -> Iterator[Impossible]:
    if source.output_capacitance is None:
        path = (*source.at_output, "output_capacitance")
        yield missing(path, "the output's own capacitance", "a rate of rise cannot be worked out")


def _highs(source: Source, step: _PowerUp, limit: float | None) -> Iterator[Demand]:
    drawn = source.drawn_rising(0.0, step.voltage)
    if limit is not None and drawn is not None:
        least = limit - (source.limit_error(limit) or 0.0)
        farads = source.load.capacitance.high + (source.output_capacitance or 0.0)
        spare = least - drawn.high
        yield Demand(
            "limit",
            "high",
            max(0.0, spare) / farads if farads > 0.0 else math.inf,
            lambda rate: farads * rate <= spare * (1.0 + EXACT),
            f"{show(farads, 'F')} and the load's {show(drawn.high, 'A')} stay within the current limit of "
            f"{show(least, 'A')} (less its error), by C·dV/dt{_in_stairs(source)}",
            (*source.at_limits, "current_limit"),
            lambda low: _limit_for(source, farads * low + drawn.high),
            "ramp-in-limit",
            bracket=True,
        )
    able = [o.slew.high if o.slew is not None else figures.fastest_slew(o) for o in source.rows]
    known = [each for each in able if each is not None]
    if len(known) == source.count:
        fastest = sum(known) if source.series else min(known)
        yield threshold(
            "slew",
            "high",
            fastest,
            f"{', '.join(source.outputs)} can rise with {show(fastest, 'V/s')}",
            (*source.at_output, "slew" if source.rows[0].slew else "rise"),
            lambda low: f"an output that rises with {show(low, 'V/s')}",
            "slew-too-fast",
        )


def _in_stairs(source: Source) -> str:
    """That C·dV/dt holds for the line as a whole where the host plays it in stairs, in words."""
    without = [name for name, output in source.outputs.items() if output.slew is None]
    if not without:
        return ""
    return f", as a whole: {', '.join(without)} has no slew, and in a stair the limit may act for a while"


def _limit_for(source: Source, needed: float) -> str:
    """The current limit that carries a current [A], and whether its own window holds it, in words."""
    step, _ = current_limit.grid(source)
    least = math.ceil(current_limit.carrying(source, needed) / step * (1.0 - EXACT)) * step
    high = current_limit.window(source).high
    if high is None:
        return f"a current limit of {show(least, 'A', 5)}"
    if least <= high.value * (1.0 + EXACT):
        return (
            f"a current limit of {show(least, 'A', 5)}, which its window up to {show(high.value, 'A')} holds"
        )
    return (
        f"a current limit of {show(least, 'A', 5)}, for which its window, up to {show(high.value, 'A')} "
        f"({high.why}), would have to be wider"
    )


def _lows(source: Source, step: _PowerUp, documents: Documents) -> Iterator[Demand]:
    slews = [output.slew.low for output in source.rows if output.slew is not None]
    if slews:
        slowest = max(slews)
        yield threshold(
            "slew",
            "low",
            slowest,
            f"the slew of {', '.join(source.outputs)} begins at {show(slowest, 'V/s')}",
            (*source.at_output, "slew"),
            lambda high: f"an output whose slew begins at {show(max(0.0, high), 'V/s')}",
            "slew-out-of-range",
        )
    yield from _order(source, step, documents)
    yield from _required(source, step, documents)


def _order(source: Source, step: _PowerUp, documents: Documents) -> Iterator[Demand]:
    """An input must be within its operating range when the one that follows it is switched on."""
    lowest = source.input.operating.low
    for index, wanted in enumerate(documents.device.order):
        if wanted.after != source.name or wanted.then not in step.on or lowest > step.voltage:
            continue
        gap = step.on[wanted.then] - step.on[source.name]
        if gap <= 0.0:
            continue
        yield Demand(
            "order",
            "low",
            lowest / gap,
            lambda rate, gap=gap: rate * gap >= lowest * (1.0 - EXACT),  # type: ignore[misc]
            f"it reaches {show(lowest, 'V')} before {wanted.then} is switched on {show(gap, 's')} later",
            ("device", "order", index),
            lambda high: "a longer gap" if high <= 0.0 else f"a gap of {show(lowest / high, 's')}",
            "order-rehearsed",
        )


def _required(source: Source, step: _PowerUp, documents: Documents) -> Iterator[Demand]:
    """A start-up time that is required leaves so much time to rise."""
    for index, required in enumerate(documents.procedure.requires):
        wanted = required.known.after_switching_on and required.of == source.name
        most = required.limits[1] if wanted and required.during == step.name else None
        if most is None or most <= 0.0:
            continue
        yield Demand(
            "required",
            "low",
            REACHED * step.voltage / most,
            lambda rate, most=most: rate * most >= REACHED * step.voltage * (1.0 - EXACT),  # type: ignore[misc]
            f"'{required.name}' permits {show(most, 's')} to {show(step.voltage, 'V')}",
            ("procedure", "requires", index),
            lambda high: (
                "more time in the requirement"
                if high <= 0.0
                else f"{show(REACHED * step.voltage / high, 's')} in the requirement"
            ),
            "requirement-predicted",
        )
