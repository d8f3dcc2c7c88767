"""The wiring drawing: what it shows of the documents, for one to six inputs, joined or alone."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest
from tests.bench import BENCH, DEVICE, PROCEDURE, demo_with
from tests.said import says

from railwright.documents.fixture import Fixture
from railwright.documents.loader import Documents
from railwright.report.drawing import drawing
from railwright.report.key import text_width
from railwright.report.sheet_wires import wires
from railwright.report.style import colours
from railwright.report.wiring import (
    DEVICE_FROM,
    LEAD_FROM,
    FixtureBox,
    WiringTable,
    wiring_figure,
    wiring_of,
    wiring_svg,
)


@pytest.fixture(scope="module")
def wiring(documents: Documents) -> WiringTable:
    return wiring_of(documents.device, documents.bench, documents.procedure)


def words_of(wiring: WiringTable) -> list[str]:
    with drawing():
        figure = wiring_figure(wiring)
        return [text.get_text() for axes in figure.axes for text in axes.texts]


def test_the_demo_is_drawn_as_its_documents_say(wiring: WiringTable) -> None:
    words = words_of(wiring)
    for expected in ("left.1", "QS-362 Q-0117", "silicone pair", "AWG 18, 1.5 m one way", "main", "12 V"):
        assert expected in words
    assert "0.5 mm² class 5, 2 m one way" in words
    assert words.count("sense leads") == 1
    assert words.count("sense at terminals") == 1
    # of each input: the output's terminals, both ends of the lead, the input's terminals
    assert words.count("+") == words.count("−") == 8


def test_words_of_the_same_kind_stand_in_one_column(wiring: WiringTable) -> None:
    with drawing():
        (axes,) = wiring_figure(wiring).axes
        left = {text.get_text(): text.get_position()[0] for text in axes.texts}
    assert left["left.1"] == pytest.approx(left["right.1"])
    assert left["main"] == pytest.approx(left["transducer"])


def test_no_words_cover_other_words(wiring: WiringTable) -> None:
    with drawing():
        figure = wiring_figure(wiring)
        figure.canvas.draw()
        boxes = [text.get_window_extent() for text in figure.axes[0].texts if text.get_text()]
    assert len(boxes) > 20
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))


def test_a_negative_rail_has_its_0_v_at_the_positive_terminal(
    documents: Documents, wiring: WiringTable
) -> None:
    rail = documents.device.inputs["main"].model_copy(update={"rail": "negative"})
    device = documents.device.model_copy(update={"inputs": {**documents.device.inputs, "main": rail}})
    drawn = wiring_of(device, documents.bench, documents.procedure)
    assert [row.nominal for row in drawn.rows] == ["−12 V", "24 V"]
    assert drawn.rows[0].zero > 0 > drawn.rows[1].zero
    words = words_of(drawn)
    assert words.count("0") == 1
    assert words.count("+") == words.count("−") - 1 == 7


def test_the_coloured_wire_is_the_one_that_is_not_0_v_and_its_ends_say_whence(
    documents: Documents, wiring: WiringTable
) -> None:
    rail = documents.device.inputs["main"].model_copy(update={"rail": "negative"})
    device = documents.device.model_copy(update={"inputs": {**documents.device.inputs, "main": rail}})
    for drawn, sign in ((wiring, "+"), (wiring_of(device, documents.bench, documents.procedure), "−")):
        with drawing():
            (axes,) = wiring_figure(drawn).axes
        (height,) = {
            round(float(line.get_ydata()[-1]), 6)
            for line in axes.lines
            if line.get_color() == drawn.colours["main"]
            and line.get_linewidth() == 1.6
            and line.get_xdata()[-1] == DEVICE_FROM
        }
        marks = [
            text.get_text()
            for text in axes.texts
            if text.get_text() in "+−0"
            and text.get_text()
            and abs(text.get_position()[1] - height) < 0.5
            and LEAD_FROM - 1 < text.get_position()[0] < DEVICE_FROM
        ]
        assert marks == [sign, sign]


def test_a_0_v_that_one_input_has_for_itself_draws_no_line(wiring: WiringTable) -> None:
    main, transducer = wiring.rows
    with drawing():
        lines = {
            returns: len(
                wiring_figure(replace(wiring, rows=(replace(main, returns=returns), apart))).axes[0].lines
            )
            for apart in (replace(transducer, returns="isolated"),)
            for returns in ("isolated", "common", "earth")
        }
        shared = len(wiring_figure(wiring).axes[0].lines)
    assert lines["common"] == lines["isolated"] < lines["earth"]
    assert shared > lines["common"]


def test_a_shared_0_v_is_explained_where_it_is_drawn_only(documents: Documents, wiring: WiringTable) -> None:
    inputs = documents.device.inputs
    alone = {**inputs, "main": inputs["main"].model_copy(update={"returns": "isolated"})}
    device = documents.device.model_copy(update={"inputs": alone})
    assert any(note.startswith("0 V:") for note in wiring.notes)
    assert wiring_of(device, documents.bench, documents.procedure).notes == ()


BOX = FixtureBox(
    "fused reverse guard",
    ("fuse", "switch", "diode", "capacitor"),
    ("fuse 1.5 A", "diode 0.45 V", "470 µF"),
    False,
)


def test_a_fixture_is_drawn_between_lead_and_input(documents: Documents, wiring: WiringTable) -> None:
    parts = {
        "fuse": {"curve": [{"current": "1.5 A", "time": "10 s"}, {"current": "3 A", "time": "1 s"}]},
        "switch": {"starts": "open"},
        "capacitor": {"capacitance": "470 uF ± 20 %"},
    }
    bench = documents.bench.model_copy(update={"fixtures": {"guard": Fixture.model_validate(parts)}})
    hook_up = documents.procedure.hook_up
    hook_up = {**hook_up, "main": hook_up["main"].model_copy(update={"fixture": "guard"})}
    drawn = wiring_of(documents.device, bench, documents.procedure.model_copy(update={"hook_up": hook_up}))
    box = drawn.rows[0].fixture
    assert box == FixtureBox(
        "guard", ("fuse", "switch", "capacitor"), ("fuse 1.5 A", "switch open", "470 µF"), True
    )
    assert drawn.rows[1].fixture is None
    words = words_of(drawn)
    assert {"guard", "silicone pair", "AWG 18", "1.5 m one way"} <= set(words)
    assert "470 µF" in " ".join(words)
    assert wiring_svg(drawn) != wiring_svg(wiring)


def test_every_part_of_a_fixture_has_a_symbol_of_its_own(wiring: WiringTable) -> None:
    main = wiring.rows[0]
    drawings = {
        wiring_svg(replace(wiring, rows=(replace(main, fixture=replace(BOX, parts=parts, opened=opened)),)))
        for parts, opened in (
            (("fuse",), False), (("diode",), False), (("switch",), False), (("switch",), True),
            (("capacitor",), False), (BOX.parts, False),
        )
    }  # fmt: skip
    assert len(drawings) == 6


def six(wiring: WiringTable) -> WiringTable:
    main = wiring.rows[0]
    box = main.outputs[0]
    pair = (box, replace(box, name="left.2"))
    three = (*pair, replace(box, name="aux.1", earthed=True))
    rows = (
        main,
        wiring.rows[1],
        replace(main, input="heater", arrangement="series", outputs=pair, returns="isolated"),
        replace(main, input="pump", arrangement="parallel", outputs=pair, fixture=BOX),
        replace(
            main, input="a very long name of an input", arrangement="parallel", outputs=three, returns="earth"
        ),
        replace(main, input="radio", arrangement="series", outputs=three, sense="at terminals"),
    )
    return replace(wiring, rows=rows, colours=colours(row.input for row in rows))


@pytest.mark.parametrize("count", [1, 6])
def test_nothing_lies_outside_the_drawing(wiring: WiringTable, count: int) -> None:
    many = six(wiring)
    with drawing():
        figure = wiring_figure(replace(many, rows=many.rows[:count]))
        figure.canvas.draw()
        page = figure.bbox
        for axes in figure.axes:
            for artist in (*axes.texts, *axes.lines, *axes.patches):
                box = artist.get_window_extent()
                assert page.x0 - 1 <= box.x0
                assert box.x1 <= page.x1 + 1
                assert page.y0 - 1 <= box.y0
                assert box.y1 <= page.y1 + 1


@pytest.mark.parametrize("name", ["Buoy", "Cinderpost heated camera mast", "W" * 60])
def test_the_device_s_name_lies_within_the_drawing_and_clear_of_the_leads(
    wiring: WiringTable, name: str
) -> None:
    with drawing():
        figure = wiring_figure(replace(wiring, device=name))
        figure.canvas.draw()
        (axes,) = figure.axes
        (title,) = (text for text in axes.texts if text.get_text()[:4] == name[:4])
        (leads,) = (text for text in axes.texts if text.get_text() == "leads")
        # A page draws the letters as outlines, a little wider than on a screen of few dots.
        wide, inch = text_width(title.get_text(), title.get_fontsize()), figure.dpi
        place = title.get_transform().transform(title.get_position())[0] / inch
        left = place - wide if title.get_horizontalalignment() == "right" else place
        assert left + wide <= figure.get_figwidth() - 0.05
        assert left > leads.get_window_extent().x1 / inch
    if len(name) < 60:
        assert title.get_text() == name


def test_words_do_not_lie_on_each_other(wiring: WiringTable) -> None:
    """Nor does what lies inside: its parts, as many as there can be, on lines of their own."""
    parts = ("fuse 1.25 A", "diode 0.55 V", "choke 100 µH", "333 µF")
    table = six(wiring)
    with drawing():
        figure = wiring_figure(replace(table, rows=tuple(replace(row, inside=parts) for row in table.rows)))
        figure.canvas.draw()
        boxes = [
            (t.get_text(), t.get_window_extent()) for axes in figure.axes for t in axes.texts if t.get_text()
        ]
    clashes = [
        (a, b)
        for place, (a, first) in enumerate(boxes)
        for b, second in boxes[place + 1 :]
        if first.x0 < second.x1 and second.x0 < first.x1 and first.y0 < second.y1 and second.y0 < first.y1
    ]
    assert clashes == []
    told = " ".join(text for text, _ in boxes).replace("\u00a0", " ")
    assert {part: told.count(part) for part in parts} == dict.fromkeys(parts, len(table.rows))


def test_series_and_parallel_are_named(wiring: WiringTable) -> None:
    words = words_of(six(wiring))
    assert words.count("in series:") == 2
    assert words.count("in parallel:") == 2
    assert "0 V isolated" in words


def test_the_drawing_does_not_vary(wiring: WiringTable) -> None:
    drawn = wiring_svg(wiring)
    assert wiring_svg(wiring) == drawn
    ET.fromstring(drawn)


def test_hostile_names_are_drawn_as_they_are(wiring: WiringTable) -> None:
    row = replace(wiring.rows[0], input="$x$ \\frac{1}", lead="<b>&amp; #eval")
    words = words_of(replace(wiring, rows=(row,), device="*bold* $y$"))
    assert {"$x$ \\frac{1}", "<b>&amp; #eval", "*bold* $y$"} <= set(words)


BESIDE = """
relays:
  port:
    address: TCPIP::127.0.0.1::5090::SOCKET
    contacts:
      enable: {channel: 3, closed: high, without_power: open, operate: 2 ms, release: 2 ms}
      silence: {channel: 4, closed: low, open: high, without_power: open, operate: 2 ms, release: 2 ms}
