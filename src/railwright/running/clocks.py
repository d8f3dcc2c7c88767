"""The clocks of the computer in a run: one that was set is a note, a computer that slept ends the run."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from railwright.quantities import show

SET_BY = 0.5
"""From so much on the time of day counts as set, not as drifting [s]."""

SLEPT = 0.5
"""From so much on the computer counts as having slept [s]."""

LOOK_EVERY = 0.5
"""How often the clocks are compared [s]."""


def _boot_time() -> float:
    """A clock that goes on while the computer sleeps, where there is one [s]."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


@dataclass
class Clocks:
    """Compares the time of day, and a clock that goes on while the computer sleeps, with the one that a run
    is timed by.
    """

    monotonic: Callable[[], float] = time.monotonic
    time_of_day: Callable[[], float] = time.time
    boot_time: Callable[[], float] = _boot_time
    notes: list[str] = field(default_factory=list)
    """What happened to the time of day, in words."""

    def __post_init__(self) -> None:
        self._seen = self.monotonic()
        self._ahead, self._asleep = self.time_of_day() - self._seen, self.boot_time() - self._seen

    def look(self) -> str:
        """Why the run has to end, '' where nothing is wrong: the computer slept. Compares twice a second."""
        now = self.monotonic()
        if now - self._seen < LOOK_EVERY:
            return ""
        self._seen = now
        ahead, asleep = self.time_of_day() - now, self.boot_time() - now
        slept, set_by = asleep - self._asleep, ahead - self._ahead
        self._ahead, self._asleep = ahead, asleep
        if slept > SLEPT:
            return f"the computer slept for {show(slept, 's')}: nobody watched the outputs meanwhile"
        if abs(set_by) > SET_BY:
            way = "forward" if set_by > 0 else "back"
            self.notes.append(f"the computer's time of day was set {way} by {show(abs(set_by), 's')}")
        return ""
