"""Keys by which a person leads a run at the terminal: one of several switches off, on takes two."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from railwright.guard.readiness import ready
from railwright.quantities import parse_value, show

if TYPE_CHECKING:
    from railwright.running.requests import Requests

ALWAYS_OFF = "\x1b"
"""Escape: off, whatever is being typed."""

OFF = " o0\x7f\x08\t" + ALWAYS_OFF
"""Keys that switch off where nothing is typed."""

YES = "y\r\n"
"""The second key of what switches on or moves."""

KEYS = "Space, Esc or o: off   i: on   v: another voltage   m: mark   q: off and end"

LONGEST = 80
"""Signs of a line that is typed."""


class KeyPad:
    """Turns keys into requests. Off needs one key; what switches on or moves a second one, at once after it.

    prompt: what is being typed or waits for its second key, for people; '' for nothing.
    """

    def __init__(self, requests: Requests, by: str) -> None:
        self._requests, self._by = requests, by
        self._level = requests.level
        self._typing: str | None = None
        self._typed = ""
        self._second: tuple[str, Callable[[], None]] | None = None
        self._said = ""
        self._marks = 0

    @property
    def prompt(self) -> str:
        if self._second is not None:
            return f"{self._second[0]}: y to do it, any other key leaves it"
        if self._typing is not None:
            return f"{self._typing}: {self._typed}_   (Esc: off)"
        return self._said

    def press(self, key: str) -> None:
        """One key, as the terminal sends it."""
        second, self._second, self._said = self._second, None, ""
        if key == ALWAYS_OFF or (self._typing is None and key in OFF):
            self._typing, self._typed = None, ""
            self._requests.off(self._by)
        elif self._typing is not None:
            self._type(key)
        elif second is not None:
            if key in YES:
                second[1]()
        elif key == "q":
            self._requests.end(self._by)
        elif key == "i":
            self._second = f"on at {show(self._level, 'V')}", lambda: self._requests.on(self._by)
        elif key == "v":
            self._typing = "voltage"
        elif key == "m":
            self._marks += 1
            # Its time is that of the key; what it is about can be typed after.
            self._requests.mark(f"{self._marks}", self._by)
            self._typing = f"mark {self._marks}"

    def lose(self) -> None:
        """No more keys will come: nobody could switch it off."""
        self._requests.end("the program, as its terminal is gone")

    def _type(self, key: str) -> None:
        if key in "\r\n":
            typing, text = self._typing, self._typed.strip()
            self._typing, self._typed = None, ""
            if typing == "voltage":
                self._ask_level(text)
            elif text:
                self._requests.mark(f"{self._marks}: {text}", self._by)
        elif key in "\x7f\x08":
            self._typed = self._typed[:-1]
        elif key.isprintable():
            self._typed = (self._typed + key)[:LONGEST]

    def _ask_level(self, text: str) -> None:
        """A level was typed: it waits for its second key, where it is one of those that were checked."""
        try:
            volts = parse_value(text if text[-1:].isalpha() else f"{text} V", "V")
        except ValueError as error:
            self._said = str(error)
            return
        if not self._requests.holds(volts):
            low, high = show(self._requests.low, "V"), show(self._requests.high, "V")
            self._said = f"expected {low} to {high}, as was checked, got {show(volts, 'V')}"
            return

        def go() -> None:
            self._level = volts
            self._requests.go_to(volts, self._by)

        self._second = show(volts, "V"), go


@contextlib.contextmanager
def pressed(pad: KeyPad, descriptor: int) -> Iterator[None]:
    """Keys of a terminal go to the pad, one by one and unseen, while this lasts. Ctrl-C stays a signal."""
    import termios
    import tty

    before = termios.tcgetattr(descriptor)
    over = threading.Event()

    def read() -> None:
        try:
            while not over.is_set():
                if not ready([descriptor], wait=0.1):
                    continue
                try:
                    piece = os.read(descriptor, 64)
                except OSError:
                    piece = b""
                if not piece:
                    return
                # What begins with Escape and goes on is an arrow or a function key: Escape all the same.
                for key in piece.decode("utf-8", "replace"):
                    pad.press(key)
        finally:
            # However it ended: nobody reads keys any more.
            if not over.is_set():
                pad.lose()

    tty.setcbreak(descriptor)
    reader = threading.Thread(target=read, name="keys", daemon=True)
    reader.start()
    try:
        yield
    finally:
        over.set()
        reader.join(0.5)
        with contextlib.suppress(termios.error):
            termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
