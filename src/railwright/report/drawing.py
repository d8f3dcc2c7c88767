"""Drawing of one step: panels of voltage and current, bands of modes, and a legend."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.quantities import prefix_of, show
from railwright.records.manifest import write_atomically
from railwright.records.names import EVENTS
from railwright.report import overlay as lay
from railwright.report import panels
from railwright.report.key import draw_key, key_of, text_width
from railwright.report.labels import move_apart
from railwright.report.limits import DrawnLimit
from railwright.report.overlay import Overlay
from railwright.report.style import FAINT, INK, MODES, PALE, RC, colours, tint
from railwright.report.text import shortened
from railwright.traces import PLACES, Event, Mode, Span

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH = 6.9
"""Width of every figure [inches]."""
LEFT, RIGHT, ABOVE, BELOW = 0.6, 0.08, 0.45, 0.36
"""Margins round the panels [inches]."""
ROW, BETWEEN = 1.92, 0.46
"""Height of an input's panels, and the distance to the next input's [inches]."""
STEPS = (1, 2, 2.5, 5, 10)
"""Distances of an axis' ticks, of any power of ten."""


@contextmanager
def drawing() -> Iterator[None]:
    """Settings of every figure, for as long as one is drawn and saved."""
    import warnings

    import matplotlib

    settings: Any = dict(RC)
    with matplotlib.rc_context(settings), warnings.catch_warnings():
        # A character that the font lacks is drawn as a box; the text stands beside the figure anyway.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def as_svg(figure: Figure) -> str:
    """SVG text of a figure; the same figure gives the same bytes."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def save(figure: Figure, path: Path) -> None:
    """Write a figure as SVG, or as PNG at 160 dots an inch, by the path's ending; whole or not at all."""
    if path.suffix.lower() == ".svg":
        write_atomically(path, as_svg(figure))
    else:
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=160, metadata={"Software": None})
        write_atomically(path, out.getvalue())


@dataclass(frozen=True, slots=True)
class _Cell:
    """Where the panels of an input stand in the grid, and the stretch of the step that they show."""

    row: int
    column: int
    name: str
    window: tuple[float, float]
    enlarged: bool = False


def _cells(overlay: Overlay, span: Span, names: Sequence[str]) -> list[_Cell]:
    """One below the other with the start-up enlarged beside it; in other steps two inputs side by side."""
    whole = (0.0, span.end - span.start)
    details = {name: lay.settling(overlay, span, name) for name in names}
    if any(details.values()):
        cells = [_Cell(row, 0, name, whole) for row, name in enumerate(names)]
        return cells + [
            _Cell(row, 1, name, window, True) for row, name in enumerate(names) if (window := details[name])
        ]
    columns = 1 if span.kind == "whole" else 2
    return [_Cell(*divmod(place, columns), name, whole) for place, name in enumerate(names)]


# One piece: one figure, from its grid to its legend.
def draw_step(
    overlay: Overlay,
    span: Span,
    names: Sequence[str],
    events: Sequence[tuple[int, Event]],
    left_out: int = 0,
) -> Figure:
    """The figure of one step: for each input voltage, current and modes; a power-up also enlarged.

    Below it stands the key of the events' numbers. left_out: how many more events there were.
    """
    from matplotlib.figure import Figure

    cells = _cells(overlay, span, names)
    rows, columns = 1 + max(c.row for c in cells), 1 + max(c.column for c in cells)
    limits, words = lay.limits_in(overlay, span, names)
    key = key_of(
        [event_words(n, event.time - span.start, event) for n, event in events],
        _remarks(left_out, words),
        WIDTH - LEFT - RIGHT,
    )
    below = BELOW + (key.height + 0.06 if key.height else 0.0)
    height = ABOVE + rows * ROW + (rows - 1) * BETWEEN + below
    figure = Figure(figsize=(WIDTH, height))
    outer = figure.add_gridspec(
        rows,
        columns,
        left=LEFT / WIDTH,
        right=1 - RIGHT / WIDTH,
        top=1 - ABOVE / height,
        bottom=below / height,
        hspace=BETWEEN / ROW,
        wspace=0.27,
        width_ratios=[1.12, 1.0] if any(cell.enlarged for cell in cells) else [1.0] * columns,
    )
    palette = colours(overlay.inputs or tuple(overlay.base.traces))
    drawn_modes: set[Mode] = set()
    for cell in cells:
        subjects = {cell.name, *lay.outputs_of(overlay.set_points, cell.name)}
        drawn_modes |= _input_panels(
            figure,
            outer[cell.row, cell.column],
            overlay,
            span,
            cell,
            palette.get(cell.name, INK),
            [limit for limit in limits if limit.input == cell.name],
            [(n, event.time - span.start) for n, event in events if event.subject in subjects],
        )
    middle = (LEFT + (WIDTH - LEFT - RIGHT) / 2) / WIDTH
    begin = "the procedure" if span.kind == "whole" else f"the step “{shortened(span.name, 60)}”"
    figure.text(
        middle,
        (below - 0.2) / height,
        f"time from the start of {begin}",
        ha="center",
        va="top",
        fontsize=6.2,
        color=INK,
    )
    if key.height:
        draw_key(figure, key, LEFT, key.height + 0.03)
    _legend(figure, overlay, span, names, bool(limits), drawn_modes)
    move_apart(figure)
    return figure


