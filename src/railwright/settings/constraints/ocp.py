"""What a level and a delay of an over-current protection must meet: above the need, within the range."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from railwright.quantities import Interval, state
from railwright.settings.constraints.constraint import Constraint, Facts, Range
from railwright.settings.context import FedInput

AT_ONCE = Interval(0.0, 0.0)
"""Delays of a protection that has none that can be set [s]."""


def facts(source: FedInput) -> Facts:
    """Everything that bounds the level of an input's OCP [A]."""
    return chain(in_range(source), needed(source))


def in_range(source: FedInput) -> Iterator[Constraint]:
    """Every output can be set to its part."""
    return Range(
        source,
        "over-current protection",
        "A",
        source.parts,
        lambda output: output.ocp.level if output.ocp else None,
        ("ocp", "level"),
        "ocp-range",
    ).ends()


def needed(source: FedInput) -> Iterator[Constraint]:
    """It does not act at what normal operation draws."""
    source = source.in_operation
    if source.needs is not None:
        need, words, _ = source.needs
        yield Constraint(
            "need",
            "low",
            need,
            lambda level: level > need,
            state("{words}, {needed}", words=words, needed=(need, "A")),
            (*source.at_input, "current"),
            rule="ocp-below-need",
            breach=lambda level: (
                state(
                    "it acts from {ocp} on; {words} is {needed}",
                    ocp=(level, "A"),
                    words=words,
                    needed=(need, "A"),
                ),
                "raise 'ocp', or leave it out",
            ),
        )


def delay_in_range(source: FedInput) -> Iterator[Constraint]:
    """Every output can be set to its delay [s]."""
    return Range(
        source,
        "delay of the over-current protection",
        "s",
        [1.0] * source.count,
        lambda output: (output.ocp.delay or AT_ONCE) if output.ocp else None,
        ("ocp", "delay"),
        "ocp-range",
        zero=True,
    ).ends()
