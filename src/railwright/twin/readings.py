"""How a supply measures itself: the mean over an aperture, every update interval, with errors, noise and a
grid, late.

Pure: from true traces to readings. The same code makes the readings of a twin in real time and of a virtual
record.

Reading k covers the time from `phase + k·update - aperture` to `phase + k·update`; it can be had `latency`
later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from railwright.assumptions import given_or
from railwright.documents.bench import Output
from railwright.twin.truth import ASSUMED_UPDATE, OutputTruth, SystematicError, Truth

if TYPE_CHECKING:
    from railwright.traces import Array


@dataclass(frozen=True, slots=True)
class ReadingWindow:
    """One reading of an output: the window it covers [s], when it can be had [s], and what it says [V, A]."""

    start: float
    end: float
    available: float
    voltage: float
    current: float


@dataclass(frozen=True, slots=True)
class Timing:
    """When readings are taken: interval, width of the window, delay, and the end of the first window [s]."""

    update: float
    aperture: float
    latency: float
    first: float

    def due(self, k: int) -> float:
        """End of window k."""
        return self.first + k * self.update


def timing_of(name: str, output: Output, truth: Truth, phase: float) -> Timing:
    """Timing from the bench's figures; what is unknown is assumed, and said so."""
    reading, known = output.reading, partial(given_or, partial(truth.assumptions.add, name))
    update = known(
        reading.update if reading else None,
        ASSUMED_UPDATE,
        f"update interval of its readings is not given: {ASSUMED_UPDATE * 1e3:g} ms assumed",
    )
    aperture = known(
        reading.aperture if reading else None,
        update,
        "aperture of its readings is not given: the whole update interval assumed",
    )
    latency = known(
        reading.latency if reading else None, 0.0, "latency of its readings is not given: none assumed"
    )
    update = max(update, 1e-4)
    return Timing(update, max(aperture, 0.0), max(latency, 0.0), aperture + phase * update)


def window_means(time: Array, columns: Sequence[Array], start: float, end: float) -> list[float]:
    """Mean of each of several piecewise linear traces over a window; a jump is two rows at one time.

    time: shape (n,), n >= 1, never decreasing; columns: shape (n,) each, held before the first and after the
    last row. A window without width gives the values.
    """
    import numpy as np

    if end <= start or start >= time[-1] or end <= time[0] or time.size < 2:
        return [float(np.interp(start, time, values)) for values in columns]
    first = min(max(int(time.searchsorted(start, "right")) - 1, 0), time.size - 2)
    last = max(int(time.searchsorted(end, "left")) + 1, first + 2)
    time = time[first:last]
    gaps = time[1:] - time[:-1]
    # All rows around the window, less what of the first and of the last stretch lies outside.
    early, late = start - float(time[0]), float(time[-1]) - end
    before, after = (
        max(outside, 0.0) / 2.0 / gap if gap > 0.0 else 0.0
        for outside, gap in ((early, float(gaps[0])), (late, float(gaps[-1])))
    )
    means = []
    for column in columns:
        values = column[first:last]
        begin, then, previous, at_end = (float(values[place]) for place in (0, 1, -2, -1))
        whole = float(np.dot(values[1:] + values[:-1], gaps)) / 2.0
        whole -= early * (begin + before * (then - begin)) + late * (at_end - after * (at_end - previous))
        means.append(whole / (end - start))
    return means


class Meter:
    """Takes the readings of one output, one after another, from its true traces."""

    def __init__(self, name: str, timing: Timing, errors: OutputTruth, seed: int) -> None:
        import zlib

        import numpy as np

        self.timing = timing
        self._voltage, self._current = errors.read_voltage, errors.read_current
        self._noise = np.random.default_rng([seed, zlib.crc32(f"{name}.noise".encode())])
        self._next = 0

    @property
    def next_due(self) -> float:
        """End of the window of the next reading [s]."""
        return self.timing.due(self._next)

    def take(self, time: Array, voltage: Array, current: Array) -> ReadingWindow:
        """The next reading, from true traces that cover its window."""
        end = self.next_due
        start = end - self.timing.aperture
        self._next += 1
        volts, amperes = window_means(time, (voltage, current), start, end)
        return ReadingWindow(
            start,
            end,
            end + self.timing.latency,
            self._read(self._voltage, volts),
            self._read(self._current, amperes),
        )

    def _read(self, error: SystematicError, true: float) -> float:
        noisy = error.apply(true) + error.noise * float(self._noise.standard_normal())
        return error.on_grid(noisy)
