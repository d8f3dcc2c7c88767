"""Figures of the steps: what is on them, and that they do not vary."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text
from tests.report.fabricated import DEMO, simulate

from railwright.documents.loader import Documents
from railwright.plan.set_points import Feed
from railwright.plan.timeline import Timeline
from railwright.report import overlay as lay
from railwright.report.drawing import as_svg, draw_step, drawing
from railwright.report.limits import limits_of
from railwright.report.overlay import Overlay
from railwright.report.panels import LEVEL
from railwright.report.plots import save_overview, save_step, step_figures
from railwright.traces import Event, EventKind, Record, Span, Traces


@pytest.fixture(scope="module")
def overlay(
    documents: Documents, set_points: dict[str, Feed], rehearsal: Record, measured: Record, external: Record
) -> Overlay:
    names = tuple(documents.device.inputs)
    return Overlay(rehearsal, measured, (external,), documents.procedure.requires, set_points, names)


def test_every_step_is_drawn_once_the_power_down_until_the_record_ends(measured: Record) -> None:
    spans = lay.spans_to_draw(measured)
    assert [span.name for span in spans] == ["first power", "steady", "line sweep", "brown-out", "step 5"]
    assert spans[-1].end > measured.spans[-1].end + 0.2


def test_the_rehearsal_is_moved_to_where_the_step_began(overlay: Overlay) -> None:
    span = overlay.base.span("brown-out")
    assert lay.rehearsal_offset(overlay, span) == pytest.approx(0.137)
    rehearsed, *_, read = lay.curves_of(overlay, span, "main", "voltage")
    assert rehearsed.form == "rehearsed"
    assert np.interp(1.5, rehearsed.time, rehearsed.values) == pytest.approx(
        np.interp(1.5, read.time, read.values), abs=0.1
    )


def test_another_capacitance_shows_in_the_overlay(overlay: Overlay, timeline: Timeline) -> None:
    """A capacitance of 30 % more leaves the current limit that much later: visible, several readings long."""
    more = simulate(timeline, {**DEMO, "main": replace(DEMO["main"], capacitance=1300e-6)}, tail=0.0)
    shifted = Overlay(overlay.rehearsal, more, (), (), overlay.set_points, overlay.inputs)
    span = more.span("first power")
    ends = []
    for curve in lay.curves_of(shifted, span, "main", "current"):
        limited = curve.time[(curve.values > 0.99) & (curve.time < 0.1)]
        ends.append(float(limited[-1]))
    assert ends[1] - ends[0] > 3e-3


def test_start_up_is_enlarged_where_it_is_short(overlay: Overlay) -> None:
    window = lay.settling(overlay, overlay.base.span("first power"), "main")
    assert window is not None
    assert window[0] <= 0.0
    assert 0.012 < window[1] < 0.04
    assert lay.settling(overlay, overlay.base.span("steady"), "main") is None


def test_axes_of_a_power_up_carry_limits_events_and_words_of_modes(overlay: Overlay) -> None:
    span = overlay.base.span("first power")
    events, left_out = lay.events_in(overlay, span, span.inputs)
    assert left_out == 0
    with drawing():
        figure = draw_step(overlay, span, span.inputs, events)
        words = {text.get_text() for axes in figure.axes for text in axes.texts}
        words |= {text.get_text() for legend in figure.legends for text in legend.get_texts()}
    assert {"transducer inrush: at most 60 mA", "start-up time: at most 60 ms after switching on"} <= words
    assert {"rehearsed", "supply's readings", "transient recorder", "current limit"} <= words
    assert "limit (hatched: not allowed)" in words
    assert "set limit 100 mA" in words


STEPS = "first power", "steady", "line sweep", "brown-out", "step 5"


def drawn(overlay: Overlay, step: str) -> Figure:
    """A step's figure as the report has it, laid out."""
    span = next(span for span in lay.spans_to_draw(overlay.base) if span.name == step)
    events, left_out = lay.events_in(overlay, span, span.inputs)
    with drawing():
        figure = draw_step(overlay, span, span.inputs, events, left_out)
        figure.canvas.draw()
    return figure


def limit_lines(axes: Axes) -> list[tuple[float, float, float]]:
    """Level limits on a panel: from, to, level."""
    found = []
    for line in axes.lines:
        (left, right), (level, other) = (np.asarray(d, dtype=float)[[0, -1]] for d in line.get_data())
        if len(line.get_xdata()) == 2 and level == other and line.get_linestyle() == "--":
            found.append((float(left), float(right), float(level)))
    return found


