"""What power must meet: an over-power level above the need, and the need within what the outputs give."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from railwright.quantities import show, state
from railwright.settings.constraints.constraint import (
    EXACT,
    Constraint,
    Facts,
    Range,
    threshold,
)
from railwright.settings.context import FedInput
from railwright.settings.rule import Unknown


def facts(source: FedInput, limit: float | None) -> Facts:
    """Everything that bounds an OPP level [W]. limit [A]: the current limit; None: there is none yet."""
    charged = charging(source, limit) if limit is not None else ()
    return chain(steady(source), in_range(source), charged, device(source))


def steady(source: FedInput) -> Facts:
    """It does not act at what normal operation takes."""
    source = source.in_operation
    if source.load.current(source.input.nominal) is None:
        yield Unknown(source.name, source.at_input, "what a part of the load draws")
    needed = source.most_power
    if needed is None:
        return
    level, current, power = needed
    plays = state(
        "'{step}' plays {level} with up to {current}, {needed}",
        step=level.step,
        level=(level.voltage, "V"),
        current=(current, "A"),
        needed=(power, "W"),
    )

    # A level at the power itself counts as too low, too.
    yield Constraint(
        "steady",
        "low",
        power,
        lambda value: value > power * (1.0 + EXACT),
        plays,
        level.path,
        lambda high: f"an input that takes no more than {show(max(0.0, high), 'W')} in '{level.step}'",
        "opp-below-need",
        lambda value: (
            state("it acts from {opp} on; {plays}", opp=(value, "W"), plays=plays),
            "raise 'opp', or leave it out",
        ),
    )


def in_range(source: FedInput) -> Facts:
    """Every output can be set to its part."""
    if any(output.opp is None for output in source.rows):
        yield Unknown(source.name, (*source.at_output, "opp"), "the level of the output's OPP")
    yield from Range(
        source,
        "over-power protection",
        "W",
        source.power_parts,
        lambda output: output.opp.level if output.opp else None,
        ("opp", "level"),
        "opp-range",
    ).ends()


def charging(source: FedInput, limit: float) -> Iterator[Constraint]:
    """It does not act while the input is charged at the current limit."""
    source = source.in_operation
    longest, most = source.longest_charging(source.surely(limit)), source.at_most(limit)
    if longest is not None:
        volts = source.voltage_with_error(longest.move.stop) + source.sensed(most)
        yield Constraint(
            "charging",
            "low",
            volts * most,
            lambda value: value >= volts * most,
            state(
                "{charging} ends at {highest} and the current limit, {limit_with_error} with its error",
                charging=longest.words,
                highest=(volts, "V"),
                limit_with_error=(most, "A"),
            ),
            longest.move.path,
            lambda high: f"a current limit of {show(max(0.0, high) / volts, 'A')}",
            bracket=True,
        )


def device(source: FedInput) -> Iterator[Constraint]:
    """It keeps the device from more than it bears at the highest voltage played."""
    highest, at_most = source.played.highest, source.input.current.at_most
    if highest is not None and at_most is not None:
        bears = highest.voltage * at_most
        yield threshold(
            "device",
            "high",
            bears,
            state(
                "the device bears {borne} at the {level} of '{step}', {borne_power}",
                borne=(at_most, "A"),
                level=(highest.voltage, "V"),
                step=highest.step,
                borne_power=(bears, "W"),
            ),
            (*source.at_input, "current", "at_most"),
            lambda low: f"a device that bears {show(low / highest.voltage, 'A')}",
        )


def given(source: FedInput) -> Facts:
    """The outputs give the power that is drawn, while none of them gives more than its own; one without a
    power rating gives its full current at its full voltage.
    """
    full = source.full_power

    why = state("{outputs} can give {full_power}", outputs=source.words, full_power=(full, "W"))
    yield threshold(
        "outputs",
        "high",
        full,
        why,
        source.at_output,
        rule="power-range",
        breach=lambda power: (
            state("{needed} is needed; {why}", needed=(power, "W"), why=why),
            "take a stronger output, or join outputs",
        ),
    )
