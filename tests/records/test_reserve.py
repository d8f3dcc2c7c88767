"""On a disk that is full, the run's end and the guard's own log have room that was kept for them."""

from __future__ import annotations

import errno
import json
import os
import threading
import time
from collections.abc import Callable
from io import FileIO
from pathlib import Path

import pytest
from tests.running.small import Small

from railwright.guard import journal as journal_module
from railwright.guard.journal import WAITING, Journal
from railwright.records import log as log_module
from railwright.records.ended import Ended
from railwright.records.guard_journal import read_journal
from railwright.records.log import RESERVED, Log
from railwright.records.names import RESERVE
from railwright.records.stored import open_run
from railwright.running.outcome import FolderRefused


def in_time(true: Callable[[], bool]) -> bool:
    end = time.monotonic() + 5.0
    while not true() and time.monotonic() < end:
        time.sleep(0.005)
    return true()


def test_a_log_keeps_room_and_gives_it_back_at_its_end(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.ndjson")
    assert (tmp_path / RESERVE).stat().st_size == RESERVED
    assert (tmp_path / RESERVE).stat().st_blocks * 512 >= RESERVED
    log.close()
    assert [path.name for path in tmp_path.iterdir()] == ["log.ndjson"]


class Full(Log):
    """Takes one line; `refused`: whether it had given up its own writing when the room was given back."""

    taken = 0
    refused: bool | None = None

    def _put(self, data: memoryview) -> int:
        if self.taken:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self.taken += 1
        return super()._put(data)

    def _give_back(self) -> None:
        if self.refused is None:
            self.refused = self._refused and self.failed is not None
        super()._give_back()


def test_a_full_log_takes_nothing_of_the_room_that_it_gives_back(tmp_path: Path) -> None:
    log = Full(tmp_path / "log.ndjson")
    log.write("event", number=1)
    assert in_time(lambda: bool(log.taken))
    log.write("event", number=2)
    assert in_time(lambda: not (tmp_path / RESERVE).exists())
    assert log.refused is True
    log.write("event", number=3)
    log.close()
    lines = (tmp_path / "log.ndjson").read_text().splitlines()
    assert [json.loads(line)["number"] for line in lines] == [1]
    assert log.dropped == 2


@pytest.mark.parametrize("reason", [errno.ENOSPC, errno.EDQUOT])
def test_a_disk_that_tells_it_is_full_when_it_syncs_gives_the_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reason: int
) -> None:
    """As one over a network does."""
    log = Log(tmp_path / "log.ndjson")

    def full(_: int) -> None:
        raise OSError(reason, os.strerror(reason))

    monkeypatch.setattr(os, "fsync", full)
    log.write("event", number=1)
    assert in_time(lambda: not (tmp_path / RESERVE).exists())
    assert log.failed is not None
    assert log.failed.errno == reason
    log.write("event", number=2)
    log.close()
    assert log.dropped == 1


@pytest.mark.slow
def test_a_disk_without_that_room_takes_no_run(bench: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, data: bytes) -> int:
        path.touch()
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))

    with monkeypatch.context() as patched:
        patched.setattr(log_module.Path, "write_bytes", full)
        with pytest.raises(FolderRefused, match=os.strerror(errno.ENOSPC)):
            bench.run()
    assert not bench.ever_on
    assert not list((bench.folder / "run").iterdir())
    assert bench.run().ended is Ended.COMPLETED


@pytest.mark.slow
def test_a_run_leaves_no_reserve(bench: Small) -> None:
    folder = bench.run().folder
    assert not (folder / RESERVE).exists()
    assert open_run(folder).differences.sound


class Little(FileIO):
    """A file on a disk that has room for some bytes, and for any number once the reserve is gone. silent: it
    takes none then, and tells no error.
    """

    room = 0
    silent = False
    reserve = Path()

    def write(self, data: bytes) -> int:  # type: ignore[override]
        if not self.reserve.exists():
            return super().write(data)
        taken = super().write(data[: self.room]) if self.room else 0
        type(self).room -= taken
        if not taken and not self.silent:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return taken


@pytest.fixture
def little(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> type[Little]:
    class Own(Little):
        reserve = tmp_path / RESERVE

    Own.reserve.write_bytes(b"x")
    monkeypatch.setattr(journal_module, "open", lambda path, *_, **__: Own(path, "ab"), raising=False)
    return Own


@pytest.mark.parametrize("room", [0, 1, 17, 25, 60])
@pytest.mark.parametrize("gives", ["the run", "nobody"])
@pytest.mark.parametrize("silent", [False, True])
def test_the_guards_log_comes_to_its_end_on_a_full_disk(
    tmp_path: Path, little: type[Little], monkeypatch: pytest.MonkeyPatch, room: int, gives: str, silent: bool
) -> None:
    """The run gives room, or is gone; no line is torn, none is lost, and whoever writes one never waits."""
    monkeypatch.setattr(journal_module, "PATIENCE", 0.02)
    little.room, little.silent = room, silent
    journal = Journal()
    journal.open(tmp_path / "guard.ndjson", little.reserve)
    begin = time.monotonic()
    for number in range(5):
        journal.write({"kind": "off", "number": number})
    assert time.monotonic() - begin < 0.5
    if gives == "the run":
        little.reserve.unlink()
    journal.close({"kind": "over", "number": 5})
    lines = (tmp_path / "guard.ndjson").read_text().splitlines()
    assert [json.loads(line)["number"] for line in lines] == [0, 1, 2, 3, 4, 5]
    assert not little.reserve.exists()


@pytest.mark.parametrize("silent", [False, True])
def test_a_disk_that_stays_full_does_not_hold_up_the_guards_end(
    tmp_path: Path, little: type[Little], monkeypatch: pytest.MonkeyPatch, silent: bool
) -> None:
    """Nor does its thread go on for ever."""
    monkeypatch.setattr(little, "reserve", tmp_path)
    little.silent, before = silent, threading.enumerate()
    journal = Journal()
    journal.open(tmp_path / "guard.ndjson", tmp_path / RESERVE)
    journal.write({"kind": "off"})
    time.sleep(0.05)
    begin = time.monotonic()
    journal.close({"kind": "over"}, 2.0)
    assert time.monotonic() - begin < 1.0
    assert set(threading.enumerate()) <= set(before)


@pytest.mark.parametrize("more", [-1, 0, 1, 50])
def test_a_queue_that_is_full_is_written_too(tmp_path: Path, little: type[Little], more: int) -> None:
    """The last line says that nothing else happened, which nobody knows where a line was left out."""
    journal = Journal()
    for _ in range(WAITING + more):
        journal.write({"kind": "off"})
    if more > 0:
        journal.write({"kind": "arm", "armed": True})
    journal.open(tmp_path / "guard.ndjson", little.reserve)
    journal.close({"kind": "over"}, 5.0)
    lines = (tmp_path / "guard.ndjson").read_text().splitlines()
    assert len(lines) == WAITING + min(more, 0) + (more <= 0)
    told = read_journal(tmp_path / "guard.ndjson")
    assert (told.armed, told.closed) == (False, more <= 0)
