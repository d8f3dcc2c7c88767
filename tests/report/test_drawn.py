"""What a figure draws, looked at through the figure itself: lines, stretches of time, the boxes of labels."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from tests.bench import PROCEDURE, demo_with

from railwright.documents.loader import Documents
from railwright.plan.set_points import Feed
from railwright.report import overlay as lay
from railwright.report.drawing import draw_step, drawing
from railwright.report.overlay import Overlay
from railwright.report.plots import step_figures
from railwright.traces import Record, Traces

BLUE = "#0072b2"
"""Of the first input: its readings are drawn in it, on steps (docs: Okabe and Ito's)."""


def drawn(overlay: Overlay, step: str) -> Figure:
    span = next(s for s in lay.spans_to_draw(overlay.base) if s.name == step)
    events, left_out = lay.events_in(overlay, span, span.inputs)
    with drawing():
        return draw_step(overlay, span, span.inputs, events, left_out)


def panels(figure: Figure) -> dict[str, Axes]:
    return {axes.get_title(loc="left"): axes for axes in figure.axes if axes.get_title(loc="left")}


def of_readings(axes: Axes) -> Line2D:
    """The stepped line of the readings in a panel."""
    (line,) = [each for each in axes.lines if each.get_drawstyle() == "steps-pre"]
    return line


def covered(line: Line2D) -> list[tuple[float, float]]:
    """The stretches of time over which a stepped line is drawn, from the vertices of its path."""
    path = (
        line.get_transform()
        .inverted()
        .transform_path(line._get_transformed_path().get_fully_transformed_path())
    )
    stretches = []
    before = None
    for (x, y), code in zip(
        path.vertices, path.codes if path.codes is not None else [2] * len(path), strict=True
    ):
        if not np.isfinite([x, y]).all():
            before = None
            continue
        if before is not None and code != 1 and x > before + 1e-9:
            stretches.append((before, float(x)))
        before = float(x)
    return stretches


def without(record: Record, name: str, *gaps: tuple[float, float]) -> Record:
    """A record in which an input was not read over some stretches of time [s]."""
    trace = record.traces[name]
    keep = np.ones(trace.time.size, dtype=bool)
    for start, end in gaps:
        keep &= (trace.time <= start) | (trace.time >= end)
    left = Traces(trace.time[keep], {key: values[keep] for key, values in trace.columns.items()})
    return replace(record, traces={**record.traces, name: left})


@pytest.fixture
def overlay(
    documents: Documents, set_points: dict[str, Feed], rehearsal: Record, measured: Record, external: Record
) -> Overlay:
    names = tuple(documents.device.inputs)
    return Overlay(rehearsal, measured, (external,), documents.procedure.requires, set_points, names)


@pytest.mark.parametrize(
    "gaps",
    [((0.6, 1.5),), ((0.3, 0.4), (0.9, 1.1), (1.5, 1.9)), ((0.5, 0.56),)],
    ids=["one", "three", "short"],
)
def test_nothing_is_drawn_over_time_in_which_nothing_was_read(overlay: Overlay, gaps) -> None:
    """A reading comes every 10 ms: it stands for 15 ms before it at most; the mode is as unknown."""
    span = overlay.base.span("steady")
    measured = overlay.measured
    assert measured is not None
    lost = [(span.start + a, span.start + b) for a, b in gaps]
    figure = drawn(replace(overlay, measured=without(measured, "main", *lost)), "steady")
    (voltage,) = [axes for title, axes in panels(figure).items() if title.startswith("main")]
    line = of_readings(voltage)
    stretches = covered(line)
    for start, end in gaps:
        inside = [(max(a, start + 0.011), min(b, end - 0.026)) for a, b in stretches]
        assert not [pair for pair in inside if pair[1] > pair[0] + 1e-9]
    # Everywhere else it is: the length of what is drawn is that of the step less the gaps.
    whole = sum(min(b, 2.0) - max(a, 0.0) for a, b in stretches if b > 0.0 and a < 2.0)
    assert whole == pytest.approx(2.0 - sum(b - a for a, b in gaps), abs=0.03 * (len(gaps) + 1))
    reported = next(axes for axes in figure.axes if axes.get_ylabel() == "reported")
    for patch in reported.patches:
        left, right = patch.get_x(), patch.get_x() + patch.get_width()
        for start, end in gaps:
            assert min(right, end - 0.011) - max(left, start + 0.011) < 1e-9


def test_a_poll_that_is_missed_once_is_no_break_of_the_other_readings(overlay: Overlay) -> None:
    whole = of_readings(panels(drawn(overlay, "steady"))["main: voltage at the connector"])
    assert np.isfinite(whole.get_ydata()).all()


def test_an_enlarged_edge_shows_the_edge_also_where_few_samples_tell_it(overlay: Overlay) -> None:
    """A ramp of 12 ms to 12 V after 50 ms of nothing: two samples. All of it is in the enlarged view."""
    span = overlay.base.span("first power")
    assert overlay.rehearsal is not None
    at = np.array([0.0, 0.01, 0.02, 0.03, 0.04, 0.05, 0.062, 0.15, 0.18, 0.211])
    up = np.array([0.0] * 6 + [1.0] * 4)
    time = span.start - lay.rehearsal_offset(overlay, span) + at
    columns = {
        "voltage": 12.0 * up,
        "terminal_voltage": 12.0 * up,
        "current": 0.12 * up,
        "mode": 0.0 * up + 1.0,
    }
    rehearsal = replace(overlay.rehearsal, traces={"main": Traces(time, columns)})
    figure = drawn(Overlay(rehearsal, None, (), (), overlay.set_points, overlay.inputs), "first power")
    enlarged = [axes for axes in figure.axes if axes.get_title(loc="left") == "enlarged"]
    assert len(enlarged) == 1
    left, right = enlarged[0].get_xlim()
    low, high = enlarged[0].get_ylim()
    assert left <= 0.05
    assert right >= 0.062
    assert low <= 0.0
    assert high >= 12.0


def test_the_edge_as_it_was_recorded_is_in_the_enlarged_view_too(overlay: Overlay) -> None:
    """A device that takes twice as long on the bench as rehearsed."""
    span = overlay.base.span("first power")
    alone = replace(overlay, measured=None, external=())
    rehearsed = lay.settling(alone, alone.base.span("first power"), "main")
    assert rehearsed is not None
    external = overlay.external[0]
    trace = external.traces["main"]
    slower = Traces(span.start + 1.6 * (trace.time - span.start), dict(trace.columns))
    moved = replace(external, traces={**external.traces, "main": slower})
    window = lay.settling(replace(overlay, external=(moved,)), span, "main")
    assert window is not None
    assert window[1] > 1.3 * rehearsed[1]


def test_no_figure_and_no_line_of_a_step_that_was_not_played(overlay: Overlay) -> None:
    """The run ended 1 s into the second step: two figures, and no axis goes beyond what was played."""
    measured = overlay.measured
    assert measured is not None
    steady = measured.span("steady")
    stopped = steady.start + 1.0
    spans = (measured.spans[0], replace(steady, end=stopped))
    traces = {
        name: Traces(
            trace.time[trace.time <= stopped],
            {key: values[trace.time <= stopped] for key, values in trace.columns.items()},
        )
        for name, trace in measured.traces.items()
    }
    ended = replace(overlay, measured=replace(measured, spans=spans, traces=traces))
    assert [figure.step for figure in step_figures(ended)] == ["first power", "steady"]
    for axes in drawn(ended, "steady").axes:
        assert axes.get_xlim()[1] <= 1.0 + 1e-9


# Labels ----------------------------------------------------------------------------------------------------


def label(text: Text, renderer: object) -> tuple[str, float, float, float, float]:
    box = text.get_window_extent(renderer)
    return text.get_text(), box.x0, box.y0, box.x1, box.y1


def overprinted(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of texts whose boxes overlap by more than half a pixel either way, as the renderer has them;
    ticks beyond an axis' ends are not drawn.
    """
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    texts: list[Text] = [*figure.texts]
    for axes in figure.axes:
        texts += [*axes.texts, axes.xaxis.label, axes.yaxis.label, axes.title, axes._left_title]
        for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            texts += [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
    boxes = [label(t, renderer) for t in texts if t.get_visible() and t.get_text().strip()]
    return [
        (a[0], b[0])
        for a, b in combinations(boxes, 2)
        if min(a[3], b[3]) - max(a[1], b[1]) > 0.5 and min(a[4], b[4]) - max(a[2], b[2]) > 0.5
    ]


def required(name: str, measure: str, of: str, during: str, limit: str) -> str:
    return f"  - {{name: {name}, measure: {measure}, of: {of}, during: {during}, {limit}}}\n"


STEADY, UP, BROWN_OUT = ("main", "steady"), ("main", "first power"), ("main", "brown-out")


MORE = {
    "as they are": "",
    "levels near each other and off scale": (
        required("steady current of the logger at its plug", "mean_current", *STEADY, "at_most: 0.9 A")
        + required("peak of the current while steady", "peak_current", *STEADY, "at_most: 0.95 A")
        + required("low state of the current", "mean_current", *STEADY, "at_least: 0.3 A")
        + required("narrow band", "high_state_level", *STEADY, "between: 11.95 V .. 12.05 V")
    ),
    "several instants": (
        required("one peak", "peak_current", *UP, "at_most: 1.05 A")
        + required("another", "peak_current", *UP, "at_most: 1.1 A")
        + required("there again", "start_up_time", *UP, "between: 10 ms .. 70 ms")
        + required("there at last", "start_up_time", *UP, "at_most: 75 ms")
    ),
    "gates beside gates": (
        required("stops again", "turn_off_voltage", *BROWN_OUT, "between: 7.3 V .. 7.9 V")
        + required("starts again by a long name", "turn_on_voltage", *BROWN_OUT, "between: 8.2 V .. 8.6 V")
        + required("highest", "high_state_level", *BROWN_OUT, "at_most: 12.5 V")
    ),
}  # fmt: skip


@pytest.mark.parametrize("more", MORE.values(), ids=MORE.keys())
def test_no_label_stands_on_another(overlay: Overlay, tmp_path, more: str) -> None:
    requires = demo_with(tmp_path / "d", (PROCEDURE, "requires:\n", f"requires:\n{more}")).procedure.requires
    crowded = replace(overlay, requirements=requires)
    for span in lay.spans_to_draw(crowded.base):
        assert overprinted(drawn(crowded, span.name)) == [], span.name


def test_every_label_is_inside_its_figure(overlay: Overlay, tmp_path) -> None:
    requires = demo_with(
        tmp_path / "d",
        (PROCEDURE, "requires:\n", f"requires:\n{MORE['levels near each other and off scale']}"),
    ).procedure.requires
    figure = drawn(replace(overlay, requirements=requires), "steady")
    renderer = FigureCanvasAgg(figure).get_renderer()
    for axes in figure.axes:
        for text in axes.texts:
            _, left, _, right, _ = label(text, renderer)
            assert left >= 0.0
            assert right <= figure.bbox.width
