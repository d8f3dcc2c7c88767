"""Fits of recordings of 1,000,000 samples into a point list of 500 points.

Time, stepping and interpolating, on four kinds of recording; the bound is 0.5 s, and beside it stands one
numpy pass over the samples (the largest deviation of given points from them), without which no fit can state
its error. Error against searches without the fits' own code (tests/waveforms/by_force.py) on 200 random cases
each. Points against the common line simplification, Ramer-Douglas-Peucker, as shapely has it, at equal error:
its tolerance is a distance from the line, and becomes one along the voltage where the time is stretched far
enough.

The last line is the longest time of a fit as a part of 0.5 s.

    python -m benchmarks.fit
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely  # type: ignore[import-untyped]
from tests.waveforms.by_force import best_levels, best_lines

from railwright.waveforms.fit import Fit, deviation
from railwright.waveforms.fit_lines import fewest_lines, least_error_lines
from railwright.waveforms.fit_stepping import least_error_steps
from railwright.waveforms.waveform import Waveform

SAMPLES, POINTS, BOUND, CASES, REPEATS = 1_000_000, 500, 0.5, 200, 3
STRETCH = 1e9
"""The time is stretched to so many times the span of the voltage: distances are then along the voltage."""


def recordings(samples: int) -> dict[str, Waveform]:
    """Recordings at 100,000 samples a second [V]."""
    rng = np.random.default_rng(4)
    when: Any = np.arange(samples) * 1e-5
    noise = rng.normal(scale=0.02, size=samples)
    dips = np.where(rng.random(samples).cumsum() % 40_000 < 3_000, 6.0, 12.0)
    ripple = (
        24.0
        + 2.0 * np.sin(2 * np.pi * 3.0 * when) * np.exp(-when / 4.0)
        + 0.3 * np.sin(2 * np.pi * 50.0 * when)
    )
    walk = 12.0 + 0.002 * rng.normal(size=samples).cumsum()
    return {
        "dips with noise": Waveform(when, dips + noise),
        "ripple": Waveform(when, 24.0 + ripple + 0.3 * np.sin(2 * np.pi * 50.0 * when)),
        "wandering with noise": Waveform(when, walk + noise),
        "noise alone": Waveform(when, 12.0 + noise),
    }


def timed(fit: Callable[[], Fit]) -> tuple[float, Fit]:
    """Best time of several runs [s], and what came."""
    best, found = np.inf, None
    for _ in range(REPEATS):
        begin = time.perf_counter()
        found = fit()
        best = min(best, time.perf_counter() - begin)
    assert found is not None
    return best, found


def one_pass(wave: Waveform, made: Waveform) -> float:
    """Time of one numpy pass: the largest deviation of given lines at the samples [s]."""
    best = np.inf
    for _ in range(REPEATS):
        begin = time.perf_counter()
        np.abs(np.interp(wave.time, made.time, made.value) - wave.value).max()
        best = min(best, time.perf_counter() - begin)
    return best


def simplified(wave: Waveform, tolerance: float) -> int:
    """Lines that Ramer-Douglas-Peucker needs to stay within a tolerance."""
    stretched = wave.time * (STRETCH * float(np.ptp(wave.value)) / wave.duration)
    line = shapely.LineString(np.column_stack((stretched, wave.value)))
    kept = np.asarray(shapely.simplify(line, tolerance, preserve_topology=False).coords)
    lines = Waveform(np.asarray(kept[:, 0] / stretched[-1] * wave.duration), np.asarray(kept[:, 1]))
    assert deviation(wave, lines) <= tolerance * (1.0 + 1e-6)
    return len(kept) - 1


def against_searches() -> None:
    """200 random cases of each kind against the searches."""
    rng = np.random.default_rng(2026)
    same, beyond, short, gap, close = 0, 0.0, 0.0, 0.0, 0
    for _ in range(CASES):
        values = rng.normal(size=int(rng.integers(2, 40))).round(int(rng.integers(1, 9)))
        held = Waveform(np.repeat(np.arange(values.size + 1.0), 2)[1:-1], np.repeat(values, 2))
        points = int(rng.integers(1, 9))
        same += least_error_steps(held, points).error == best_levels(values, points)
    print(f"stepping, {CASES} random cases: {same} equal to the optimum of all partitions to the last bit")
    for case in range(CASES):
        rows = int(rng.integers(3, 12))
        when = np.concatenate(([0.0], np.cumsum(rng.uniform(0.2, 1.0, rows - 1))))
        values = rng.normal(size=rows) if case % 2 else rng.normal(size=rows).cumsum()
        points = (1, 2, 2, 3, 3)[case % 5]
        wave, span = Waveform(when, values), float(np.ptp(values))
        fit, searched = least_error_lines(wave, points), best_lines(when, values, points)
        assert deviation(wave, fit.wave) <= fit.error * (1.0 + 1e-12)
        beyond, short = max(beyond, (fit.error - searched) / span), max(short, (searched - fit.error) / span)
        gap = max(gap, fit.gap / span)
        close += abs(searched - fit.error) <= 1e-5 * span
    print(
        f"interpolating, {CASES} random cases: {close} equal to a search to 1e-5 of the span; at most "
        f"{max(beyond, 0.0):.1e} above it and {short:.1e} below; shown gap at most {gap:.1e}"
    )


def main() -> None:
    """Measure and print."""
    against_searches()
    small = {name: Waveform(wave.time, wave.value) for name, wave in recordings(20_000).items()}
    for wave in small.values():  # to load the compiled code
        least_error_lines(wave, 20)
        least_error_steps(wave, 20)
    longest = 0.0
    for name, wave in recordings(SAMPLES).items():
        steps_time, steps = timed(lambda wave=wave: least_error_steps(wave, POINTS))  # type: ignore[misc]
        lines_time, lines = timed(lambda wave=wave: least_error_lines(wave, POINTS))  # type: ignore[misc]
        bound = one_pass(wave, lines.wave)
        fewest = fewest_lines(wave, lines.error + lines.gap)
        assert fewest is not None
        common = simplified(wave, lines.error + lines.gap)
        longest = max(longest, steps_time, lines_time)
        print(
            f"{name}: stepping {steps_time * 1e3:.0f} ms, error {steps.error:.4g} V; interpolating "
            f"{lines_time * 1e3:.0f} ms, error {lines.error:.4g} V (gap {lines.gap:.1e} V); one numpy pass "
            f"{bound * 1e3:.0f} ms; {fewest.points} lines, Ramer-Douglas-Peucker {common} at equal error: "
            f"{fewest.points / common:.2f} of its points"
        )
    print(f"part of {BOUND} s that the longest of these fits takes: {longest / BOUND:.2f}")


if __name__ == "__main__":
    main()
