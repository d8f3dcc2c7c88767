"""From the samples of a recording to a waveform: time from 0 on, straight lines from sample to sample."""

from __future__ import annotations

import numpy as np

from railwright.waveforms.waveform import Array, Waveform


class NoRecording(ValueError):
    """Samples that make no waveform; `row` is where that shows, counted from 0."""

    def __init__(self, row: int, told: str) -> None:
        super().__init__(told)
        self.row, self.told = row, told


def from_samples(
    time: Array, value: Array, begin: float = 0.0, end: float | None = None
) -> tuple[Waveform, tuple[str, ...]]:
    """The waveform of samples (n,) at times (n,) [s], or its part from begin to end [s after the first].

    Gives what was made of the times beside it, for people. Two samples at one time are a jump. Raises
    NoRecording where the times run back or are not finite, or where no such part is there.
    """
    bad = np.flatnonzero(~(np.isfinite(time) & np.isfinite(value)))
    if bad.size:
        raise NoRecording(int(bad[0]), "expected finite numbers, got another")
    back = np.flatnonzero(np.diff(time) < 0.0)
    if back.size:
        raise NoRecording(int(back[0]) + 1, "expected a time that never runs back, got one before the last")
    if time.size < 2 or time[-1] == time[0]:
        raise NoRecording(0, f"expected samples at two times at least, got {time.size} at one")
    notes = []
    if time[0] != 0.0:
        notes.append(f"its first time, {time[0]:.9g} s, is taken as 0")
    since = time - time[0]
    gaps = np.diff(since)
    usual, longest = float(np.median(gaps)), float(gaps.max())
    if usual > 0.0 and longest > 10.0 * usual:
        notes.append(
            f"a gap of {longest:.6g} s at {since[int(gaps.argmax())]:.6g} s, where samples are usually "
            f"{usual:.3g} s apart: a straight line over it"
        )
    until = since[-1] if end is None else end
    if not 0.0 <= begin < until or until > since[-1] * (1.0 + 1e-9):
        raise NoRecording(
            0, f"expected a part within its {since[-1]:.6g} s, got {begin:.6g} s to {until:.6g} s"
        )
    whole = Waveform(since, value)
    if begin == 0.0 and until >= since[-1]:
        return whole, tuple(notes)
    inside = (since > begin) & (since < until)
    ends = whole.at(np.array([begin, until]))
    return (
        Waveform(
            np.concatenate(([0.0], since[inside] - begin, [until - begin])),
            np.concatenate((ends[:1], value[inside], ends[1:])),
        ),
        tuple(notes),
    )
