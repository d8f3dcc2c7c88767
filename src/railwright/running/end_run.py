"""What ends a run from within."""

from __future__ import annotations

from collections.abc import Mapping

from railwright.records.ended import Ended


class EndRun(Exception):
    """The run ends here: how, and why in one line. linked: input that goes off at once by that -> the input
    whose trip takes it along.
    """

    def __init__(self, ended: Ended, cause: str, linked: Mapping[str, str] | None = None) -> None:
        super().__init__(ended, cause)
        self.ended = ended
        self.cause = cause
        self.linked = dict(linked or {})
