"""Figures of the steps: rehearsed and recorded traces over each other, with limits, events and bands of modes."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.report import panels
from railwright.report.limits import Limit, limits_of
from railwright.report.panels import Curve
from railwright.report.style import FAINT, HAIR, INK, MODES, RC, colours, tint
from railwright.report.text import shortened
from railwright.traces import Event, Mode, Record, Span

if TYPE_CHECKING:
    from collections.abc import Iterator

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from railwright.documents.procedure import Requirement
    from railwright.rehearsal.setpoints import SetPoints

WIDTH = 6.9
INPUTS_A_FIGURE = 2
EVENTS_AT_MOST = 14
_PLACES = {"voltage": "at the connector", "terminal_voltage": "at the supply's terminals"}


@dataclass(frozen=True, slots=True, eq=False)
class Overlay:
    """What is laid over each other. Each part may be missing; external records are already aligned to `measured`."""

    rehearsal: Record | None = None
    measured: Record | None = None
    external: tuple[Record, ...] = ()
    requirements: tuple[Requirement, ...] = ()
    set_points: SetPoints = field(default_factory=dict)
    inputs: tuple[str, ...] = ()

    @property
    def base(self) -> Record:
        """The record whose spans and time the figures follow."""
        record = self.measured if self.measured is not None else self.rehearsal
        if record is None:
            raise ValueError("expected a rehearsal or a measured record to plot, got neither")
        return record


@dataclass(frozen=True, slots=True)
class StepFigure:
    """A drawn figure: SVG text, the numbered events in it, and requirements that have no place in it."""

    step: str
    inputs: tuple[str, ...]
    svg: str
    description: str
    events: tuple[tuple[int, float, str], ...]
    left_out: int
    not_drawn: tuple[str, ...]


def step_figures(overlay: Overlay) -> tuple[StepFigure, ...]:
    """One figure for each step and each pair of its inputs, as SVG."""
    figures = []
    for span in spans_to_draw(overlay.base):
        for first in range(0, len(span.inputs), INPUTS_A_FIGURE):
            names = span.inputs[first : first + INPUTS_A_FIGURE]
            events, left_out = _events_in(overlay, span, names)
            _, words = limits_of((r for r in overlay.requirements if r.of in names), span.name)
            with drawing():
                figure = draw_step(overlay, span, names, events)
                svg = as_svg(figure)
            numbered = tuple((n, event.time - span.start, panels.describe(event)) for n, event in events)
            figures.append(
                StepFigure(
                    span.name, names, svg, _alternative(overlay, span, names), numbered, left_out, words
                )
            )
    return tuple(figures)


def save_overview(overlay: Overlay, path: Path) -> None:
    """The whole procedure, every input, as one figure; SVG or PNG by the path's ending."""
    base = overlay.base
    spans = base.spans or (Span("whole record", "whole", *_extent(base), tuple(base.traces)),)
    names = tuple(name for name in overlay.inputs or tuple(base.traces) if name in base.traces)
    whole = Span("whole procedure", "whole", spans[0].start, max(span.end for span in spans), names)
    with drawing():
        figure = draw_step(overlay, whole, names, ())
        if path.suffix.lower() == ".svg":
            path.write_text(as_svg(figure), encoding="utf-8")
        else:
            figure.savefig(path, dpi=160)


def save_step(overlay: Overlay, step: str, path: Path) -> None:
    """One named step, all its inputs, as SVG or PNG by the path's ending. KeyError where there is no such step."""
    span = next((s for s in spans_to_draw(overlay.base) if s.name == step), None)
    if span is None:
        raise KeyError(step)
    events, _ = _events_in(overlay, span, span.inputs)
    with drawing():
        figure = draw_step(overlay, span, span.inputs, events)
        if path.suffix.lower() == ".svg":
            path.write_text(as_svg(figure), encoding="utf-8")
        else:
            figure.savefig(path, dpi=160)


def spans_to_draw(record: Record) -> tuple[Span, ...]:
    """Steps with a duration, in time; a power-down is drawn to the record's end, since what follows is the decay."""
    drawn = []
    for span in sorted(record.spans, key=lambda s: s.start):
        names = tuple(name for name in span.inputs if name in record.traces)
        end = span.end
        if span.kind == "power_down":
            end = max([end, *(float(record.traces[n].time[-1]) for n in names if record.traces[n].time.size)])
        if names and end > span.start:
            drawn.append(Span(span.name, span.kind, span.start, end, names, span.points))
    return tuple(drawn)


@contextmanager
def drawing() -> Iterator[None]:
    """Settings of every figure, for as long as one is drawn and saved."""
    import logging
    import warnings

    import matplotlib

    with matplotlib.rc_context(dict(RC)), warnings.catch_warnings():
        # A character that the font lacks is drawn as a box; the text stands beside the figure anyway.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        logging.getLogger("matplotlib.font_manager").setLevel(logging.ERROR)
        yield


