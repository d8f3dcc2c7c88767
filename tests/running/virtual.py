"""The small bench on simulated supplies, with a real guard, in virtual time."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.running.small import PROCEDURE, SET_POINTS, write

from railwright.documents.loader import load_documents
from railwright.guard.local_link import LocalLink
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.twin.server import ReplyTime
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

LEFT, RIGHT = (f"TCPIP::127.0.0.1::{port}::SOCKET" for port in (5025, 5026))

Meanwhile = Callable[[VirtualNetwork], Coroutine[Any, Any, Any]]


@dataclass
class Played:
    """A run that is over. off_begun: when its guard began to switch off, on the loop's time [s]."""

    outcome: RunOutcome
    off_begun: float
    energised: dict[str, tuple[tuple[float, float | None], ...]]

    def whats(self, subject: str) -> list[str]:
        return [event.what for event in self.outcome.record.events if event.subject == subject]


class _Link(LocalLink):
    off_begun = float("nan")

    def _hear(self, message: dict[str, Any]) -> None:
        if message["kind"] == "off begun":
            self.off_begun = self.now()
        super()._hear(message)


def play(
    folder: Path,
    procedure: str = PROCEDURE,
    *,
    reply: ReplyTime | None = None,
    meanwhile: Meanwhile | None = None,
    edit_bench: Callable[[str], str] = lambda text: text,
    **options: Any,
) -> Played:
    """Play a procedure; `meanwhile` goes on beside it from the beginning."""
    folder.mkdir(exist_ok=True)
    path = write(folder, LEFT, RIGHT, procedure)
    bench = folder / "bench.yaml"
    bench.write_text(edit_bench(bench.read_text("utf-8")), "utf-8")
    documents, loop = load_documents(path), VirtualLoop()
    times = {"left": reply, "right": reply} if reply is not None else None
    given = {"unit": "U-7", "operator": "An operator", "timeout": 5.0, **options}
    with VirtualNetwork(
        loop, documents.bench, documents.device, documents.procedure, reply_times=times
    ) as network:
        link = _Link(loop, network.connect)
        beside = None if meanwhile is None else loop.create_task(meanwhile(network))
        outcome = run(documents, SET_POINTS, folder=folder / "run", link=link, **given)
        if beside is not None:
            beside.cancel()
            loop.complete(asyncio.sleep(0))
        energised = {output: network.energised(output) for output in ("left.1", "right.1")}
    return Played(outcome, link.off_begun, energised)
