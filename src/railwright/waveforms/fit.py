"""What a fit gives, and what is the same for a stepping and an interpolating one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from railwright.waveforms.waveform import Array, Waveform


@dataclass(frozen=True, eq=False, slots=True)
class Fit:
    """A waveform of few points in place of another.

    wave: what the points make. points: how many a list needs: one for each level of a stepping fit, one for
    each line of an interpolating one (where the first begins is set beforehand). error: largest deviation
    from what was asked at any instant [its unit]. gap: how far that may lie above the least error that so
    many points can have, a bound that was shown and not estimated.
    """

    wave: Waveform
    points: int
    error: float
    gap: float


def tidy(wave: Waveform) -> Waveform:
    """The same waveform with two rows at most at one time, which differ, and without jumps at its two ends.

    A jump at the very beginning or end lasts no time: no point of a list can be spent on it.
    """
    time, value = wave.time, wave.value
    if time.size < 2 or time[-1] == 0.0:
        return Waveform(time[-1:] * 0.0, value[-1:])
    same = np.diff(time) == 0.0
    if not same.any():
        return wave
    again = np.append(False, same & (np.diff(value) == 0.0))
    if again.any():  # no jump: nothing may be moved for it
        time, value = time[~again], value[~again]
        same = np.diff(time) == 0.0
    middle = np.zeros(time.size, bool)
    middle[1:-1] = same[:-1] & same[1:]
    middle[time == 0.0] = True
    middle[time == time[-1]] = True
    middle[np.flatnonzero(time == 0.0)[-1]] = False
    middle[np.flatnonzero(time == time[-1])[0]] = False
    return Waveform(time[~middle], value[~middle])


def deviation(asked: Waveform, made: Waveform) -> float:
    """Largest |made − asked| at any instant [their unit]; at a jump the values on both sides count.

    Both run in straight lines between their rows, so the largest lies at a row of one of them: exact.
    """
    worst = 0.0
    for one, other in ((asked, made), (made, asked)):
        new = np.concatenate(([True], np.diff(one.time) > 0.0))
        last = np.concatenate((new[1:], [True]))
        after = np.abs(one.value[last] - other.at(one.time[last]))
        before = np.abs(one.value[new] - just_before(other, one.time[new]))
        # Nothing is before the beginning, nor after the end.
        single = one.time[-1] == 0.0
        worst = max(worst, float(after[: None if single else -1].max()))
        worst = max(worst, float(before[0 if single else 1 :].max()))
    return worst


def just_before(wave: Waveform, time: Array) -> Array:
    """Values at these times (m,); at a jump the one before it."""
    before = np.clip(np.searchsorted(wave.time, time, side="left") - 1, 0, wave.time.size - 1)
    after = np.minimum(before + 1, wave.time.size - 1)
    return wave.between(before, after, time)
