"""Corners: cases in which every uncertain quantity lies at one of its bounds, each with a number."""

from __future__ import annotations

from collections.abc import Mapping

from railwright.circuit.case import Case, QuantityName, fixed
from railwright.quantities import Uncertain


def corner_case(quantities: Mapping[QuantityName, Uncertain], number: int) -> Case:
    """The corner of that number: bit k says whether quantity k lies at its upper bound.

    quantities: as `uncertain_quantities` gives them, in that order. ValueError where there is no such corner.
    """
    last = (1 << len(quantities)) - 1
    if not 0 <= number <= last:
        raise ValueError(f"expected a corner of {len(quantities)} quantities, from 0 to {last:#x}")
    return fixed(
        {
            name: value.high if number >> k & 1 else value.low
            for k, (name, value) in enumerate(quantities.items())
        }
    )


def quantities_of(
    name: str, outputs: tuple[str, ...], quantities: Mapping[QuantityName, Uncertain]
) -> list[int]:
    """Places of the quantities that belong to one input or to the outputs that feed it."""
    return [k for k, quantity in enumerate(quantities) if quantity.of in (name, *outputs)]
