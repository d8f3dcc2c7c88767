"""Requests to stop: what a signal asks, and that it ends any wait at once."""

from __future__ import annotations

import gc
import os
import select
import signal
import subprocess
import sys
import threading
import time

import pytest
from tests.said import says

from railwright.running.interruption import IGNORED, SAME_REQUEST, SIGNALS, StopRequest, signals_ask


def readable(stop: StopRequest) -> bool:
    return bool(select.select([stop], [], [], 0.0)[0])


def test_the_first_reason_stays_and_the_second_request_is_urgent() -> None:
    stop = StopRequest()
    assert (stop.reason, stop.urgent, stop.count) == (None, False, 0)
    stop.request("asked")
    assert (stop.reason, stop.urgent, stop.count) == ("asked", False, 1)
    stop.request("asked again")
    assert (stop.reason, stop.urgent, stop.count) == ("asked", True, 2)


def test_each_request_makes_the_descriptor_readable_until_it_is_drained() -> None:
    stop = StopRequest()
    assert not readable(stop)
    for _ in range(2):
        stop.request("asked")
        assert readable(stop)
        stop.drain()
        assert not readable(stop)


def test_requests_beyond_what_the_pipe_holds_are_still_counted() -> None:
    stop = StopRequest()
    for _ in range(70_000):
        stop.request("asked")
    assert stop.count == 70_000


def test_a_wait_lasts_as_long_as_asked_or_until_a_request() -> None:
    stop = StopRequest()
    began = time.monotonic()
    assert not stop.wait(0.05)
    assert time.monotonic() - began >= 0.05
    began = time.monotonic()
    threading.Timer(0.05, stop.request, ["asked"]).start()
    assert stop.wait(30.0)
    assert time.monotonic() - began < 10.0
    assert not stop.wait(0.0), "the same request ends one wait only"
    stop.request("before")
    assert stop.wait(30.0)


def test_a_signal_that_asks_nothing_does_not_end_a_wait() -> None:
    stop = StopRequest()
    os.write(stop.wake_fd, bytes([signal.SIGUSR1]))
    assert not stop.wait(0.05)


def test_who_is_told_may_fail_and_the_request_stands() -> None:
    stop = StopRequest()
    told: list[str] = []

    def fail() -> None:
        raise RuntimeError("the loop is closed")

    stop.on_request += [fail, lambda: told.append(str(stop.reason))]
    stop.request("asked")
    assert told == ["asked"]


def test_its_descriptors_close_with_it() -> None:
    stop = StopRequest()
    descriptor = stop.wait_fd
    del stop
    gc.collect()
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(descriptor)


def test_one_that_is_closed_writes_to_no_descriptor_and_still_counts() -> None:
    stop = StopRequest()
    descriptors = stop.wait_fd, stop.wake_fd
    stop.close()
    reading, writing = os.pipe()
    assert {reading, writing} == set(descriptors)  # whose numbers the system gives again
    stop.request("asked")
    stop.close()
    os.set_blocking(reading, False)
    with pytest.raises(BlockingIOError):
        os.read(reading, 1)
    os.close(reading)
    os.close(writing)
    assert (stop.reason, stop.count) == ("asked", 1)


@pytest.fixture
def hang_up_by_default() -> object:
    """As from a terminal, also where the tests run under nohup."""
    before = signal.signal(signal.SIGHUP, signal.SIG_DFL)
    yield None
    signal.signal(signal.SIGHUP, before)


@pytest.mark.usefixtures("hang_up_by_default")
@pytest.mark.parametrize("number", SIGNALS)
def test_a_signal_is_a_request_and_ends_a_wait(number: signal.Signals) -> None:
    stop = StopRequest()
    before = {each: signal.getsignal(each) for each in (*SIGNALS, *IGNORED)}
    with signals_ask(stop):
        threading.Timer(0.05, os.kill, [os.getpid(), number]).start()
        began = time.monotonic()
        assert stop.wait(30.0)
        assert time.monotonic() - began < 10.0
        assert says(stop.reason, number.name)
        for ignored in IGNORED:
            os.kill(os.getpid(), ignored)  # would stop the tests
    assert {each: signal.getsignal(each) for each in before} == before


def test_signals_at_once_are_one_request_and_later_ones_are_urgent(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [100.0]
    monkeypatch.setattr("railwright.running.interruption.time.monotonic", lambda: now[0])
    stop = StopRequest()
    with signals_ask(stop):
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGINT):
            signal.raise_signal(number)
            now[0] += SAME_REQUEST / 3
        assert not stop.urgent
        # Whoever hammers on Ctrl-C is heard, too.
        for _ in range(4):
            signal.raise_signal(signal.SIGINT)
            now[0] += SAME_REQUEST / 3
    assert stop.urgent
    assert says(stop.reason, "SIGINT")


def test_a_request_of_somebody_else_and_a_signal_are_two(monkeypatch: pytest.MonkeyPatch) -> None:
    stop = StopRequest()
    with signals_ask(stop):
        stop.request("asked by the program")
        signal.raise_signal(signal.SIGTERM)
    assert stop.urgent


def test_the_inner_one_rules_and_the_outer_one_comes_back() -> None:
    outer, inner = StopRequest(), StopRequest()
    with signals_ask(outer):
        with signals_ask(inner):
            signal.raise_signal(signal.SIGTERM)
            assert readable(inner)
        assert outer.reason is None
        signal.raise_signal(signal.SIGTERM)
    assert (inner.count, outer.count) == (1, 1)
    assert readable(outer)


def test_another_thread_takes_no_handlers() -> None:
    stop, seen = StopRequest(), []

    def ask() -> None:
        with signals_ask(stop):
            seen.append(signal.getsignal(signal.SIGTERM))

    before = signal.getsignal(signal.SIGTERM)
    thread = threading.Thread(target=ask)
    thread.start()
    thread.join()
    assert seen == [before]


WAITING = """
import signal, sys
from railwright.running.interruption import StopRequest, signals_ask
stop = StopRequest()
with signals_ask(stop):
    print("ready", flush=True)
    stop.wait(float(sys.argv[1]))
    print(stop.reason, flush=True)
"""


def waiting(duration: float, hang_up: object = signal.SIG_DFL) -> subprocess.Popen[str]:
    child = subprocess.Popen(
        [sys.executable, "-c", WAITING, str(duration)],
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGHUP, hang_up),  # type: ignore[arg-type]
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "ready\n"
    return child


@pytest.mark.parametrize("number", SIGNALS)
def test_a_process_ends_itself_by_each_of_them(number: signal.Signals) -> None:
    with waiting(30.0) as child:
        os.killpg(child.pid, signal.SIGTTOU)
        os.killpg(child.pid, signal.SIGCONT)
        os.killpg(child.pid, number)
        assert says(child.communicate(timeout=10.0)[0], number.name)
    assert child.returncode == 0


def test_nohup_stays_in_force() -> None:
    with waiting(0.5, signal.SIG_IGN) as child:
        os.kill(child.pid, signal.SIGHUP)
        assert child.communicate(timeout=10.0)[0] == "None\n"
    assert child.returncode == 0
