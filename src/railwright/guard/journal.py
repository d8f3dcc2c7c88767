"""The guard's own log, one JSON object a line. A thread writes it, so that no disk holds the guard up."""

from __future__ import annotations

import errno
import fcntl
import json
import os
import queue
import threading
from contextlib import suppress
from io import FileIO
from pathlib import Path
from typing import Any

WAITING = 10_000
"""Lines that wait for a disk that is slow, before further ones are left out."""

PATIENCE = 0.5
"""How long a disk that is full is waited for before it is tried again [s]."""

FULL = (errno.ENOSPC, errno.EDQUOT)
"""What a disk says that has no room."""


class Journal:
    """Lines for a file that may come later; none of its methods raises or waits for a disk, but `close`."""

    def __init__(self) -> None:
        self._lines: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._left_out = False
        self._thread: threading.Thread | None = None
        self._closing = threading.Event()

    def open(self, path: Path, reserve: Path) -> None:
        """Begin to write to a file; lines from before go there too. reserve: file that holds room; deleted
        when the disk is full.
        """
        if self._thread is None:
            files = path, reserve
            self._thread = threading.Thread(target=self._write, args=files, name="journal", daemon=True)
            self._thread.start()

    def write(self, line: dict[str, Any]) -> None:
        """One line; left out where too many wait."""
        try:
            told = json.dumps(line).encode() + b"\n"
        except (ValueError, TypeError):
            told = b""
        if told and self._lines.qsize() < WAITING:
            self._lines.put(told)
        else:
            self._left_out = True

    def close(self, last: dict[str, Any], at_most: float = 2.0) -> None:
        """Have what waits written, as far as the disk does it in time [s]. last: the line that says that what
        is not told did not happen; left out where any was.
        """
        if not self._left_out:
            self._lines.put(json.dumps(last).encode() + b"\n")
        if self._thread is not None:
            self._closing.set()
            self._lines.put(None)
            self._thread.join(at_most)

    def _write(self, path: Path, reserve: Path) -> None:
        try:
            with open(path, "ab", buffering=0) as file:
                with suppress(OSError):  # whoever reads the run sees by it that its guard lives
                    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                while (line := self._lines.get()) is not None:
                    self._put(file, line, reserve)
                os.fsync(file.fileno())
        except OSError:
            return

    def _put(self, file: FileIO, line: bytes, reserve: Path) -> None:
        """Write a whole line; on a disk that is full, wait for room, until it is the last that is tried."""
        last = False
        while line:
            try:
                if not (taken := file.write(line)):
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                line = line[taken:]
            except OSError as error:
                if last or error.errno not in FULL:
                    raise
                # The run comes first: its log takes nothing more once it has found the disk full.
                last = self._closing.wait(PATIENCE)
                with suppress(OSError):
                    reserve.unlink()
