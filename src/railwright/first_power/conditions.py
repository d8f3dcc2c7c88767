"""When a first power-up stops: each step's current outside its band, with what is then likely wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from railwright.first_power.expected import Suspect
from railwright.first_power.figures import judged_for, reading_error
from railwright.first_power.steps import PlainStep
from railwright.quantities import show
from railwright.settings.context import FedInput

MODEL = 0.03
"""By how much a load model may be off beyond its tolerances, in parts of the current (assumed)."""
NEAR_LIMIT = 0.95
"""A band that ends so near the current limit is left to the limit."""
CLOSE = 0.02
"""Thresholds that are nearer to each other are one, in parts of the lowest expected current."""
OF_VOLTAGE, LEAST_OFF = 0.02, 0.05
"""How far a steady voltage may lie from its set point: parts of it, and at least so many volts."""


@dataclass(frozen=True, slots=True)
class Condition:
    """One stop condition: which reading of which input, during which step, for how long [s], and why."""

    input: str
    during: str
    kind: str
    value: float
    unit: str
    duration: float
    likely: str


@dataclass(frozen=True, slots=True)
class Watched:
    """What is expected of one input in one step, its stop conditions, and which suspects they see or not."""

    step: str
    input: str
    expected: str
    conditions: tuple[Condition, ...]
    seen: tuple[str, ...]
    unseen: tuple[str, ...]


def watch(
    step: PlainStep,
    source: FedInput,
    band: tuple[float, float],
    limit: float,
    suspects: Sequence[Suspect],
    above: Sequence[str],
) -> Watched:
    """The conditions of one input in one step.

    band: least and greatest mean current that is expected [A]. limit: its current limit [A]. suspects: what
    may be wrong, with what would be drawn. above: what else makes the current rise.
    """
    name, key = source.name, (step.name, source.name)
    duration = judged_for(step.duration, source)
    low = band[0] * (1 - MODEL) - reading_error(source, "current", band[0])
    high = band[1] * (1 + MODEL) + reading_error(source, "current", band[1])
    high = max(high, 2 * reading_error(source, "current", 0.0))
    drawn = sorted(((each.draws[key], each.words) for each in suspects), key=lambda each: each[0])
    under = [each for each in drawn if each[0] + reading_error(source, "current", each[0]) < low]
    over = [each for each in drawn if each[0] - reading_error(source, "current", each[0]) > high]
    seen = tuple(words for _, words in under + over)
    unseen = tuple(words for _, words in drawn if words not in seen)
    conditions: list[Condition] = []
    if low > 0.0 and under:
        # What may read below as well as within the band does not show for certain, yet may be the cause.
        may = [each for each in drawn if each[0] - reading_error(source, "current", each[0]) < low]
        for value, words in _lower(source, under, may, low):
            conditions.append(Condition(name, step.name, "current_below", value, "A", duration, words))
    if high < NEAR_LIMIT * limit:
        may = [each for each in drawn if each[0] + reading_error(source, "current", each[0]) > high]
        words = _listed([*above, *(f"{told} ({_drawn(value)})" for value, told in may)])
        conditions.append(Condition(name, step.name, "current_above", high, "A", duration, words))
    if step.kind == "hold" and source.senses and step.input == name and step.stop > 0.0:
        conditions += _voltages(step, source, duration)
    drawing = f"{show(max(band[0], 0.0), 'A', 3)} .. {show(max(band[1], 0.0), 'A', 3)}"
    expected = (
        f"{drawing if band[1] > reading_error(source, 'current', 0.0) / 10 else 'nothing'} expected, "
        f"readings are exact to ±{show(reading_error(source, 'current', band[1]), 'A', 2)}"
    )
    return Watched(step.name, name, expected, tuple(conditions), seen, unseen)


def _lower(
    source: FedInput, under: Sequence[tuple[float, str]], may: Sequence[tuple[float, str]], low: float
) -> list[tuple[float, str]]:
    """Thresholds from below, each with what a reading between it and the one before it may come from.

    under: what reads below `low` [A] for certain, which is what thresholds are set by. may: what may do so.
    """
    errors = [reading_error(source, "current", value) for value, _ in under]
    ends = sorted({value + error for (value, _), error in zip(under, errors, strict=True)})
    found, before = [], float("-inf")
    apart = [end for end, above in pairwise([*ends, low]) if above - end > CLOSE * low]
    for end in [*apart, low]:
        words = [
            f"{told} ({_drawn(value)})"
            for value, told in may
            for error in (reading_error(source, "current", value),)
            if value - error < end and value + error > before + CLOSE * low
        ]
        found.append((end, _listed(words) or "a device that draws less than its document says"))
        before = end
    return found


def _voltages(step: PlainStep, source: FedInput, duration: float) -> list[Condition]:
    """A sensed voltage that is not what was set."""
    error = reading_error(source, "voltage", step.stop) + (source.voltage_error(step.stop) or 0.0)
    off = max(OF_VOLTAGE * step.stop, LEAST_OFF) + error
    wrong = "a sense lead that is reversed, crossed, shorted or open"
    return [
        Condition(source.name, step.name, kind, value, "V", duration, words)
        for kind, value, words in (
            ("voltage_below", step.stop - off, f"{wrong}, or the current limit"),
            ("voltage_above", step.stop + off, wrong),
        )
    ]


def suspects_of(
    source: FedInput,
    keys: Sequence[tuple[str, str]],
    less: Mapping[tuple[str, str], float],
    exchanged: Mapping[str, Mapping[tuple[str, str], float]],
) -> list[Suspect]:
    """What may be wrong with one input.

    less: what is drawn with less capacitance. exchanged: the same with the leads of another input and of this
    one exchanged, by the other's name.
    """
    nothing = dict.fromkeys(keys, 0.0)
    # With sense leads an open power lead lets the output rise, as wrong sense leads do: `trip_conditions`.
    protected = source.input.blocks_reversed
    found = []
    if protected or not hides_polarity(source):
        found.append(
            Suspect("polarity reversed" if protected else "a reversed polarity that blocks", nothing)
        )
    if not source.senses:
        found.append(Suspect("its lead open", nothing))
    found += [
        Suspect(f"the lead of {other} in its place", draws) for other, draws in sorted(exchanged.items())
    ]
    if source.load.capacitance.high > 0.0:
        found.append(Suspect("a third of its capacitance", less))
    return found


def raises(source: FedInput) -> tuple[str, ...]:
    """What makes the current of an input rise beyond what is expected."""
    silent = source.input.blocks_reversed or hides_polarity(source)
    return ("a short or leakage in lead or device", *(() if silent else ("polarity reversed",)))


def hides_polarity(source: FedInput) -> bool:
    """Whether an input draws the same with the conductors of its lead exchanged; a fixture's diode blocks."""
    fixture = source.fixture
    return source.input.draws_either_way and (fixture is None or fixture.diode is None)


def trip_conditions(source: FedInput, others: Sequence[str]) -> list[tuple[str, str]]:
    """Which trips may come, with what each points to."""
    exchanged = [f"the lead of {other} in its place" for other in others]
    wrong = ["sense leads that lie wrong"] if source.senses else []
    rises = (
        "sense leads reversed, shorted or open, or crossed with those of another input, or a power lead open"
        if source.senses
        else "a voltage from elsewhere at this input, or a defective output"
    )
    return [("current limit", _listed([*raises(source), *exchanged, *wrong])), ("OVP", rises)]


def _drawn(value: float) -> str:
    return f"draws {show(value, 'A', 2) if abs(value) > 1e-6 else 'nothing'}"


def _listed(words: Sequence[str]) -> str:
    """'a', 'a, or b', 'a, b, or c'."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])}, or {words[-1]}"
