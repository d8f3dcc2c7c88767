"""The guard's own log, one JSON object a line. A thread writes it, so that no disk holds the guard up."""

from __future__ import annotations

import json
import os
import queue
import threading
from pathlib import Path
from typing import Any

WAITING = 10_000
"""Lines that wait for a disk that is slow, before further ones are left out."""


class Journal:
    """Lines for a file that may come later; none of its methods raises or waits for a disk, but `close`."""

    def __init__(self) -> None:
        self._lines: queue.Queue[bytes | None] = queue.Queue(WAITING)
        self._thread: threading.Thread | None = None

    def open(self, path: Path) -> None:
        """Begin to write to a file; lines from before go there too."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._write, args=(path,), name="journal", daemon=True)
            self._thread.start()

    def write(self, line: dict[str, Any]) -> None:
        """One line; left out where too many wait."""
        try:
            self._lines.put_nowait(json.dumps(line).encode() + b"\n")
        except (queue.Full, ValueError, TypeError):
            return

    def close(self, at_most: float = 2.0) -> None:
        """Have what waits written, as far as the disk does it in time [s]."""
        if self._thread is not None:
            try:
                self._lines.put_nowait(None)
            except queue.Full:
                return
            self._thread.join(at_most)

    def _write(self, path: Path) -> None:
        try:
            with open(path, "ab", buffering=0) as file:
                while (line := self._lines.get()) is not None:
                    file.write(line)
                os.fsync(file.fileno())
        except OSError:
            return