def test_a_figure_carries_the_key_of_its_numbers(overlay: Overlay) -> None:
    """Also where it is taken out of the report: in the SVG itself, and what has no place in the plot."""
    span = overlay.base.span("first power")
    events, _ = lay.events_in(overlay, span, span.inputs)
    with drawing():
        svg = as_svg(draw_step(overlay, span, span.inputs, events, left_out=3))
    said = re.findall(r"<!-- (.*?) -->", svg)
    assert events
    for number, event in events:
        assert any(re.match(rf"{number}  .*, {event.subject}: {event.what}", words) for words in said)
    assert any("with no place in this plot: charge to start: at most 120 mC" in words for words in said)
    assert any("and 3 more events" in words for words in said)


def titles_of(figure: Figure) -> list[Text]:
    titles = {axes.get_title(loc="left") for axes in figure.axes} - {""}
    return [text for text in figure.findobj(Text) if text.get_text() in titles]


def check_layout(figure: Figure) -> None:
    """Nothing beyond the figure's edge, the key on no panel, no panel or title over its neighbour."""
    wide, high = figure.get_size_inches() * figure.dpi
    panels = [axes.get_tightbbox() for axes in figure.axes]
    words = [text.get_window_extent() for text in figure.texts]
    for box in words:
        assert not any(box.overlaps(panel) for panel in panels)
    for box in (*panels, *words, figure.legends[0].get_window_extent()):
        assert min(box.x0, box.y0) >= -1
        assert box.x1 <= wide + 1
        assert box.y1 <= high + 1
    for one, other in combinations(range(len(panels)), 2):
        beside = figure.axes[one].bbox.x1 < figure.axes[other].bbox.x0
        assert not (beside and panels[one].overlaps(panels[other]))
    titles = [title.get_window_extent() for title in titles_of(figure)]
    assert titles
    assert not any(a.overlaps(b) for a, b in combinations(titles, 2))


@pytest.mark.parametrize("step", STEPS)
def test_nothing_is_clipped_and_nothing_covers_another(overlay: Overlay, step: str) -> None:
    check_layout(drawn(overlay, step))


def test_what_is_off_scale_and_the_set_limit_do_not_cover_each_other(overlay: Overlay) -> None:
    """A peak is required to stay far below what it stays below anyway: the limit lies above the panel."""
    meant = next(r for r in overlay.requirements if r.name == "transducer inrush")
    asked = meant.model_copy(update={"of": "main", "name": "inrush of the main input", "at_most": 35.0})
    figure = drawn(replace(overlay, requirements=(asked,)), "first power")
    words = [text for axes in figure.axes for text in axes.texts]
    (off_scale,) = (text for text in words if "off scale" in text.get_text())
    (panel,) = (axes for axes in figure.axes if off_scale in axes.texts)
    (level,) = (text for text in panel.texts if "set limit" in text.get_text())
    assert not off_scale.get_window_extent().overlaps(level.get_window_extent())


@pytest.mark.parametrize("at_most", [0.9, 0.97, 1.05, 1.1, 1.2])
def test_no_label_lies_on_a_level(overlay: Overlay, at_most: float) -> None:
    """The current limit is set to 1 A; what is required lies just below or above it."""
    meant = next(r for r in overlay.requirements if r.name == "transducer inrush")
    asked = meant.model_copy(update={"of": "main", "name": "inrush", "at_most": at_most})
    figure = drawn(replace(overlay, requirements=(asked,)), "first power")
    panel = next(axes for axes in figure.axes for text in axes.texts if "inrush" in text.get_text())
    labels = {text.get_text(): text.get_window_extent() for text in panel.texts}
    assert {word.partition(" ")[0] for word in labels} >= {"set", "inrush:"}
    for line in panel.lines:
        (left, right), (low, high) = (np.asarray(each, dtype=float)[[0, -1]] for each in line.get_data())
        if len(line.get_xdata()) != 2 or low != high:
            continue
        _, level = panel.transData.transform((0.0, low))
        assert not any(box.y0 < level < box.y1 for box in labels.values()), (low, left, right)
    hatched = [patch.get_window_extent() for patch in panel.patches]
    assert hatched
    assert not any(box.overlaps(each) for box in labels.values() for each in hatched)


