"""Guards that hold supplies, asked to switch off before anything else is done: no library is waited for."""

from __future__ import annotations

import json
import os
import socket
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from railwright.guard.locks import holder_of, note_off
from railwright.running.off_bench import BenchSupply


@dataclass(slots=True)
class AskedGuard:
    """A guard that was asked. places: its supplies. connection: where it answers; None: it took nothing.

    plan: where its off plan lies. at: when it was asked [s, monotonic clock].
    """

    process: int
    plan: Path
    connection: socket.socket | None
    at: float
    places: set[str] = field(default_factory=set)


def ask_guards(supplies: Sequence[BenchSupply], folder: Path) -> list[AskedGuard]:
    """Ask every guard that holds one of these supplies to switch off. It waits for nobody."""
    found: dict[int, AskedGuard] = {}
    for supply in supplies:
        about: Mapping[str, Any] = (holder_of(supply.place, folder) if supply.place else None) or {}
        try:
            process, control = int(about["guard_pid"]), str(about["control"])
        except (KeyError, ValueError, TypeError):
            continue
        if process not in found:
            plan = Path(str(about.get("plan") or os.devnull))
            found[process] = AskedGuard(process, plan, _ask(control), time.monotonic())
        found[process].places.add(supply.place)
    # A series of runs between two of which nobody holds them has to know that it may not begin the next.
    for supply in supplies:
        if supply.place:
            note_off(supply.place, folder)
    return list(found.values())


def _ask(control: str) -> socket.socket | None:
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    connection.setblocking(False)
    try:
        connection.connect(control)
        connection.send(json.dumps({"do": "off"}).encode() + b"\n")
    except OSError:
        connection.close()
        return None
    return connection
