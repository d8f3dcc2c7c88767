"""What a run's guard tells of the readings that its run takes, for whoever looks on."""

from __future__ import annotations

import json
import socket
from pathlib import Path
from typing import Any

from railwright.guard.locks import holder_of

SILENT = 3.0
"""A guard that tells nothing for so long [s] hangs, or has forgotten who looks on."""

LONGEST_LINE = 1 << 22
"""Bytes of one answer."""


class GuardGone(Exception):
    """Nothing more comes from that guard; one line for people."""


class RunReadings:
    """The readings of a run that goes on, over its guard's control address. It asks for them once and sends
    nothing else. now: when it was opened [s, monotonic clock].
    """

    def __init__(self, process: int, control: str, now: float) -> None:
        self.process = process
        self._rest, self._heard = b"", now
        self._connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._connection.setblocking(False)
        try:
            self._connection.connect(control)
            self._connection.send(json.dumps({"do": "readings"}).encode() + b"\n")
        except OSError as error:
            self._connection.close()
            told = f"the guard of the run (process {process}) gives no answer: {error.strerror}"
            raise GuardGone(told) from None

    def fileno(self) -> int:
        """Readable when something was told."""
        return self._connection.fileno()

    def take(self, now: float) -> list[dict[str, Any]]:
        """What was told since the last look. GuardGone where nothing more comes."""
        while True:
            try:
                data = self._connection.recv(1 << 18)
            except BlockingIOError:
                break
            except OSError as error:
                raise GuardGone(f"the guard of the run was lost: {error.strerror}") from None
            if not data:
                if self._rest.count(b"\n"):
                    break
                raise GuardGone("the run is over")
            self._rest, self._heard = self._rest + data, now
            if len(self._rest) > LONGEST_LINE:
                break
        *lines, self._rest = self._rest.split(b"\n")
        if now - self._heard > SILENT or len(self._rest) > LONGEST_LINE:
            raise GuardGone(f"the guard of the run (process {self.process}) gives no sign of life")
        try:
            return [message for message in map(json.loads, lines) if isinstance(message, dict)]
        except ValueError:
            raise GuardGone("the guard of the run tells what nobody understands") from None

    def close(self) -> None:
        """Look on no longer."""
        self._connection.close()


def guard_at(address: str, folder: Path) -> tuple[int, str] | None:
    """Process and control address of the guard that holds an instrument; None: none does."""
    about = holder_of(address, folder) or {}
    try:
        return int(about["guard_pid"]), str(about["control"])
    except (KeyError, ValueError, TypeError):
        return None
