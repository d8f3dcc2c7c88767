"""The messenger as a run sees it: started before anything is on, told once everything is off and recorded."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

DEADLINE = 10.0
"""How long all ways together may take [s]."""

GRACE = 3.0
"""How much longer the messenger itself is waited for [s]."""

UNANSWERED = "no answer in time"


class Messenger:
    """A process of its own, in a session of its own: no end of a terminal and no Ctrl-C reaches it.

    ways: 'command', 'email', 'webhook' -> what its user set up, which goes through a pipe and stands in no
    list of processes. gone: what is told where whoever started it dies without a word. Never raises for what
    becomes of a message; OSError where it cannot be started.
    """

    def __init__(
        self, ways: Mapping[str, Any], gone: Mapping[str, Any] | None = None, deadline: float = DEADLINE
    ) -> None:
        self._ways, self._deadline = tuple(ways), deadline
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "railwright.messages"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        begun = {"ways": dict(ways), "gone": gone, "deadline": deadline}
        assert self._process.stdin is not None
        with suppress(OSError):
            self._process.stdin.write(json.dumps(begun).encode() + b"\n")
            self._process.stdin.flush()

    def tell(self, message: Mapping[str, Any] | None) -> dict[str, str]:
        """Send it by every way; way -> why it was not sent, '' where it was. None: nothing is to be told."""
        try:
            told, _ = self._process.communicate(
                json.dumps(message).encode() + b"\n", timeout=self._deadline + GRACE
            )
        except subprocess.TimeoutExpired as error:
            told = error.stdout or b""
            with suppress(OSError):
                os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
        if message is None:
            return {}
        found = dict.fromkeys(self._ways, UNANSWERED)
        for line in told.splitlines():
            with suppress(ValueError):
                way, trouble = json.loads(line)
                found[way] = trouble
        return found


def outcome_line(found: Mapping[str, str]) -> str:
    """What came of it, in one line."""
    parts = [f"{way} not sent: {trouble}" if trouble else f"{way} sent" for way, trouble in found.items()]
    return f"message: {'; '.join(parts)}"
