"""What goes wrong at an instrument, said in one line: which instrument, at which command, and what."""

from __future__ import annotations


class InstrumentError(Exception):
    """An instrument did not do as it was told, or does not answer.

    lost: it can no longer be reached over this session (closed, or no answer in time).
    """

    def __init__(self, instrument: str, command: str, what: str, *, lost: bool = False) -> None:
        super().__init__(instrument, command, what)
        self.instrument = instrument
        self.command = command
        self.what = what
        self.lost = lost

    def __str__(self) -> str:
        return f"{self.instrument}: {self.what}" + (f" (at '{self.command}')" if self.command else "")
