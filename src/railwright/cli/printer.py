"""What a run prints, written by threads of its own: the run itself never waits for a reader, and no error of
printing reaches it.

The run puts what there is to say into a bounded queue and goes on. A terminal under Ctrl-S, `| less`, a pipe
that nobody reads and a full disk hold up the printer's thread only; what no longer fits is left out, and
counted in a line where it is missing. When the run is over, the rest is waited for, as any program does.
"""

from __future__ import annotations

import io
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Literal, Self, TextIO

from railwright.cli.exits import complain
from railwright.cli.live import PrintedLines
from railwright.cli.streams import loss_of, same_file, tolerant_text
from railwright.cli.writer import TRAFFIC_KEPT, PrintThread, gap_line
from railwright.printable import printable
from railwright.running.interruption import StopRequest
from railwright.running.outcome import InputReading, Progress
from railwright.traces import Event, Span

PATIENCE = 3.0
"""How long a slow reader is waited for at the end of a run that a signal has ended [s]."""

Direction = Literal["sent", "received"]


class Printer:
    """Owns standard output and error while it lasts; `print` and warnings of any thread go through it too.

    stop: the run's; with a new request at the end, the rest of the output is no longer waited for.
    """

    def __init__(self, stop: StopRequest, out: TextIO | None = None, err: TextIO | None = None) -> None:
        self._stop = stop
        self.out = out or sys.stdout
        """Standard output itself, for a display that the printer's thread draws."""
        self._err = err or sys.stderr
        self._display: PrintedLines | None = None
        self.together = same_file(self.out, self._err)

    def __enter__(self) -> Self:
        if self.together:
            # One thread for one terminal: the order of the lines stays.
            self._out_writer = self._err_writer = PrintThread((self.out, self._err), self._gap_out)
        else:
            # Two for two: the traffic goes on into its file while the terminal is under Ctrl-S.
            self._out_writer = PrintThread((self.out,), self._gap_out)
            self._err_writer = PrintThread((self._err,), self._gap_err)
        self._before = sys.stdout, sys.stderr
        sys.stdout, sys.stderr = Queued(self.out, self.say), Queued(self._err, self.complain)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, Queued):
                stream.end()
        given_up = patience(self._stop)
        for writer in {id(w): w for w in (self._out_writer, self._err_writer)}.values():
            writer.finish(given_up)
        sys.stdout, sys.stderr = self._before

    def say(self, line: str) -> None:
        """One line on standard output."""
        self._out_writer.put(self._write_out, line)

    def complain(self, line: str) -> None:
        """One line on standard error."""
        self._err_writer.put(self._write_err, line)

    def trace(self, time: float, instrument: str, direction: Direction, line: str) -> None:
        """One line of the traffic, on standard error."""
        self._err_writer.put(self._write_traffic, time, instrument, direction, line, kept=TRAFFIC_KEPT)

    @contextmanager
    def showing(self, display: PrintedLines) -> Iterator[Progress]:
        """A progress to be told by the run, drawn by the printer's thread; lines go above what it draws."""
        self._display = display
        progress = QueuedProgress(self._out_writer, display)
        self._out_writer.put(display.start)
        self._out_writer.put(self._out_writer.repeat, progress.draw)
        try:
            yield progress
        finally:
            self._out_writer.put(self._out_writer.repeat, None)
            self._out_writer.put(display.stop)
            self._out_writer.put(self._hide)

    def _hide(self) -> None:
        self._display = None

    def _write_out(self, line: str) -> None:
        if self._display is not None:
            self._display.say(line)
        else:
            self.out.write(line + "\n")

    def _write_err(self, line: str) -> None:
        if self.together:
            self._write_out(line)
        else:
            self._err.write(line + "\n")

    def _write_traffic(self, time: float, instrument: str, direction: Direction, line: str) -> None:
        self._write_err(traffic_line(time, instrument, direction, line))

    def _gap_out(self, count: int) -> None:
        self._write_out(gap_line(count))

    def _gap_err(self, count: int) -> None:
        self._write_err(gap_line(count))


class Queued(io.TextIOBase):
    """Stands in for a standard stream: whole lines go to `put`. It tells encoding and descriptor of the real
    one.
    """

    def __init__(self, real: TextIO, put: Callable[[str], object]) -> None:
        self._real = real
        self._put = put
        self._part = ""

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._real.encoding

    @property
    def errors(self) -> str | None:  # type: ignore[override]
        return self._real.errors

    def writable(self) -> bool:
        return True

    def isatty(self) -> bool:
        return self._real.isatty()

    def fileno(self) -> int:
        return self._real.fileno()

    def write(self, text: str) -> int:
        *lines, self._part = (self._part + text).split("\n")
        for line in lines:
            self._put(line)
        return len(text)

    def end(self) -> None:
        """Hand over what was written last without an end of line."""
        if self._part:
            self.write("\n")


class QueuedProgress(Progress):
    """Passes what a run tells to a display in the printer's thread. Each reading it tells at once, in the
    run's own loop; drawn is only the newest.
    """

    def __init__(self, writer: PrintThread, display: PrintedLines) -> None:
        self._writer = writer
        self._display = display
        self._newest: dict[str, InputReading] = {}

    def preparing(self, text: str) -> None:
        self._writer.put(self._display.preparing, text)

    def begins(self, spans: Sequence[Span], duration: float) -> None:
        self._writer.put(self._display.begins, spans, duration)

    def step_started(self, span: Span, position: int) -> None:
        self._writer.put(self._display.step_started, span, position)

    def reading(self, reading: InputReading) -> None:
        self._newest[reading.input] = reading
        self._display.reading(reading)

    def event(self, event: Event) -> None:
        self._writer.put(self._display.event, event)

    def switching_off(self, text: str) -> None:
        self._writer.put(self._display.switching_off, text)

    def draw(self) -> None:
        """Draw the newest values; called in the printer's thread."""
        self._display.draw(list(self._newest.values()))


@contextmanager
def traffic_file(path: Path, stop: StopRequest) -> Iterator[Callable[[float, str, Direction, str], None]]:
    """A trace into a file of its own, written by a thread. What could not be written is said at the end.

    OSError where the file cannot be opened.
    """
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o666)
    try:
        file = tolerant_text(descriptor, str(path))

        def write(time: float, instrument: str, direction: Direction, line: str) -> None:
            file.write(traffic_line(time, instrument, direction, line) + "\n")

        writer = PrintThread((file,), lambda count: file.write(gap_line(count) + "\n"))
        try:
            yield lambda *line: writer.put(write, *line, kept=TRAFFIC_KEPT)
        finally:
            writer.finish(patience(stop))
            if loss := loss_of(file):
                complain(f"caution: {loss}")
    finally:
        os.close(descriptor)


def traffic_line(time: float, instrument: str, direction: Direction, line: str) -> str:
    """One line of the traffic: time on the monotonic clock [s], instrument, direction, text."""
    arrow = "→" if direction == "sent" else "←"
    return f"{time:12.6f} {instrument} {arrow} {printable(line, one_line=True)}"


def patience(stop: StopRequest) -> Callable[[], bool]:
    """Whether a slow reader is no longer waited for: after a new request to stop; soon, after an old one."""
    count, start = stop.count, time.monotonic()
    return lambda: stop.count > count or (count > 0 and time.monotonic() - start > PATIENCE)
