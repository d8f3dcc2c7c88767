"""How far a long computation is, and how long it still takes: on standard error."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from railwright.cli.exits import complain

FIRST, EVERY = 2.0, 10.0
"""Where nobody looks at a bar: a line after so long, and then one in so long [s]."""

Told = Callable[[int, int], None]
"""How many are done, and of how many."""


@contextmanager
def progress(what: str, quiet: bool = False) -> Iterator[Told]:
    """A bar with the time that is left where a terminal is, else a line now and then; nothing where quiet."""
    if quiet:
        yield lambda done, of: None
    elif not sys.stderr.isatty():
        yield _lines(what)
    else:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn(what), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
            task = bar.add_task(what, total=None)
            yield lambda done, of: bar.update(task, completed=done, total=of)


def _lines(what: str) -> Told:
    begin = time.monotonic()
    due = begin + FIRST

    def told(done: int, of: int) -> None:
        nonlocal due
        now = time.monotonic()
        if now < due or done >= of or not done:
            return
        due = now + EVERY
        left = (now - begin) / done * (of - done)
        complain(f"{what}: {done} of {of} cases, about {max(1, round(left))} s left")

    return told
