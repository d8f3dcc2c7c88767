"""Figures of a shape: what is asked, what is played, what is predicted at the input, and the difference."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from railwright.quantities import prefix_of
from railwright.report.decimate import decimate
from railwright.report.drawing import STEPS, drawing, name_scale, save, time_axis
from railwright.report.style import FAINT, INK, PALE, colours, tint
from railwright.report.text import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from railwright.waveforms.waveform import Waveform

WIDTH = 6.9
ROW, BETWEEN = 2.3, 0.55
LEFT, RIGHT, ABOVE, BELOW = 0.6, 0.1, 0.5, 0.42
BEFORE, BEHIND = 0.35, 2.2
"""What is shown of an edge before and after it, in parts of its length."""
SLIGHT = 0.05
"""Part of an edge's length by which it may be longer than asked without being shown apart."""


@dataclass(frozen=True, eq=False)
class Curves:
    """One input of a shape, on the step's own clock [s], [V].

    asked, played: the set point as written, and as the outputs are told it; None: the same. time, predicted:
    the rehearsed voltage at the connector, shape (n,). edge: the stretch of time that is enlarged beside it;
    None: none is. away: stretches in which the output is off on purpose and nothing is asked.
    """

    input: str
    asked: Waveform
    played: Waveform | None
    time: NDArray[np.float64]
    predicted: NDArray[np.float64]
    edge: tuple[float, float] | None
    told: str = ""
    away: tuple[tuple[float, float], ...] = ()


def save_waveforms(curves: Sequence[Curves], step: str, inputs: Sequence[str], path: Path) -> None:
    """Write the figure of a step's waveforms as SVG or PNG, by the path's ending; whole or not at all.

    inputs: all of the device, in its order, which gives each its colour.
    """
    with drawing():
        save(draw_waveforms(curves, step, inputs), path)


def draw_waveforms(curves: Sequence[Curves], step: str, inputs: Sequence[str]) -> Figure:
    """For each input its waveforms over the whole step, the deviation below, the worst edge enlarged."""
    from matplotlib.figure import Figure

    rows, columns = len(curves), 2 if any(each.edge for each in curves) else 1
    height = ABOVE + rows * ROW + (rows - 1) * BETWEEN + BELOW
    figure = Figure(figsize=(WIDTH, height))
    outer = figure.add_gridspec(
        rows,
        columns,
        left=LEFT / WIDTH,
        right=1 - RIGHT / WIDTH,
        top=1 - ABOVE / height,
        bottom=BELOW / height,
        hspace=BETWEEN / ROW,
        wspace=0.28,
        width_ratios=[1.35, 1.0][:columns],
    )
    palette = colours(inputs)
    for row, each in enumerate(curves):
        colour = palette.get(each.input, INK)
        whole = (0.0, each.asked.duration)
        place = outer[row, 0] if each.edge is not None else outer[row, :]
        _panels(figure, place, each, whole, colour, f"{shortened(each.input, 30)}: {each.told}")
        if each.edge is not None:
            _panels(figure, outer[row, 1], each, each.edge, colour, "worst edge, enlarged")
    middle = (LEFT + (WIDTH - LEFT - RIGHT) / 2) / WIDTH
    said = f"time from the start of the step “{shortened(step, 60)}”"
    figure.text(middle, 0.13 / height, said, ha="center", va="bottom", fontsize=6.2, color=INK)
    _legend(figure, palette.get(curves[0].input, INK), any(each.played is not None for each in curves))
    return figure


