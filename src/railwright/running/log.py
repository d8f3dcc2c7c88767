"""The log of a run: one complete JSON object a line, written at once, so that a crash costs the torn last
line only.
"""

from __future__ import annotations

import errno
import json
import os
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FSYNC_EVERY = 1.0
"""How often the log is forced onto the disk [s]: what a power failure can cost."""


class Log:
    """An append-only log. `write` hands the line to the system before it returns; a thread forces it onto the
    disk.

    A disk that takes its time would hold up the run, were it waited for there. Errors of either are raised by
    the next `write`.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = open(path, "xb", buffering=0)  # noqa: SIM115 - lives as long as the run
        self._error: OSError | None = None
        self._over = threading.Event()
        self._syncing = threading.Thread(target=self._sync, name="log to disk", daemon=True)
        self._syncing.start()

    def write(self, kind: str, **fields: Any) -> None:
        """One line. OSError where it cannot be written, now or as the disk said since."""
        if self._error is not None:
            raise self._error
        line = json.dumps(
            {"kind": kind, **fields}, separators=(",", ":"), allow_nan=False, ensure_ascii=False
        )
        data = line.encode() + b"\n"
        if self._file.write(data) != len(data):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(self.path))

    def close(self) -> None:
        """Force everything onto the disk and close. OSError where the disk refuses."""
        self._over.set()
        self._syncing.join()
        try:
            os.fsync(self._file.fileno())
        finally:
            self._file.close()
        if self._error is not None:
            raise self._error

    def _sync(self) -> None:
        while not self._over.wait(FSYNC_EVERY):
            try:
                os.fsync(self._file.fileno())
            except OSError as error:
                self._error = error
                return


def read_log(path: Path) -> Iterator[dict[str, Any]]:
    """The lines of a log as they were written; a torn last line is left out. ValueError for any other bad
    line.
    """
    with open(path, "rb") as file:
        number, bad = 0, ""
        for number, raw in enumerate(file, start=1):
            if bad:
                raise ValueError(bad)
            try:
                line = json.loads(raw)
            except ValueError:
                # Only the last line may be torn: the next turn of the loop finds that it was not the last.
                bad = f"{path}:{number}: expected a JSON object, got {raw[:40]!r}"
                continue
            if not isinstance(line, dict) or "kind" not in line:
                raise ValueError(f"{path}:{number}: expected a JSON object with 'kind', got {raw[:40]!r}")
            yield line
