"""The log of a run: one complete JSON object a line, appended by a thread, so that no disk can hold up the
run. Standard library only, but for what looks at a file before it is read.
"""

from __future__ import annotations

import atexit
import errno
import json
import math
import os
import stat
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from railwright.records.names import RESERVE
from railwright.regular import LARGEST_LOG, Unfit, size_of

WRITE_EVERY = 0.05
"""How long a reading may wait before it is handed to the system [s]: what `kill -9` can cost."""

SYNC_EVERY = 0.5
"""How often the log is forced onto the disk [s]. With the time this takes, a power failure costs less than
1 s.
"""

STALL = 0.8
"""A line that the system has not taken for so long means that the file system hangs [s]."""

SYNC_STALL = 5.0
"""A disk that is busy may take a while; one that takes longer than this to sync counts as failed [s]."""

CLOSE_LIMIT = 5.0
"""How long `close` waits for a file system that hangs [s]."""

LOOK_AGAIN = 0.1
"""A stall is believed when a second look, so much later, finds it still there [s]: a process that was stopped
and goes on finds old lines, and its thread takes them at once.
"""

MOST_WAITING = 16 << 20
"""Bytes that may wait for the disk; what comes on top is dropped and counted."""

RESERVED = 128 << 10
"""Bytes that are kept free for the end of a run, should the disk be full before."""

LONGEST_LINE = 64 << 20
"""Bytes of a line when a log is read; what is longer is no line of a log."""

_encoder = json.JSONEncoder(separators=(",", ":"), allow_nan=False, ensure_ascii=False)


class Log:
    """An append-only log. `write` neither blocks nor raises: `failed` says that the disk no longer takes it.

    A thread hands the lines to the system every `WRITE_EVERY`, another forces them onto the disk every
    `SYNC_EVERY`. Once the disk has refused, the file is cut back to its last whole line, and later lines are
    dropped and counted in `dropped`. longest_sync: the longest that the disk took to sync so far [s].

    A reserve file lies beside it, unless `reserve` says no. It is deleted when the log closes or the disk is
    full; the log takes no lines after that, so run.json and the guard's log have the room.
    """

    def __init__(self, path: Path, *, reserve: bool = True) -> None:
        self.path = path
        self.dropped = 0
        self.longest_sync = 0.0
        flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        self._descriptor = os.open(path, flags, 0o666)
        self._reserve = path.with_name(RESERVE) if reserve else None
        try:
            # No zeros: those may take no room.
            if self._reserve is not None:
                self._reserve.write_bytes(os.urandom(RESERVED))
        except OSError:
            os.close(self._descriptor)
            self._give_back()
            with suppress(OSError):
                path.unlink()
            raise
        sync_folder(path.parent)
        self._error: OSError | None = None
        self._refused = False
        # A signal's handler may come in the middle of a write, and write a line of its own.
        self._lock = threading.RLock()
        self._lines: list[bytes] = []
        self._waiting = 0
        self._oldest = math.inf
        self._in_hand = math.inf
        self._taken = 0
        self._suspected = (-1, math.inf)
        self._size = self._synced = 0
        self._syncing = math.inf
        self._wake, self._over, self._closed = threading.Event(), threading.Event(), False
        self._writer = threading.Thread(target=self._write_lines, name="log", daemon=True)
        self._syncer = threading.Thread(target=self._sync, name="log to disk", daemon=True)
        self._writer.start()
        self._syncer.start()
        # Also where the program ends by an exception that nobody caught.
        atexit.register(self.close)

    @property
    def failed(self) -> OSError | None:
        """Why the disk takes no more, at most a second after it stopped; None: all is well. It stays."""
        if self._error is None:
            now = time.monotonic()
            if now - self._syncing > SYNC_STALL:
                self._error = self._time_out(f"it takes more than {SYNC_STALL:g} s to sync")
            elif now - min(self._oldest, self._in_hand) > STALL:
                taken, since = self._suspected
                if taken != self._taken:
                    self._suspected = (self._taken, now)
                elif now - since > LOOK_AGAIN:
                    self._error = self._time_out(f"it has taken nothing for {STALL + LOOK_AGAIN:g} s")
        return self._error

    def write(self, kind: str, **fields: Any) -> None:
        """One line, handed to the system soon; at once where it is no reading."""
        self.append(_encode({"kind": kind, **fields}), at_once=kind != "reading")

    def append(self, line: bytes, *, at_once: bool = False) -> None:
        """A whole line as it stands, its end included; otherwise as `write`."""
        with self._lock:
            # Not where it only hangs: it may come back, and the lines wait as far as there is room.
            full = self._waiting > MOST_WAITING
            if self._closed or self._refused or full:
                self.dropped += 1
                if full and self._error is None:
                    self._error = self._time_out("it is slower than the lines come")
                return
            if not self._lines:
                self._oldest = time.monotonic()
            self._lines.append(line)
            self._waiting += len(line)
        if at_once:
            self._wake.set()

    def close(self) -> None:
        """Write and sync what waits, and close; a file system that hangs is waited for `CLOSE_LIMIT`."""
        atexit.unregister(self.close)
        with self._lock:
            if self._closed:
                return
            self._closed = True
        self._over.set()
        self._wake.set()
        end = time.monotonic() + CLOSE_LIMIT
        for thread in (self._writer, self._syncer):
            thread.join(max(0.0, end - time.monotonic()))
        if self._writer.is_alive() or self._syncer.is_alive():
            # The descriptor stays open: the threads still use it.
            self._error = self._error or self._time_out(f"it hung for {CLOSE_LIMIT:g} s at the end")
            return
        self._look()
        self._to_disk()
        with suppress(OSError):
            os.close(self._descriptor)
        self._give_back()

    def _give_back(self) -> None:
        if self._reserve is not None:
            with suppress(OSError):
                self._reserve.unlink(missing_ok=True)

    def _write_lines(self) -> None:
        over = False
        while not over:
            self._wake.wait(WRITE_EVERY)
            self._wake.clear()
            over = self._over.is_set()
            with self._lock:
                lines, self._lines, self._waiting = self._lines, [], 0
                self._in_hand, self._oldest = self._oldest, math.inf
            if lines:
                self._append(b"".join(lines), len(lines))
            self._in_hand = math.inf
            self._taken += 1

    def _append(self, data: bytes, lines: int) -> None:
        """Hand whole lines to the system; what it does not take is cut back to the last whole line."""
        if self._refused:
            self.dropped += lines
            return
        done = 0
        try:
            while done < len(data):
                done += self._put(memoryview(data)[done:])
        except OSError as error:
            self._refuse(error)
            whole = data.rfind(b"\n", 0, done) + 1
            self.dropped += data.count(b"\n", whole)
            self._size += whole
            with suppress(OSError):
                os.ftruncate(self._descriptor, self._size)
        else:
            self._size += done

    def _put(self, data: memoryview) -> int:
        """Bytes that the system took. OSError where it takes none."""
        taken = os.write(self._descriptor, data)
        if not taken:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return taken

    def _sync(self) -> None:
        while not self._over.wait(SYNC_EVERY):
            self._look()
            self._to_disk()

    def _look(self) -> None:
        """Whether the log is still there: a deleted file takes everything and keeps nothing."""
        try:
            gone = os.fstat(self._descriptor).st_nlink == 0 or not stat.S_ISREG(os.stat(self.path).st_mode)
        except FileNotFoundError:
            gone = True
        except OSError as error:
            self._refuse(error)
            return
        if gone:
            self._refuse(OSError(errno.ENOENT, "the log was deleted or moved away"))

    def _to_disk(self) -> None:
        size, begin = self._size, time.monotonic()
        if size == self._synced:
            return
        self._syncing = begin
        try:
            os.fsync(self._descriptor)
            self._synced = size
        except OSError as error:
            self._refuse(error)
        self._syncing = math.inf
        self.longest_sync = max(self.longest_sync, time.monotonic() - begin)

    def _refuse(self, error: OSError) -> None:
        """The disk takes no more: the first reason counts, and later lines are dropped."""
        self._error = self._error or OSError(error.errno, error.strerror, str(self.path))
        self._refused = True
        self._give_back()

    def _time_out(self, what: str) -> OSError:
        return TimeoutError(errno.ETIMEDOUT, f"the disk does not keep up: {what}", str(self.path))


