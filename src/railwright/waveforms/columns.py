"""Waveforms of one or several inputs as columns on one time base: what a CSV file of them holds."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from railwright.waveforms.fit import just_before
from railwright.waveforms.waveform import Array, Waveform


def on_one_time_base(waves: Mapping[str, Waveform]) -> dict[str, Array]:
    """The waveforms at the union of their rows: 'time_s', and each under its own name; all of shape (n,).

    A time at which one of them jumps has two rows, before and after. Read back in straight lines from row to
    row they are the same waveforms; after its own end a waveform keeps its last value.
    """
    times = np.unique(np.concatenate([wave.time for wave in waves.values()]))
    jumps = [wave.time[1:][np.diff(wave.time) == 0.0] for wave in waves.values()]
    base = np.sort(np.concatenate((times, np.unique(np.concatenate(jumps)))))
    first = np.diff(base, append=np.inf) == 0.0  # the row before the jump
    columns = {"time_s": base}
    for name, wave in waves.items():
        columns[name] = np.where(first, just_before(wave, base), wave.at(base))
    return columns