def test_the_scale_of_an_enlarged_panel_stands_clear_of_the_panel_on_its_left(overlay: Overlay) -> None:
    """By 10 points at least, more than its letters are high."""
    figure = drawn(overlay, "first power")
    scales = [axes.yaxis.label.get_window_extent() for axes in figure.axes if axes.get_ylabel()]
    beside = [
        box.x0 - axes.bbox.x1
        for axes in figure.axes
        for box in scales
        if box.x0 > axes.bbox.x1 - 20 and box.y1 > axes.bbox.y0
    ]
    assert beside
    assert min(beside) > 10.0 / 72.0 * figure.dpi


def test_long_names_are_cut_to_the_room_there_is(overlay: Overlay) -> None:
    names = [letter * 90 for letter in "WM"]
    one = Traces(np.linspace(0, 1, 5), {"voltage": np.full(5, 12.0), "current": np.linspace(0.1, 0.2, 5)})
    meant = next(r for r in overlay.requirements if r.name == "transducer current")
    asked = meant.model_copy(update={"during": "step", "of": names[0], "name": "requirement " * 5})
    record = Record(
        "supply readings",
        dict.fromkeys(names, one),
        tuple(Event(0.5, name, EventKind.ON, text="w" * 90) for name in names),
        (Span("step", "hold", 0.0, 1.0, tuple(names)),),
    )
    figure = drawn(Overlay(measured=record, requirements=(asked,)), "step")
    check_layout(figure)
    assert [": on (" in text.get_text() for text in figure.texts].count(True) == 2
    assert all(title.get_text().endswith(": voltage at the connector") for title in titles_of(figure))


@pytest.mark.parametrize("step", STEPS)
def test_vertical_axes_name_quantity_and_unit(overlay: Overlay, step: str) -> None:
    labels = [axes.get_ylabel() for axes in drawn(overlay, step).axes]
    assert {label for label in labels if "(" in label} <= {"voltage (V)", "current (A)", "current (mA)"}
    assert sum(label.startswith("voltage (") for label in labels) == sum(
        label.startswith("current (") for label in labels
    )


def test_a_limit_of_one_instant_is_a_gate_there_and_nowhere_else(overlay: Overlay) -> None:
    """The brown-out passes 7 V to 8.2 V twice and lies below it for long; only stopping is meant."""
    voltage = drawn(overlay, "brown-out").axes[0]
    stops, starts = lay.turning(overlay, overlay.base.span("brown-out"), "main")
    assert stops is not None
    assert starts is not None
    assert stops < starts
    lines = limit_lines(voltage)
    assert sorted(level for *_, level in lines) == [7.0, 8.0, 8.2, 9.0]
    for left, right, level in lines:
        at = stops if level in (7.0, 8.2) else starts
        assert left < at < right
        assert right - left < 0.06 * 5.5
    said = {text.get_text() for text in voltage.texts}
    assert {"stops at: 7 V to 8.2 V", "starts at: 8 V to 9 V"} <= said


def test_the_gate_stands_where_the_current_falls_and_rises(overlay: Overlay, truth: Record) -> None:
    span, of_truth = overlay.base.span("brown-out"), truth.span("brown-out")
    trace = truth.traces["main"]
    inside = (trace.time > of_truth.start + 0.5) & (trace.time < of_truth.end)
    low = trace.time[inside & (trace.columns["current"] < 0.1)] - of_truth.start
    assert lay.turning(overlay, span, "main") == pytest.approx((low[0], low[-1]), abs=0.02)


def test_a_limit_without_its_instant_is_named_in_words(overlay: Overlay) -> None:
    """Where the device never stops there is no place for its turn-off voltage."""
    base = overlay.base
    trace = base.traces["main"]
    steady = Traces(trace.time, {**trace.columns, "current": np.full(trace.time.size, 0.35)})
    running = replace(base, traces={**base.traces, "main": steady})
    limits, words = lay.limits_in(replace(overlay, measured=running), base.span("brown-out"), ("main",))
    assert limits == ()
    assert words == ("stops at: 7 V to 8.2 V", "starts at: 8 V to 9 V")


def test_a_level_ends_with_its_step_also_where_more_is_drawn(overlay: Overlay) -> None:
    off = overlay.base.span("step 5")
    meant = next(r for r in overlay.requirements if r.name == "transducer current")
    asked = replace(overlay, requirements=(meant.model_copy(update={"during": "step 5"}),))
    ends = [right for axes in drawn(asked, "step 5").axes for _, right, level in limit_lines(axes)]
    assert ends == [pytest.approx(off.end - off.start)]


