"""Waiting for descriptors, also in a program that has more than a thousand files open."""

from __future__ import annotations

import os
import re
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest
from tests.descriptors import FIRST_REFUSED, many_open

import railwright
from railwright.cli.keys import KeyPad, pressed
from railwright.cli.streams import Tolerant
from railwright.guard.readiness import ready
from railwright.running.interruption import StopRequest
from railwright.running.waiting import Triggers


@pytest.mark.parametrize("high", [False, True])
def test_what_can_be_read_or_written_is_known_and_waited_for(high: bool) -> None:
    with many_open() if high else closing(StopRequest()):
        reading, writing = os.pipe()
        assert (reading >= FIRST_REFUSED) is high
        assert ready([reading], [writing], 5.0) == {writing}
        began = time.monotonic()
        assert ready([reading], wait=0.0304) == set()
        assert 0.0304 <= time.monotonic() - began < 1.0
        threading.Timer(0.03, os.write, (writing, b"x")).start()
        assert ready([reading], wait=5.0) == {reading}
        os.read(reading, 1)
        os.close(writing)
        assert ready([reading]) == {reading}, "its end is something to read"
        os.close(reading)
        with pytest.raises(OSError, match="Bad file descriptor"):
            ready([reading], wait=0.0)
        with pytest.raises(ValueError, match="negative"):
            ready([-1], wait=0.0)


def test_nothing_else_of_the_program_waits_by_select() -> None:
    root = Path(railwright.__file__).parent
    calls = [each.name for each in root.rglob("*.py") if re.search(r"\bselect\.select\(", each.read_text())]
    assert calls == ["readiness.py"]


def test_a_request_ends_a_wait_of_a_program_with_many_files_open() -> None:
    with many_open(), closing(StopRequest()) as stop:
        assert stop.wait_fd >= FIRST_REFUSED
        assert not stop.wait(0.02)
        threading.Timer(0.03, stop.request, ["asked"]).start()
        began = time.monotonic()
        assert stop.wait(10.0)
        assert time.monotonic() - began < 5.0


def test_keys_and_lines_come_and_output_leaves_where_many_files_are_open(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with many_open():
        terminal, end = os.openpty()
        assert end >= FIRST_REFUSED
        with open(end, encoding="utf-8") as typed:
            monkeypatch.setattr("sys.stdin", typed)
            triggers = Triggers()
            triggers.begin("key")
            assert not triggers.arrived("key")
            os.write(terminal, b"\n")
            until = time.monotonic() + 5.0
            while not (came := triggers.arrived("key")) and time.monotonic() < until:
                time.sleep(0.01)
            assert came
            read = list[str]()

            class Pad(KeyPad):
                def __init__(self) -> None:
                    pass

                def press(self, key: str) -> None:
                    read.append(key)

                def lose(self) -> None:
                    read.append("lost")

            with pressed(Pad(), end):
                os.write(terminal, b"o")
                until = time.monotonic() + 5.0
                while not read and time.monotonic() < until:
                    time.sleep(0.01)
            assert read == ["o"]
        os.close(terminal)
        reading, writing = os.pipe()
        os.set_blocking(writing, False)
        whole = b"x" * 200_000
        sink = list[bytes]()
        taker = threading.Thread(target=lambda: sink.extend(iter(lambda: os.read(reading, 65536), b"")))
        stream = Tolerant(writing, "a pipe")
        threading.Timer(0.05, taker.start).start()
        assert stream.write(whole) == len(whole)
        os.close(writing)
        taker.join(5.0)
        os.close(reading)
        assert b"".join(sink) == whole