def _panels(
    figure: Figure, place: Any, each: Curves, window: tuple[float, float], colour: str, title: str
) -> None:
    from railwright.waveforms.deviation import deviations
    from railwright.waveforms.waveform import Waveform

    grid = place.subgridspec(2, 1, height_ratios=[2.2, 1.0], hspace=0.16)
    voltage, difference = figure.add_subplot(grid[0]), figure.add_subplot(grid[1])
    time, predicted = each.time, each.predicted
    kept = (time >= window[0] - 1e-12) & (time <= window[1] + 1e-12)
    ends = np.interp(window, time, predicted)
    time = np.concatenate((window[:1], time[kept], window[1:]))
    predicted = np.concatenate((ends[:1], predicted[kept], ends[1:]))
    voltage.plot(*decimate(time, predicted), color=tint(colour, PALE), linewidth=2.6, zorder=2)
    if each.played is not None:
        voltage.plot(*decimate(*_row(each.played, window)), color=colour, linewidth=0.8, zorder=3)
    for stretch in _outside(each.away, window):
        asked_time, asked = _row(each.asked, stretch)
        line = decimate(asked_time, asked)
        voltage.plot(*line, color=INK, linewidth=0.7, linestyle=(0, (3, 1.4)), zorder=4)
        of_stretch = Waveform(asked_time - stretch[0], asked)
        rows, off = deviations(of_stretch, each.time - stretch[0], each.predicted)
        difference.plot(*decimate(rows + stretch[0], off), color=colour, linewidth=0.9, zorder=3)
    difference.axhline(0.0, color=FAINT, linewidth=0.5, zorder=1)
    for axes, quantity in ((voltage, "voltage"), (difference, "deviation")):
        _prepare(axes, window, quantity)
    voltage.tick_params(labelbottom=False)
    voltage.set_title(title, loc="left", pad=3.5, color=INK, fontsize=7.0)


def _row(wave: Waveform, window: tuple[float, float]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A waveform's rows within a window, with values at both its ends."""
    from railwright.waveforms.fit import just_before

    inside = (wave.time > window[0]) & (wave.time < window[1])
    ends = np.array([wave.at(np.array(window[:1]))[0], just_before(wave, np.array(window[1:]))[0]])
    return (
        np.concatenate((window[:1], wave.time[inside], window[1:])),
        np.concatenate((ends[:1], wave.value[inside], ends[1:])),
    )


def _outside(
    away: Sequence[tuple[float, float]], window: tuple[float, float]
) -> Iterator[tuple[float, float]]:
    """What stretches of time [s], in order, leave of a window."""
    start = window[0]
    for off, on in (*away, (window[1], window[1])):
        if min(off, window[1]) > start:
            yield start, min(off, window[1])
        start = max(start, on)


def _prepare(axes: Axes, window: tuple[float, float], quantity: str) -> None:
    """Axes as the report's figures have them: numbers of one prefix, the unit beside them."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    time_axis(axes, window, 5)
    axes.margins(y=0.12)
    axes.yaxis.set_major_locator(MaxNLocator(5 if quantity == "voltage" else 3, steps=STEPS))
    largest = max(abs(bound) for bound in axes.get_ylim())
    factor, prefix = prefix_of(largest, most=3, least=-6)
    axes.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v / factor:z.4g}".replace("-", "−")))
    name_scale(axes, f"{quantity} ({prefix}V)")


def _legend(figure: Figure, colour: str, played: bool) -> None:
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], color=INK, linewidth=0.7, linestyle=(0, (3, 1.4)), label="asked")]
    if played:
        handles.append(Line2D([], [], color=colour, linewidth=0.8, label="played by the outputs"))
    handles += [
        Line2D([], [], color=tint(colour, PALE), linewidth=2.6, label="predicted at the input"),
        Line2D([], [], color=colour, linewidth=0.9, label="deviation: predicted less asked"),
    ]
    figure.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(0.08, 1 - 0.01 / figure.get_figheight()),
        ncols=len(handles),
        columnspacing=1.4,
        handlelength=1.9,
        borderaxespad=0.0,
        labelcolor=INK,
    )


def worst_edge(
    edges: Sequence[tuple[float, float, float | None, float]], end: float
) -> tuple[float, float] | None:
    """The stretch that shows the edge which takes longest beyond what was asked.

    edges: each as (begin, asked length, length or None, until) [s]; one without a length did not get there:
    it is shown to its end. None: all are as asked, or the worst fills most of the step anyway.
    """
    found = [
        (round((until - begin if length is None else length) - asked, 9), asked, begin)
        for begin, asked, length, until in edges
    ]
    more, asked, begin = max(found, key=lambda each: each[0], default=(0.0, 0.0, 0.0))
    length = asked + more
    if more <= SLIGHT * length or length > 0.4 * end:
        return None
    return max(0.0, begin - BEFORE * length), min(end, begin + (1.0 + BEHIND) * length)