def test_a_recording_is_named_only_where_it_reaches(overlay: Overlay) -> None:
    assert lay.seen_in(overlay, overlay.base.span("brown-out"), ("main",)) == ()
    assert len(lay.seen_in(overlay, overlay.base.span("first power"), ("main",))) == 1


def test_requirements_without_a_place_are_named_in_words(documents: Documents) -> None:
    drawn, words = limits_of(documents.procedure.requires, "first power")
    assert {limit.panel for limit in drawn} == {"time", "current"}
    assert words == ("charge to start: at most 120 mC",)


def test_svg_is_well_formed_and_does_not_vary(overlay: Overlay) -> None:
    base = overlay.base
    record = Record(base.origin, base.traces, base.events, (base.span("steady"),))
    short = Overlay(overlay.rehearsal, record, overlay.external, overlay.requirements, overlay.set_points)
    (first,), (again,) = step_figures(short), step_figures(short)
    assert first == again
    assert first.inputs == ("main", "transducer")
    ET.fromstring(first.svg)


def test_a_rehearsal_alone_can_be_plotted(rehearsal: Record, tmp_path: Path) -> None:
    save_overview(Overlay(rehearsal), tmp_path / "out.png")
    assert (tmp_path / "out.png").read_bytes().startswith(b"\x89PNG")
    save_step(Overlay(rehearsal), "first power", tmp_path / "out.svg")
    ET.parse(tmp_path / "out.svg")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.png", "out.svg"]


def test_an_unknown_step_is_an_error(rehearsal: Record, tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        save_step(Overlay(rehearsal), "second power", tmp_path / "out.svg")


def test_nothing_to_plot_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="got neither"):
        save_overview(Overlay(), tmp_path / "out.svg")
    with pytest.raises(ValueError, match="empty"):
        save_overview(Overlay(Record("rehearsal", {})), tmp_path / "out.svg")


def test_hostile_names_and_a_record_broken_off_are_drawn(tmp_path: Path) -> None:
    name = "$x_1^2$ \\frac #eval 検潮所 " + "long" * 30
    empty = np.array([])
    one = Traces(np.array([0.0]), {"voltage": np.array([12.0]), "current": np.array([0.1])})
    span = Span("step $1$", "hold", 0.0, 1.0, (name, "empty"))
    record = Record(
        "supply readings",
        {name: one, "empty": Traces(empty, {"voltage": empty, "current": empty, "mode": empty})},
        (Event(0.5, name, EventKind.ON, text="$\\alpha$"),),
        (span,),
    )
    save_step(Overlay(measured=record), "step $1$", tmp_path / "out.svg")
    assert ET.parse(tmp_path / "out.svg").getroot().tag.endswith("svg")


def test_many_events_are_cut_short_and_counted(measured: Record, set_points: dict[str, Feed]) -> None:
    events = tuple(Event(0.2 + 0.001 * n, "left.1", EventKind.ENTERS_CC) for n in range(40))
    record = Record("supply readings", measured.traces, events, measured.spans)
    shown, left_out = lay.events_in(
        Overlay(measured=record, set_points=set_points), record.span("first power"), ("main",)
    )
    assert (len(shown), left_out) == (14, 26)


@pytest.mark.parametrize("step", ["first power", "steady"])
def test_words_of_what_is_off_scale_cover_no_curve(overlay: Overlay, step: str) -> None:
    """Also where the curve is highest below them, and where two of them stand above each other."""
    more = [
        r.model_copy(update={"name": f"{r.name}, and as high as nothing else of it", "at_most": 5.0})
        for r in overlay.requirements
        if r.name in ("transducer inrush", "transducer current")
    ]
    figure = drawn(replace(overlay, requirements=(*overlay.requirements, *more)), step)
    figure.canvas.draw()
    found = 0
    for axes in figure.axes:
        boxes = [text.get_window_extent() for text in axes.texts if "off scale" in text.get_text()]
        found += len(boxes)
        for line in axes.lines if boxes else ():
            if line.get_gid() == LEVEL or line.get_transform() != axes.transData:
                continue
            points = np.asarray(line.get_xydata(), dtype=float)
            fine = np.linspace(points[0, 0], points[-1, 0], 2000)
            shown = axes.transData.transform(np.column_stack((fine, np.interp(fine, *points.T))))
            inside = [box.contains(x, y) for box in boxes for x, y in shown]
            assert not any(inside), (step, line)
    assert found >= 1
