"""A run as it goes on: a progress bar with live values on a terminal, plain lines anywhere else."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, TextIO

from railwright.cli.console import console
from railwright.printable import printable
from railwright.quantities import show
from railwright.running.outcome import InputReading, Progress
from railwright.running.waiting import WAITS
from railwright.traces import Event, EventKind, Span

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID


class PrintedLines(Progress):
    """Steps and events as lines on `stream`; values are not shown.

    The printer calls all of it, in its own thread: `start`, what the run tells, now and then `draw`, `stop`.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._begun = False

    def start(self) -> None:
        """The run begins."""

    def stop(self) -> None:
        """The run is over."""

    def draw(self, readings: Sequence[InputReading]) -> None:
        """The newest reading of each input."""

    def say(self, line: str) -> None:
        """One line, above what is drawn."""
        self._stream.write(line + "\n")

    def preparing(self, text: str) -> None:
        self.say(printable(text, one_line=True))

    def begins(self, spans: Sequence[Span], duration: float) -> None:
        self._begun = True
        self.say(f"the procedure begins: {len(spans)} steps, {show(duration, 's')}")

    def step_started(self, span: Span, position: int) -> None:
        self.say(f"step {position + 1}: {step_title(span, position)}")

    def event(self, event: Event) -> None:
        if event.kind is EventKind.RUN_ENDS:
            return  # how it ended, and why, is said when the outputs are off
        # Before the procedure begins, the record's time has no zero yet.
        self.say(event_line(event, timed=self._begun))

    def switching_off(self, text: str) -> None:
        self.say(f"switching off {printable(text, one_line=True)}")


class LiveBar(PrintedLines):
    """A bar over the procedure's duration, the step, and the newest values of each input.

    rich has a lock that it holds while it writes, and a thread that refreshes: neither is used, as only the
    printer's thread ever calls this.
    """

    def __init__(self, stream: TextIO) -> None:
        super().__init__(stream)
        self._bar: Bar | None = None
        self._task: TaskID | None = None

    def start(self) -> None:
        from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
        from rich.progress import Progress as RichProgress

        self._bar = RichProgress(
            TextColumn("{task.description}", markup=False),
            BarColumn(bar_width=None),
            TimeElapsedColumn(),
            TextColumn("{task.fields[values]}", markup=False),
            console=console(self._stream),
            expand=True,
            auto_refresh=False,
            redirect_stdout=False,
            redirect_stderr=False,
        )
        self._task = self._bar.add_task("preparing", total=None, values="")
        self._bar.start()

    def stop(self) -> None:
        if self._bar is not None:
            self._bar.stop()

    def draw(self, readings: Sequence[InputReading]) -> None:
        if self._bar is None:
            return
        if readings:
            newest = max(0.0, max(reading.time for reading in readings))
            self._update(completed=newest, values=" · ".join(map(values_text, readings)))
        self._bar.refresh()

    def say(self, line: str) -> None:
        if self._bar is None:
            super().say(line)
        else:
            self._bar.console.print(line, soft_wrap=True)

    def preparing(self, text: str) -> None:
        self._update(description=printable(text, one_line=True))

    def begins(self, spans: Sequence[Span], duration: float) -> None:
        self._begun = True
        self._update(total=duration, completed=0.0)

    def step_started(self, span: Span, position: int) -> None:
        self._update(description=step_title(span, position))

    def switching_off(self, text: str) -> None:
        self._update(description=f"switching off {printable(text, one_line=True)}")

    def _update(self, **fields: object) -> None:
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, **fields)  # type: ignore[arg-type]


def values_text(reading: InputReading) -> str:
    """The values of one input, in as much room whatever they are."""
    mode = "" if reading.mode is None else f" {reading.mode.name}"
    return f"{printable(reading.input)} {reading.voltage:6.3f} V {reading.current:7.4f} A{mode:5s}"


def step_title(span: Span, position: int) -> str:
    """A step's name; for one without, what it does."""
    title = span.kind.replace("_", " ") if span.name == f"step {position + 1}" else span.name
    return printable(title, one_line=True)


def event_line(event: Event, timed: bool = True) -> str:
    """An event for people."""
    detail = f": {event.detail}" if event.detail else ""
    time = f"{event.time:9.3f} s" if timed else " " * 11
    return printable(f"{time}  {event.subject}: {event.what}{detail}", one_line=True)


class Calls(PrintedLines):
    """Only what calls for somebody: that the run waits."""

    def preparing(self, text: str) -> None:
        """Is not said."""

    def begins(self, spans: Sequence[Span], duration: float) -> None:
        self._begun = True

    def step_started(self, span: Span, position: int) -> None:
        """Is not said."""

    def event(self, event: Event) -> None:
        if event.kind in WAITS.values():
            super().event(event)

    def switching_off(self, text: str) -> None:
        """Is not said."""


def live(stream: TextIO, traced: bool, quiet: bool = False) -> PrintedLines:
    """The bar on a terminal; lines elsewhere, and where the traffic is printed too. quiet: only calls."""
    if quiet:
        return Calls(stream)
    return LiveBar(stream) if stream.isatty() and not traced else PrintedLines(stream)
