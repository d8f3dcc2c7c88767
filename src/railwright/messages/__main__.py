"""The messenger: python -m railwright.messages, with a line on its standard input when a run begins, another
when it has ended. Where the second never comes, the run is gone, and that is told.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import sys
import threading
import time
from collections.abc import Mapping
from typing import Any

from railwright.messages.messenger import DEADLINE
from railwright.messages.sending import WAYS, why


def _send(way: str, given: Any, message: Mapping[str, Any], done: queue.Queue[tuple[str, str]]) -> None:
    try:
        WAYS[way](given, message)
    except Exception as error:  # noqa: BLE001 - whatever it is, the other ways go on
        done.put((way, why(error)))
    else:
        done.put((way, ""))


def main() -> None:
    """Wait for what is to be told; tell it by every way at once, within the deadline."""
    begun = json.loads(sys.stdin.readline() or "{}")
    ended = sys.stdin.readline()
    # A line that is torn: the run died while it wrote it.
    message = json.loads(ended) if ended.endswith("\n") else begun.get("gone")
    ways: dict[str, Any] = begun.get("ways", {}) if message else {}
    done = queue.Queue[tuple[str, str]]()
    for way, given in ways.items():
        threading.Thread(target=_send, args=(way, given, message, done), daemon=True).start()
    end, open_ways = time.monotonic() + begun.get("deadline", DEADLINE), set(ways)
    while open_ways:
        try:
            way, trouble = done.get(timeout=max(0.0, end - time.monotonic()))
        except queue.Empty:
            break
        open_ways.discard(way)
        print(json.dumps([way, trouble]), flush=True)
    # Nothing that it started outlives it: a command that hangs, too.
    os.killpg(0, signal.SIGKILL)


main()
