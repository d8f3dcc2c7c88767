"""Wiring drawing: outputs with polarity, links, leads, sense leads, returns, earth, the device's inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Literal

from railwright.quantities import show
from railwright.report.drawing import as_svg, drawing
from railwright.report.fixture_box import FixtureBox, fixture_box, inside_words
from railwright.report.key import text_width
from railwright.report.style import INK, SMALL, colours
from railwright.report.text import shortened
from railwright.report.wired_beside import MeterMark, PinWire, meters_of, pins_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from railwright.documents.bench import Bench
    from railwright.documents.device import Device
    from railwright.documents.procedure import Procedure

# Drawing units; one unit is UNIT inches. x grows to the right, y upward.
UNIT = 0.23
BOX = 7.6
LINK = 1.5
LEAD_FROM = BOX + 3.4
LEAD_TO = LEAD_FROM + 10.2
DEVICE_FROM = LEAD_TO + 2.6
FIXTURE_TO = LEAD_TO + 0.2
FIXTURE_FROM = FIXTURE_TO - 6.8
GAP = 0.62
DEVICE_TO = DEVICE_FROM + 6.6
NAME_SIZE = 7.5
"""Letters of the device's name [points]."""
SENSE = 1.0
HALF = 1.3
OUTPUT = 2 * (HALF + SENSE) + 1.6
PIN, PIN_HALF = 2.9, 0.6
METER = 0.62
"""Radius of a multimeter's circle."""
ROW_GAP = 1.3
INSIDE_WIDTH, INSIDE_LINE = 24, 0.65
"""Letters and height of a line that says what lies inside."""


@dataclass(frozen=True, slots=True)
class OutputBox:
    """One output as drawn: what stands in the box, and where its negative terminal is tied."""

    name: str
    instrument: str
    figures: str
    earthed: bool


@dataclass(frozen=True, slots=True)
class Row:
    """One input with what feeds it. conductor: what the lead's conductors are, and how long they are."""

    input: str
    nominal: str
    returns: Literal["isolated", "common", "earth"]
    arrangement: Literal["alone", "series", "parallel"]
    outputs: tuple[OutputBox, ...]
    lead: str
    conductor: tuple[str, str]
    sense: Literal["at load", "at terminals"]
    fixture: FixtureBox | None = None
    meters: tuple[MeterMark, ...] = ()
    rail: Literal["positive", "negative"] = "positive"
    inside: tuple[str, ...] = ()

    @property
    def zero(self) -> float:
        """Where its 0 V lies beside its middle: below, but above for a negative rail."""
        return HALF if self.rail == "negative" else -HALF

    @property
    def height(self) -> float:
        return len(self.outputs) * OUTPUT


@dataclass(frozen=True, slots=True)
class WiringTable:
    """All rows, and internally joined negatives as pairs of words."""

    device: str
    rows: tuple[Row, ...]
    colours: Mapping[str, str]
    notes: tuple[str, ...]
    pins: tuple[PinWire, ...] = ()


def wiring_of(device: Device, bench: Bench, procedure: Procedure) -> WiringTable:
    """What the documents say of the hook-up, in the order of the device's inputs."""
    rows, meters = [], meters_of(bench, procedure)
    for name, given in device.inputs.items():
        if name not in procedure.hook_up:
            continue
        hook_up = procedure.hook_up[name]
        boxes = []
        for output_name in hook_up.outputs:
            output, supply = bench.output(output_name), bench.supply_of(output_name)
            instrument = " ".join(part for part in (supply.model, supply.serial) if part) or "model unknown"
            figures = f"up to {show(output.voltage.high, 'V')}, {show(output.current.high, 'A')}"
            boxes.append(OutputBox(output_name, instrument, figures, output.negative == "earth"))
        lead = bench.leads[hook_up.lead]
        conductor = (
            lead.conductor.text.replace("mm2", "mm²"),
            f"{show(lead.one_way_length, 'm')} one way",
        )
        rows.append(
            Row(
                name,
                show(given.sign * given.nominal, "V").replace("-", "−"),
                given.returns,
                hook_up.arrangement,
                tuple(boxes),
                hook_up.lead,
                conductor,
                hook_up.sensed,
                fixture_box(hook_up.fixture, bench),
                tuple(each for each in meters if each.input == name),
                given.rail,
                inside_words(given.inside),
            )
        )
    pins = pins_of(device, bench, procedure)
    return WiringTable(device.device, tuple(rows), colours(device.inputs), tuple(_notes(bench, rows)), pins)


