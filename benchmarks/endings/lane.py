"""A bench of twins that outlives the runs on it, and one run after the other in processes of their own."""

from __future__ import annotations

import json
import multiprocessing
import os
import pickle
import select
import shutil
import signal
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing.process import BaseProcess
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from benchmarks.endings.child import Job, Kill, play

from railwright.settings.check import Checked
from railwright.settings.data import as_data, settings_from_data
from railwright.twin.launcher import TwinBench, socket_address

DOCUMENTS = Path(__file__).parent / "documents"
PROCEDURE = "lamp.procedure.yaml"

RUN_LIMIT = 30.0
"""A run that has not ended by then hangs [s]."""

GUARD_LIMIT = 8.0
"""How long a guard may live on after its run [s]."""

_server = multiprocessing.get_context("forkserver")
_server.set_forkserver_preload(
    ["benchmarks.endings.child", "railwright.cli.app", "railwright.cli.live", "railwright.cli.checking"]
)


@dataclass
class Story:
    """What a run's process told while it lived. code: its exit code, negative: the signal that ended it;
    None: it hung.
    """

    folder: Path
    notes: list[dict[str, Any]] = field(default_factory=list)
    began: float = 0.0
    pid: int = 0
    code: int | None = None
    guard_over: bool = False

    def note(self, kind: str) -> dict[str, Any] | None:
        """The last note of a kind."""
        return next((each for each in reversed(self.notes) if each["note"] == kind), None)


class Lane:
    """Twins, their documents with the addresses under which they answer, and a place for runs."""

    def __init__(self, place: Path, checked: Checked) -> None:
        self.place, self.runtime = place, place / "runtime"
        self.documents = place / "documents"
        shutil.copytree(DOCUMENTS, self.documents)
        self.runtime.mkdir()
        loaded = checked.documents
        self.twins = TwinBench(loaded.bench, loaded.device, loaded.procedure, seed=3)
        self.procedure = self.documents / PROCEDURE
        self.checked = place / "checked"
        self.command_checked = place / "command-checked"
        self._given = checked
        self._count = 0

    def __enter__(self) -> Self:
        self.twins.start()
        bench = self.documents / "lamp.bench.yaml"
        text = bench.read_text("utf-8")
        for name, supply in self._given.documents.bench.supplies.items():
            text = text.replace(supply.address, self.twins.addresses[name])
        bench.write_text(text, "utf-8")
        documents = replace(self._given.documents, bench=self.twins.bench)
        settings = self._given.settings
        self.checked.write_bytes(pickle.dumps((documents, settings.set_points, as_data(settings))))
        # As a stored run has them: what the check works out on the way has no place in a file.
        kept = settings_from_data(json.loads(json.dumps(as_data(settings))))
        own = Checked(documents, kept, None)
        self.command_checked.write_bytes(pickle.dumps(own))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.twins.stop()

    def run(self, kill: Kill, meanwhile: Callable[[Story], None] = lambda _: None) -> Story:
        """One run of the procedure, from its process's start to the end of its guard.

        meanwhile: called whenever something was noted, and every 50 ms.
        """
        folder = self.folder()
        job = Job(self.checked, folder, self.runtime, kill)
        return self.follow(folder, play, job, meanwhile=meanwhile)

    def folder(self) -> Path:
        """A place for a run that is not there yet."""
        self._count += 1
        return self.place / f"run-{self._count:04d}"

    def follow(
        self,
        folder: Path,
        target: Callable[..., None],
        *given: Any,
        meanwhile: Callable[[Story], None] = lambda _: None,
        limit: float = RUN_LIMIT,
    ) -> Story:
        """Start a process whose last argument takes notes, and follow it to the end of its guard.

        limit: how long it may take [s].
        """
        story = Story(folder, began=time.monotonic())
        near, far = _server.Pipe(duplex=False)
        process = _server.Process(target=target, args=(*given, far), daemon=False)
        process.start()
        far.close()
        story.pid = process.pid or 0
        self._listen(story, process, near.fileno(), meanwhile, limit)
        near.close()
        if process.exitcode is None:
            process.kill()
            process.join(2.0)
        else:
            story.code = process.exitcode
        self._await_guard(story)
        return story

    def _listen(
        self,
        story: Story,
        process: BaseProcess,
        notes: int,
        meanwhile: Callable[[Story], None],
        limit: float,
    ) -> None:
        rest, ended, last = b"", False, time.monotonic() + limit
        while not ended and time.monotonic() < last:
            ready, _, _ = select.select([notes, process.sentinel], [], [], 0.05)
            # What was noted last is read also after the end.
            ended = process.sentinel in ready
            while select.select([notes], [], [], 0.0)[0]:
                piece = os.read(notes, 65536)
                if not piece:
                    break
                *lines, rest = (rest + piece).split(b"\n")
                story.notes += [json.loads(line) for line in lines]
            meanwhile(story)
        if ended:
            process.join(2.0)

    def _await_guard(self, story: Story) -> None:
        """Wait for the run's guard to end by itself; one that does not is killed."""
        started = story.note("guard")
        if started is None:
            story.guard_over = True
            return
        last = time.monotonic() + GUARD_LIMIT
        while time.monotonic() < last:
            if not alive(started["pid"]):
                story.guard_over = True
                return
            time.sleep(0.02)
        with suppress(ProcessLookupError):
            os.kill(started["pid"], signal.SIGKILL)

    def last_on(self, since: float) -> float | None:
        """When an output was on last since an instant of `time.monotonic()` [s]; inf: one still is; None:
        none was.
        """
        ends = [
            float("inf") if end is None else end
            for spans in self.twins.energised().values()
            for _, end in spans
            if end is None or end >= since
        ]
        return max(ends, default=None)

    def all_off(self) -> None:
        """Switch off whatever a run left on, as a person at the bench does."""
        for address in self.twins.addresses.values():
            with socket.create_connection(socket_address(address), 2.0) as connection:
                connection.sendall(b"*RST;*CLS\n*OPC?\n")
                connection.recv(64)
        time.sleep(0.5)


def alive(pid: int) -> bool:
    """Whether a process runs; one that is dead and not yet taken note of does not."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2][0]
    except (OSError, IndexError):
        return False
    return state not in "ZX"
