"""A log as it goes on: a small table that is drawn anew twice a second on a terminal, lines anywhere else."""

from __future__ import annotations

import math
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from railwright.cli.console import console, table
from railwright.cli.writer import PrintThread, gap_line
from railwright.documents.output_name import OutputName
from railwright.printable import printable
from railwright.quantities import show
from railwright.watching.bench_watch import WatchProgress
from railwright.watching.conditions import LogRow
from railwright.watching.files import LogStatistics, OutputStatistics, mode_word

if TYPE_CHECKING:
    from rich.live import Live

DRAWN_EVERY = 0.5
"""How often the table is drawn [s]: more is only unrest."""

COLUMNS = ("Output", "Voltage", "Current", "Power", "Mode", "Voltage so far", "Current so far")

Shown = tuple[LogRow, LogStatistics, int]


class LogDisplay(WatchProgress):
    """Shows a log on a stream, by a thread of its own: the log waits for no reader. quiet: nothing of it."""

    def __init__(self, stream: TextIO, folder: Path, *, quiet: bool) -> None:
        self._stream, self._folder, self._quiet = stream, folder, quiet
        self._newest: Shown | None = None
        self._drawn: tuple[LogRow | None, float] = (None, -math.inf)
        self._live: Live | None = None
        self._thread = PrintThread((stream,), lambda count: self._say(gap_line(count)))

    def __enter__(self) -> LogDisplay:
        if self._stream.isatty() and not self._quiet:
            self._thread.put(self._begin)
            self._thread.put(self._thread.repeat, self._draw)
        return self

    def __exit__(self, *_: Any) -> None:
        self._thread.put(self._thread.repeat, None)
        self._thread.put(self._end)
        # A terminal that is stopped holds up nobody at the end of a log of days.
        last = time.monotonic() + 3.0
        self._thread.finish(lambda: time.monotonic() > last)

    # Told by the log

    def event(self, line: str) -> None:
        if not self._quiet:
            self._thread.put(self._say, line)

    def row(self, row: LogRow, statistics: LogStatistics, rows: int) -> None:
        self._newest = row, statistics, rows

    # Done by the printer's thread

    def _begin(self) -> None:
        from rich.live import Live

        self._live = Live(
            console=console(self._stream),
            auto_refresh=False,
            redirect_stdout=False,
            redirect_stderr=False,
        )
        self._live.start()

    def _draw(self) -> None:
        shown, (row, when) = self._newest, self._drawn
        if self._live is None or shown is None or shown[0] is row:
            return
        if time.monotonic() - when >= DRAWN_EVERY:
            self._drawn = shown[0], time.monotonic()
            self._live.update(log_table(*shown, self._folder), refresh=True)

    def _end(self) -> None:
        if self._live is not None:
            if self._newest is not None:
                self._live.update(log_table(*self._newest, self._folder), refresh=True)
            self._live.stop()

    def _say(self, line: str) -> None:
        text = printable(line, one_line=True)
        if self._live is None:
            self._stream.write(text + "\n")
        else:
            self._live.console.print(text, soft_wrap=True)


def log_table(row: LogRow, statistics: LogStatistics, rows: int, folder: Path) -> Any:
    """The newest row, and how far each output has moved since the log began."""
    lines = [_line(name, row, each) for name, each in statistics.outputs.items()]
    missed = sum(sum(each.missed.values()) for each in statistics.outputs.values())
    title = f"{clock_text(row.time)}  {rows} rows, {missed} readings missed  {folder}"
    return table(title, COLUMNS, lines, right=COLUMNS[1:4])


def _line(name: OutputName, row: LogRow, statistics: OutputStatistics) -> list[str]:
    reading = row.readings.get(name)
    so_far = [_so_far(statistics, each, unit) for each, unit in (("voltage", "V"), ("current", "A"))]
    if reading is None:
        why = row.missed.get(name.supply) or row.missed.get(name, "")
        return [name, "–", "–", "–", why, *so_far]
    values = ((reading.voltage, "V"), (reading.current, "A"), (reading.voltage * reading.current, "W"))
    return [name, *(show(value, unit) for value, unit in values), mode_word(reading), *so_far]


def _so_far(statistics: OutputStatistics, quantity: str, unit: str) -> str:
    found = statistics.quantities[quantity]
    if not found.count:
        return "nothing read"
    return f"{show(found.minimum, unit)} .. {show(found.maximum, unit)}"


def clock_text(seconds: float) -> str:
    """A time as hours, minutes and seconds."""
    whole = int(seconds)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
