"""Voltages, slopes and times of a first power-up: as little energy as the bench's readings can tell apart.

Factors without a source are common practice of a careful first power-up; each is named.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from railwright.documents.bench import CurrentAccuracy, Output, VoltageAccuracy
from railwright.documents.device import Input
from railwright.documents.figures import error_bound
from railwright.documents.loader import Documents
from railwright.quantities import round_down, round_up, show
from railwright.settings.context import FedInput
from railwright.settings.group import Quantity

BELOW_OPERATING = 0.6
"""Harmless voltage in parts of the lowest operating voltage."""
BELOW_START = 0.7
"""Harmless voltage in parts of the lowest voltage at which a converter may start."""
PROBE = 1.0
"""Voltage at which a short or a wrong polarity shows first [V]: just above what silicon conducts at."""
TELLING = 10.0
"""Charging current in a ramp, in parts of the error of its reading."""
SHORTEST_RAMP, LONGEST_RAMP = 0.12, 5.0
"""Duration of a ramp [s]."""
READINGS = 12.0
"""Readings that a ramp should hold at least."""
HOLD = 0.25
"""How long a level is held at least [s]."""
JUDGED = 0.35
"""Part of a step for which a current has to lie outside its band before the run ends."""
ASSUMED_UPDATE = 50e-3
"""Update interval, and aperture, of readings where the bench does not give it [s] (assumed, and declared)."""
ASSUMED_OF_VALUE, ASSUMED_OFFSET = 2e-3, 2e-3
"""Error of readings of which the bench does not say it: parts of the value, and of full scale (assumed)."""
CONFIDENT = 4.0
"""How many times its r.m.s. noise a reading may be off."""
START_MARGIN = 1.03
"""Level at which a converter runs for certain, in parts of its highest starting voltage."""


class NotPossible(ValueError):
    """No first power-up can be made from these documents; one line for people."""


@dataclass(frozen=True, slots=True)
class InputFigures:
    """One input's first power-up, SI units. levels: the rise to its highest voltage; why: the reasons, for
    people.

    slope: of its ramps [V/s]. blind: how old what a reading covers may be when it is handed over [s].
    """

    name: str
    probe: float
    harmless: float
    levels: tuple[float, ...]
    slope: float
    blind: float
    why: str

    def ramp(self, change: float) -> float:
        """Duration of a ramp by so many volts [s]."""
        return rounded_time(max(abs(change) / self.slope, SHORTEST_RAMP, READINGS * self.blind / 2))

    @property
    def hold(self) -> float:
        """How long a level is held [s]."""
        return rounded_time(max(HOLD, READINGS * self.blind))


def judged_for(duration: float, source: FedInput) -> float:
    """For how long a current has to lie outside its band within a step of this duration [s].

    Where the bench does not say how old a reading may be, a run judges also what was before the step.
    """
    known = all(
        o.reading is not None and None not in (o.reading.update, o.reading.aperture) for o in source.rows
    )
    return rounded_time(JUDGED * duration + (0.0 if known else blind_of(source)))


def blind_of(source: FedInput) -> float:
    """How old what a reading of an input covers may be when it is handed over [s]; assumed where unknown."""
    return max(
        update_of(output)
        + aperture_of(output)
        + ((output.reading.latency if output.reading else None) or 0.0)
        for output in source.rows
    )


def update_of(output: Output) -> float:
    """Update interval of an output's readings [s]; assumed where it is unknown."""
    return (output.reading.update if output.reading else None) or ASSUMED_UPDATE


def aperture_of(output: Output) -> float:
    """Averaging time of an output's readings [s]; where it is unknown, their update interval."""
    return (output.reading.aperture if output.reading else None) or update_of(output)


def assumed_of(source: FedInput) -> list[str]:
    """What was assumed of an input's readings, where the bench does not say it, for people."""
    said = []
    for name, output in source.outputs.items():
        if output.reading is None:
            said.append(
                f"{name}: the bench does not say how exactly and how often it reads: ±(0.2 % of the value + "
                "0.2 % of full scale) every 50 ms assumed"
            )
        elif output.reading.update is None or output.reading.aperture is None:
            said.append(
                f"{name}: the bench does not say how often it reads, or over what time: 50 ms assumed"
            )
    return said


def rounded_time(seconds: float) -> float:
    """Up to whole 10 ms."""
    return math.ceil(seconds * 100 - 1e-9) / 100


def refuse_below_zero(name: str, wanted: Input) -> None:
    """NotPossible where an input's voltages are written with a minus sign."""
    if wanted.nominal > 0.0 and wanted.operating.low > 0.0:
        return
    raise NotPossible(
        f"{name}: expected a nominal voltage and an operating range above 0 V, got "
        f"{show(wanted.nominal, 'V')} and {wanted.operating.text}; write a rail below its 0 V in amounts, "
        "with 'rail: negative'"
    )


