"""The log: never in the run's way, and what a disk that fails, hangs or vanishes costs."""

from __future__ import annotations

import errno
import os
import resource
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.said import figures, says

from railwright.records import log as log_module
from railwright.records.log import Log, LogLines


def reading(log: Log, number: int) -> None:
    log.write("reading", time=number / 100, input="main", at="at load", voltage=12.0, current=0.3, mode=1)


def within(limit: float, true: Callable[[], object]) -> float:
    """How long it took until something came true [s]; more than `limit` fails."""
    begin = time.monotonic()
    while not true():
        assert time.monotonic() - begin < limit
        time.sleep(0.005)
    return time.monotonic() - begin


def numbers(path: Path) -> list[float]:
    return [line["number"] for line in LogLines(path)]


class Hanging(Log):
    """A file system that hangs in the middle of a write, until it is let go."""

    def __init__(self, path: Path) -> None:
        self.hangs, self.goes_on = threading.Event(), threading.Event()
        super().__init__(path)

    def _put(self, data: memoryview) -> int:
        if self.hangs.is_set():
            self.goes_on.wait()
        return super()._put(data)


@pytest.fixture
def hanging(tmp_path: Path) -> Iterator[Hanging]:
    log = Hanging(tmp_path / "log.ndjson")
    yield log
    log.goes_on.set()
    log.close()


@contextmanager
def room_for(size: int) -> Iterator[None]:
    """The system refuses to let a file of this process grow beyond this."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_lines_are_with_the_system_soon_and_on_the_disk_within_a_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[int] = []
    fsync = os.fsync

    def watched(descriptor: int) -> None:
        fsync(descriptor)
        synced.append(os.fstat(descriptor).st_size)

    monkeypatch.setattr(os, "fsync", watched)
    log = Log(tmp_path / "log.ndjson")
    synced.clear()
    reading(log, 1)
    assert within(0.4, lambda: log.path.stat().st_size) < 0.2
    size = log.path.stat().st_size
    assert within(1.0, lambda: size in synced) < 0.9
    log.close()
    assert (log.failed, log.dropped) == (None, 0)
    assert log.longest_sync > 0.0
    log.close()
    reading(log, 2)
    assert log.dropped == 1


def test_everything_that_was_written_is_there_in_its_order(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.ndjson")
    for number in range(5000):
        log.write("reading" if number % 7 else "event", number=number)
    log.close()
    assert numbers(log.path) == list(range(5000))


@pytest.mark.parametrize(
    ("value", "read"),
    [
        (float("nan"), None),
        ([1.0, float("inf")], [1.0, None]),
        ({1: {2.5}}, {"1": "{2.5}"}),
        ("\udc80 Ω", "\udc80 Ω"),
    ],
)
def test_what_is_no_json_is_written_all_the_same(tmp_path: Path, value: object, read: object) -> None:
    log = Log(tmp_path / "log.ndjson")
    log.write("event", value=value)
    log.close()
    assert list(LogLines(log.path)) == [{"kind": "event", "value": read}]


def test_a_full_disk_is_told_within_a_second_and_what_was_written_stays_whole(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.ndjson")
    log.write("event", number=0)
    within(1.0, lambda: log.path.stat().st_size)
    with room_for(1010):
        for number in range(1, 101):
            log.write("reading", number=number)
        within(1.0, lambda: log.failed)
        for number in range(101, 111):
            log.write("event", number=number)
        log.close()
    assert log.failed is not None
    assert log.failed.errno == errno.EFBIG
    assert str(log.path) in str(log.failed)
    kept = numbers(log.path)
    assert kept == list(range(len(kept)))
    assert log.dropped == 111 - len(kept)
    assert LogLines(log.path).recovered == ""
    size = log.path.stat().st_size
    assert 1010 - 32 < size <= 1010
    assert log.path.read_bytes().endswith(b"\n")


def test_an_error_of_a_sync_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = Log(tmp_path / "log.ndjson")

    def broken(_: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(os, "fsync", broken)
    reading(log, 1)
    within(1.0, lambda: log.failed)
    assert log.failed is not None
    assert log.failed.errno == errno.EIO
    log.close()


@pytest.mark.parametrize("how", ["deleted", "moved"])
def test_a_folder_that_vanishes_is_told_within_a_second(tmp_path: Path, how: str) -> None:
    folder = tmp_path / "run"
    folder.mkdir()
    log = Log(folder / "log.ndjson")
    reading(log, 1)
    if how == "deleted":
        shutil.rmtree(folder)
    else:
        folder.rename(tmp_path / "elsewhere")
    within(1.0, lambda: log.failed)
    assert says(str(log.failed), "deleted")
    log.close()


def test_a_file_system_that_hangs_is_told_within_a_second_and_never_waited_for(hanging: Hanging) -> None:
    reading(hanging, 0)
    within(0.5, lambda: hanging.path.stat().st_size)
    hanging.hangs.set()
    begin = time.monotonic()
    slowest, number = 0.0, 1
    while hanging.failed is None:
        before = time.monotonic()
        reading(hanging, number)
        slowest = max(slowest, time.monotonic() - before)
        number += 1
        time.sleep(0.01)
    assert 0.7 < time.monotonic() - begin < 1.2
    assert slowest < 0.1
    assert says(str(hanging.failed), "keep up")
    # When it comes back after all, nothing was lost.
    hanging.goes_on.set()
    hanging.close()
    assert len(list(LogLines(hanging.path))) == number
    assert hanging.dropped == 0
    assert hanging.failed is not None


def test_close_gives_up_on_a_file_system_that_hangs(
    hanging: Hanging, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_module, "CLOSE_LIMIT", 0.2)
    hanging.hangs.set()
    reading(hanging, 0)
    begin = time.monotonic()
    hanging.close()
    assert time.monotonic() - begin < 0.6
    assert "hung" in str(hanging.failed)


def test_what_waits_for_the_disk_is_bounded(hanging: Hanging, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_module, "MOST_WAITING", 10_000)
    hanging.hangs.set()
    for _ in range(1000):
        reading(hanging, 0)
    assert hanging.dropped > 700
    assert says(str(hanging.failed), "slower")


def test_a_disk_that_takes_long_to_sync_is_waited_for_and_one_that_hangs_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    goes_on = threading.Event()
    log = Log(tmp_path / "log.ndjson")
    monkeypatch.setattr(os, "fsync", lambda _: goes_on.wait())
    reading(log, 1)
    time.sleep(1.3)
    assert log.failed is None
    monkeypatch.setattr(log_module, "SYNC_STALL", 0.2)
    within(0.5, lambda: log.failed)
    assert "to sync" in str(log.failed)
    goes_on.set()
    log.close()
    assert log.longest_sync > 0.5


WRITES = """
import sys, time
from pathlib import Path
from railwright.records.log import Log
log = Log(Path(sys.argv[1]))
number = 0
while True:
    log.write("reading" if number % 10 else "event", number=number, at=time.monotonic())
    number += 1
    if number == 100:
        print("on", flush=True)
    if number == 200 and sys.argv[2] == "raise":
        raise SystemExit(3)
    time.sleep(0.002)