def as_svg(figure: Figure) -> str:
    """SVG text of a figure; the same figure gives the same bytes."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def _extent(record: Record) -> tuple[float, float]:
    times = [trace.time for trace in record.traces.values() if trace.time.size]
    return min(float(t[0]) for t in times), max(float(t[-1]) for t in times)


def _shift(overlay: Overlay, span: Span) -> float:
    """What to add to the rehearsal's time so that the step begins where it did on the bench."""
    if overlay.measured is None or overlay.rehearsal is None:
        return 0.0
    rehearsed = {s.name: s for s in overlay.rehearsal.spans}
    if span.name in rehearsed:
        return span.start - rehearsed[span.name].start
    if overlay.rehearsal.spans and overlay.measured.spans:
        return overlay.measured.spans[0].start - overlay.rehearsal.spans[0].start
    return 0.0


def voltage_column(overlay: Overlay, name: str) -> str:
    """The voltage that was read: at the connector, else at the terminals."""
    traces = overlay.base.traces[name]
    return (
        "voltage"
        if "voltage" in traces.columns or "terminal_voltage" not in traces.columns
        else "terminal_voltage"
    )


def _curves(overlay: Overlay, span: Span, name: str, column: str) -> list[Curve]:
    found = []

    def take(record: Record | None, form: str, label: str, shift: float) -> None:
        if record is None or name not in record.traces or column not in record.traces[name].columns:
            return
        time, values = panels.cut(record.traces[name], column, shift, span.start, span.end)
        if time.size:
            found.append(Curve(form, label, time - span.start, values))

    take(overlay.rehearsal, "rehearsed", "rehearsed", _shift(overlay, span))
    for record in overlay.external:
        take(record, "recording", record.origin, 0.0)
    take(overlay.measured, "readings", "supply's readings", 0.0)
    return found


def outputs_of(set_points: SetPoints, name: str) -> tuple[str, ...]:
    """The outputs that feed an input."""
    return tuple(output.output for output in set_points[name].outputs) if name in set_points else ()


def switched_on(overlay: Overlay, span: Span, name: str) -> float:
    """When the input was switched on in this step [s from its start]; 0 where nothing says so."""
    subjects = {name, *outputs_of(overlay.set_points, name)}
    times = [
        event.time
        for event in overlay.base.events
        if event.what == "on" and event.subject in subjects and span.start <= event.time <= span.end
    ]
    return min(times) - span.start if times else 0.0


def _events_in(
    overlay: Overlay, span: Span, names: Sequence[str]
) -> tuple[tuple[tuple[int, Event], ...], int]:
    subjects = {*names, *(output for name in names for output in outputs_of(overlay.set_points, name))}
    events = [
        event
        for event in sorted(overlay.base.events, key=lambda e: e.time)
        if event.subject in subjects and span.start - 1e-9 <= event.time <= span.end
    ]
    return tuple(enumerate(events[:EVENTS_AT_MOST], start=1)), max(0, len(events) - EVENTS_AT_MOST)


def _detail(overlay: Overlay, span: Span, name: str) -> tuple[float, float] | None:
    """The stretch [s from the step's start] in which the current settles after switching on, if it is short."""
    import numpy as np

    source = overlay.rehearsal if overlay.rehearsal is not None else overlay.measured
    if span.kind != "power_up" or source is None or name not in source.traces:
        return None
    shift = _shift(overlay, span) if source is overlay.rehearsal else 0.0
    if "current" not in source.traces[name].columns:
        return None
    time, current = panels.cut(source.traces[name], "current", shift, span.start, span.end)
    begin = switched_on(overlay, span, name)
    time = time - span.start
    if time.size < 8 or float(np.ptp(current)) == 0.0:
        return None
    away = np.flatnonzero((np.abs(current - current[-1]) > 0.05 * np.ptp(current)) & (time > begin))
    if away.size == 0:
        return None
    length = 1.35 * (float(time[away[-1]]) - begin)
    if length <= 0 or length > 0.45 * (span.end - span.start):
        return None
    return max(0.0, begin - 0.06 * length), begin + length


