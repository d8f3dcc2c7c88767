"""Figures of shapes: what is enlarged, and what is drawn."""

import numpy as np
import pytest

from railwright.report.waveform_plot import Curves, draw_waveforms, save_waveforms, worst_edge
from railwright.waveforms.waveform import Waveform


def curves(name="main", edge=(0.9, 1.4), played=None):
    asked = Waveform(np.array([0.0, 1.0, 1.0, 3.0]), np.array([12.0, 12.0, 8.0, 8.0]))
    time = np.linspace(0.0, 3.0, 301)
    predicted = np.where(time < 1.0, 12.0, 8.0 + 4.0 * np.exp(-(time - 1.0) / 0.1))
    return Curves(name, asked, played, time, predicted, edge, "off by up to 4 V")


def test_the_edge_that_takes_longest_beyond_what_was_asked_is_shown():
    edges = [(0.5, 0.0, 0.01, 1.0), (1.0, 1.6, 1.6, 3.0), (4.0, 0.0, 0.02, 5.0), (6.0, 0.0, 0.02, 7.0)]
    start, end = worst_edge(edges, 10.0)
    assert start == pytest.approx(4.0 - 0.35 * 0.02)
    assert end == pytest.approx(4.0 + 3.2 * 0.02)


def test_an_edge_that_did_not_get_there_is_shown_to_its_end():
    start, end = worst_edge([(1.0, 0.0, None, 1.5), (3.0, 0.0, 0.1, 4.0)], 10.0)
    assert start < 1.0
    assert end > 1.5


@pytest.mark.parametrize("edges", [[], [(1.0, 0.8, 0.8, 3.0)], [(0.0, 0.0, 5.0, 9.0)]])
def test_nothing_is_enlarged_where_all_is_as_asked_or_fills_the_step(edges):
    assert worst_edge(edges, 10.0) is None


def test_each_input_has_its_panels_and_one_without_an_edge_the_whole_width():
    played = Waveform(np.array([0.0, 1.0, 1.05, 3.0]), np.array([12.0, 12.0, 8.0, 8.0]))
    figure = draw_waveforms([curves(), curves("transducer", None, played)], "dips", ("main", "transducer"))
    assert len(figure.axes) == 6
    titles = [axes.get_title(loc="left") for axes in figure.axes]
    assert titles[0] == "main: off by up to 4 V"
    assert titles[2] == "worst edge, enlarged"
    assert titles[4].startswith("transducer")
    assert figure.axes[4].get_position().width > 1.5 * figure.axes[0].get_position().width
    labels = [text.get_text() for text in figure.legends[0].get_texts()]
    assert labels == [
        "asked",
        "played by the outputs",
        "predicted at the input",
        "deviation: predicted less asked",
    ]
    enlarged = figure.axes[3].get_lines()[0].get_xdata()
    assert enlarged[0] <= 0.9
    assert enlarged[-1] >= 1.4


def test_all_is_drawn_but_what_lies_between_off_and_on():
    """Interruptions at 0 and 1 s, of 0.5 s; predicted with rows far apart while nothing changes."""
    asked = Waveform(
        np.array([0, 0, 0.5, 0.5, 1, 1, 1.5, 1.5, 2.5]), np.array([24, 0, 0, 24, 24, 0, 0, 24, 24])
    )
    time = np.array([0.0, 0.05, 0.5, 0.55, 0.6, 1.02, 1.05, 1.5, 1.55, 2.5])
    predicted = np.array([24.0, 14, 14, 24, 24, 24, 14, 14, 24, 24])
    away = ((0.0, 0.5), (1.0, 1.5))
    each = Curves("main", asked, None, time, predicted, (1.4, 1.7), "off by up to 10 V", away)
    figure = draw_waveforms([each], "interruptions", ("main",))
    voltage, difference, enlarged, its_difference = figure.axes
    for axes, stretches in (
        (voltage, [(0.5, 1.0), (1.5, 2.5)]),
        (difference, [(0.5, 1.0), (1.5, 2.5)]),
        (enlarged, [(1.5, 1.7)]),
        (its_difference, [(1.5, 1.7)]),
    ):
        drawn = [line.get_xdata() for line in axes.get_lines()]
        reach = [(float(min(each)), float(max(each))) for each in drawn]
        for stretch in stretches:
            assert stretch in [pytest.approx(each) for each in reach], (stretch, reach)
    asked_lines = [line.get_ydata() for line in voltage.get_lines() if line.get_linestyle() == "--"]
    assert len(asked_lines) == 2
    assert all(float(min(each)) == 24.0 for each in asked_lines)  # no edge from 0 V, which nobody asked for
    off = np.concatenate([line.get_ydata() for line in difference.get_lines()])
    assert (off.min(), off.max()) == pytest.approx((-10.0, 0.0))  # not 14 V above what is off


@pytest.mark.parametrize("ending", [".svg", ".png"])
def test_it_is_written_whole(tmp_path, ending):
    path = tmp_path / f"dips{ending}"
    save_waveforms([curves()], "dips", ("main",), path)
    start = path.read_bytes()[:200]
    assert start.startswith(b"\x89PNG") if ending == ".png" else b"<svg" in path.read_bytes()
    assert list(tmp_path.iterdir()) == [path]
