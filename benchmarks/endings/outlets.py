"""Where a command's streams lead: a terminal, a pipe to a reader, files. Each can be acted upon."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import threading
from abc import ABC, abstractmethod
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

KEYS = {"Ctrl-C": b"\x03", "Ctrl-Z": b"\x1a", "Ctrl-\\": b"\x1c", "Ctrl-S": b"\x13", "Ctrl-Q": b"\x11"}


class Outlet(ABC):
    """Standard streams of one command. terminal: they are its controlling terminal."""

    terminal = False

    @property
    @abstractmethod
    def streams(self) -> tuple[str, str, str]:
        """Paths of standard input, output and error for the command to open; '' for one that is closed."""

    def opened(self) -> None:  # noqa: B027 - files need nothing of it
        """The command has opened them: what is held for it can be let go."""

    def text(self) -> str:
        """What the command printed, as far as it can be known."""
        return ""

    def close(self) -> None:  # noqa: B027 - files need nothing of it
        """Let everything go."""


class Terminal(Outlet):
    """A pseudo-terminal, read all the time until it is closed."""

    terminal = True

    def __init__(self) -> None:
        self._own, self._theirs = os.openpty()
        self._name = os.ttyname(self._theirs)
        self._read = bytearray()
        self._wake = os.pipe()
        self._thread = threading.Thread(target=self._listen, daemon=True)

    @property
    def streams(self) -> tuple[str, str, str]:
        return self._name, self._name, self._name

    def opened(self) -> None:
        os.close(self._theirs)
        self._thread.start()

    def _listen(self) -> None:
        """Only this thread uses the terminal's own end, so that closing it takes effect at once."""
        asked = self._wake[0]
        while True:
            ready, _, _ = select.select([self._own, asked], [], [])
            if asked in ready:
                break
            try:
                self._read += os.read(self._own, 65536)
            except OSError:  # nobody has it open any more
                break
        os.close(self._own)

    def type(self, key: str) -> None:
        """Press a key; nothing happens where nobody has the terminal open any more."""
        if self._thread.is_alive():
            os.write(self._own, KEYS[key])

    def hang_up(self) -> None:
        """Close the terminal's window."""
        os.write(self._wake[1], b"!")
        self._thread.join(5.0)

    def text(self) -> str:
        return self._read.decode(errors="replace")

    def close(self) -> None:
        self.hang_up()
        for end in self._wake:
            os.close(end)


class Piped(Outlet):
    """Standard output, with `merged` standard error too, goes through a pipe to a program."""

    def __init__(self, reader: Sequence[str], *, merged: bool, into: Path) -> None:
        self._file = into
        with open(into, "wb") as file:
            self.reader = subprocess.Popen(reader, stdin=subprocess.PIPE, stdout=file)
        self._merged = merged
        self._error = into.with_suffix(".err")

    @property
    def streams(self) -> tuple[str, str, str]:
        assert self.reader.stdin is not None
        pipe = f"/proc/{os.getpid()}/fd/{self.reader.stdin.fileno()}"
        return os.devnull, pipe, pipe if self._merged else str(self._error)

    def opened(self) -> None:
        assert self.reader.stdin is not None
        self.reader.stdin.close()

    def signal(self, number: int) -> None:
        """Kill the reader, stop it, or have it go on."""
        self.reader.send_signal(number)

    def text(self) -> str:
        parts = [path.read_text(errors="replace") for path in (self._file, self._error) if path.exists()]
        return "".join(parts)

    def close(self) -> None:
        with suppress(ProcessLookupError):
            self.reader.send_signal(signal.SIGCONT)
            self.reader.kill()
        self.reader.wait()


class Files(Outlet):
    """Paths, devices among them; '' for a stream that is closed."""

    def __init__(self, out: str, err: str, given: str = os.devnull) -> None:
        self._streams = (given, out, err)

    @property
    def streams(self) -> tuple[str, str, str]:
        return self._streams

    def text(self) -> str:
        paths = dict.fromkeys(Path(path) for path in self._streams[1:] if path and "/dev/" not in path)
        return "".join(path.read_text(errors="replace") for path in paths if path.exists())