"""


def _writing(path: Path, how: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITES, str(path), how]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def test_kill_costs_what_came_within_the_last_moment_only(tmp_path: Path) -> None:
    process = _writing(tmp_path / "log.ndjson", "kill")
    assert process.stdout is not None
    process.stdout.readline()
    time.sleep(0.3)
    killed = time.monotonic()
    process.send_signal(signal.SIGKILL)
    process.communicate(timeout=10)
    lines = list(LogLines(tmp_path / "log.ndjson"))
    assert [line["number"] for line in lines] == list(range(len(lines)))
    assert killed - lines[-1]["at"] < 0.25


def test_a_program_that_ends_by_an_exception_loses_nothing(tmp_path: Path) -> None:
    process = _writing(tmp_path / "log.ndjson", "raise")
    process.communicate(timeout=10)
    assert process.returncode == 3
    assert numbers(tmp_path / "log.ndjson") == list(range(200))


GOOD = b'{"kind":"end","number":1}\n'


@pytest.mark.parametrize(
    ("content", "count", "tail", "holes"),
    [
        (b"", 0, 0, 0),
        (GOOD * 3, 3, 0, 0),
        (GOOD * 3 + GOOD[:-1], 4, 0, 0),
        (GOOD * 3 + GOOD[:-2], 3, 24, 0),
        (GOOD * 3 + b"\0" * 4096, 3, 4096, 0),
        (GOOD * 3 + GOOD[:7] + b"\0" * 100, 3, 107, 0),
        (GOOD * 3 + GOOD[:-1] + b"\0" * 100, 4, 100, 0),
        (GOOD * 3 + b"\0" * 100 + GOOD, 4, 0, 100),
        (GOOD * 3 + GOOD[:7] + b"\0" * 100 + GOOD[9:] + GOOD, 4, 0, 124),
        (GOOD * 3 + b"\0" * 50 + GOOD[4:] + GOOD[:5], 3, 77, 0),
        (GOOD[:5], 0, 5, 0),
    ],
)
def test_what_a_power_failure_leaves(
    tmp_path: Path, content: bytes, count: int, tail: int, holes: int
) -> None:
    path = tmp_path / "log.ndjson"
    path.write_bytes(content)
    lines = LogLines(path)
    assert len(list(lines)) == count
    assert (lines.tail, lines.holes) == (tail, holes)
    assert figures(lines.recovered) == [str(lost) for lost in (tail, holes) if lost]


@pytest.mark.parametrize("bad", [b"\n", b"nonsense\n", b"[1]\n", b"[" * 100_000 + b"\n", b"\xff\xfe\n"])
@pytest.mark.parametrize("after", [GOOD, b"more nonsense\n"])
def test_any_other_bad_line_is_told(tmp_path: Path, bad: bytes, after: bytes) -> None:
    path = tmp_path / "log.ndjson"
    path.write_bytes(GOOD + bad + after)
    with pytest.raises(ValueError, match=r"log\.ndjson:2: expected a JSON object with 'kind', got"):
        list(LogLines(path))


def test_a_line_without_end_is_not_read_into_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_module, "LONGEST_LINE", 1000)
    path = tmp_path / "log.ndjson"
    path.write_bytes(GOOD + b"\0" * 10_000)
    lines = LogLines(path)
    assert len(list(lines)) == 1
    assert lines.tail == 10_000
    path.write_bytes(GOOD + b"x" * 10_000)
    with pytest.raises(ValueError, match=r"log\.ndjson:2: expected"):
        list(LogLines(path))


def test_what_is_no_file_is_not_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "log.ndjson")
    with pytest.raises(ValueError, match="expected the log of a run, got a pipe"):
        list(LogLines(tmp_path / "log.ndjson"))
