"""The window of an OVP level: above what stands at the terminals, below what the device withstands."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.context import Source
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

OVP_MARGIN = 0.03
"""Least distance of an OVP level, less its error, above the highest voltage played, in parts of it."""

OVP_STEP = 0.01
"""Step of OVP levels [V], which a bench does not give."""


def grid(source: Source) -> float:
    """Step of the input's OVP level [V]: the sum of its outputs' in series."""
    return OVP_STEP * (source.count if source.series else 1)


def window(source: Source, limit: float | None) -> Window:
    """The window of an input's OVP level [V], with a recommended value where all is known.

    limit [A]: the current limit, which the drop on a sensed lead hangs on; None: there is none, and the drop
    is left out.
    """
    step = grid(source)
    ends = ends_of([*_lows(source, limit), *_highs(source)], step)
    asked = source.limits.ovp if source.limits else "auto"
    found = Window(
        source.name,
        "ovp",
        "V",
        step,
        "the OVP's own step is not given: taken",
        ends,
        tuple(_lacks(source, limit)),
        dict(zip(source.outputs, source.shares, strict=True)),
        None if asked == "auto" else float(asked),
    )
    return recommend(found)


def recommend(found: Window) -> Window:
    """With the recommended value: the middle of the window, with a margin above what is played."""
    low, high = found.low, found.high
    if found.lacks or found.colliding() or low is None or high is None:
        return found
    least = (
        min(low.value * (1.0 + OVP_MARGIN), high.value) if low.key in ("played", "rehearsed") else low.value
    )
    middle = (least + high.value) / 2
    value = figures.two_digits(middle, least, high.value, found.step)
    room = (
        f"from {OVP_MARGIN:.0%} above the lower end on"
        if least < high.value
        else f"there is no room for {OVP_MARGIN:.0%} above the lower end"
    )
    why = (
        f"in the middle between {show(low.value, 'V')} ({low.why}) and {show(high.value, 'V')} ({high.why}), "
        f"{room}; {rounded(value, middle, 'V', found.step)} ({found.taken})"
    )
    return replace(found, recommended=value, why=why)


def _ranges(source: Source) -> list[tuple[float, float]]:
    """Levels of each output that can be set, as levels of the input [V]."""
    return [
        (output.ovp.level.low / share, output.ovp.level.high / share)
        for output, share in zip(source.rows, source.shares, strict=True)
        if output.ovp
    ]


def _accuracy(source: Source) -> float:
    """How far the level of the input may lie below what is set before an output acts [V]: in series each
    output acts on its own share.
    """
    if not source.series:
        return source.ovp_error or 0.0
    return max(
        (output.ovp.accuracy or 0.0) / share if output.ovp else 0.0
        for output, share in zip(source.rows, source.shares, strict=True)
    )


def _lacks(source: Source, limit: float | None) -> Iterator[Impossible]:
    auto = "an OVP level cannot be worked out"
    if source.input.withstands_always is None:
        path = (*source.at_input, "withstands")
        yield missing(path, "what the input withstands for any time", auto)
    known = len(_ranges(source)) == source.count
    if not known or source.ovp_error is None:
        yield missing((*source.at_output, "ovp"), "level or accuracy of the output's OVP", auto)
    if source.ovp_overshoot is None and known:
        path = (*source.at_output, "ovp", "response")
        yield missing(path, "response of the OVP, or rise of the output,", auto)
    if source.highest_terminals(limit or 0.0) is None:
        yield (
            missing((*source.at_output, "programming"), "accuracy of the set voltage", auto)
            if source.played.highest
            else Impossible(
                ("procedure", "steps"),
                "nothing is played on the input, so nothing says what the level must lie above",
                "play a step on it, or write the level",
            )
        )


def _lows(source: Source, limit: float | None) -> Iterator[Demand]:
    highest, level = source.highest_terminals(limit or 0.0), source.played.highest
    if highest is not None and level is not None:
        accuracy = _accuracy(source)
        drop = f" and {show(source.drop(limit), 'V')} of sensed drop" if limit and source.senses else ""
        yield Demand(
            "played",
            "low",
            highest + accuracy,
            lambda value: value - accuracy >= highest * (1.0 - EXACT),
            f"'{level.step}' plays {show(level.voltage, 'V')}, up to {show(highest, 'V')} at the terminals "
            f"with programming error{drop}, plus OVP accuracy {show(accuracy, 'V')}",
            level.path,
            lambda high: (
                f"no more than {show(max(0.0, high - accuracy - highest + level.voltage), 'V')} "
                f"played in '{level.step}'"
            ),
            "ovp-below-played",
            bracket=True,
        )
    least = max((low for low, _ in _ranges(source)), default=0.0)
    if least > 0.0:
        yield threshold(
            "range",
            "low",
            least,
            f"the output's OVP begins at {show(least, 'V')}",
            (*source.at_output, "ovp", "level"),
            lambda high: f"an OVP that begins at {show(max(0.0, high), 'V')}",
            "ovp-range",
        )


def _highs(source: Source) -> Iterator[Demand]:
    withstands, accuracy = source.input.withstands_always, source.ovp_error or 0.0
    if withstands is not None:
        yield Demand(
            "withstands",
            "high",
            withstands - accuracy,
            lambda value: value + accuracy <= withstands * (1.0 + EXACT),
            f"the input withstands {show(withstands, 'V')}, less OVP accuracy {show(accuracy, 'V')}",
            (*source.at_input, "withstands"),
            lambda low: (
                f"an input that withstands {show(low + accuracy, 'V', 5)}, or an OVP that is "
                f"{show(low + accuracy - withstands, 'V', 2)} more accurate"
            ),
            "ovp-above-withstand",
        )
    overshoot = source.ovp_overshoot
    brief = None if overshoot is None else _brief(source, overshoot)
    if brief is not None and overshoot is not None:
        most, long = brief
        yield Demand(
            "brief",
            "high",
            most - accuracy - overshoot,
            lambda value: value + accuracy + overshoot <= most * (1.0 + EXACT),
            f"the input withstands {show(most, 'V')}{long}, less OVP accuracy {show(accuracy, 'V')} and "
            f"overshoot while it responds {show(overshoot, 'V')}",
            (*source.at_input, "withstands"),
            lambda low: f"an input that withstands {show(low + accuracy + overshoot, 'V', 5)}{long}",
            "ovp-above-withstand",
        )
    reach = min((high for _, high in _ranges(source)), default=math.inf)
    if reach < math.inf:
        yield threshold(
            "range",
            "high",
            reach,
            f"the output's OVP reaches {show(reach, 'V')}",
            (*source.at_output, "ovp", "level"),
            lambda low: f"an OVP that reaches {show(low, 'V')}",
            "ovp-range",
        )


def _brief(source: Source, overshoot: float) -> tuple[float, str] | None:
    """The highest voltage [V] that the input withstands for as long as an OVP's overshoot [V] lasts, and for
    how long, in words: while the OVP responds, and until the input has fallen back to what it withstands for
    any time. None: nothing is given.
    """
    always, response = source.input.withstands_always, source.ovp_response or 0.0
    given = [(w.voltage, w.duration) for w in source.input.withstands if w.voltage is not None]
    if not given:
        return None
    lasts = response + (falling(source, overshoot, always) if always is not None else 0.0)
    held = [(voltage, duration) for voltage, duration in given if duration is None or duration >= lasts]
    if not held:
        return None
    voltage, duration = max(held, key=lambda each: each[0])
    return voltage, "" if duration is None else f" for {show(duration, 's')}"


def falling(source: Source, overshoot: float, level: float) -> float:
    """Longest time in which an input that was switched off falls by `overshoot` to `level` [V], in s: C·ΔV
    over the least that its load and the outputs' bleeders draw there; inf: nothing is known to draw.
    """
    drawn = source.load.current(level)
    bleeders = [1.0 / output.bleeder if output.bleeder else 0.0 for output in source.rows]
    through = level * (sum(bleeders) if source.parallel else max(bleeders) if source.count == 1 else 0.0)
    least = (drawn.low if drawn is not None else 0.0) + through
    most = source.load.capacitance.high + (source.output_capacitance or 0.0)
    return most * overshoot / least if least > 0.0 else math.inf if most > 0.0 else 0.0