def _notes(bench: Bench, rows: Sequence[Row]) -> list[str]:
    used = {box.name for row in rows for box in row.outputs}
    notes = []
    for name, supply in bench.supplies.items():
        joined = [f"{name}.{output}" for output in supply.common_negative if f"{name}.{output}" in used]
        if len(joined) > 1:
            notes.append(f"Joined inside {name}: the negative terminals of {', '.join(joined)}.")
    if sum(row.returns == "common" for row in rows) > 1:
        notes.append("0 V: inputs on the same line inside the device share their 0 V.")
    marks = [f"{each.mark}: multimeter {each.name}" for row in rows for each in row.meters]
    return [*notes, f"{', '.join(marks)}."] if marks else notes


def wiring_svg(wiring: WiringTable) -> str:
    """The drawing as SVG text; the same wiring gives the same bytes."""
    with drawing():
        return as_svg(wiring_figure(wiring))


class _Pen:
    """A few strokes on a schemdraw drawing."""

    def __init__(self, sketch: Any, elements: Any) -> None:
        self.sketch, self.elements = sketch, elements

    def line(
        self, *points: tuple[float, float], colour: str = INK, width: float = 1.1, style: str = "-"
    ) -> None:
        for start, end in pairwise(points):
            self.sketch += (
                self.elements.Line().at(start).to(end).color(colour).linewidth(width).linestyle(style)
            )

    def box(self, left: float, bottom: float, right: float, top: float) -> None:
        rectangle = self.elements.Rect(corner1=(0, 0), corner2=(right - left, top - bottom))
        self.sketch += rectangle.at((left, bottom)).theta(0).color(INK).linewidth(1.0).zorder(0)

    def frame(self, left: float, bottom: float, right: float, top: float) -> None:
        corners = ((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom))
        self.line(*corners, colour=SMALL, width=0.8, style=":")

    def fuse(self, x: float, y: float) -> None:
        """A fuse over the conductor (IEC 60617, from memory)."""
        rectangle = self.elements.Rect(corner1=(0, 0), corner2=(1.24, 0.5))
        self.sketch += rectangle.at((x - 0.62, y - 0.25)).theta(0).color(INK).linewidth(1.0).zorder(3)

    def switch(self, x: float, y: float, opened: bool, colour: str) -> None:
        """A switch in a gap of the conductor, its blade at or off the second contact."""
        self.line((x - GAP, y), (x + GAP - 0.15, y + (0.55 if opened else 0.14)), width=1.4)
        self.dot((x - GAP, y), colour, hollow=True)
        self.dot((x + GAP, y), colour, hollow=True)

    def diode(self, x: float, y: float) -> None:
        """A diode over the conductor, conducting to the right."""
        a, h = 0.35, 0.33
        self.line((x - a, y + h), (x - a, y - h), (x + a, y), (x - a, y + h))
        self.line((x + a, y + h), (x + a, y - h), width=1.4)

    def capacitor(self, x: float, top: float, bottom: float) -> None:
        """A capacitor between the two conductors."""
        middle = (top + bottom) / 2
        self.line((x, top), (x, middle + 0.12))
        self.line((x, bottom), (x, middle - 0.12))
        for y in (middle + 0.12, middle - 0.12):
            self.line((x - 0.4, y), (x + 0.4, y), width=1.6)
        self.dot((x, top))
        self.dot((x, bottom))

    def meter(self, x: float, centre: float, meter: MeterMark, colour: str) -> None:
        """A multimeter: a circle with its mark, between the two wires of an input, or in the upper one."""
        y = centre
        if meter.quantity == "current":
            y += HALF
            for side, mark in ((-1, "+"), (1, "−")):
                self.words((x + side * (METER + 0.25), y + 0.3), mark, size=6.2, align="center", colour=SMALL)
        else:
            for side in (1, -1):
                self.line((x, centre + side * HALF), (x, centre + side * METER), colour=SMALL, width=0.8)
                self.dot((x, centre + side * HALF), colour if side > 0 else INK)
        circle = self.elements.Dot(open=True, radius=METER).at((x, y)).color(SMALL).fill("white")
        self.sketch += circle.linewidth(0.9).zorder(2.5)
        self.words((x, y), meter.mark, size=6.8, align="center")

    def dot(self, at: tuple[float, float], colour: str = INK, hollow: bool = False) -> None:
        self.sketch += self.elements.Dot(open=hollow, radius=0.14).at(at).color(colour).zorder(5)

    def earth(self, at: tuple[float, float]) -> None:
        self.sketch += self.elements.Ground(lead=False).at(at).theta(0).color(INK).linewidth(1.0).scale(1.7)

    def words(
        self, at: tuple[float, float], text: str, size: float = 7.0, align: str = "left", colour: str = INK
    ) -> None:
        label = self.elements.Label(label="").at(at).theta(0)
        label.label(
            text, fontsize=size, halign=align, valign="center", color=colour, ofst=(0, 0), loc="center"
        )
        self.sketch += label


