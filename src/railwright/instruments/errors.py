"""What goes wrong at an instrument, said in one line: which instrument, at which command, and what."""

from __future__ import annotations

from railwright.printable import printable

LONGEST_TOLD = 400
"""Characters of an instrument's own words that are told; what is left out stands in the trace."""


class InstrumentError(Exception):
    """An instrument did not do as it was told, or does not answer.

    lost: it can no longer be reached over this session (closed, or no answer in time). told: the same without
    the instrument's name. remedy: what to do about it, where that is known.
    """

    remedy = ""

    def __init__(self, instrument: str, command: str, what: str, *, lost: bool = False) -> None:
        what = _told(what)
        super().__init__(instrument, command, what)
        self.instrument = instrument
        self.command = command
        self.what = what
        self.lost = lost

    @property
    def told(self) -> str:
        return self.what + (f" (at '{self.command}')" if self.command else "")

    def __str__(self) -> str:
        return f"{self.instrument}: {self.told}"


class NotReached(InstrumentError):
    """Nothing has ever been heard from it at its address."""

    remedy = (
        "simulated supplies: start 'railwright twin BENCH' first, or run with --twins; "
        "real ones: check that they are on, their cables, and the addresses in the bench document"
    )

    def __init__(self, instrument: str, what: str) -> None:
        super().__init__(instrument, "", what, lost=True)


class Fenced(InstrumentError):
    """The guard has switched off and passes nothing on any more."""


def _told(what: str) -> str:
    """What is wrong as one line: an answer may hold anything, and any amount of it."""
    cut = what if len(what) <= LONGEST_TOLD else f"{what[:LONGEST_TOLD]}... ({len(what)} characters)"
    return printable(cut, one_line=True)