EVENT_AT_MOST = 240
"""Letters of an event's words in the key."""


def event_words(number: int, at: float, event: Event) -> str:
    """An event as the key has it: its number, its time in the step [s], and what happened."""
    return f"{number}  {show(at, 's')}, {shortened(panels.describe(event), EVENT_AT_MOST)}"


def _remarks(left_out: int, words: Sequence[str]) -> list[str]:
    remarks = [f"… and {left_out} more events, which the run's {EVENTS} holds."] if left_out else []
    if words:
        remarks.append(f"Required, but with no place in this plot: {'; '.join(words)}.")
    return remarks


# Many: what the panels of one input show, and where they lie.
def _input_panels(
    figure: Figure,
    place: Any,
    overlay: Overlay,
    span: Span,
    cell: _Cell,
    colour: str,
    limits: list[DrawnLimit],
    events: Sequence[tuple[int, float]],
) -> set[Mode]:
    from matplotlib.ticker import EngFormatter

    name, labelled = cell.name, not cell.enlarged
    bands = lay.bands_of(overlay, span, name)
    grid = place.subgridspec(2 + len(bands), 1, height_ratios=[1.0, 1.0] + [0.15] * len(bands), hspace=0.13)
    voltage, current = figure.add_subplot(grid[0]), figure.add_subplot(grid[1])
    column = lay.voltage_of(overlay.base.traces[name])
    for axes, channel, unit, panel in (
        (voltage, column, "V", "voltage"),
        (current, "current", "A", "current"),
    ):
        time_axis(axes, cell.window, 6)
        curves = lay.curves_of(overlay, span, name, channel)
        panels.draw_curves(axes, curves, colour)
        mine = [limit for limit in limits if limit.panel == panel]
        levels = [level for limit in mine for level in (limit.lower, limit.upper) if level is not None]
        limit_set = overlay.set_points[name].limit if name in overlay.set_points else None
        if panel == "current" and limit_set is not None:
            levels = [*levels, limit_set]
        panels.settle_view(axes, curves, levels, quiet=span.kind == "hold")
        panels.draw_limits(axes, mine, lay.required_until(overlay, span), labelled)
        if panel == "current" and limit_set is not None:
            words = f"set limit {EngFormatter('A', sep=' ')(limit_set)}" if labelled else ""
            # The words of required limits stand on the right.
            panels.draw_set_level(axes, limit_set, words, "left" if mine else "right")
        for limit in limits:
            if limit.panel == "time":
                panels.draw_instant(
                    axes, limit, lay.switched_on(overlay, span, name), labelled and panel == "voltage"
                )
        _scale(axes, panel, unit)
        axes.tick_params(labelbottom=not bands and axes is current)
    panels.draw_events(voltage, events)
    title = _title(name, f": voltage {PLACES[column]}", panels.width_of(voltage)) if labelled else "enlarged"
    voltage.set_title(title, loc="left", pad=10 if events else 3.5, color=INK, fontsize=7.0)
    drawn: set[Mode] = set()
    for index, (label, time, modes, reach) in enumerate(bands):
        band = figure.add_subplot(grid[2 + index])
        time_axis(band, cell.window, 6)
        band.tick_params(labelbottom=index == len(bands) - 1)
        drawn |= panels.draw_modes(band, time, modes, label if labelled else "", reach)
    return drawn