def wiring_figure(wiring: WiringTable) -> Figure:
    """The drawing; made and saved within `drawing()`."""
    import schemdraw
    import schemdraw.elements as elements
    from matplotlib.figure import Figure

    height = sum(row.height + ROW_GAP for row in wiring.rows) - ROW_GAP + PIN * len(wiring.pins)
    bottom, top = -height - 1.4 - 0.9 * len(wiring.notes), 2.2
    figure = Figure(figsize=((DEVICE_TO + 0.8) * UNIT, (top - bottom) * UNIT))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    sketch = schemdraw.Drawing(canvas=axes, show=False)
    sketch.config(unit=1.0, fontsize=7.0, font="DejaVu Sans", lw=1.1, color=INK, margin=0)
    pen = _Pen(sketch, elements)
    pen.words((0.0, 1.5), "supply outputs", colour=SMALL)
    pen.words(((LEAD_FROM + LEAD_TO) / 2, 1.5), "leads", align="center", colour=SMALL)
    _device_name(pen, wiring.device)
    pen.box(DEVICE_FROM, -height - 0.6, DEVICE_TO, 0.6)
    commons = []
    level = 0.0
    for row in wiring.rows:
        centre = level - row.height / 2
        _row(pen, row, level, wiring.colours.get(row.input, INK))
        _input(pen, row, centre)
        if row.returns in ("common", "earth"):
            commons.append((row, centre + row.zero))
        level -= row.height + ROW_GAP
    for place, pin in enumerate(wiring.pins):
        _pin(pen, pin, level + ROW_GAP - PIN * (place + 0.5))
    _returns(pen, commons)
    for place, note in enumerate(wiring.notes):
        pen.words((0.0, -height - 1.5 - 0.9 * place), note, size=7.0, colour=SMALL)
    sketch.draw(canvas=axes, show=False)
    axes.set_xlim(-0.4, DEVICE_TO + 0.4)
    axes.set_ylim(bottom, top)
    axes.set_aspect("equal")
    axes.axis("off")
    figure.set_size_inches((DEVICE_TO + 0.8) * UNIT, (top - bottom) * UNIT)
    return figure


def _device_name(pen: _Pen, name: str) -> None:
    """Above the device: from its left edge on, or, where it is wider than the device, up to its right edge,
    with so much of it as stays clear of what stands above the leads.
    """
    room = (DEVICE_TO - (LEAD_FROM + LEAD_TO) / 2 - 2.0) * UNIT
    names = [shortened(name, length) for length in range(60, 2, -1)]
    shown = next((each for each in names if text_width(each, NAME_SIZE) <= room), names[-1])
    if text_width(shown, NAME_SIZE) <= (DEVICE_TO - DEVICE_FROM) * UNIT:
        pen.words((DEVICE_FROM, 1.5), shown, size=NAME_SIZE)
    else:
        pen.words((DEVICE_TO, 1.5), shown, size=NAME_SIZE, align="right")


