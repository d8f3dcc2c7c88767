"""The steps of the two procedures of a first power-up, as plain values: what rises, from where, to where."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.first_power.figures import JUDGED, InputFigures, rounded_time
from railwright.plan.coming_up import coming_up
from railwright.plan.timeline import timeline_of
from railwright.quantities import show

CONTACTS = "contacts"
ALL_ON = "all on at 0 V"
ALL_NOMINAL = "all at nominal voltage"
ALL_REDUCED = "all at reduced voltage"
SETTLE = 0.1
"""Time after all outputs have gone on at 0 V [s]."""
LAST_HOLD = 0.5
"""How long everything stays on at its nominal voltage [s]."""


@dataclass(frozen=True, slots=True)
class PlainStep:
    """One step that is watched: an input's voltage rises from `start` to `stop` [V] in `duration` [s], or
    stays. watched: the inputs whose current is compared with what is expected.
    """

    name: str
    kind: Literal["ramp", "hold"]
    input: str
    start: float
    stop: float
    duration: float
    watched: tuple[str, ...]


def steps_to(figures: InputFigures, levels: Sequence[float]) -> Iterator[PlainStep]:
    """An input's voltage to one level after the other, each held."""
    before, name = 0.0, figures.name
    for level in levels:
        if level <= before:
            continue
        volts = show(level, "V")
        yield PlainStep(
            f"{name} to {volts}", "ramp", name, before, level, figures.ramp(level - before), (name,)
        )
        yield PlainStep(f"{name} at {volts}", "hold", name, level, level, figures.hold, (name,))
        before = level


def leads_steps(
    figures: Mapping[str, InputFigures], order: Sequence[str], rises: Mapping[str, float]
) -> tuple[PlainStep, ...]:
    """Part 1: each input by itself to its probing and its harmless voltage.

    rises: in what time an output whose sense leads lie wrong gets to its OVP [s]; probing is so slow that a
    current has to flow for longer than that, for the OVP tells wrong sense leads from a short.
    """
    found: list[PlainStep] = []
    for name in order:
        *probing, ramp, hold = steps_to(figures[name], (figures[name].probe, figures[name].harmless))
        least = rounded_time(rises[name] / JUDGED)
        found += [replace(step, duration=max(step.duration, least)) for step in probing]
        found += [ramp, hold]
    return tuple(found)


def rise_steps(
    figures: Mapping[str, InputFigures], order: Sequence[str], *, reduced: bool = False
) -> tuple[PlainStep, ...]:
    """Part 2: each input in turn to its highest voltage by stages, then all of them together for a while.
    reduced: one of them stays below its nominal voltage.
    """
    rises = [step for name in order for step in steps_to(figures[name], figures[name].levels)]
    name = ALL_REDUCED if reduced else ALL_NOMINAL
    last = PlainStep(name, "hold", order[-1], 0.0, 0.0, LAST_HOLD, tuple(order))
    return (*rises, last)


ROOMY, SHORT = 1.25, 0.2
"""A gap is so many times the shortest delay that the device allows, and not below that [s] (chosen)."""


def order_of(device: Device, given: Procedure | None, only: Collection[str]) -> tuple[tuple[str, ...], float]:
    """Inputs in the order in which they go on, those of `only`, and the gap between two [s].

    In the order in which the given procedure has them come up first, where all do, and with the gap of the
    power-up that names them all; else by the device's rules.
    """
    ups = coming_up(timeline_of(given, device)) if given is not None else ()
    if {up.input for up in ups} >= set(only):
        order = tuple(dict.fromkeys(up.input for up in ups if up.input in only))
        first = given.steps[ups[0].step].power_up if given is not None else None
        alone = first is not None and set(first.order) >= set(order)
        return order, first.gap if first is not None and alone else _gap(device, order)
    found: list[str] = []
    left = [name for name in device.inputs if name in only]
    while left:
        waiting = {rule.then for rule in device.order if rule.after in left and rule.then in left}
        name = next((each for each in left if each not in waiting), left[0])
        left.remove(name)
        found.append(name)
    return tuple(found), _gap(device, found)


def _gap(device: Device, order: Sequence[str]) -> float:
    """The gap between two inputs that the device's rules want [s]: with room to the shortest delay, and no
    longer than that takes, as whoever stands by waits for it.
    """
    turn = {name: place for place, name in enumerate(order)}
    both = [rule for rule in device.order if rule.then in turn and rule.after in turn]
    wanted = [(rule.delay, turn[rule.then] - turn[rule.after]) for rule in both]
    gaps = [
        min((delay.low + delay.high) / 2, max(ROOMY * delay.low, SHORT)) / steps
        for delay, steps in wanted
        if steps > 0
    ]
    fitting = (gap for gap in gaps if all(gap * steps in delay for delay, steps in wanted))
    return next(fitting, rounded_time(max(gaps, default=0.0)))
