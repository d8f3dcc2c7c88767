"""A program with many files open: what it opens next has numbers that select() does not take."""

from __future__ import annotations

import os
import resource
from collections.abc import Iterator
from contextlib import contextmanager

FIRST_REFUSED = 1024
"""select() knows no descriptor from this number on (FD_SETSIZE of Linux and macOS)."""


@contextmanager
def many_open() -> Iterator[None]:
    """While this lasts, whatever is opened has a number from `FIRST_REFUSED` on."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = FIRST_REFUSED + 200
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, min(wanted, hard)), hard))
    opened = [os.open(os.devnull, os.O_RDONLY)]
    try:
        while opened[-1] < FIRST_REFUSED:
            opened.append(os.dup(opened[0]))
        yield
    finally:
        for each in opened:
            os.close(each)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