def _row(pen: _Pen, row: Row, level: float, colour: str) -> None:
    """The outputs of one input from `level` downward, their links, and the lead to the device."""
    middles = [level - OUTPUT * (place + 0.5) for place in range(len(row.outputs))]
    centre = (middles[0] + middles[-1]) / 2
    for box, middle in zip(row.outputs, middles, strict=True):
        _output(pen, box, middle)
    plus, minus = (BOX, middles[0] + HALF), (BOX, middles[-1] - HALF)
    # The conductor in the input's colour is the one that is not at 0 V.
    over, under = (INK, colour) if row.rail == "negative" else (colour, INK)
    _ends(pen, row, centre)
    bus = BOX + LINK
    if row.arrangement != "alone":
        pen.words((0.0, level + 0.25), f"in {row.arrangement}:", size=7.0)
    if row.arrangement == "series":
        for upper, lower in pairwise(middles):
            pen.line((BOX, upper - HALF), (bus, upper - HALF), (bus, lower + HALF), (BOX, lower + HALF))
    elif row.arrangement == "parallel":
        right = bus + 0.7
        pen.line((right, middles[0] + HALF), (right, middles[-1] + HALF), colour=over)
        pen.line((bus, middles[0] - HALF), (bus, middles[-1] - HALF), colour=under)
        for middle in middles:
            pen.line((BOX, middle + HALF), (right, middle + HALF), colour=over)
            pen.line((BOX, middle - HALF), (bus, middle - HALF), colour=under)
            pen.dot((right, middle + HALF), over)
            pen.dot((bus, middle - HALF), under)
        plus, minus = (right, centre + HALF), (bus, centre - HALF)
        pen.dot(plus, over)
        pen.dot(minus, under)
    elbow = LEAD_FROM - 0.9
    end = DEVICE_FROM if row.fixture is None else FIXTURE_FROM
    pen.line(plus, (elbow, plus[1]), (elbow, centre + HALF), (end, centre + HALF), colour=over, width=1.6)
    corners = (minus, (elbow, minus[1]), (elbow, centre - HALF), (DEVICE_FROM, centre - HALF))
    pen.line(*corners, colour=under, width=1.6)
    if row.fixture is None:
        middle = (_lead_begins(row) + LEAD_TO) / 2
        letters = int(34 * (LEAD_TO - _lead_begins(row)) / (LEAD_TO - LEAD_FROM))
        pen.words((middle, centre + 0.42), shortened(row.lead, letters), align="center")
        pen.words((middle, centre - 0.42), ", ".join(row.conductor), size=7.0, align="center", colour=SMALL)
    else:
        left = max(_lead_begins(row), LEAD_FROM + 0.5)
        middle = (left + FIXTURE_FROM) / 2
        letters = max(8, int(18 * (FIXTURE_FROM - left) / (FIXTURE_FROM - LEAD_FROM - 0.5)))
        pen.words((middle, centre + 0.55), shortened(row.lead, letters), align="center")
        for place, words in enumerate(row.conductor):
            at = (middle, centre - 0.05 - 0.6 * place)
            pen.words(at, words, size=6.2, align="center", colour=SMALL)
        _fixture(pen, row.fixture, centre, over)
    _sense(pen, row, middles, centre)
    _meters(pen, row, centre, over)


def _meters(pen: _Pen, row: Row, centre: float, colour: str) -> None:
    """Multimeters between the wires, or in the upper one: at the outputs, or beyond lead and fixture."""
    for at, x, step in (("terminals", _first_meter(row), 1.5), ("connector", DEVICE_FROM - 0.95, -1.5)):
        for each in sorted((m for m in row.meters if m.at == at), key=lambda meter: meter.quantity):
            pen.meter(x, centre, each, colour)
            x += step


def _first_meter(row: Row) -> float:
    """Where the first multimeter at the outputs is drawn: behind what joins several of them."""
    return BOX + 1.6 if row.arrangement == "alone" else LEAD_FROM + 1.3


