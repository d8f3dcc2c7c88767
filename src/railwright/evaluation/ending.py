"""How a run ended: what of it keeps an evaluation from being a pass."""

from __future__ import annotations

from dataclasses import dataclass

from railwright.quantities import show


@dataclass(frozen=True, slots=True)
class Ending:
    """How a run ended.

    completed: the whole procedure was played. expected_trip: a trip that the procedure requires ended it.
    cause: why it was not played whole, in words. at: when that was in the record [s]; None: before the first
    step. energised: something was switched on. off_confirmed: at the end
    every output that had to go off was read to be off; None: recorded by a version that did not confirm it.
    not_confirmed: a line for each input or output of which that could not be read.
    """

    completed: bool = True
    cause: str = ""
    at: float | None = None
    energised: bool = True
    off_confirmed: bool | None = True
    not_confirmed: tuple[str, ...] = ()
    expected_trip: bool = False

    @property
    def as_required(self) -> bool:
        """Whether it ended as the procedure asks: played to its end, or up to a trip that it requires."""
        return self.completed or self.expected_trip

    @property
    def early(self) -> str:
        """When and why the run ended, as part of a sentence; empty where it ended as required."""
        return "" if self.as_required else self._ended

    @property
    def by_trip(self) -> str:
        """When and by which trip it ended, as part of a sentence; empty where no expected one ended it."""
        return f"{self._ended}, as the procedure requires" if self.expected_trip else ""

    @property
    def _ended(self) -> str:
        when = "before its first step" if self.at is None else f"at {show(self.at, 's')}"
        return f"the run ended {when}, {self.cause}" if self.cause else f"the run ended {when}"

    @property
    def withheld(self) -> str:
        """Why no evaluation of this run is a pass, in words; empty where nothing stands against one."""
        reasons = [self.early] if self.early else []
        if self.off_confirmed is False:
            reasons.append(f"off not confirmed ({'; '.join(self.not_confirmed) or 'no output is named'})")
        return "; ".join(reasons)

    @property
    def words(self) -> str:
        """How it ended and how the outputs went off, in short: 'stopped, off confirmed'."""
        ended = "completed" if self.completed else "stopped"
        if self.expected_trip:
            ended = "ended by the required trip"
        if not self.energised:
            return f"{ended}, nothing was energised"
        if self.off_confirmed is None:
            return f"{ended}, off state as recorded by an earlier version"
        return f"{ended}, off {'confirmed' if self.off_confirmed else 'not confirmed'}"


COMPLETED = Ending()
"""Of a rehearsal, and of any record that is taken to be whole."""
