"""A waveform in fewer straight lines, within a tolerance; its jumps stay where they are."""

from __future__ import annotations

import numpy as np

from railwright.waveforms.fit_lines import fewest_lines
from railwright.waveforms.waveform import Waveform


def reduced(wave: Waveform, tolerance: float) -> Waveform:
    """A waveform of fewest lines between jumps that stays within a tolerance [its unit] of the one given.

    A jump of more than twice the tolerance stays one, at its time. Raises ValueError where the tolerance is
    not above 0.
    """
    if not tolerance > 0.0:
        raise ValueError(f"a tolerance above 0 is needed, got {tolerance}")
    step = np.abs(np.diff(wave.value)) > 2.0 * tolerance
    jumps = np.flatnonzero((np.diff(wave.time) == 0.0) & step) + 1
    times, values = [], []
    for rows in np.split(np.arange(wave.time.size), jumps):
        start = float(wave.time[rows[0]])
        part = Waveform(wave.time[rows] - start, wave.value[rows])
        fit = fewest_lines(part, tolerance)
        made = fit.wave if fit is not None else part
        times.append(made.time + start)
        values.append(made.value)
    return Waveform(np.maximum.accumulate(np.concatenate(times)), np.concatenate(values))
