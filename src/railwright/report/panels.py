"""What one pair of axes of a step's figure shows: traces, limits, events, and the band of modes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from railwright.report.decimate import BUCKETS, decimate
from railwright.report.labels import LEVEL
from railwright.report.limits import DrawnLimit
from railwright.report.style import FAINT, HAIR, INK, MODES, PALE, tint
from railwright.report.text import shortened
from railwright.traces import Event, Mode

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

DOTS_AT_MOST = 260
"""More readings than this in view are drawn as steps without dots."""


LABEL_SIZE, SMALLEST_LETTERS = 5.8, 4.0
WIDE = 0.58
"""How wide a letter is, in parts of its height."""
OFF_SCALE = " (off scale)"
BORDER = 0.06
"""Depth of the hatching along a limit, as a part of the panel's height."""
LIMIT_LINE: Mapping[str, Any] = {
    "color": INK,
    "linewidth": 1.0,
    "linestyle": (0, (5, 1.2, 1, 1.2)),
    "dash_capstyle": "butt",
    "zorder": 2.6,
}
"""A limit is told from every trace by its dashes and dots; no trace is broken."""


@dataclass(frozen=True, slots=True)
class Curve:
    """One channel of one source in the figure's time [s]; form: 'rehearsed', 'readings' or 'recording'.

    reach: how far one sample speaks for the time before it [s]; where the next is further away, nothing was
    read or recorded in between, and nothing is drawn. Infinite: of a line that is known throughout.
    """

    form: str
    label: str
    time: NDArray[np.float64]
    values: NDArray[np.float64]
    reach: float = math.inf


