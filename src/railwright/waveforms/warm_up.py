"""Compiles the fits into point lists and of recordings, or loads them, by fitting small ones."""

from __future__ import annotations

import numpy as np

from railwright.waveforms.list_lines import line_list
from railwright.waveforms.list_squares import line_squares, stepping_squares
from railwright.waveforms.list_stepping import stepping_list
from railwright.waveforms.point_list import Abilities
from railwright.waveforms.recordings import few_lines
from railwright.waveforms.waveform import Waveform


def warm_up() -> None:
    """Compile what fits samples, and a waveform into a list of levels and into one of lines."""
    wave = Waveform(np.linspace(0.0, 1.0, 12), 5.0 + np.sin(np.arange(12.0)))
    can = Abilities(at_most=4, shortest=0.1, longest=10.0, step=0.1, lowest=0.0, highest=10.0)
    stepping_list(wave, can)
    line_list(wave, can)
    stepping_squares(wave, can)
    line_squares(wave, can)
    few_lines(Waveform(np.linspace(0.0, 1.0, 200), 5.0 + np.sin(np.arange(200.0) ** 2)))