def input_figures(
    documents: Documents, sources: Mapping[str, FedInput], name: str, up_to: float | None = None
) -> InputFigures:
    """The first power-up of one input. up_to: a voltage to which it rises at most [V]; None: its nominal one.
    NotPossible where its nominal voltage is not above 0 V, or that does not lie in between.
    """
    source = sources[name]
    wanted = source.input
    refuse_below_zero(name, wanted)
    if up_to is not None and not 0.0 < up_to <= wanted.nominal:
        raise NotPossible(
            f"{name}: expected a voltage above 0 V and up to its nominal {show(wanted.nominal, 'V')}, got "
            f"{show(up_to, 'V')}"
        )
    harmless, why = _harmless(sources, name)
    if up_to is not None and up_to < harmless:
        harmless, why = up_to, "as far as it is to rise"
    started = [START_MARGIN * each.starts_at.high for each in source.load.converters]
    drop = source.drop(source.needs[0]) if source.needs is not None and not source.senses else 0.0
    lowest = min(round_up(max([wanted.operating.low + drop, *started])), wanted.nominal)
    levels: tuple[float, ...] = (harmless,) if lowest <= harmless else (harmless, lowest)
    top = wanted.nominal if up_to is None else up_to
    levels = tuple(level for level in levels if level < top)
    blind = max(blind_of(source), documents.procedure.record.every)
    return InputFigures(
        name,
        round_down(min(PROBE, harmless / 2)),
        harmless,
        (*levels, top),
        _slope(source, harmless),
        blind,
        why,
    )


def _harmless(sources: Mapping[str, FedInput], name: str) -> tuple[float, str]:
    """A voltage at which nothing starts, and that does no harm at another input either [V], and why."""
    source = sources[name]
    found = [
        (
            BELOW_OPERATING * source.input.operating.low,
            f"{BELOW_OPERATING:.0%} of its lowest operating voltage",
        )
    ]
    words = f"{BELOW_START:.0%} of the lowest voltage at which its converter may start"
    found += [(BELOW_START * converter.starts_at.low, words) for converter in source.load.converters]
    for other, theirs in sources.items():
        if other != name:
            borne = theirs.input.withstands_always or theirs.input.operating.high
            found.append((borne, f"what {other} bears, should their leads be exchanged"))
    value, why = min(found)
    if round_down(value) <= 0.0:
        raise NotPossible(f"{name}: no voltage of 0.1 V or more is harmless ({why}); write one by hand")
    return round_down(value), why


def _slope(source: FedInput, harmless: float) -> float:
    """Slope at which charging the input can be told from a third of it [V/s]."""
    offset = reading_error(source, "current", 0.0)
    capacitance = (source.load.capacitance.low + source.load.capacitance.high) / 2
    slope = TELLING * offset / capacitance if capacitance > 0.0 and offset else harmless / (2 * SHORTEST_RAMP)
    slope = max(slope, harmless / LONGEST_RAMP)
    slews = [output.slew.low for output in source.rows if output.slew is not None]
    # Below the slowest programmable slew the host would play stairs, each of them a surge.
    least = (sum(slews) if source.series else max(slews)) if len(slews) == source.count else 0.0
    return max(slope, least)


def reading_error(source: FedInput, quantity: Quantity, value: float) -> float:
    """By how much the input's reading of a voltage or current may be off [V or A]; assumed where unknown.

    Accuracy, resolution and noise; those of a group as its outputs' readings are put together.
    """

    def bound(output: Output, own: float) -> float:
        if output.reading is None:
            full = output.current.high if quantity == "current" else output.voltage.high
            return ASSUMED_OF_VALUE * abs(own) + ASSUMED_OFFSET * full
        accuracy: VoltageAccuracy | CurrentAccuracy = getattr(output.reading, quantity)
        beside = (accuracy.resolution or 0.0) + CONFIDENT * (accuracy.noise or 0.0)
        return error_bound(accuracy, own) + beside

    return source.read_together(quantity, value, bound)


def energy_words(source: FedInput, ovp: float, limit: float) -> str:
    """What a fault gets at most, for people, with the errors of both settings: until the limit has responded,
    more.
    """
    amperes = source.at_most(limit)
    return (
        f"{show(amperes, 'A', 3)} and {show(source.ovp_with_error(ovp) * amperes, 'W', 3)} at most into any "
        f"fault once the limit has responded (until then more, and what the output's own capacitor holds)"
    )