def cut(
    time: NDArray[np.float64], values: NDArray[np.float64], start: float, end: float, beyond: int = 1
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What lies between start and end, with `beyond` samples more at each end for lines to reach the edge."""
    first = max(0, int(np.searchsorted(time, start, side="left")) - beyond)
    last = int(np.searchsorted(time, end, side="right")) + beyond
    return time[first:last], values[first:last]


def reach_of(time: NDArray[np.float64]) -> float:
    """How far a sample speaks for the time before it [s]: half as far again as samples usually lie apart."""
    return 1.5 * float(np.median(np.diff(time))) if time.size > 2 else math.inf


def with_gaps(
    curve: Curve, time: NDArray[np.float64], values: NDArray[np.float64], finest: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Some samples of a curve, (n,), with a value that is not a number where the line is to be broken.

    A step of readings begins again one reading's reach before the first after the gap: there the gap ends.
    finest: gaps that are shorter are not seen [s].
    """
    least = max(curve.reach, finest)
    (before,) = np.nonzero(np.diff(time) > least)
    if not before.size:
        return time, values
    # Only what really lies apart: samples that were left out in between are no gap.
    kept = [
        int(at) for at in before
        if np.diff(cut(curve.time, curve.time, time[at], time[at + 1], beyond=0)[0]).max() > least
    ]  # fmt: skip
    again = time[[at + 1 for at in kept]] - (curve.reach if curve.form == "readings" else 0.0)
    places = [at + 1 for at in kept]
    return np.insert(time, places, again), np.insert(values, places, np.nan)


def draw_curves(axes: Axes, curves: Sequence[Curve], colour: str) -> None:
    """Rehearsed as a broad pale line, readings as dots on steps, a recording as a thin dark line."""
    start, end = axes.get_xlim()
    for curve in curves:
        time, values = decimate(*cut(curve.time, curve.values, start, end))
        if math.isfinite(curve.reach):
            # Twice the width of a stretch that is thinned: what is wider lies between two of them.
            finest = 2.0 * (end - start) / BUCKETS if time.size < curve.time.size else 0.0
            time, values = with_gaps(curve, time, values, finest)
        if curve.form == "rehearsed":
            axes.plot(time, values, color=tint(colour, PALE), linewidth=2.6, solid_capstyle="round", zorder=2)
        elif curve.form == "recording":
            axes.plot(time, values, color=INK, linewidth=0.55, zorder=2.8)
        else:
            axes.plot(time, values, color=colour, linewidth=0.7, drawstyle="steps-pre", zorder=3)
            inside = (curve.time >= start) & (curve.time <= end)
            if inside.sum() <= DOTS_AT_MOST:
                axes.plot(
                    curve.time[inside],
                    curve.values[inside],
                    linestyle="none",
                    marker="o",
                    markersize=2.3,
                    color=colour,
                    markeredgewidth=0,
                    zorder=4,
                )


def settle_view(axes: Axes, curves: Sequence[Curve], levels: Sequence[float], quiet: bool = False) -> None:
    """Choose the vertical range from what is in view, and take in levels that lie near it.

    quiet: of a step in which nothing is done; its ends, where the neighbouring steps may show, do not count.
    """
    start, end = axes.get_xlim()
    if quiet:
        start, end = start + 0.04 * (end - start), end - 0.04 * (end - start)
    low, high = float("inf"), float("-inf")
    for curve in curves:
        values = _in_view(curve, start, end)
        if values.size:
            low, high = min(low, float(values.min())), max(high, float(values.max()))
    if low > high:
        low, high = 0.0, 1.0
    span = max(high - low, 0.02 * max(abs(high), abs(low)), 1e-6)
    for level in levels:
        if low - 1.2 * span <= level <= high + 1.2 * span:
            low, high = min(low, level), max(high, level)
    span = max(high - low, span)
    axes.set_ylim(low - 0.1 * span, high + 0.16 * span)


def _in_view(curve: Curve, start: float, end: float) -> NDArray[np.float64]:
    """Values of a curve between start and end [s], with those that its line has at the edges."""
    time, values = cut(curve.time, curve.values, start, end, beyond=0)
    _, shown = decimate(time, values)
    around, beyond = cut(curve.time, curve.values, start, end)
    if around.size == time.size:
        return shown
    if curve.form == "readings":
        # The next reading is drawn back over the time before it.
        more = beyond[-1:] if end < around[-1] < end + curve.reach else beyond[:0]
    else:
        edges = np.array([edge for edge in (start, end) if around[0] <= edge <= around[-1]])
        more = np.interp(edges, around, beyond)
    return np.concatenate((shown, more[np.isfinite(more)]))


def draw_limits(axes: Axes, limits: Sequence[DrawnLimit], end: float, labelled: bool) -> None:
    """Levels, hatched on the side that is not allowed, each over the time in which it holds.

    end: end of the step [s]; a level holds to there, or at one instant alone. Labels of several levels share
    the width, in the document's order.
    """
    through = [limit for limit in limits if limit.at is None]
    shares = max(1, len(through))
    if any(
        SMALLEST_LETTERS * WIDE * len(limit.label + OFF_SCALE) > width_of(axes) / shares for limit in through
    ):
        shares = 1  # above each other instead: `labels.move_apart`
    room = width_of(axes) / shares - 6
    if labelled:
        _make_room(axes, through, shares)
    for place, limit in enumerate(through):
        _draw_level(axes, limit, end, labelled, (place % shares + 1) / shares, room)
    for limit in limits:
        if limit.at is not None:
            _draw_gate(axes, limit, limit.at, labelled)


FIRST_LINE, FURTHER_LINE = 7.0, 9.0
"""Room that words at an edge of a panel need beyond what is left there anyway, and each further line of them
[points].
"""


def _make_room(axes: Axes, through: Sequence[DrawnLimit], shares: int) -> None:
    """Widen the view for the words of levels that lie beyond it, so that they cover no curve. shares: how
    many of them stand beside each other.
    """
    low, high = axes.get_ylim()
    above = sum(limit.upper is not None and limit.upper >= high for limit in through)
    below = sum(limit.lower is not None and limit.lower <= low for limit in through)
    lines = [math.ceil(count / shares) for count in (below, above)]
    down, up = (FIRST_LINE + FURTHER_LINE * (count - 1) if count else 0.0 for count in lines)
    each = (high - low) / max(height_of(axes) - down - up, 0.5 * height_of(axes))
    axes.set_ylim(low - down * each, high + up * each)


def _border(axes: Axes, left: float, right: float, level: float, side: int) -> None:
    """A limit from `left` to `right` [s]: a line of dashes and dots, hatched on the side not allowed."""
    from matplotlib.patches import Rectangle

    low, high = axes.get_ylim()
    thickness = BORDER * (high - low)
    axes.plot([left, right], [level, level], gid=LEVEL, **LIMIT_LINE)
    axes.add_patch(
        Rectangle(
            (left, level if side > 0 else level - thickness),
            right - left,
            thickness,
            facecolor="none",
            edgecolor=FAINT,
            hatch="////////",
            linewidth=0,
            zorder=1.8,
            gid=LEVEL,
        )
    )


def _draw_level(axes: Axes, limit: DrawnLimit, end: float, labelled: bool, right: float, room: float) -> None:
    low, high = axes.get_ylim()
    visible = []
    for level, side in ((limit.upper, 1), (limit.lower, -1)):
        if level is None:
            continue
        if low < level < high:
            visible.append(level)
            _border(axes, 0.0, end, level, side)
        elif labelled:
            top = level >= high
            _label(
                axes,
                f"{'↑' if top else '↓'} {limit.label}{OFF_SCALE}",
                right,
                room,
                high if top else low,
                not top,
            )
    if visible and labelled:
        level = visible[0]
        above = high - level > 0.22 * (high - low)
        beyond = BORDER * (high - low) if (level == limit.upper) == above else 0.0
        _label(axes, limit.label, right, room, level + (beyond if above else -beyond), above)


def _draw_gate(axes: Axes, limit: DrawnLimit, at: float, labelled: bool) -> None:
    """Limits that hold at one instant: a gate that the trace has to go through there."""
    start, end = axes.get_xlim()
    low, high = axes.get_ylim()
    half = 0.022 * (end - start)
    if not start <= at <= end:
        return
    levels = [level for level in (limit.upper, limit.lower) if level is not None]
    for level, side in ((limit.upper, 1), (limit.lower, -1)):
        if level is not None and low < level < high:
            _border(axes, at - half, at + half, level, side)
    bottom, top = limit.lower, limit.upper
    axes.plot(
        [at, at],
        [low if bottom is None else max(low, bottom), high if top is None else min(high, top)],
        color=INK,
        linewidth=0.5,
        zorder=2.6,
    )
    if not labelled:
        return
    # Before a fall and after a rise the trace lies higher: the place beside the gate, at its height, is free.
    needs = LABEL_SIZE * 0.62 * len(limit.label) / width_of(axes) * (end - start)
    on_left = at - half - start > needs
    if on_left and limit.turns != "fall":
        on_left = end - at - half < needs
    axes.annotate(
        limit.label,
        (at - half if on_left else at + half, min(high, max(levels))),
        xytext=(-4 if on_left else 4, -1),
        textcoords="offset points",
        ha="right" if on_left else "left",
        va="top",
        fontsize=LABEL_SIZE,
        color=INK,
        zorder=6,
        bbox=_LABEL,
    )


def _letters(text: str, room: float) -> float:
    """Size of a label's letters [points], so that it fits into `room` [points] if that can still be read."""
    return min(LABEL_SIZE, max(SMALLEST_LETTERS, room / (WIDE * max(1, len(text)))))


def _label(axes: Axes, text: str, right: float, room: float, level: float, above: bool) -> None:
    axes.annotate(
        text,
        (right - 0.012, level),
        xycoords=("axes fraction", "data"),
        xytext=(0, 1.8 if above else -1.8),
        textcoords="offset points",
        ha="right",
        va="bottom" if above else "top",
        fontsize=_letters(text, room),
        color=INK,
        zorder=6,
        bbox=_LABEL,
    )


_LABEL = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.6}


