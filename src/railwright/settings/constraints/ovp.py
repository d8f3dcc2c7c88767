"""What an OVP level must meet: above what stands at the terminals, below what the device withstands."""

from __future__ import annotations

import math
from itertools import chain

from railwright.physics.output_stage import OWN_CAPACITANCE
from railwright.quantities import joined, show, state
from railwright.settings.constraints.constraint import EXACT, Constraint, Facts, Range
from railwright.settings.context import FedInput
from railwright.settings.rule import Unknown

ABOVE_WITHSTAND = "ovp-above-withstand"


def facts(source: FedInput, limit: float | None) -> Facts:
    """Everything that bounds an input's OVP level [V].

    limit [A]: the current limit, which the drop on a sensed lead hangs on; None: there is none, and the drop
    is left out.
    """
    return chain(borne(source, limit), played(source, limit), range_of(source).ends())


def played(source: FedInput, limit: float | None) -> Facts:
    """It does not act at what is played: less its error it lies above what stands at the terminals."""
    source = source.in_operation
    highest, level = source.highest_terminals(limit or 0.0), source.played.highest
    if level is None:
        return
    if highest is None:
        yield Unknown(
            source.name,
            (*source.at_output, "programming"),
            "accuracy of the set voltage",
            "the OVP against the highest voltage",
            "ovp-below-played",
        )
        return
    early = source.ovp_early(level.voltage)
    plays = state(
        "'{step}' plays {level}, up to {highest} at the terminals with programming error{drop}",
        step=level.step,
        level=(level.voltage, "V"),
        highest=(highest, "V"),
        drop=state(" and {drop} of sensed drop", drop=(source.drop(limit), "V"))
        if limit and source.senses
        else "",
    )

    yield Constraint(
        "played",
        "low",
        highest + early,
        lambda value: value - early >= highest * (1.0 - EXACT),
        state("{plays}, plus {early_by} by which the OVP may act early", plays=plays, early_by=(early, "V")),
        level.path,
        lambda high: (
            f"no more than {show(max(0.0, high - early - highest + level.voltage), 'V')} played in "
            f"'{level.step}'"
        ),
        "ovp-below-played",
        lambda value: (
            state(
                "the OVP may trip from {trips_from} on; {plays}", trips_from=(value - early, "V"), plays=plays
            ),
            "raise the OVP where the device withstands it, or play a lower voltage",
        ),
        bracket=True,
    )


def borne(source: FedInput, limit: float | None) -> Facts:
    """With its error it lets nothing stand that the input does not withstand for any time, nor, while it
    acts, for as long as that lasts.
    """
    return chain(_standing(source), _while_acting(source, limit))


def _standing(source: FedInput) -> Facts:
    """What it lets stand with its error is no more than the input withstands for any time."""
    withstands, accuracy = source.input.withstands_always, source.ovp_error
    if withstands is None:
        yield Unknown(
            source.name,
            (*source.at_input, "withstands"),
            "what the input withstands for any time",
            "the OVP level against it",
            ABOVE_WITHSTAND,
        )
    if accuracy is None:
        yield Unknown(
            source.name,
            (*source.at_output, "ovp"),
            "level or accuracy of the OVP",
            "the error of the OVP level",
            ABOVE_WITHSTAND,
        )
    if withstands is None:
        return
    wrong = accuracy or 0.0

    yield Constraint(
        "withstands",
        "high",
        withstands - wrong,
        lambda level: level + wrong <= withstands * (1.0 + EXACT),
        state(
            "the input withstands {withstood}, less OVP accuracy {accuracy}",
            withstood=(withstands, "V"),
            accuracy=(wrong, "V"),
        ),
        (*source.at_input, "withstands"),
        lambda low: (
            f"an input that withstands {show(low + wrong, 'V', 5)}, or an OVP that is "
            f"{show(low + wrong - withstands, 'V', 2)} more accurate"
        ),
        ABOVE_WITHSTAND,
        lambda level: (
            state(
                "the OVP may let {highest} stand ({ovp} with its accuracy); the input withstands {withstood}",
                highest=(level + wrong, "V"),
                ovp=(level, "V"),
                withstood=(withstands, "V"),
            ),
            f"set the OVP to {show(withstands - wrong, 'V')} or less",
        ),
    )