def _lead_begins(row: Row) -> float:
    """Where words about the lead have room from, behind multimeters at the outputs."""
    meters = sum(each.at == "terminals" for each in row.meters)
    return max(LEAD_FROM, _first_meter(row) + 1.5 * meters - 0.6) if meters else LEAD_FROM


def _pin(pen: _Pen, pin: PinWire, middle: float) -> None:
    """What drives a pin, and its two wires."""
    pen.box(0.0, middle - PIN / 2 + 0.2, BOX, middle + PIN / 2 - 0.2)
    pen.words((0.4, middle + 0.7), shortened(pin.driver, 20), size=7.5)
    pen.words((0.4, middle), shortened(pin.instrument, 24), size=6.8, colour=SMALL)
    pen.words((0.4, middle - 0.7), pin.does, size=6.8, colour=SMALL)
    for offset in (PIN_HALF, -PIN_HALF):
        pen.line((BOX, middle + offset), (DEVICE_FROM, middle + offset), width=0.8)
        for x in (BOX, DEVICE_FROM):
            pen.dot((x, middle + offset), hollow=True)
    words = f"{shortened(pin.pin, 12)}, active {pin.active}"
    pen.words((DEVICE_FROM + 0.6, middle + PIN_HALF), words, size=6.8)
    pen.words((DEVICE_FROM + 0.6, middle - PIN_HALF), pin.other, size=6.8, colour=SMALL)


def _ends(pen: _Pen, row: Row, centre: float) -> None:
    """Which terminal of the supply each wire of a lead comes from, at both its ends: no colour tells that."""
    far = DEVICE_FROM - 0.55
    for offset, mark in ((HALF, "+"), (-HALF, "−")):
        for x in (LEAD_FROM - 0.45, far):
            pen.words((x, centre + offset + 0.33 * (1 if offset < 0 else -1)), mark, size=7.0, align="center")


def _fixture(pen: _Pen, fixture: FixtureBox, centre: float, colour: str) -> None:
    """A broken box with the symbols of the fixture's parts, its name and their figures above and below."""
    top, bottom = centre + HALF, centre - HALF
    series = [part for part in fixture.parts if part != "capacitor"]
    right = FIXTURE_TO - (1.5 if "capacitor" in fixture.parts else 0.4)
    width = (right - FIXTURE_FROM - 0.4) / max(1, len(series))
    begin = FIXTURE_FROM
    for place, part in enumerate(series):
        x = FIXTURE_FROM + 0.4 + (place + 0.5) * width
        if part == "switch":
            pen.line((begin, top), (x - GAP, top), colour=colour, width=1.6)
            begin = x + GAP
            pen.switch(x, top, fixture.opened, colour)
        elif part == "fuse":
            pen.fuse(x, top)
        else:
            pen.diode(x, top)
    pen.line((begin, top), (DEVICE_FROM, top), colour=colour, width=1.6)
    if "capacitor" in fixture.parts:
        pen.capacitor(FIXTURE_TO - 0.75, top, bottom)
    pen.frame(FIXTURE_FROM, bottom - 0.45, FIXTURE_TO, top + 0.6)
    middle = (FIXTURE_FROM + right) / 2
    pen.words((middle, centre + 0.22), shortened(fixture.name, 24), size=7.0, align="center")
    for place, line in enumerate(fixture.lines):
        pen.words((middle, centre - 0.42 - 0.55 * place), line, size=6.2, align="center", colour=SMALL)


def _output(pen: _Pen, box: OutputBox, middle: float) -> None:
    pen.box(0.0, middle - OUTPUT / 2 + 0.2, BOX, middle + OUTPUT / 2 - 0.2)
    pen.words((0.4, middle + 1.0), shortened(box.name, 20), size=7.5)
    pen.words((0.4, middle), shortened(box.instrument, 24), size=6.8, colour=SMALL)
    pen.words((0.4, middle - 0.9), box.figures, size=6.8, colour=SMALL)
    for offset, mark in ((HALF, "+"), (-HALF, "−")):
        pen.dot((BOX, middle + offset), hollow=True)
        pen.words((BOX - 0.55, middle + offset), mark, size=9, align="center")
    if box.earthed:
        pen.line((BOX - 1.0, middle - HALF), (BOX - 1.8, middle - HALF))
        pen.earth((BOX - 1.8, middle - HALF))


