"""A scene with a known truth: piecewise linear waveforms, and readings of them with chosen errors."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from railwright.measures.reading_model import HidingBound, Part, ReadingModel
from railwright.measures.signal import View
from railwright.physics.surge import SurgePath
from railwright.traces import Traces

Array = NDArray[np.float64]

UPDATE, APERTURE, EVERY = 10e-3, 8e-3, 10e-3
VOLTAGE = Part("left.1", of_value=5e-4, offset=6e-3, resolution=1e-3, noise=1e-3)
CURRENT = Part("left.1", of_value=1e-3, offset=3e-3, resolution=1e-4, noise=2e-4)
MODEL = ReadingModel(
    "supply readings",
    (VOLTAGE,),
    (CURRENT,),
    UPDATE,
    APERTURE,
    lead=(0.07, 0.08),
    current_bound=HidingBound(1.0, 5e-3, "the current limit that was set"),
    voltage_bound=HidingBound(18.0, 0.1, "the OVP level that was set"),
    surge=SurgePath(1.005, resistance=0.07, response=1e-3),
)
EXACT = ReadingModel(
    "truth", (Part("t", 0.0, 0.0, 0.0, 0.0),), (Part("t", 0.0, 0.0, 0.0, 0.0),), 0.0, 0.0, exact=True
)
RECORDER = ReadingModel(
    "recorder",
    (Part("recorder", 5e-3, 20e-3, 10e-3, 5e-3),),
    (Part("recorder", 1e-2, 0.5e-3, 0.1e-3, 0.1e-3),),
    0.0,
    0.0,
)


@dataclass(frozen=True)
class Scene:
    """Corners of the true voltage and current: times [s], volts, amperes."""

    time: Array
    voltage: Array
    current: Array

    @classmethod
    def of(cls, *corners: tuple[float, float, float]) -> Scene:
        time, voltage, current = np.array(corners, dtype=np.float64).T
        return cls(time, voltage, current)

    def truth(self) -> Traces:
        return Traces(self.time, {"voltage": self.voltage, "current": self.current})

    def samples(self, every: float) -> Traces:
        time = np.arange(self.time[0], self.time[-1], every)
        return Traces(time, {"voltage": self.at(time, "voltage"), "current": self.at(time, "current")})

    def at(self, time: Array, channel: str) -> Array:
        return np.interp(time, self.time, getattr(self, channel))

    def mean(self, end: Array, aperture: float, channel: str) -> Array:
        values = getattr(self, channel)
        fine = np.unique(np.concatenate((self.time, end, end - aperture)))
        at = np.interp(fine, self.time, values)
        steps = np.diff(fine) * (at[1:] + at[:-1]) / 2.0
        integral = np.concatenate(([0.0], np.cumsum(steps)))
        return (np.interp(end, fine, integral) - np.interp(end - aperture, fine, integral)) / aperture

    def read(
        self, seed: int, model: ReadingModel = MODEL, every: float = EVERY, jitter: float = 0.0
    ) -> Traces:
        """Readings: errors drawn uniformly inside their bounds, noise, grid, aperture, update interval.

        jitter: by how much a poll may come earlier or later than it should [s].
        """
        rng = np.random.default_rng(seed)
        update, aperture = model.update or 0.0, model.aperture or 0.0
        asked = np.arange(self.time[0] + UPDATE + rng.uniform(0.0, every), self.time[-1], every)
        if jitter:
            asked = asked + rng.uniform(-jitter, jitter, asked.size)
        ends = asked
        if update:
            phase = rng.uniform(0.0, update)
            ends = np.floor((asked - phase) / update) * update + phase
        columns = {}
        for channel, part in (("voltage", model.voltage[0]), ("current", model.current[0])):
            true = self.mean(ends, aperture, channel) if aperture else self.at(ends, channel)
            gain, offset = rng.uniform(-part.of_value, part.of_value), rng.uniform(-part.offset, part.offset)
            noise = part.noise or 0.0
            # The same reading asked for twice is the same: noise belongs to the window, not to the question.
            _, window = np.unique(ends, return_inverse=True)
            noisy = true * (1 + gain) + offset + noise * rng.standard_normal(window.max() + 1)[window]
            grid = part.resolution or 0.0
            columns[channel] = np.round(noisy / grid) * grid if grid else noisy
        return Traces(asked, columns)


def view(traces: Traces, model: ReadingModel, start: float, end: float, **more: object) -> View:
    return replace(View(traces, model, start, end), **more)  # type: ignore[arg-type]


def power_up() -> Scene:
    """On at 0: charging at 1 A to 12 V in 12 ms, then 0.35 A."""
    return Scene.of(
        (-0.2, 0.0, 0.0), (0.0, 0.0, 0.0), (0.0001, 0.1, 1.0), (0.012, 12.0, 1.0),
        (0.0121, 12.0, 0.35), (0.25, 12.0, 0.35), (0.4, 12.0, 0.35),
    )  # fmt: skip


def brown_out(stops: float = 7.6, starts: float = 8.4) -> Scene:
    """12 V down to 6 V at 3 V/s, hold, and up again; the load stops and starts on the way, softly in 8 ms."""
    off, on = 0.5 + (12.0 - stops) / 3.0, 3.0 + (starts - 6.0) / 3.0
    return Scene.of(
        (0.0, 12.0, 0.35), (0.5, 12.0, 0.35), (off, stops, 0.55), (off + 1e-5, stops - 3e-5, 0.0),
        (2.5, 6.0, 0.0), (3.0, 6.0, 0.0), (on, starts, 0.0), (on + 8e-3, starts + 0.024, 0.49),
        (5.0, 12.0, 0.35), (5.5, 12.0, 0.35),
    )  # fmt: skip