def _title(name: str, what: str, room: float) -> str:
    """What a panel shows, with so much of the input's name as fits into `room` [points]."""
    titles = [shortened(name, length) + what for length in range(40, 2, -3)]
    return next((title for title in titles if 72 * text_width(title, 7.0) <= room), titles[-1])


def time_axis(axes: Axes, window: tuple[float, float], intervals: int) -> None:
    """Time over a window [s] from left to right, in as many intervals at most; no frame above and right."""
    from matplotlib.ticker import EngFormatter, MaxNLocator

    axes.set_xlim(*window)
    axes.xaxis.set_major_formatter(EngFormatter(unit="s", sep="\u2009"))
    axes.xaxis.set_major_locator(MaxNLocator(intervals, steps=STEPS))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _scale(axes: Axes, quantity: str, unit: str) -> None:
    """The vertical axis: quantity and unit beside it, numbers of one prefix and as many decimals along it."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator

    low, high = axes.get_ylim()
    found = MaxNLocator(5, steps=STEPS).tick_values(low, high)
    ticks = [float(tick) for tick in found if low <= tick <= high]
    largest = max(abs(tick) for tick in ticks) if ticks else 1.0
    factor, prefix = prefix_of(largest, most=3, least=-6)
    decimals = next((d for d in range(6) if all(_whole(t / factor, d) for t in ticks)), 6)
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_major_formatter(
        FuncFormatter(lambda value, _: f"{value / factor:z.{decimals}f}".replace("-", "−"))
    )
    name_scale(axes, f"{quantity} ({prefix}{unit})")


def name_scale(axes: Axes, words: str) -> None:
    """What the vertical axis shows, beside it, as far from it in every panel; lines across behind all."""
    axes.set_ylabel(words, fontsize=6.2, color=INK)
    axes.yaxis.set_label_coords(-0.46 / (axes.get_window_extent().width / axes.figure.dpi), 0.5)
    axes.grid(True, zorder=0)
    axes.set_axisbelow(True)


def _whole(value: float, decimals: int) -> bool:
    return abs(value - round(value, decimals)) < 1e-6 * max(1.0, abs(value))


def _legend(
    figure: Figure, overlay: Overlay, span: Span, names: Sequence[str], limited: bool, modes: Iterable[Mode]
) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    colour = colours(overlay.inputs or tuple(overlay.base.traces)).get(names[0], INK)
    handles: list[Any] = []
    if overlay.rehearsal is not None:
        handles.append(Line2D([], [], color=tint(colour, PALE), linewidth=2.6, label="rehearsed"))
    if overlay.measured is not None:
        handles.append(
            Line2D([], [], color=colour, linewidth=0.7, marker="o", markersize=2.3, label="supply's readings")
        )
    for record in lay.seen_in(overlay, span, names):
        handles.append(Line2D([], [], color=INK, linewidth=0.55, label=shortened(record.origin, 30)))
    labels: list[str] = [handle.get_label() for handle in handles]
    if limited:
        border = Patch(facecolor="white", edgecolor=FAINT, hatch="////////", linewidth=0)
        handles.append((border, Line2D([], [], **panels.LIMIT_LINE)))
        labels.append("limit (hatched: not allowed)")
    for mode in sorted(modes):
        look = MODES[mode]
        handles.append(Patch(facecolor=look.ground, edgecolor=FAINT, hatch=look.hatch, linewidth=0.4))
        labels.append(look.word)
    # As large as fits into one line: sample and gaps of an entry are 3.7 times as wide as a letter is high.
    wants = sum(3.7 + 0.53 * len(label) for label in labels)
    figure.legend(
        handles,
        labels,
        loc="upper left",
        bbox_to_anchor=(0.08, 1 - 0.01 / figure.get_figheight()),
        ncols=len(handles),
        fontsize=min(6.5, 72 * (WIDTH - LEFT) / wants) if wants else 6.5,
        columnspacing=1.2,
        handlelength=1.7,
        handletextpad=0.5,
        borderaxespad=0.0,
        labelcolor=INK,
    )
