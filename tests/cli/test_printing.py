"""Whole runs whose output nobody reads, or cannot be written: the run goes on, and its exit code stands."""

import contextlib
import fcntl
import json
import os
import pty
import shlex
import signal
import subprocess
import sys
import termios
import time

import pytest
from tests.running.small import PROCEDURE, small

SHORT = PROCEDURE.replace("hold: 100 ms", "hold: 60 ms")
LONG = PROCEDURE.replace("hold: 100 ms", "hold: 20 s")
SMALLEST_PIPE = 4096


@pytest.fixture
def bench(tmp_path):
    with small(tmp_path, SHORT) as made:
        yield made


def command(folder, *options):
    procedure = folder / "procedures" / "short.procedure.yaml"
    given = [procedure, "--unit", "S-1", "--operator", "A. Keeper", "--folder", folder / "kept", *options]
    return [sys.executable, "-m", "railwright", "run", *map(str, given)]


def shell(folder, how, **environment):
    line = shlex.join(command(folder))
    return subprocess.run(
        ["bash", "-c", f"{line} {how}; exit ${{PIPESTATUS[0]}}"],
        capture_output=True,
        env={**os.environ, **environment},
        check=False,
        timeout=120,
    )


def ended(folder):
    """How the run ended, as its log says; None while it has not."""
    log = folder / "kept" / "log.ndjson"
    *_, last = ["{}", *(log.read_text("utf-8").splitlines() if log.exists() else ())]
    with contextlib.suppress(ValueError):  # the line is being written
        return json.loads(last).get("ended")


@pytest.mark.parametrize(
    "how", ["| head -1", "--trace 2> /dev/full", "--trace > /dev/full 2> /dev/full", "<&- >&- 2>&-"]
)
def test_a_run_goes_on_whatever_becomes_of_its_output(bench, how):
    done = shell(bench.folder, how)
    assert done.returncode == 0, done.stderr
    assert ended(bench.folder) == "completed"
    assert bench.ever_on
    assert bench.everything_off
    assert done.stderr == b""
    if how == "--trace 2> /dev/full":
        *_, last = done.stdout.decode().splitlines()
        assert last.startswith("caution: standard error: ")
        assert last.endswith(" bytes could not be written: No space left on device")


def test_in_a_locale_without_its_characters_they_are_spelt(bench):
    done = shell(bench.folder, "--trace 2>&1", PYTHONIOENCODING="ascii:strict")
    assert done.returncode == 0
    text = done.stdout.decode("ascii")
    assert " left -> *IDN?" in text
    assert "completed, off confirmed" in text


@pytest.mark.parametrize("how", ["| head -1", "> /dev/full", ">&-"])
def test_the_code_of_a_run_that_failed_stands(bench, how):
    bench.left.identity = "Railwright,M-1,S-9,0"
    done = shell(bench.folder, how)
    assert done.returncode == 4
    assert ended(bench.folder) == "instrument"
    assert not bench.ever_on


def wait_until(holds, within=60.0):
    end = time.monotonic() + within
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.005)


def test_a_reader_that_never_reads_holds_up_nothing(bench):
    reading, writing = os.pipe()
    fcntl.fcntl(writing, fcntl.F_SETPIPE_SZ, SMALLEST_PIPE)
    run = subprocess.Popen(command(bench.folder, "--trace"), stdout=writing, stderr=writing)
    os.close(writing)
    try:
        wait_until(lambda: ended(bench.folder) is not None)
        assert ended(bench.folder) == "completed"
        assert bench.everything_off
        time.sleep(0.3)
        assert run.poll() is None, "a slow reader is waited for at the end"
        run.send_signal(signal.SIGTERM)
        assert run.wait(20.0) == 0, "what a signal ends is the waiting only"
        assert SMALLEST_PIPE // 2 < len(os.read(reading, 1_000_000)) <= SMALLEST_PIPE
    finally:
        os.close(reading)
        run.kill()
        run.wait()


@pytest.mark.parametrize("number", [signal.SIGTSTP, signal.SIGQUIT, signal.SIGHUP])
def test_what_a_terminal_sends_ends_the_run_with_3(tmp_path, number):
    with small(tmp_path, LONG) as bench, contextlib.ExitStack() as stack:
        run = subprocess.Popen(
            command(tmp_path),
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
            preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_DFL),
        )
        stack.callback(run.wait)
        stack.callback(run.kill)
        wait_until(lambda: bench.ever_on)
        run.send_signal(number)
        out, _ = run.communicate(timeout=20.0)
        assert run.returncode == 3
        assert bench.everything_off
        (line,) = (line for line in out.splitlines() if line.startswith("stopped, off confirmed: "))
        assert number.name in line


@contextlib.contextmanager
def in_a_terminal(folder):
    """A run in the foreground of a terminal of its own: the run, and what a person's side of it is."""

    def take_terminal():
        os.setsid()
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)
        signal.signal(signal.SIGHUP, signal.SIG_DFL)

    person, terminal = pty.openpty()
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "150"}
    run = subprocess.Popen(
        command(folder),
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
        env=environment,
        preexec_fn=take_terminal,
    )
    os.close(terminal)
    try:
        yield run, person
    finally:
        run.kill()
        run.wait()
        with contextlib.suppress(OSError):
            os.close(person)


def test_a_terminal_that_is_closed_ends_the_run(tmp_path):
    with small(tmp_path, LONG) as bench, in_a_terminal(tmp_path) as (run, person):
        wait_until(lambda: bench.ever_on)
        os.close(person)
        assert run.wait(20.0) == 3
        assert bench.everything_off
        assert ended(tmp_path) == "interrupted"


def test_a_terminal_under_ctrl_s_holds_up_nothing(bench):
    with in_a_terminal(bench.folder) as (run, person):
        wait_until(lambda: (bench.folder / "kept").exists())
        os.write(person, b"\x13")
        wait_until(lambda: ended(bench.folder) is not None)
        assert ended(bench.folder) == "completed"
        assert bench.everything_off
        time.sleep(0.3)
        assert run.poll() is None
        os.write(person, b"\x11")
        shown = b""
        with contextlib.suppress(OSError):  # the other end is closed
            while piece := os.read(person, 4096):
                shown += piece
        assert run.wait(20.0) == 0
        assert b"completed, off confirmed" in shown


def test_ctrl_z_in_a_terminal_ends_the_run_and_does_not_pause_it(tmp_path):
    with small(tmp_path, LONG) as bench, in_a_terminal(tmp_path) as (run, person):
        wait_until(lambda: bench.ever_on)
        os.write(person, b"\x1a")
        shown = b""
        with contextlib.suppress(OSError):
            while piece := os.read(person, 4096):
                shown += piece
        assert run.wait(20.0) == 3
        assert bench.everything_off
        assert b"stopped, off confirmed: interrupted by Ctrl-Z (SIGTSTP)" in shown