class LogLines:
    """The lines of a log as they were written, each time it is iterated over.

    A torn tail is left out, and what a power failure left empty (NUL bytes); afterwards `tail` is the length
    of that tail [bytes], and `holes` the bytes left out before it. ValueError for any other bad line.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.tail = self.holes = 0

    def __iter__(self) -> Iterator[dict[str, Any]]:
        self.tail = self.holes = 0
        bad = ""
        for number, raw in enumerate(raw_lines(self.path), start=1):
            empty = b"\0" in raw
            line = decode_line(raw.strip(b"\0") if empty else raw)
            # Only the last line may be torn: whether it was the last is known when another follows.
            if bad and (line is not None or not empty):
                raise ValueError(bad)
            if line is None:
                self.tail += len(raw)
                if not empty:
                    bad = f"{self.path}:{number}: expected a JSON object with 'kind', got something else"
                continue
            self.holes += self.tail + len(raw) - len(raw.lstrip(b"\0"))
            self.tail = len(raw) - len(raw.rstrip(b"\0"))
            yield line

    @property
    def recovered(self) -> str:
        """What was left out, in one line; empty where the log is whole."""
        told = []
        if self.holes:
            told.append(f"{self.holes} bytes inside it were never written to the disk and were left out")
        if self.tail:
            told.append(f"the last {self.tail} bytes are no whole line and were left out")
        return f"{self.path.name}: {'; '.join(told)}" if told else ""


def raw_lines(path: Path) -> Iterator[bytes]:
    """Lines as they lie on disk, in pieces of at most `LONGEST_LINE`. OSError; ValueError for what is no
    file.
    """
    try:
        size_of(path, LARGEST_LOG)
    except Unfit as error:
        raise ValueError(f"{path}: expected the log of a run, got {error}") from None
    with open(path, "rb", buffering=1 << 20) as file:
        while raw := file.readline(LONGEST_LINE):
            yield raw


def sync_folder(folder: Path) -> None:
    """Force a folder's list of files onto the disk, where the system can: a new file survives with it."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _encode(line: dict[str, Any]) -> bytes:
    try:
        text = _encoder.encode(line)
    except (ValueError, TypeError, RecursionError):
        # NaN is no JSON, and the log takes whatever it is given.
        text = _encoder.encode(_plain(line))
    return text.encode("utf-8", "backslashreplace") + b"\n"


def _plain(value: Any) -> Any:
    """A value as JSON can hold it: what is no finite number is null, what is no JSON is its text."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    return value if value is None or isinstance(value, str | int) else str(value)


def decode_line(raw: bytes) -> dict[str, Any] | None:
    """A line of a log; None where it is no whole one."""
    try:
        line = json.loads(raw.decode())
    except (ValueError, RecursionError):
        return None
    return line if isinstance(line, dict) and "kind" in line else None