multimeters:
  volts: {address: "TCPIP::127.0.0.1::5030::SOCKET", voltage: {range: 20 V}, aperture: 20 ms, interval: 50 ms}
  amps: {address: "TCPIP::127.0.0.1::5031::SOCKET", current: {range: 3 A}, aperture: 20 ms, interval: 50 ms}
"""
PINS = "pins:\n  run: {active: high, undriven: low}\n  mute: {active: low, undriven: high}\ninputs:"
DRIVEN = """
multimeters:
  volts: {of: main, at: AT}
  amps: {of: main}
pins:
  run: {from: enable, starts: active}
  mute: {from: silence, starts: inactive}

limits:"""
IN_PARALLEL = ("from: left.1, lead", "from: {parallel: [left.1, left.2]}, lead")


def with_beside(folder: Path, at: str, *edits: tuple[str, str]) -> Documents:
    """The demo with two multimeters at main and two pins."""
    bench = [(BENCH, "\nrecorders:", f"{BESIDE}\nrecorders:"), (DEVICE, "inputs:", PINS)]
    procedure = [(PROCEDURE, "\nlimits:", DRIVEN.replace("AT", at)), *((PROCEDURE, *each) for each in edits)]
    return demo_with(folder, *bench, *procedure)


@pytest.mark.parametrize("edits", [(), (IN_PARALLEL,)])
@pytest.mark.parametrize("at", ["connector", "terminals"])
def test_multimeters_and_pins_are_wired_from_terminal_to_terminal(
    tmp_path: Path, at: str, edits: tuple[tuple[str, str], ...]
) -> None:
    documents = with_beside(tmp_path, at, *edits)
    drawn = wiring_of(documents.device, documents.bench, documents.procedure)
    told = [each for each in wires(documents) if each.startswith(("Multimeter", "Pin"))]
    plus, minus = ("the joined +", "the joined −") if edits else ("left.1 +", "left.1 −")
    near = ("main +", "main −") if at == "connector" else (plus, minus)
    assert says(told[0], "volts", "V1", *near)
    assert says(told[1], "amps", "A1", plus, "silicone pair")
    assert says(told[2], "run", "high", "enable", "port", "3", "logic supply")
    assert says(told[3], "mute", "low", "silence", "port", "4", "0 V")
    assert len(told) == 4
    words = words_of(drawn)
    for expected in ("V1", "A1", "enable", "port, channel 3", "run, active high", "logic supply", "0 V"):
        assert expected in words
    with drawing():
        figure = wiring_figure(drawn)
        figure.canvas.draw()
        (axes,) = figure.axes
        boxes = {
            text.get_text(): text.get_window_extent()
            for text in axes.texts
            if text.get_text() not in ("+", "")
        }
        for (one, own), (other, its) in combinations(boxes.items(), 2):
            assert not own.overlaps(its), (one, other)
        # Each wire of a pin is one straight line from its driver to the device.
        ends = [
            (min(line.get_xdata()), max(line.get_xdata())) for line in axes.lines if len(line.get_xdata())
        ]
    assert sum(low < 7.7 and high > DEVICE_FROM - 0.1 for low, high in ends) >= 4
