"""The printer: who says something never waits and never fails, and what is left out is counted."""

import errno
import io
import os
import signal
import subprocess
import sys
import threading
import time

import pytest

from railwright.cli import printer as printing
from railwright.cli.live import LiveBar, PrintedLines
from railwright.cli.printer import Printer, patience, traffic_file, traffic_line
from railwright.cli.streams import tolerant_text
from railwright.cli.writer import KEPT, PrintThread, gap_line
from railwright.running.interruption import StopRequest
from railwright.running.outcome import InputReading
from railwright.traces import Event, EventKind, Mode, Span


class Stuck(io.StringIO):
    """A stream whose reader does not read until `reads` is set."""

    def __init__(self):
        super().__init__()
        self.reads = threading.Event()
        self.waited_for = threading.Event()

    def write(self, text):
        self.waited_for.set()
        assert self.reads.wait(20.0)
        return super().write(text)


class Failing(io.StringIO):
    def __init__(self, number):
        super().__init__()
        self.number = number

    def write(self, text):
        raise OSError(self.number, os.strerror(self.number))

    flush = close = lambda self: self.write("")


def printed(out, err, do, stop=None):
    with Printer(stop or StopRequest(), out, err) as printer:
        do(printer)
    return out.getvalue(), err.getvalue()


def test_lines_come_out_whole_and_in_order_on_one_terminal():
    both = io.StringIO()

    def do(printer):
        assert printer.together
        for number in range(500):
            printer.say(f"out {number}")
            printer.complain(f"err {number}")

    with Printer(StopRequest(), both, both) as printer:
        do(printer)
    assert both.getvalue().splitlines() == [f"{to} {n}" for n in range(500) for to in ("out", "err")]


def test_print_of_any_thread_goes_through_it_and_the_streams_come_back():
    before = sys.stdout, sys.stderr

    def do(printer):
        print("said", "twice", sep=" and ")
        print("half", end="")
        print(" a line", flush=True)
        other = threading.Thread(target=print, args=("of another thread",))
        other.start()
        other.join()
        print("odd", file=sys.stderr)
        sys.stdout.write("without an end")

    out, err = printed(io.StringIO(), io.StringIO(), do)
    assert set(out.splitlines()) == {"said and twice", "half a line", "of another thread", "without an end"}
    assert err == "odd\n"
    assert (sys.stdout, sys.stderr) == before


def test_who_speaks_does_not_wait_for_a_reader():
    out, err = Stuck(), io.StringIO()
    with Printer(StopRequest(), out, err) as printer:
        began = time.monotonic()
        for number in range(5_000):
            printer.say(f"line {number}")
            print("another way to say it")
        printer.complain("the other stream goes on")
        while "goes on" not in err.getvalue():
            time.sleep(0.001)
        assert time.monotonic() - began < 5.0
        out.reads.set()
    assert time.monotonic() - began < 10.0


def test_what_does_not_fit_is_counted_where_it_is_missing():
    stream = Stuck()
    writer = PrintThread((stream,), lambda count: stream.write(gap_line(count) + "\n"))
    writer.put(stream.write, "first\n", kept=10)
    assert stream.waited_for.wait(10.0)
    for number in range(312):
        writer.put(stream.write, f"{number}\n", kept=10)
    writer.put(stream.write, "an event\n", kept=20)
    stream.reads.set()
    writer.finish(lambda: False)
    lines = stream.getvalue().splitlines()
    assert lines[:11] == ["first", *map(str, range(10))]
    assert lines[11:] == ["… 303 lines were not shown"]


def test_traffic_does_not_crowd_out_events():
    stream = Stuck()
    writer = PrintThread((stream,), lambda count: stream.write(gap_line(count) + "\n"))
    writer.put(stream.write, "first\n")
    assert stream.waited_for.wait(10.0)
    for number in range(10):
        writer.put(stream.write, f"traffic {number}\n", kept=10)
    writer.put(stream.write, "an event\n", kept=100)
    writer.put(stream.write, "traffic 11\n", kept=10)
    stream.reads.set()
    writer.finish(lambda: False)
    assert stream.getvalue().splitlines()[-2:] == ["an event", "… 1 line was not shown"]


@pytest.mark.parametrize("number", [errno.EPIPE, errno.EIO, errno.ENOSPC, errno.EBADF, errno.EAGAIN])
def test_no_error_of_a_stream_reaches_the_run(number):
    out, err = Failing(number), io.StringIO()
    with Printer(StopRequest(), out, err) as printer, printer.showing(PrintedLines(out)) as progress:
        printer.say("a line")
        print("a line", flush=True)
        progress.preparing("identify the supplies")
        progress.event(Event(0.1, "main", EventKind.ON))
        printer.trace(1.0, "left", "sent", "*IDN?")
    assert err.getvalue() == "    1.000000 left → *IDN?\n"


def test_a_display_that_fails_costs_a_line():
    class Broken(PrintedLines):
        def step_started(self, span, position):
            raise RuntimeError("a fault of a display")

    out = io.StringIO()
    with Printer(StopRequest(), out, io.StringIO()) as printer, printer.showing(Broken(out)) as progress:
        progress.step_started(Span("steady", "hold", (), 0.0, 1.0), 0)
        progress.preparing("next")
    assert sorted(out.getvalue().splitlines()) == ["next", "… 1 line was not shown"]


