"""A run on the bench of the matrix in virtual time: real driver, guard, SCPI and physics, in one process."""

from __future__ import annotations

import asyncio
import json
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

from benchmarks.fault_matrix.bench import OUTPUTS, SET_POINTS

from railwright.documents.loader import Documents
from railwright.guard.local_link import LocalLink
from railwright.guard.session_settings import USUAL, SessionSettings
from railwright.guard.wire import Streams
from railwright.records.stored import NoRun, open_run
from railwright.running.conduct import Conduct
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.twin.mischief.script import parse_mischief
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

Intervals = tuple[tuple[float, float | None], ...]


@dataclass
class Played:
    """What became of one run. Times are of the loop [s]; injected: when the fault began, None: never.

    off_begun: when the guard began to switch off. energised: input -> when its output was energised.
    readable: why its folder cannot be read, '' where it can. zero: the loop's time at the record's zero.
    last_reading: input -> time of its last reading [s, record]. messages: what was sent, with its supply.
    delay: how much later than it should the machine may do a thing [s]: real time, beside other work.
    """

    outcome: RunOutcome | None
    error: str
    injected: float | None
    off_begun: float | None
    over: float
    energised: dict[str, Intervals]
    readable: str
    last_reading: dict[str, float]
    zero: float | None
    messages: list[tuple[str, str]] = field(default_factory=list)
    delay: float = 0.0


class Died(BaseException):
    """The run is gone, from one instruction to the next."""


@dataclass
class Death:
    """The run dies, or hangs, when the `number`-th message that contains `command` is about to be sent to a
    supply. at: when that was [s, loop]; None: it never came.
    """

    supply: str
    command: str
    number: int
    hangs: bool
    at: float | None = None
    link: LocalLink | None = None
    _seen: int = 0

    def sees(self, time: float, name: str, direction: str, line: str) -> None:
        """The run's trace: told of a message before it is sent."""
        if direction != "sent" or name != self.supply or self.command not in line or self.at is not None:
            return
        self._seen += 1
        if self._seen < self.number:
            return
        assert self.link is not None
        self.at = self.link.now()
        if self.hangs:
            self.link.loop.run_until_complete(asyncio.sleep(HANGS))  # nobody shows the guard a sign of life
        raise Died

    @contextmanager
    def takes_the_run(self) -> Iterator[None]:
        """Nothing of the run's own code runs after its death; the kernel closes its end of the link."""
        with patch.object(Conduct, "_switch_off", lambda conduct, ended, cause: conduct.link.cut()):
            yield


DIED = "died"
"""What is said of a run that died."""

HANGS = 5.0
"""How long a run hangs before it is ended [s]."""


class _Tap:
    """Notes what is sent to the supplies of a network."""

    def __init__(self, net: VirtualNetwork) -> None:
        self._net = net
        self.messages: list[tuple[str, str]] = []
        self._names = {each.address: name for name, each in net.bench.supplies.items()}

    async def connect(self, address: str, _session_settings: SessionSettings = USUAL) -> Streams:
        reader, writer = await self._net.connect(address)
        write, name = writer.write, self._names[address]

        def noted(data: bytes) -> None:
            self.messages.append((name, data.decode().rstrip("\n")))
            write(data)

        writer.write = noted  # type: ignore[method-assign]
        return reader, writer


def play(
    documents: Documents,
    folder: Path,
    mischief: Sequence[str] = (),
    *,
    death: Death | None = None,
    seed: int = 1,
    **given: Any,
) -> Played:
    """Play the procedure with these faults, into a new folder. death: of the run itself. given: for `run`."""
    shutil.rmtree(folder, ignore_errors=True)
    loop = VirtualLoop()
    began = loop.now()
    script = parse_mischief(mischief, documents.bench.supplies)
    bench, device, procedure = documents.bench, documents.device, documents.procedure
    with VirtualNetwork(loop, bench, device, procedure, seed=seed, mischief=script) as net:
        tap = _Tap(net)
        link = LocalLink(loop, tap.connect)
        link.watch()
        outcome, error = None, ""
        options = {"decay_limit": 1.0, "wait_for_lost": 4.0, **given}
        if death is not None:
            death.link = link
            options["trace"] = death.sees
        try:
            with nullcontext() if death is None else death.takes_the_run():
                outcome = run(
                    documents, SET_POINTS, unit="B-1", operator="Matrix", folder=folder, link=link, **options
                )
        except Died:
            error = DIED
        except Exception as failure:  # noqa: BLE001 - any of them is a finding
            error = repr(failure)
        acts = net.acts()
        begun = next((m["time"] for m in link.told if m["kind"] == "off begun"), None)
        energised = {name: net.energised(output) for name, output in OUTPUTS.items()}
        readable, last = read_back(folder, died=error == DIED)
        injected = death.at if death is not None else acts[0].time if acts else None
        shift = _zero_of(folder)
        zero = None if shift is None else began + shift
        return Played(
            outcome, error, injected, begun, loop.now(), energised, readable, last, zero, tap.messages
        )


def read_back(folder: Path, *, died: bool = False) -> tuple[str, dict[str, float]]:
    """Whether the folder can be read ('' or why not), and the last reading of each input [s, record].

    died: the run is taken as gone, and its locks with it, which this process still holds.
    """
    try:
        with patch("railwright.records.stored.who_goes_on", lambda folder: "") if died else nullcontext():
            data = open_run(folder)
        return "", {
            name: float(traces.time[-1]) for name, traces in data.record.traces.items() if traces.time.size
        }
    except NoRun as error:
        return str(error), {}


def _zero_of(folder: Path) -> float | None:
    """How long after the run began the record's zero is [s], as the log says; None: it never began."""
    if not (folder / "log.ndjson").exists():
        return None
    for line in (folder / "log.ndjson").read_text("utf-8").splitlines():
        data = json.loads(line)
        if data["kind"] == "zero":
            return float(data["shift"])
    return None
