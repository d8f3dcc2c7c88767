"""One input under a time limit, and what is noted of those that end in anything but an answer."""

from __future__ import annotations

import resource
import signal
import time
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import FrameType


class Hang(BaseException):
    """Raised in an input that takes longer than it may; no handler of errors takes it for one of its own."""


def _hang(_signal: int, _frame: FrameType | None) -> None:
    raise Hang


@contextmanager
def limited(seconds: float) -> Iterator[None]:
    """Raise `Hang` in what takes longer."""
    before = signal.signal(signal.SIGALRM, _hang)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


@dataclass
class Findings:
    """What a part of the fuzz has tried and found; alike ones are counted and shown once.

    allowed: errors that may come out. limit: time that an input may take [s].
    """

    part: str
    allowed: tuple[type[BaseException], ...] = ()
    limit: float = 5.0
    tried: int = 0
    refused: int = 0
    slowest: float = 0.0
    found: dict[str, tuple[int, str]] = field(default_factory=dict)

    def attempt(self, do: Callable[[], object], shown: Callable[[], str]) -> None:
        """Try one input; shown: says which, where it ends in anything but an answer or an allowed error."""
        self.tried += 1
        begin = time.perf_counter()
        try:
            with limited(self.limit), warnings.catch_warnings():
                warnings.simplefilter("error")  # a warning on the terminal is none of a person's business
                do()
        except self.allowed as error:
            self.refused += 1
            self.check_lines(str(error), shown)
        except Hang as error:
            self.note(f"takes more than {self.limit:g} s in {_where(error)}", shown)
        except Exception as error:  # noqa: BLE001 (whatever it is, it is what is looked for)
            self.note(f"{type(error).__name__}: {str(error)[:160]!r} in {_where(error)}", shown)
        self.slowest = max(self.slowest, time.perf_counter() - begin)

    def check_lines(self, text: str, shown: Callable[[], str]) -> None:
        """What is told is fit to print, and no longer than a person reads."""
        if steering := steers(text):
            self.note(f"prints a control character {steering!r} in: {text[:160]!r}", shown)
        if len(text) > 100_000:
            self.note(f"tells {len(text)} characters", shown)

    def note(self, what: str, shown: Callable[[], str]) -> None:
        """Keep a finding, with the first input that led to it."""
        key = what.partition(":")[0] + (what.rpartition(" in ")[2] if " < " in what else "")
        count, first = self.found.get(key, (0, ""))
        self.found[key] = count + 1, first or f"{what}\n    {shown()}"

    def lines(self) -> Iterator[str]:
        """What was found, most often first, and the counts."""
        for count, first in sorted(self.found.values(), reverse=True):
            yield f"{self.part}: {count} times: {first}"
        counts = f"{self.tried} tried, {self.refused} refused in words, {len(self.found)} findings"
        yield f"{self.part}: {counts}, slowest {self.slowest * 1e3:.0f} ms"


def steers(text: str) -> str:
    """The first character of a text that would steer a terminal or turn a line; '' where there is none."""
    for character in text:
        at = ord(character)
        control = (at < 32 and character not in "\n\t") or 127 <= at < 160
        if control or 0x202A <= at <= 0x202E or 0x2066 <= at <= 0x2069 or 0xD800 <= at < 0xE000:
            return character
    return ""


def _where(error: BaseException) -> str:
    """The innermost frames in Railwright, and the very innermost."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [
        f"{f.filename.rpartition('railwright/')[2]}:{f.lineno}"
        for f in frames
        if "/railwright/" in f.filename
    ]
    last = f"{frames[-1].filename.rpartition('/')[2]}:{frames[-1].lineno}" if frames else "?"
    return " < ".join([*([] if own and own[-1].endswith(last) else [last]), *reversed(own[-3:])])


def peak() -> float:
    """Largest resident size of this process so far [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