def test_only_the_newest_values_are_drawn_and_all_of_it_in_the_printers_thread(monkeypatch):
    monkeypatch.setattr("railwright.cli.writer.REFRESH", 0.01)
    drawn, threads = [], set()

    class Display(PrintedLines):
        def draw(self, readings):
            threads.add(threading.current_thread())
            drawn.append([(r.input, r.time) for r in readings])

    out = io.StringIO()
    with Printer(StopRequest(), out, io.StringIO()) as printer, printer.showing(Display(out)) as progress:
        for number in range(2_000):
            progress.reading(InputReading(number, "main", "at load", 12.0, 1.0, Mode.CV, ""))
            progress.reading(InputReading(number, "aux", "at load", 12.0, 1.0, None, ""))
        end = time.monotonic() + 10.0
        while [("main", 1999), ("aux", 1999)] not in drawn and time.monotonic() < end:
            time.sleep(0.005)
    assert [("main", 1999), ("aux", 1999)] in drawn
    assert len(drawn) < 500
    assert threading.main_thread() not in threads


def test_the_bar_draws_values_and_lines_above_it(monkeypatch):
    monkeypatch.setenv("COLUMNS", "150")

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    monkeypatch.setenv("TERM", "xterm")
    terminal = Terminal()
    threads = threading.active_count()
    with Printer(StopRequest(), terminal, terminal) as printer:
        with printer.showing(LiveBar(terminal)) as progress:
            progress.begins((Span("steady", "hold", (), 0.0, 1.0),), 1.0)
            progress.reading(InputReading(0.5, "main", "at load", 12.0, 1.0, Mode.CV, ""))
            progress.event(Event(0.5, "main", EventKind.OTHER, words="on \x1b[31m"))
            printer.complain("a complaint of anybody")
            end = time.monotonic() + 10.0
            while "12.000 V" not in terminal.getvalue() and time.monotonic() < end:
                time.sleep(0.01)
            assert threading.active_count() == threads + 1  # rich's own thread is not used
        print("completed")
    shown = terminal.getvalue()
    assert "main 12.000 V  1.0000 A CV" in shown
    assert "main: on \\x1b[31m" in shown
    assert "a complaint of anybody" in shown
    assert shown.rstrip().endswith("completed")


def test_traffic_is_one_printable_line():
    assert (
        traffic_line(1.5, "left", "received", "odd\x1b[2J\nline") == "    1.500000 left ← odd\\x1b[2J\\nline"
    )


def test_a_traffic_file_is_written_whole_and_a_full_disk_is_told(tmp_path, capsys):
    with traffic_file(tmp_path / "scpi.log", StopRequest()) as trace:
        for number in range(1_000):
            trace(float(number), "left", "sent", f"VOLT {number}")
    lines = (tmp_path / "scpi.log").read_text("utf-8").splitlines()
    assert lines[999] == "  999.000000 left → VOLT 999"
    assert len(lines) == 1_000
    assert capsys.readouterr().err == ""
    os.symlink("/dev/full", tmp_path / "full.log")
    with traffic_file(tmp_path / "full.log", StopRequest()) as trace:
        trace(1.0, "left", "sent", "*IDN?")
    assert "full.log: 28 bytes could not be written: No space left on device" in capsys.readouterr().err


def test_the_end_is_waited_for_until_a_new_request_or_shortly_after_an_old_one(monkeypatch):
    stop = StopRequest()
    over = patience(stop)
    assert not over()
    stop.request("now")
    assert over()
    later = patience(stop)
    assert not later()
    monkeypatch.setattr(printing, "PATIENCE", 0.0)
    assert later()


SLOW = """
import os, signal, sys, time
from railwright.cli.printer import Printer
from railwright.cli.streams import tolerate
from railwright.running.interruption import StopRequest, signals_ask
tolerate()
stop = StopRequest()
longest = 0.0
with signals_ask(stop), Printer(stop) as printer:
    for number in range(30_000):
        began = time.monotonic()
        printer.trace(began, "left", "sent", "SOURce:VOLTage 12,(@1);:SYSTem:ERRor?")
        print("a line")
        longest = max(longest, time.monotonic() - began)
    with open(sys.argv[1], "w") as file:
        file.write(str(longest))
sys.exit(3)
"""


def wait_for(file):
    end = time.monotonic() + 30.0
    while not (file.exists() and file.read_text()) and time.monotonic() < end:
        time.sleep(0.01)


@pytest.mark.parametrize("ending", [signal.SIGTERM, signal.SIGTSTP, "reader goes"])
def test_a_pipe_that_nobody_reads_holds_up_nothing_until_a_signal_ends_the_waiting(tmp_path, ending):
    reading, writing = os.pipe()
    told = tmp_path / "longest"
    child = subprocess.Popen([sys.executable, "-c", SLOW, told], stdout=writing, stderr=writing)
    os.close(writing)
    try:
        wait_for(told)
        assert float(told.read_text()) < 0.5
        time.sleep(0.1)
        assert child.poll() is None, "a slow reader is waited for at the end"
        if ending == "reader goes":
            os.close(reading)
        else:
            child.send_signal(ending)
        assert child.wait(10.0) == 3
    finally:
        child.kill()
        child.wait()
        if ending != "reader goes":
            os.close(reading)


def test_a_reader_that_comes_back_gets_everything_that_was_kept(tmp_path):
    reading, writing = os.pipe()
    told = tmp_path / "longest"
    child = subprocess.Popen([sys.executable, "-c", SLOW, told], stdout=writing, stderr=subprocess.DEVNULL)
    os.close(writing)
    wait_for(told)
    with open(reading, encoding="utf-8") as reader:
        lines = reader.read().splitlines()
    assert child.wait(10.0) == 3
    assert lines.count("a line") >= KEPT
    missing = [line for line in lines if line != "a line"]
    assert lines.count("a line") + sum(int(line.split()[1]) for line in missing) == 30_000


def test_a_closed_descriptor_is_no_matter():
    out = tolerant_text(987, "standard output")
    with Printer(StopRequest(), out, io.StringIO()) as printer:
        printer.say("to nowhere")
    assert out.buffer.reason.errno == errno.EBADF
