"""Whether a run still goes on: it holds its log by a lock for as long as it lives, and its guard its journal.

The system lets go of a lock when its process ends, however it ends. Standard library only.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from railwright.records.names import GUARD_LOG, LOG


@contextmanager
def going_on(log: Path) -> Iterator[None]:
    """Hold the log of a run, where its file system has locks. It never waits or raises."""
    descriptor = -1
    with suppress(OSError):
        descriptor = os.open(log, os.O_RDONLY | os.O_NONBLOCK)
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    try:
        yield
    finally:
        if descriptor >= 0:
            os.close(descriptor)


def who_goes_on(folder: Path) -> str:
    """Who still writes to the folder of a run, for people; '' where nobody does."""
    if _held(folder / LOG):
        return "a run that still goes on"
    return "a run whose guard still switches off" if _held(folder / GUARD_LOG) else ""


def _held(path: Path) -> bool:
    """Whether a living process holds a file."""
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except OSError:
        return False
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:  # a file system without locks
        return False
    else:
        return False
    finally:
        os.close(descriptor)
