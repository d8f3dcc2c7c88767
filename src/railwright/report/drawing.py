"""Drawing of one step: panels of voltage and current, bands of modes, and a legend."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.report import overlay as lay
from railwright.report import panels
from railwright.report.limits import Limit, limits_of
from railwright.report.overlay import Overlay
from railwright.report.style import FAINT, INK, MODES, RC, colours, tint
from railwright.report.text import shortened
from railwright.traces import Event, Mode, Span

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH = 6.9
"""Width of every figure [inches]."""
_PLACES = {"voltage": "at the connector", "terminal_voltage": "at the supply's terminals"}


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
    unfinished = path.with_name(path.name + ".part")
    if path.suffix.lower() == ".svg":
        unfinished.write_text(as_svg(figure), encoding="utf-8")
    else:
        figure.savefig(unfinished, format="png", dpi=160, metadata={"Software": None})
    unfinished.replace(path)


def draw_step(
    overlay: Overlay, span: Span, names: Sequence[str], events: Sequence[tuple[int, Event]]
) -> Figure:
    """The figure of one step: for each input voltage, current and modes; a power-up also enlarged."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    details = {name: lay.settling(overlay, span, name) for name in names}
    columns = 2 if any(details.values()) else 1
    height = 0.62 + len(names) * 2.42
    figure = Figure(figsize=(WIDTH, height))
    FigureCanvasAgg(figure)
    outer = figure.add_gridspec(
        len(names),
        columns,
        left=0.088,
        right=0.988,
        top=1 - 0.43 / height,
        bottom=0.36 / height,
        hspace=0.3,
        wspace=0.16,
        width_ratios=[1.12, 1.0][:columns],
    )
    palette = colours(overlay.inputs or tuple(overlay.base.traces))
    limits, _ = limits_of(overlay.requirements, span.name)
    drawn_modes: set[Mode] = set()
    for row, name in enumerate(names):
        subjects = {name, *lay.outputs_of(overlay.set_points, name)}
        numbered = [(n, event.time - span.start) for n, event in events if event.subject in subjects]
        whole = (0.0, span.end - span.start)
        for column, window in enumerate((whole, details[name])[:columns]):
            if window is None:
                continue
            drawn_modes |= _input_panels(
                figure,
                outer[row, column],
                overlay,
                span,
                name,
                window,
                palette.get(name, INK),
                [limit for limit in limits if limit.input == name],
                numbered,
                column == 0,
            )
    figure.text(
        0.538,
        0.05 / height,
        "time from the start of the " + ("procedure" if span.kind == "whole" else "step"),
        ha="center",
        fontsize=6.2,
        color=FAINT,
    )
    _legend(figure, overlay, span, names, any(limit.input in names for limit in limits), drawn_modes)
    return figure


def _input_panels(
    figure: Figure,
    place: Any,
    overlay: Overlay,
    span: Span,
    name: str,
    window: tuple[float, float],
    colour: str,
    limits: list[Limit],
    events: Sequence[tuple[int, float]],
    first: bool,
) -> set[Mode]:
    from matplotlib.ticker import EngFormatter

    bands = lay.bands_of(overlay, span, name)
    grid = place.subgridspec(2 + len(bands), 1, height_ratios=[1.0, 1.0] + [0.13] * len(bands), hspace=0.13)
    voltage, current = figure.add_subplot(grid[0]), figure.add_subplot(grid[1])
    column = lay.voltage_column(overlay, name)
    for axes, channel, unit, panel in (
        (voltage, column, "V", "voltage"),
        (current, "current", "A", "current"),
    ):
        _prepare(axes, unit, window)
        curves = lay.curves_of(overlay, span, name, channel)
        panels.draw_curves(axes, curves, colour)
        mine = [limit for limit in limits if limit.panel == panel]
        levels = [level for limit in mine for level in (limit.lower, limit.upper) if level is not None]
        if panel == "current" and name in overlay.set_points:
            levels = [*levels, lay.current_limit(overlay.set_points, name)]
        panels.settle_view(axes, curves, levels, quiet=span.kind == "hold")
        panels.draw_limits(axes, mine, first)
        if panel == "current" and name in overlay.set_points:
            level = lay.current_limit(overlay.set_points, name)
            panels.draw_set_level(
                axes, level, f"set limit {EngFormatter('A', sep=' ')(level)}" if first else ""
            )
        for limit in limits:
            if limit.panel == "time":
                panels.draw_instant(
                    axes, limit, lay.switched_on(overlay, span, name), first and panel == "voltage"
                )
        axes.tick_params(labelbottom=not bands and axes is current)
    panels.draw_events(voltage, events)
    title = f"{shortened(name, 34)}: voltage {_PLACES[column]}, and current" if first else "enlarged"
    voltage.set_title(title, loc="left", pad=10 if events else 3.5, color=INK, fontsize=7.0)
    drawn: set[Mode] = set()
    last = current
    for index, (label, time, modes) in enumerate(bands):
        last = figure.add_subplot(grid[2 + index])
        _prepare(last, "", window)
        last.tick_params(labelbottom=index == len(bands) - 1)
        drawn |= panels.draw_modes(last, time, modes, label if first else "")
    return drawn


def _prepare(axes: Axes, unit: str, window: tuple[float, float]) -> None:
    from matplotlib.ticker import EngFormatter, MaxNLocator

    axes.set_xlim(*window)
    axes.xaxis.set_major_formatter(EngFormatter(unit="s", sep="\u2009"))
    axes.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    if unit:
        axes.yaxis.set_major_formatter(EngFormatter(unit=unit, sep="\u2009"))
        axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
        axes.grid(True, zorder=0)
        axes.set_axisbelow(True)


def _legend(
    figure: Figure, overlay: Overlay, span: Span, names: Sequence[str], limited: bool, modes: Iterable[Mode]
) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    colour = colours(overlay.inputs or tuple(overlay.base.traces)).get(names[0], INK)
    handles: list[Any] = []
    if overlay.rehearsal is not None:
        handles.append(Line2D([], [], color=tint(colour, 0.38), linewidth=2.6, label="rehearsed"))
    if overlay.measured is not None:
        handles.append(
            Line2D([], [], color=colour, linewidth=0.7, marker="o", markersize=2.3, label="supply's readings")
        )
    for record in lay.seen_in(overlay, span, names):
        handles.append(Line2D([], [], color=INK, linewidth=0.55, label=shortened(record.origin, 30)))
    if limited:
        handles.append(
            Patch(facecolor="white", edgecolor=FAINT, hatch="////////", linewidth=0, label="not allowed")
        )
    for mode in sorted(modes):
        look = MODES[mode]
        handles.append(
            Patch(facecolor=look.ground, edgecolor=FAINT, hatch=look.hatch, linewidth=0.4, label=look.word)
        )
    crowded = len(handles) > 7
    figure.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(0.08, 1 - 0.01 / figure.get_figheight()),
        ncols=len(handles),
        fontsize=5.4 if crowded else 6.5,
        columnspacing=0.9 if crowded else 1.4,
        handlelength=1.7,
        handletextpad=0.5,
        borderaxespad=0.0,
        labelcolor=INK,
    )
