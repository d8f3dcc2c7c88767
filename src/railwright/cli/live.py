"""A run as it goes on: a progress bar with live values on a terminal, plain lines anywhere else."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from types import TracebackType
from typing import TYPE_CHECKING, Self

from railwright.cli.console import console
from railwright.quantities import show
from railwright.running.outcome import InputReading, Progress
from railwright.traces import Event, Span

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID

REFRESH = 0.1
"""How often the values are drawn again [s]."""


class Lines(Progress):
    """Steps and events as lines; values are not shown."""

    _begun = False

    def preparing(self, text: str) -> None:
        self._say(text)

    def begins(self, spans: Sequence[Span], duration: float) -> None:
        self._begun = True
        self._say(f"the procedure begins: {len(spans)} steps, {show(duration, 's')}")

    def step_started(self, span: Span, position: int) -> None:
        self._say(f"step {position + 1}: {step_title(span, position)}")

    def event(self, event: Event) -> None:
        if event.what == "run ends":
            return  # how it ended, and why, is said when the outputs are off
        # Before the procedure begins, the record's time has no zero yet.
        self._say(event_line(event, timed=self._begun))

    def switching_off(self, text: str) -> None:
        self._say(f"switching off {text}")

    def _say(self, line: str) -> None:
        print(line, flush=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        sys.stdout.flush()


class LiveBar(Lines):
    """A bar over the procedure's duration, the step, and the newest values of each input."""

    def __init__(self) -> None:
        self._bar: Bar | None = None
        self._task: TaskID | None = None
        self._values: dict[str, str] = {}
        self._drawn = -1.0

    def __enter__(self) -> Self:
        from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
        from rich.progress import Progress as RichProgress

        self._bar = RichProgress(
            TextColumn("{task.description}", markup=False),
            BarColumn(bar_width=None),
            TimeElapsedColumn(),
            TextColumn("{task.fields[values]}", markup=False),
            console=console(),
            expand=True,
        )
        self._task = self._bar.add_task("preparing", total=None, values="")
        self._bar.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def preparing(self, text: str) -> None:
        self._update(description=text)

    def begins(self, spans: Sequence[Span], duration: float) -> None:
        self._begun = True
        self._update(total=duration, completed=0.0)

    def step_started(self, span: Span, position: int) -> None:
        self._update(description=step_title(span, position))

    def reading(self, reading: InputReading) -> None:
        mode = "" if reading.mode is None else f" {reading.mode.name}"
        value = f"{reading.input} {reading.voltage:6.3f} V {reading.current:7.4f} A{mode:5s}"
        self._values[reading.input] = value
        if reading.time - self._drawn >= REFRESH:
            self._drawn = reading.time
            self._update(completed=max(0.0, reading.time), values=" · ".join(self._values.values()))

    def switching_off(self, text: str) -> None:
        self._update(description=f"switching off {text}")

    def _update(self, **fields: object) -> None:
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, **fields)  # type: ignore[arg-type]

    def _say(self, line: str) -> None:
        if self._bar is not None:
            self._bar.console.print(line)


def step_title(span: Span, position: int) -> str:
    """A step's name; for one without, what it does."""
    return span.kind.replace("_", " ") if span.name == f"step {position + 1}" else span.name


def event_line(event: Event, timed: bool = True) -> str:
    """An event for people."""
    detail = f": {event.detail}" if event.detail else ""
    time = f"{event.time:9.3f} s" if timed else " " * 11
    return f"{time}  {event.subject}: {event.what}{detail}"


def live(traced: bool) -> Lines:
    """The bar on a terminal; lines elsewhere, and where the traffic is printed too."""
    return LiveBar() if sys.stdout.isatty() and not traced else Lines()
