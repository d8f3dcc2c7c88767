"""What a person or a program asks of a run that is led by hand, from any thread."""

from __future__ import annotations

import math
from collections import deque
from typing import Literal, NamedTuple


class Request(NamedTuple):
    """One thing asked, and who asks. voltage: of a level [V]. text: of a mark, as it was typed."""

    what: Literal["off", "on", "level", "mark", "end"]
    by: str
    voltage: float = math.nan
    text: str = ""


class Requests:
    """Takes what is asked of one input; the run fetches it in its own loop, and does it.

    low, high: the levels [V] between which everything was checked. level: that of the first switching-on.
    """

    def __init__(self, name: str, low: float, high: float, level: float) -> None:
        self.name, self.low, self.high, self.level = name, low, high, level
        self._asked: deque[Request] = deque()

    def off(self, by: str) -> None:
        """The output off; the run goes on."""
        self._asked.append(Request("off", by))

    def on(self, by: str) -> None:
        """The output on again, at the level that was asked for last."""
        self._asked.append(Request("on", by))

    def go_to(self, voltage: float, by: str) -> None:
        """Another level [V]: at once where the output is on, else when it is switched on next."""
        self._asked.append(Request("level", by, voltage))

    def mark(self, text: str, by: str) -> None:
        """A line in the record, at this instant."""
        self._asked.append(Request("mark", by, text=text))

    def end(self, by: str) -> None:
        """The output off, and the run over."""
        self._asked.append(Request("end", by))

    def take(self) -> list[Request]:
        """What was asked since, in its order; nothing that switches on or moves before an *off* of the same
        moment.
        """
        taken: list[Request] = []
        while self._asked:
            request = self._asked.popleft()
            if request.what in ("off", "end"):
                taken = [each for each in taken if each.what == "mark"]
            taken.append(request)
        return taken

    def holds(self, voltage: float) -> bool:
        """Whether a level [V] is one of those that were checked."""
        slack = 1e-9 * max(abs(self.low), abs(self.high))
        return self.low - slack <= voltage <= self.high + slack
