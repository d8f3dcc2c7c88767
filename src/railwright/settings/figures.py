"""How a recommended value is rounded on the grid of its setting."""

from __future__ import annotations

import math


def on_grid(value: float, step: float) -> bool:
    """Whether a value is a whole number of steps (to a thousandth of a step)."""
    return abs(value / step - round(value / step)) <= 1e-3


def tidy(value: float, low: float, high: float, step: float) -> float:
    """The roundest value near `value` within low..high that is a whole number of steps.

    Tries whole numbers of one, two and five times powers of ten, the coarsest first, and takes the first that
    is a whole number of `step` and moves the value by no more than 5 %. Where none fits, the nearest step
    inside the range; where the range holds no step at all, `value` as it is.
    """
    top = math.floor(math.log10(abs(value))) if value else 0
    for decade in range(top + 1, math.floor(math.log10(step)) - 1, -1):
        for factor in (5, 2, 1):
            coarse = factor * 10.0**decade
            candidate: float = round(round(value / coarse) * coarse, 12)
            near = low <= candidate <= high and abs(candidate - value) <= 0.05 * abs(value)
            if near and on_grid(candidate, step):
                return candidate
    return _on_step(value, low, high, step)


def two_digits(value: float, low: float, high: float, step: float) -> float:
    """The value of two digits within low..high that is a whole number of steps and lies nearest to `value`.

    Where there is none within 10 % of it, the nearest step inside the range; where the range holds no step at
    all, `value` as it is.
    """
    if value <= 0.0:
        return _on_step(value, low, high, step)
    coarse = 10.0 ** (math.floor(math.log10(value)) - 1)
    around = (round((round(value / coarse) + n) * coarse, 12) for n in range(-10, 11))
    fit: list[float] = [
        each
        for each in around
        if low <= each <= high and abs(each - value) <= 0.1 * value and on_grid(each, step)
    ]
    return min(fit, key=lambda each: abs(each - value), default=_on_step(value, low, high, step))


def _on_step(value: float, low: float, high: float, step: float) -> float:
    """The nearest whole number of steps within low..high; where there is none, the value as it is."""
    ends = (math.floor(value / step) * step, math.ceil(value / step) * step)
    inside = [each for each in ends if low <= each <= high]
    nearest: float = min(inside, key=lambda each: abs(each - value), default=value)
    return round(nearest, 12) if inside else value