def _sense(pen: _Pen, row: Row, middles: Sequence[float], centre: float) -> None:
    """Sense terminals: short links at the output, or two thin broken lines to the device's connector."""
    last = len(middles) - 1
    for place, middle in enumerate(middles):
        for side, mark in ((1, "s+"), (-1, "s−")):
            y = middle + side * (HALF + SENSE)
            pen.dot((BOX, y), SMALL, hollow=True)
            pen.words((BOX - 0.7, y), mark, size=6.8, align="center", colour=SMALL)
            # In series only the ends of the chain reach the load; the rest sense at their own terminals.
            end_of_chain = row.arrangement != "series" or place == (0 if side > 0 else last)
            if row.sense == "at terminals" or not end_of_chain:
                pen.line((BOX, y), (BOX + 0.5, y), (BOX + 0.5, middle + side * HALF), colour=SMALL, width=0.8)
                continue
            level = centre + side * (HALF + SENSE)
            elbow = LEAD_FROM - 0.3 + (0.7 if side > 0 else 0.0)
            pen.line((BOX, y), (elbow, y), (elbow, level), colour=SMALL, width=0.8, style="--")
            _sense_lead(pen, elbow, level, centre + side * HALF)
            if row.arrangement == "parallel":
                pen.dot((elbow, level), SMALL)
    if row.sense == "at load":
        middle = (LEAD_FROM + LEAD_TO) / 2
        pen.words(
            (middle, centre + HALF + SENSE + 0.42), "sense leads", size=6.8, align="center", colour=SMALL
        )
    else:
        pen.words((BOX + 0.8, middles[0] + HALF + 0.5), "sense at terminals", size=6.8, colour=SMALL)


def _sense_lead(pen: _Pen, left: float, level: float, conductor: float) -> None:
    right = LEAD_TO + 0.9  # beyond a fixture, which the sensed voltage does not have in it
    pen.line((left, level), (right, level), (right, conductor), colour=SMALL, width=0.8, style="--")
    pen.dot((right, conductor))


def _input(pen: _Pen, row: Row, centre: float) -> None:
    marks = ("0", "−") if row.rail == "negative" else ("+", "−")
    for offset, mark in zip((HALF, -HALF), marks, strict=True):
        pen.dot((DEVICE_FROM, centre + offset), hollow=True)
        pen.words((DEVICE_FROM + 0.6, centre + offset), mark, size=9, align="center")
    pen.words((DEVICE_FROM + 1.3, centre + 0.45), shortened(row.input, 16), size=7.5)
    pen.words((DEVICE_FROM + 1.3, centre - 0.45), row.nominal, size=7.0, colour=SMALL)
    if row.inside:
        # A part stays on its line; what is right of them is the line of common returns.
        parts = [part.replace(" ", "\u00a0") for part in row.inside]
        lines = wrap(f"inside: {', '.join(parts)}", INSIDE_WIDTH, break_long_words=False)
        for place, line in enumerate(lines):
            at = centre - HALF - INSIDE_LINE * (place + 1)
            pen.words((DEVICE_FROM + 0.4, at), line, size=6.2, colour=SMALL)
    if row.returns == "isolated":
        pen.words((DEVICE_FROM + 1.3, centre + row.zero), "0 V isolated", size=6.8, colour=SMALL)


def _returns(pen: _Pen, commons: Sequence[tuple[Row, float]]) -> None:
    """The line of common returns inside the device, and earth."""
    common = [y for row, y in commons if row.returns == "common"]
    bus = DEVICE_TO - 1.1
    if len(common) > 1:  # what one input has for itself leads nowhere
        pen.line((bus, max(common)), (bus, min(common)))
        for y in common:
            pen.line((DEVICE_FROM + 1.1, y), (bus, y))
            pen.dot((bus, y))
    for row, y in commons:
        if row.returns == "earth":
            pen.line((DEVICE_FROM + 1.1, y), (bus - 1.2, y))
            pen.earth((bus - 1.2, y))
