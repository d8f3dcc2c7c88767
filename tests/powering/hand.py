"""Somebody who leads a run by hand, in virtual time, and what came of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from railwright.guard.local_link import LocalLink
from railwright.job import Power, Run
from railwright.running.outcome import InputReading, Progress, RunOutcome
from railwright.running.requests import Requests
from railwright.running.runner import run
from railwright.settings.data import as_data
from railwright.twin.mischief.script import parse_mischief
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

Ask = tuple[float, Callable[[Requests], None]]
"""When something is asked, in the record's time [s], and what."""


@dataclass
class Hand(Progress):
    """Asks when the first reading from that time on comes."""

    requests: Requests
    to_ask: list[Ask]
    readings: list[InputReading] = field(default_factory=list)

    def reading(self, reading: InputReading) -> None:
        self.readings.append(reading)
        while self.to_ask and reading.time >= self.to_ask[0][0]:
            self.to_ask.pop(0)[1](self.requests)


@dataclass
class Hands:
    """What came of it. energised: when the output was on, by the twin, on its own clock."""

    outcome: RunOutcome
    readings: list[InputReading]
    energised: tuple[tuple[float, float | None], ...]

    @property
    def run(self) -> Run:
        return Run.read(self.outcome.folder)

    def whats(self, name: str) -> list[str]:
        own = [each for each in self.outcome.record.events if each.subject == name]
        return [f"{each.what} {each.detail}".strip() for each in own]

    def voltage(self, time: float) -> float:
        """The last reading before an instant of the record [V]."""
        return [each.voltage for each in self.readings if each.time < time][-1]


def led(power: Power, folder: Path, asks: Sequence[Ask], *, mischief: Sequence[str] = ()) -> Hands:
    """Power it on twins in virtual time, with these requests."""
    assert power.check is not None
    documents, settings = power.check.checked.documents, power.check.settings
    requests, loop = power.requests(), VirtualLoop()
    hand = Hand(requests, list(asks))
    script = parse_mischief(mischief, documents.bench.supplies)
    bench = documents.bench, documents.device, documents.procedure
    output = str(settings.set_points[power.input].names[0])
    with VirtualNetwork(loop, *bench, mischief=script) as network:
        link = LocalLink(loop, network.connect)
        outcome = run(
            documents,
            settings.set_points,
            unit="S-1",
            operator="A. Keeper",
            folder=folder / "run",
            settings=as_data(settings),
            progress=hand,
            link=link,
            requests=requests,
        )
        energised = network.energised(output)
    mine = [each for each in hand.readings if each.input == power.input]
    return Hands(outcome, mine, energised)
