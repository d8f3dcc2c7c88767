"""How a run ended: what of it keeps an evaluation from being a pass."""

from __future__ import annotations

from dataclasses import dataclass

from railwright.quantities import show


@dataclass(frozen=True, slots=True)
class Ending:
    """How a run ended.

    completed: the whole procedure was played. cause: why it was not, in words. at: when that was in the
    record [s]; None: before the first step. energised: something was switched on. off_confirmed: at the end
    every output that had to go off was read to be off; None: recorded by a version that did not confirm it.
    not_confirmed: a line for each input or output of which that could not be read.
    """

    completed: bool = True
    cause: str = ""
    at: float | None = None
    energised: bool = True
    off_confirmed: bool | None = True
    not_confirmed: tuple[str, ...] = ()

    @property
    def early(self) -> str:
        """When and why the run ended, as part of a sentence; empty where it was completed."""
        if self.completed:
            return ""
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
        if not self.energised:
            return f"{ended}, nothing was energised"
        if self.off_confirmed is None:
            return f"{ended}, off state as recorded by an earlier version"
        return f"{ended}, off {'confirmed' if self.off_confirmed else 'not confirmed'}"


COMPLETED = Ending()
"""Of a rehearsal, and of any record that is taken to be whole."""
