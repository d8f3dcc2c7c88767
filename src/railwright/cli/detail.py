"""How much a command prints: outcome and problems alone, as usual, or more.

Results go to standard output. What was read and how long each part took go to standard error, also beside
`--json`, which prints the same document however much is asked for.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from railwright.cli.exits import BadInput, complain, say


@dataclass(frozen=True)
class Detail:
    """Of one command: `--quiet` or `--verbose`; BadInput with both of them."""

    quiet: bool = False
    verbose: bool = False

    def __post_init__(self) -> None:
        if self.quiet and self.verbose:
            raise BadInput("--quiet: expected no --verbose beside it; leave one of them out")

    def say(self, line: object) -> None:
        """One line on standard output that is neither the outcome nor a problem."""
        if not self.quiet:
            say(line)

    def read(self, paths: Iterable[Path]) -> None:
        """Say which files were read, where that is asked for."""
        self._more(f"read: {', '.join(map(str, paths))}")

    def written(self, paths: Iterable[Path]) -> None:
        """Say which files were written, where that is asked for."""
        self._more(f"written: {', '.join(map(str, paths))}")

    @contextmanager
    def timed(self, what: str) -> Iterator[None]:
        """Say how long a part took, where that is asked for."""
        begin = time.perf_counter()
        yield
        self._more(f"{what}: {time.perf_counter() - begin:.2f} s")

    def _more(self, line: str) -> None:
        if self.verbose:
            complain(line)


USUAL = Detail()
