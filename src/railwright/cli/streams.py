"""Standard output and error that a command can always write to: what cannot be written is lost, and counted.

A reader that went away, a full disk, a closed terminal or an encoding without `Ω` never raise, so that they
neither end a command nor change its exit code. A reader that is slow is waited for, as by any program; during
a run, `railwright.cli.printer` does the waiting.
"""

from __future__ import annotations

import codecs
import contextlib
import errno
import io
import os
import sys
from typing import Any, TextIO

from railwright.guard.readiness import ready

GONE = frozenset((errno.EPIPE, errno.EIO, errno.EBADF))
"""Nobody reads any more after these: a pipe without reader, a terminal that went away, a closed file."""

SPELT = {
    "Ω": "Ohm", "µ": "u", "μ": "u", "°": "deg ", "±": "+/-", "×": "x", "−": "-", "–": "-", "…": "...",
    "→": "->", "←": "<-", "≤": "<=", "≥": ">=", "≈": "~", "²": "^2", "³": "^3", "‘": "'", "’": "'", "·": "*",
    "●": "(o)", "✕": "(x)", "◌": "(?)", "■": "[#]", "▲": "/!\\", "†": "+",
    "─": "-", "━": "-", "╺": "-", "╸": "-",
}  # fmt: skip
"""How characters are spelt where the encoding has none of them; any other becomes its escape."""


def _spell(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    wrong = error.object[error.start : error.end]
    plain = (SPELT.get(each) or each.encode("ascii", "backslashreplace").decode() for each in wrong)
    return "".join(plain), error.end


codecs.register_error("railwright.spelt", _spell)


class Tolerant(io.RawIOBase):
    """Bytes to a file descriptor. What cannot be written is dropped and counted; nothing is raised.

    lost: bytes dropped so far. reason: the error of the first, None while all was written. Where writing goes
    on after a gap, a line says so. The one exception that passes is that of a signal (Ctrl-C), after which
    nothing more is written: who interrupts the waiting for a reader does not want to wait for it again.
    """

    def __init__(self, descriptor: int, name: str) -> None:
        self.name = name
        self.mode = "wb"
        self.lost = 0
        self.reason: OSError | None = None
        self._descriptor = descriptor
        self._given_up = False
        self._gap = False

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self._descriptor

    def isatty(self) -> bool:
        return os.isatty(self._descriptor)

    def give_up(self) -> None:
        """Drop everything from now on, also what a thread is still waiting to write."""
        self._given_up = True

    def write(self, data: Any) -> int:
        """Write all of it, waiting for a slow reader; what cannot be written is dropped. Its length."""
        left = memoryview(data).cast("B")
        whole = len(left)
        if self._gap and not self._given_up and self.reason is not None:
            note = f"\n… here some output could not be written ({self.reason.strerror})\n"
            left = memoryview(note.encode("ascii", "railwright.spelt") + bytes(left))
        try:
            while left and not self._given_up:
                left = left[self._write_some(left) :]
                self._gap = False
        except OSError as error:
            self.reason = self.reason or error
            self._gap = True
            self._given_up = error.errno in GONE
        except BaseException:
            self._given_up = True
            raise
        self.lost += min(len(left), whole)
        return whole

    def _write_some(self, data: memoryview) -> int:
        try:
            return os.write(self._descriptor, data)
        except BlockingIOError:  # somebody else made it non-blocking; a program that shares it may
            ready((), [self._descriptor])
            return 0


def tolerant_text(
    descriptor: int, name: str, encoding: str = "utf-8", *, line_buffering: bool = False
) -> io.TextIOWrapper:
    """A text stream on a descriptor. It holds no lock: a thread that waits in it never keeps out another."""
    raw = Tolerant(descriptor, name)
    return io.TextIOWrapper(
        raw,  # the wrapper itself gathers text, so no buffer with a lock stands between
        encoding=encoding,
        errors="railwright.spelt",
        line_buffering=line_buffering,
    )


def tolerate() -> None:
    """Make `sys.stdout` and `sys.stderr` tolerant, for the rest of the process.

    A standard stream that was closed becomes the null device: the next file opened would else take its
    number, and be written to by whoever means to print.
    """
    for descriptor in (0, 1, 2):
        try:
            os.fstat(descriptor)
        except OSError:
            null = os.open(os.devnull, os.O_RDWR)
            if null != descriptor:
                os.dup2(null, descriptor)
                os.close(null)
    if sys.stdin is None:
        sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115 - for the rest of the process
    sys.stdout = _replaced(sys.stdout, 1, "standard output")
    sys.stderr = _replaced(sys.stderr, 2, "standard error", line_buffering=True)


def _replaced(
    stream: TextIO | None, descriptor: int, name: str, *, line_buffering: bool = False
) -> io.TextIOWrapper:
    if stream is not None:
        with contextlib.suppress(OSError, ValueError):
            stream.flush()
    lines = line_buffering or os.isatty(descriptor) or getattr(stream, "write_through", False)
    encoding = getattr(stream, "encoding", None) or "utf-8"
    return tolerant_text(descriptor, name, encoding, line_buffering=lines)


def raw_of(stream: object) -> Tolerant | None:
    """What stands behind a tolerant text stream; None behind any other."""
    raw = getattr(stream, "buffer", None)
    return raw if isinstance(raw, Tolerant) else None


def loss_of(stream: object) -> str:
    """What could not be written, for people; empty where all was, or where the reader went away by itself."""
    raw = raw_of(stream)
    if raw is None or raw.reason is None or raw.reason.errno == errno.EPIPE:
        return ""
    return f"{raw.name}: {raw.lost} bytes could not be written: {raw.reason.strerror}"


def same_file(one: TextIO, other: TextIO) -> bool:
    """Whether two streams lead to the same file, terminal or pipe."""
    if one is other:
        return True
    try:
        return os.path.sameopenfile(one.fileno(), other.fileno())
    except (OSError, ValueError, AttributeError):  # no descriptors behind them
        return False
