"""What ends a run from within."""

from __future__ import annotations

from railwright.records.ended import Ended


class EndRun(Exception):
    """The run ends here: how, and why in one line."""

    def __init__(self, ended: Ended, cause: str) -> None:
        super().__init__(ended, cause)
        self.ended = ended
        self.cause = cause