def draw_step(
    overlay: Overlay, span: Span, names: Sequence[str], events: Sequence[tuple[int, Event]]
) -> Figure:
    """The figure of one step: for each input voltage, current and modes; a power-up also enlarged."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    details = {name: _detail(overlay, span, name) for name in names}
    columns = 2 if any(details.values()) else 1
    height = 0.62 + len(names) * 2.42
    figure = Figure(figsize=(WIDTH, height))
    FigureCanvasAgg(figure)
    outer = figure.add_gridspec(
        len(names), columns, left=0.088, right=0.988, top=1 - 0.43 / height, bottom=0.36 / height, hspace=0.3,
        wspace=0.16, width_ratios=[1.12, 1.0][:columns],
    )  # fmt: skip
    palette = colours(overlay.inputs or tuple(overlay.base.traces))
    limits, _ = limits_of(overlay.requirements, span.name)
    drawn_modes: set[Mode] = set()
    for row, name in enumerate(names):
        subjects = {name, *outputs_of(overlay.set_points, name)}
        numbered = [(n, event.time - span.start) for n, event in events if event.subject in subjects]
        whole = (0.0, span.end - span.start)
        for column, window in enumerate((whole, details[name])[:columns]):
            if window is None:
                continue
            drawn_modes |= _input_panels(
                figure, outer[row, column], overlay, span, name, window, palette.get(name, INK),
                [limit for limit in limits if limit.input == name], numbered, column == 0,
            )  # fmt: skip
    figure.text(
        0.538,
        0.05 / height,
        "time from the start of the " + ("procedure" if span.kind == "whole" else "step"),
        ha="center",
        fontsize=6.2,
        color=FAINT,
    )
    _legend(figure, overlay, palette.get(names[0], INK), bool(limits), drawn_modes, height)
    return figure


def _input_panels(
    figure: Figure, place: Any, overlay: Overlay, span: Span, name: str, window: tuple[float, float], colour: str,
    limits: list[Limit], events: Sequence[tuple[int, float]], first: bool,
) -> set[Mode]:  # fmt: skip
    from matplotlib.ticker import EngFormatter

    bands = _bands(overlay, span, name)
    grid = place.subgridspec(2 + len(bands), 1, height_ratios=[1.0, 1.0] + [0.13] * len(bands), hspace=0.13)
    voltage, current = figure.add_subplot(grid[0]), figure.add_subplot(grid[1])
    column = voltage_column(overlay, name)
    for axes, channel, unit, panel in (
        (voltage, column, "V", "voltage"),
        (current, "current", "A", "current"),
    ):
        _prepare(axes, unit, window)
        curves = _curves(overlay, span, name, channel)
        panels.draw_curves(axes, curves, colour)
        mine = [limit for limit in limits if limit.panel == panel]
        levels = [level for limit in mine for level in (limit.lower, limit.upper) if level is not None]
        if panel == "current" and name in overlay.set_points:
            levels = [*levels, current_limit(overlay.set_points, name)]
        panels.settle_view(axes, curves, levels)
        panels.draw_limits(axes, mine, first)
        if panel == "current" and name in overlay.set_points:
            level = current_limit(overlay.set_points, name)
            panels.draw_set_level(
                axes, level, f"set limit {EngFormatter('A', sep=' ')(level)}" if first else ""
            )
        for limit in limits:
            if limit.panel == "time":
                panels.draw_instant(
                    axes, limit, switched_on(overlay, span, name), first and panel == "voltage"
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


def _bands(overlay: Overlay, span: Span, name: str) -> list[tuple[str, Any, Any]]:
    bands = []
    for record, label, shift in (
        (overlay.rehearsal, "rehearsed", _shift(overlay, span)),
        (overlay.measured, "reported", 0.0),
    ):
        if record is None or name not in record.traces or "mode" not in record.traces[name].columns:
            continue
        time, modes = panels.cut(record.traces[name], "mode", shift, span.start, span.end)
        if time.size:
            bands.append((label, time - span.start, modes))
    return bands


def current_limit(set_points: SetPoints, name: str) -> float:
    """Current limit of an input [A]: of outputs in parallel the sum, in series the least."""
    feed = set_points[name]
    limits = [output.current_limit for output in feed.outputs]
    return sum(limits) if feed.arrangement == "parallel" else min(limits)


def _legend(
    figure: Figure, overlay: Overlay, colour: str, limited: bool, modes: Iterable[Mode], height: float
) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = []
    if overlay.rehearsal is not None:
        handles.append(Line2D([], [], color=tint(colour, 0.38), linewidth=2.6, label="rehearsed"))
    if overlay.measured is not None:
        handles.append(
            Line2D([], [], color=colour, linewidth=0.7, marker="o", markersize=2.3, label="supply's readings")
        )
    for record in overlay.external:
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
    figure.legend(
        handles=handles, loc="upper left", bbox_to_anchor=(0.08, 1 - 0.01 / height), ncols=len(handles),
        columnspacing=1.4, handlelength=1.7, handletextpad=0.5, borderaxespad=0.0, labelcolor=INK,
    )  # fmt: skip
    figure.patch.set_edgecolor(HAIR)


def _alternative(overlay: Overlay, span: Span, names: Sequence[str]) -> str:
    sources: Mapping[str, bool] = {
        "rehearsed": overlay.rehearsal is not None,
        "read by the supply": overlay.measured is not None,
        "recorded externally": bool(overlay.external),
    }
    shown = ", ".join(word for word, there in sources.items() if there)
    return f"Voltage and current of {', '.join(map(shortened_name, names))} against time during {span.name}: {shown}."


def shortened_name(name: str) -> str:
    """A name short enough for a description."""
    return shortened(name, 60)