def draw_instant(axes: Axes, limit: DrawnLimit, switched_on: float, labelled: bool) -> None:
    """A limit in time, counted from the input's switching on."""
    start, end = axes.get_xlim()
    told = False
    for after, side in ((limit.upper, 1), (limit.lower, -1)):
        if after is None or not start < switched_on + after < end:
            continue
        at = switched_on + after
        axes.plot([at, at], axes.get_ylim(), **LIMIT_LINE)
        axes.axvspan(
            at,
            at + side * 0.014 * (end - start),
            facecolor="none",
            edgecolor=FAINT,
            hatch="////////",
            linewidth=0,
            zorder=1.8,
        )
        # Of two limits the label stands at the upper one.
        if labelled and not told:
            told = True
            right = at < start + 0.6 * (end - start)
            text = f"{limit.label} after switching on"
            room = (end - at if right else at - start) / (end - start) * width_of(axes) - 8
            axes.annotate(
                text,
                (at, 0.05),
                xycoords=("data", "axes fraction"),
                xytext=(6 if right else -3, 0),
                textcoords="offset points",
                ha="left" if right else "right",
                va="bottom",
                fontsize=_letters(text, room),
                color=INK,
                zorder=6,
                bbox=_LABEL,
            )


def draw_set_level(axes: Axes, level: float, label: str, side: Literal["left", "right"]) -> None:
    """A setting of the supply, dotted, where it is in view; side: where its label stands."""
    low, high = axes.get_ylim()
    if low < level < high:
        axes.axhline(level, color=FAINT, linewidth=0.8, linestyle=(0, (1, 2)), zorder=2.4, gid=LEVEL)
        axes.annotate(
            label,
            (0.985 if side == "right" else 0.015, level),
            xycoords=("axes fraction", "data"),
            xytext=(0, 1.5),
            textcoords="offset points",
            ha=side,
            va="bottom",
            fontsize=LABEL_SIZE,
            color=FAINT,
            zorder=6,
            bbox=_LABEL,
        )


