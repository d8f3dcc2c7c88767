"""An input that is powered by hand, as it stands: figures, a trace, keys; drawn by the printer's thread."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from typing import TYPE_CHECKING, TextIO

from railwright.cli.console import console
from railwright.cli.keys import KEYS
from railwright.cli.live import PrintedLines
from railwright.printable import printable
from railwright.quantities import show
from railwright.running.outcome import InputReading
from railwright.running.totals import Totals
from railwright.traces import Event, EventKind, Span

if TYPE_CHECKING:
    from rich.live import Live

    from railwright.cli.keys import KeyPad

BARS = "▁▂▃▄▅▆▇█"
"""Heights of a trace in one line."""

SHOWN = 60
"""Readings of the trace that are drawn."""

LEAST = 0.01
"""What a trace shows at least, in parts of the highest that was read: less is noise."""

UP_AFTER = 0.5
"""So long after it was switched on its readings count for lowest and highest [s]."""

RINGS = (
    EventKind.STOP_CONDITION,
    EventKind.WENT_OFF,
    EventKind.INSTRUMENT_FAILS,
    EventKind.RUN_ENDS,
    EventKind.COMES_ON_AGAIN,
    EventKind.MULTIMETER_CONTRADICTS,
)
"""Events at which the terminal's bell is rung, beside every trip."""


class PowerView(PrintedLines):
    """Figures of one input in a few lines, drawn again and again; events go above them.

    pad: whose prompt is shown. at_most: how long it may last [s].
    """

    def __init__(self, stream: TextIO, name: str, at_most: float, pad: KeyPad) -> None:
        super().__init__(stream)
        self.totals = Totals(name)
        self._name, self._at_most, self._pad = name, at_most, pad
        self._state, self._on_since = "not on yet", math.inf
        self._trace: deque[tuple[float, float]] = deque(maxlen=SHOWN)
        self._newest: InputReading | None = None
        self._live: Live | None = None

    def start(self) -> None:
        from rich.live import Live

        own = console(self._stream)
        self._live = Live(console=own, auto_refresh=False, redirect_stdout=False, redirect_stderr=False)
        self._live.start()

    def stop(self) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None

    def reading(self, reading: InputReading) -> None:
        """Every reading, in the run's own loop."""
        if reading.input != self._name:
            return
        self.totals.see(reading, reading.time - self._on_since >= UP_AFTER)
        self._trace.append((reading.voltage, reading.current))
        self._newest = reading

    def begins(self, spans: Sequence[Span], duration: float) -> None:
        self._begun = True

    def step_started(self, span: Span, position: int) -> None:
        """Is not said: there is one that matters."""

    def event(self, event: Event) -> None:
        if event.subject == self._name:
            self._follow(event)
        if event.kind.trip or event.kind in RINGS:
            self._stream.write("\a")
        super().event(event)

    def _follow(self, event: Event) -> None:
        if event.kind is EventKind.ON:
            self._state, self._on_since = "on", event.time
        elif event.kind is EventKind.OFF_SENT:
            self._state, self._on_since = "told off, not read to be off yet", math.inf
        elif event.kind is EventKind.OFF:
            self._state, self._on_since = "says that it is off", math.inf
        elif event.kind is EventKind.OFF_CONFIRMED or event.kind is EventKind.FELL:
            self._state = "off"
        elif event.kind is EventKind.COMES_ON_AGAIN:
            self._state = "came on again, told off again"
        elif event.kind is EventKind.MULTIMETER_CONTRADICTS:
            self._state = "says off, and a multimeter shows a voltage"
        elif event.kind.trip:
            self._state, self._on_since = f"tripped: {event.kind.trip}", math.inf

    def draw(self, readings: Sequence[InputReading]) -> None:
        if self._live is not None:
            from rich.text import Text

            width = self._live.console.width
            self._live.update(Text("\n".join(line[: width - 1] for line in self.lines())), refresh=True)

    def say(self, line: str) -> None:
        if self._live is None:
            super().say(line)
        else:
            self._live.console.print(line, soft_wrap=True)

    def lines(self) -> list[str]:
        """What is drawn."""
        newest, totals = self._newest, self.totals
        if newest is None:
            return [f"{printable(self._name)}: {self._state}"]
        mode = "" if newest.mode is None else newest.mode.word
        now = f"{newest.voltage:8.3f} V {newest.current:9.4f} A {newest.voltage * newest.current:8.3f} W"
        time = f"{max(0.0, newest.time):.0f} s of {show(self._at_most, 's')}"
        charge = f"{totals.charge:.4g} C ({totals.charge / 3.6:.4g} mAh)"
        energy = f"{totals.energy:.4g} J ({totals.energy / 3.6:.4g} mWh)"
        volts, amperes = _between(totals.voltage, "V"), _between(totals.current, "A")
        return [
            f"{printable(self._name)} {self._state}  {now}  {mode:7s} {time}",
            f"charge {charge}   energy {energy}",
            f"lowest and highest while on: {volts}   {amperes}",
            f"V {trace([each for each, _ in self._trace], LEAST * abs(totals.voltage[1]))}",
            f"A {trace([each for _, each in self._trace], LEAST * abs(totals.current[1]))}",
            KEYS,
            f"> {printable(self._pad.prompt, one_line=True)}",
        ]


def trace(values: Sequence[float], least: float) -> str:
    """Values as heights between their lowest and highest; level where these are no farther apart than
    `least`, or that is not known.
    """
    low, high = min(values, default=0.0), max(values, default=0.0)
    apart = high - low
    if not least < apart < math.inf:
        return BARS[0] * len(values)
    return "".join(BARS[min(len(BARS) - 1, int((each - low) / apart * len(BARS)))] for each in values)


def _between(ends: tuple[float, float], unit: str) -> str:
    return f"{show(ends[0], unit)} .. {show(ends[1], unit)}" if ends[0] <= ends[1] else f"- {unit}"
