"""From a recording's samples to a waveform, and on to a shape's pieces: few lines within a bound."""

from __future__ import annotations

import numpy as np

from railwright.quantities.parsing import SMALLEST
from railwright.waveforms.fit import Fit, deviation, tidy
from railwright.waveforms.fit_lines import fewest_lines, least_error_lines
from railwright.waveforms.shapes import Hold, Jump, Line, Piece
from railwright.waveforms.waveform import Array, Waveform


class NoRecording(ValueError):
    """Samples that make no waveform; `row` is where that shows, counted from 0."""

    def __init__(self, row: int, told: str) -> None:
        super().__init__(told)
        self.row, self.told = row, told


def from_samples(
    time: Array, value: Array, begin: float = 0.0, end: float | None = None
) -> tuple[Waveform, tuple[str, ...]]:
    """The waveform of samples (n,) at times (n,) [s after the recording's first], or its part from begin to
    end [s].

    time: rising or staying from row to row; finite, as value is. Of a part, one sample on either side of it
    suffices. Gives what was made of the times beside it, for people. Two samples at one time are a jump.
    Raises NoRecording where there are no two times, or where two are nearer than anything that is played.
    """
    if time.size < 2 or time[-1] == time[0]:
        raise NoRecording(0, f"expected samples at two times at least, got {time.size} at one")
    gaps = np.diff(time)
    near = np.flatnonzero((gaps > 0.0) & (gaps < SMALLEST))
    if near.size:
        told = f"expected samples at one time or {SMALLEST:g} s apart at least, got two that are nearer"
        raise NoRecording(int(near[0]) + 1, told)
    notes = []
    usual, longest = float(np.median(gaps)), float(gaps.max())
    if usual > 0.0 and longest > 10.0 * usual:
        notes.append(
            f"a gap of {longest:.6g} s at {time[int(gaps.argmax())]:.6g} s, where samples are usually "
            f"{usual:.3g} s apart: a straight line over it"
        )
    whole, until = Waveform(time - time[0], value), time[-1] if end is None else min(end, time[-1])
    if begin <= time[0] and until >= time[-1]:
        return whole, tuple(notes)
    inside = (time > begin) & (time < until)
    ends = whole.at(np.array([begin, until]) - time[0])
    return (
        Waveform(
            np.concatenate(([0.0], time[inside] - begin, [until - begin])),
            np.concatenate((ends[:1], value[inside], ends[1:])),
        ),
        tuple(notes),
    )


PART = 0.0025
"""Deviation with which lines stand for a recording, in parts of its span: as chords do for other shapes."""

MOST_LINES = 10_000
"""Lines that may stand for one recording; where that is too few, they deviate by more, and it is said."""


def few_lines(wave: Waveform, part: float = PART, most: int = MOST_LINES) -> Fit:
    """The fewest lines that stay within a part of the waveform's span, its jumps kept; at most so many.

    Where more would be needed, the deviation is doubled until they are enough.
    """
    wave = tidy(wave)
    jumps = np.flatnonzero(np.diff(wave.time) == 0.0)
    begins, ends = np.append(0, jumps + 1), np.append(jumps + 1, wave.time.size)
    if begins.size > most:
        raise ValueError(f"at most {most} stretches without a jump can be played, got {begins.size}")
    span = float(np.ptp(wave.value))
    tolerance = part * span
    while True:
        made: list[Waveform] = []
        for begin, end in zip(begins, ends, strict=True):
            stretch = Waveform(wave.time[begin:end] - wave.time[begin], wave.value[begin:end])
            fit = fewest_lines(stretch, tolerance) if tolerance > 0.0 else least_error_lines(stretch, 1)
            assert fit is not None  # a stretch has no jump
            made.append(fit.wave)
        if sum(each.time.size - 1 for each in made) <= most:
            break
        tolerance *= 2.0
    starts = wave.time[begins].tolist()
    time = np.concatenate([each.time + start for each, start in zip(made, starts, strict=True)])
    whole = Waveform(np.maximum.accumulate(time), np.concatenate([each.value for each in made]))
    return Fit(whole, time.size - begins.size, deviation(wave, whole), 0.0)


def as_pieces(wave: Waveform) -> tuple[Piece, ...]:
    """A waveform as pieces of a shape: at once to its first value, then its lines and jumps."""
    pieces: list[Piece] = [Jump(float(wave.value[0]))]
    level = float(wave.value[0])
    for over, value in zip(np.diff(wave.time).tolist(), wave.value[1:].tolist(), strict=True):
        if over == 0.0:
            pieces.append(Jump(value))
        elif value == level:
            pieces.append(Hold(over))
        else:
            pieces.append(Line(value, over))
        level = value
    return tuple(pieces)