def width_of(axes: Axes) -> float:
    """Width of the panel [points]."""
    return float(axes.get_window_extent().width / axes.figure.dpi * 72)


def height_of(axes: Axes) -> float:
    """Height of the panel [points]."""
    return float(axes.get_window_extent().height / axes.figure.dpi * 72)


def draw_events(axes: Axes, numbered: Sequence[tuple[int, float]]) -> None:
    """Numbered marks at the upper edge; marks that would overlap share one label."""
    start, end = axes.get_xlim()
    room = 18.0 / width_of(axes) * (end - start)
    groups: list[list[tuple[int, float]]] = []
    for number, time in numbered:
        if not start <= time <= end:
            continue
        if groups and time - groups[-1][0][1] < room:
            groups[-1].append((number, time))
        else:
            groups.append([(number, time)])
    for group in groups:
        for _, time in group:
            axes.axvline(time, ymin=0.93, ymax=1.0, color=INK, linewidth=0.6, zorder=5)
        first, last = group[0][0], group[-1][0]
        axes.annotate(
            f"{first}" if first == last else f"{first}–{last}",
            (group[0][1], 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 1.5),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=5.6,
            color=INK,
            annotation_clip=False,
        )


def runs_of(
    time: NDArray[np.float64], modes: NDArray[np.float64], reach: float = math.inf
) -> list[tuple[float, float, Mode]]:
    """Stretches of one mode: (from, to, mode); none between samples further apart than `reach` [s]."""
    if time.size == 0:
        return []
    codes = np.rint(modes).astype(int)
    gaps = np.diff(time) > reach
    changes = np.flatnonzero((np.diff(codes) != 0) | gaps) + 1
    starts = np.concatenate(([0], changes))
    # Where nothing was told, a mode ends with the last sample that has it.
    ends = np.concatenate((changes - gaps[changes - 1], [time.size - 1]))
    known = {mode.value for mode in Mode}
    return [
        (float(time[a]), float(time[b]), Mode(int(codes[a])))
        for a, b in zip(starts, ends, strict=True)
        if int(codes[a]) in known
    ]


def draw_modes(
    axes: Axes, time: NDArray[np.float64], modes: NDArray[np.float64], label: str, reach: float = math.inf
) -> set[Mode]:
    """A band of patterns, with the mode's word where it fits. Returns the modes that were drawn."""
    start, end = axes.get_xlim()
    width = width_of(axes)
    drawn = set()
    for begin, finish, mode in runs_of(time, modes, reach):
        left, right = max(begin, start), min(finish, end)
        if right <= left:
            continue
        look = MODES[mode]
        drawn.add(mode)
        axes.axvspan(left, right, facecolor=look.ground, edgecolor=FAINT, hatch=look.hatch, linewidth=0.4)
        room = (right - left) / (end - start) * width
        word = (
            look.word if room > 4.2 * len(look.word) else look.short if room > 4.6 * len(look.short) else ""
        )
        if word:
            axes.text(
                (left + right) / 2,
                0.46,
                word,
                ha="center",
                va="center",
                fontsize=5.6,
                color=INK,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.7} if look.hatch else None,
            )
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    axes.set_ylabel(label, rotation=0, ha="right", va="center", fontsize=LABEL_SIZE, color=INK, labelpad=3)
    for side in ("top", "right", "left", "bottom"):
        axes.spines[side].set_color(HAIR)
    return drawn


def describe(event: Event) -> str:
    """An event in words; of a very long name only the beginning, so that what happened is not cut off."""
    return f"{shortened(event.subject, 24)}: {event.what}" + (f" ({event.detail})" if event.detail else "")