def _while_acting(source: FedInput, limit: float | None) -> Facts:
    """What the voltage reaches until it has acted is no more than the input withstands for that long."""
    wrong = source.ovp_error or 0.0
    overshoot = source.ovp_overshoot(source.input.withstands_always or source.reach, limit)
    if overshoot is None and all(output.ovp for output in source.rows):
        yield Unknown(
            source.name,
            (*source.at_output, "ovp", "response"),
            "response of the OVP",
            "how far it may rise past the level",
            ABOVE_WITHSTAND,
        )
    if overshoot is None:
        return
    most, long = _withstood_for(source, lasting(source, overshoot))
    if math.isinf(most):
        return

    def past(level: float) -> float:
        return source.ovp_past(level + wrong, limit)

    def holds(level: float) -> bool:
        return level + wrong + past(level) <= most * (1.0 + EXACT)

    end = max(0.0, source.ovp_bearing(most, limit) - wrong)

    yield Constraint(
        "brief",
        "high",
        end,
        holds,
        state(
            "the input withstands {withstood}{long}, less OVP accuracy {accuracy} and overshoot while it "
            "responds {overshoot}{assumed}",
            withstood=(most, "V"),
            long=long,
            accuracy=(wrong, "V"),
            overshoot=(past(end), "V"),
            assumed=_assumed(source),
        ),
        (*source.at_input, "withstands"),
        lambda low: f"an input that withstands {show(low + wrong + past(low), 'V', 5)}{long}",
        ABOVE_WITHSTAND,
        lambda level: (
            state(
                "the voltage may reach {highest} before the OVP acts; the input withstands {withstood}{long}",
                highest=(level + wrong + past(level), "V"),
                withstood=(most, "V"),
                long=long,
            ),
            f"set the OVP to {show(end, 'V')} or less",
        ),
    )


def _assumed(source: FedInput) -> str:
    """What is assumed of the outputs' own capacitance, in words."""
    without = [name for name, output in source.outputs.items() if output.output_capacitance is None]
    assumed = state(
        " (of {outputs}'s own capacitance {per_ampere} per ampere of rated current is assumed)",
        outputs=joined(", ", without),
        per_ampere=(OWN_CAPACITANCE, "F"),
    )
    return assumed if without else ""


def lasting(source: FedInput, overshoot: float) -> float:
    """For how long an input stands above what it withstands for any time when an OVP acts that overshoots
    [V], at most [s]: while it responds, and until the input has fallen back.
    """
    always, response = source.input.withstands_always, source.ovp_response or 0.0
    return response + (falling(source, overshoot, always) if always is not None else 0.0)


def _withstood_for(source: FedInput, time: float) -> tuple[float, str]:
    """The highest voltage [V] that the input withstands for a time [s], and for how long, in words; inf: none
    is given.
    """
    held = [each for each in source.input.withstood if each[1] >= time]
    voltage, lasts = max(held, key=lambda each: each[0], default=(math.inf, math.inf))
    return voltage, "" if math.isinf(lasts) else state(" for {duration}", duration=(lasts, "s"))


def falling(source: FedInput, overshoot: float, level: float) -> float:
    """Longest time in which an input that was switched off falls by `overshoot` to `level` [V], in s: C·ΔV
    over the least that its load and the outputs' bleeders draw there; inf: nothing is known to draw.
    """
    drawn, held = source.load.current(level), source.holding
    least = (drawn.low if drawn is not None else 0.0) + level * source.leak
    return held * overshoot / least if least > 0.0 else math.inf if held > 0.0 else 0.0


def range_of(source: FedInput) -> Range:
    """What the outputs' OVP levels can be set to [V], of those that have one."""
    return Range(
        source,
        "OVP",
        "V",
        source.shares,
        lambda output: output.ovp.level if output.ovp else None,
        ("ovp", "level"),
        "ovp-range",
    )
