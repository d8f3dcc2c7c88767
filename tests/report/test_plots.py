"""Figures of the steps: what is on them, and that they do not vary."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from tests.report.fabricated import DEMO, simulate

from railwright.documents.loader import Documents
from railwright.rehearsal.setpoints import Feed
from railwright.rehearsal.timeline import Timeline
from railwright.report import overlay as lay
from railwright.report.drawing import draw_step, drawing
from railwright.report.limits import limits_of
from railwright.report.overlay import Overlay
from railwright.report.plots import save_overview, save_step, step_figures
from railwright.traces import Event, Record, Span, Traces


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
    from dataclasses import replace

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
    assert {"rehearsed", "supply's readings", "transient recorder", "current limit", "not allowed"} <= words
    assert "set limit 100 mA" in words


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
        (Event(0.5, name, "on", "$\\alpha$"),),
        (span,),
    )
    save_step(Overlay(measured=record), "step $1$", tmp_path / "out.svg")
    ET.parse(tmp_path / "out.svg")


def test_many_events_are_cut_short_and_counted(measured: Record, set_points: dict[str, Feed]) -> None:
    events = tuple(Event(0.2 + 0.001 * n, "left.1", "enters CC") for n in range(40))
    record = Record("supply readings", measured.traces, events, measured.spans)
    shown, left_out = lay.events_in(
        Overlay(measured=record, set_points=set_points), record.span("first power"), ("main",)
    )
    assert len(shown) + left_out == 40
    assert left_out == 40 - lay.EVENTS_AT_MOST
