"""Waiting for descriptors to be ready, whatever their numbers are."""

from __future__ import annotations

import errno
import math
import os
import select
from collections.abc import Iterable


def ready(reading: Iterable[int], writing: Iterable[int] = (), wait: float | None = None) -> set[int]:
    """Those of these descriptors that can be read, or written to, within `wait` [s]; None: however long that
    takes. One whose other end is gone counts as ready.

    select() has microseconds where poll() rounds up to milliseconds, but takes no descriptor from 1,024 on,
    which a notebook or a test host with many files open comes to. Raises OSError for one that is closed,
    ValueError for a negative one.
    """
    reading, writing = tuple(reading), tuple(writing)
    if any(each < 0 for each in (*reading, *writing)):
        raise ValueError(f"a descriptor is negative: {reading}, {writing}")
    try:
        readable, writable, _ = select.select(reading, writing, (), wait)
    except ValueError:
        return _polled(reading, writing, wait)
    return {*readable, *writable}


def _polled(reading: tuple[int, ...], writing: tuple[int, ...], wait: float | None) -> set[int]:
    asked = dict.fromkeys(reading, select.POLLIN)
    for each in writing:
        asked[each] = asked.get(each, 0) | select.POLLOUT
    poll = select.poll()
    for each, events in asked.items():
        poll.register(each, events)
    found = poll.poll(None if wait is None else math.ceil(wait * 1e3))
    if any(events & select.POLLNVAL for _, events in found):
        raise OSError(errno.EBADF, os.strerror(errno.EBADF))
    return {each for each, _ in found}
