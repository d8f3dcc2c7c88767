"""Nothing goes on any more once it is known that the run has to end: each instant round a power-up.

The truth is what is written to the connections: an ON that leaves after the answer that shows the trip.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from tests.running.stage import BENCH, Stage, points, wired

from railwright.guard.local_link import LocalLink
from railwright.guard.session_settings import SessionSettings
from railwright.instruments.errors import InstrumentError
from railwright.records.ended import Ended
from railwright.running.polling import Polling
from railwright.traces import EventKind
from railwright.twin.server import ReplyTime

DEVICE = "device: Lamp, horn and heater of the tide gauge\ninputs:\n" + "".join(
    f"  {name}: {{nominal: 12 V, operating: 9 V .. 15 V, return: isolated, "
    f"load: [{{resistor: {{resistance: 48 ohm}}}}]}}\n"
    for name in ("lamp", "horn", "heater")
)
LIMITS = "current_limit: 1 A, at_limit: trip, trip_delay: 20 ms, ovp: 20 V"
PLAYED = (
    wired(
        "Three after each other",
        lamp=("left.1", "pair", LIMITS),
        horn=("right.1", "pair", LIMITS + ", trips_when: [lamp]"),
        heater=("left.2", "pair", LIMITS),
    )
    + "steps:\n  - power_up: {order: [lamp, horn, heater], gap: 60 ms, settle: 100 ms}\n"
    + "  - hold: 300 ms\nrecord: {every: 20 ms}\n"
)
FED = {
    "lamp": points("lamp", "left.1", 1.0, 20.0),
    "horn": points("horn", "right.1", 1.0, 20.0, ("lamp",)),
    "heater": points("heater", "left.2", 1.0, 20.0),
}
ON = re.compile(rb"OUTP\w*(:STAT\w*)? (ON|1)\b", re.IGNORECASE)


@dataclass
class Wires:
    """What is written to each connection and when, and when it was known that the run has to end."""

    stage: Stage
    written: list[tuple[float, str, bytes]] = field(default_factory=list)
    known: tuple[float, str] = (math.inf, "")

    def knows(self, instant: float, supply: str) -> None:
        self.known = min(self.known, (instant, supply))

    def ons(self) -> list[tuple[float, str]]:
        return [(when, name) for when, name, data in self.written if ON.search(data)]

    def late(self) -> list[tuple[float, str]]:
        """ON that left after that; the same supply was busy until the instant at which it was known."""
        instant, supply = self.known
        return [(when, name) for when, name in self.ons() if when > instant - 1e-9 * (name == supply)]


class Tapped:
    """The writing end of a connection that keeps what is written."""

    def __init__(self, writer: Any, wires: Wires, supply: str) -> None:
        self._writer, self._wires, self._supply = writer, wires, supply

    def write(self, data: bytes) -> None:
        self._wires.written.append((self._wires.stage.loop.time(), self._supply, data))
        self._writer.write(data)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._writer, name)


def tapped(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> Wires:
    wires, connect = Wires(stage), stage.network.connect
    names = {supply.address: name for name, supply in stage.documents.bench.supplies.items()}

    async def taps(address: str, settings: SessionSettings) -> Any:
        reader, writer = await connect(address, settings)
        return reader, Tapped(writer, wires, names[address])

    understand, hear = Polling.understand, LocalLink._hear

    def understands(self: Polling, message: dict[str, Any]) -> Any:
        came = message.get("received", stage.loop.time()), message["name"]
        try:
            seen = understand(self, message)
        except InstrumentError:
            wires.knows(*came)
            raise
        if any(reading.trip for _, reading in seen.readings):
            wires.knows(*came)
        return seen

    def hears(self: LocalLink, message: dict[str, Any]) -> None:
        if message["kind"] == "off begun":
            wires.knows(stage.loop.time(), "")
        hear(self, message)

    stage.network.connect = taps  # type: ignore[method-assign]
    monkeypatch.setattr(Polling, "understand", understands)
    monkeypatch.setattr(LocalLink, "_hear", hears)
    return wires


BENCHES: dict[str, tuple[Callable[[str], str], ReplyTime]] = {
    "fast": (lambda text: text, ReplyTime(1e-3, 2e-4)),
    "slow": (lambda text: text, ReplyTime(25e-3, 1e-3)),
    "one command a message": (
        lambda text: text.replace("dialect: channel-list", "dialect: selected-apart"),
        ReplyTime(4e-3, 1e-3),
    ),
}


def made(folder: Path, bench: str, *mischief: str) -> Stage:
    edit, reply = BENCHES[bench]
    folder.mkdir()
    times = {"left": reply, "right": reply}
    return Stage(folder, DEVICE, PLAYED, mischief, bench=edit(BENCH), reply_times=times)


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[float, float]]:
    """Bench -> when its first message left, and when the last of the three inputs was told to go on [s]."""
    found = {}
    for bench in BENCHES:
        with pytest.MonkeyPatch.context() as patch:
            stage = made(tmp_path_factory.mktemp("undisturbed") / "it", bench)
            wires = tapped(stage, patch)
            assert stage.run(FED).ended is Ended.COMPLETED
        heater = wires.ons()[-1]
        assert [name for _, name in wires.ons()] == ["left", "right", "left"]
        found[bench] = wires.written[0][0], heater[0]
    return found


INSTANTS = (-0.09, -0.055, -0.04, -0.027, -0.018, -0.009, -0.002, 0.004)


@pytest.mark.parametrize(
    ("bench", "what"),
    [
        *(("slow", what) for what in ("left.1: overheats", "right: reset", "left: garbage", "asked to stop")),
        *product(("fast", "one command a message"), ("left.1: overheats", "asked to stop")),
    ],
)
def test_nothing_goes_on_once_the_end_is_known(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    undisturbed: dict[str, tuple[float, float]],
    bench: str,
    what: str,
) -> None:
    first, on = undisturbed[bench]
    before = 0
    for number, apart in enumerate(INSTANTS):
        asked = what == "asked to stop"
        mischief = () if asked else (f"{what} at {on + apart - first:.6f} s",)
        stage = made(tmp_path / str(number), bench, *mischief)
        with monkeypatch.context() as patch:
            wires = tapped(stage, patch)
            if asked:

                def stops(stage: Stage = stage, wires: Wires = wires) -> None:
                    wires.knows(stage.loop.time(), "")
                    stage.stop.request("asked")
                    stage.link.wake()

                stage.loop.call_at(on + apart, stops)
            outcome = stage.run(FED)
        assert outcome.ended is not Ended.COMPLETED
        assert outcome.off_confirmed, outcome.not_confirmed
        assert math.isfinite(wires.known[0]), outcome.cause
        assert wires.late() == [], (bench, what, apart, outcome.cause, wires.known)
        before += len(wires.ons()) < 3
    assert before, "of ends before the last ON"


@pytest.mark.parametrize("bench", BENCHES)
def test_what_is_linked_goes_off_without_waiting_for_anything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, undisturbed: dict[str, tuple[float, float]], bench: str
) -> None:
    """The horn's supply is silent when the lamp trips: OFF goes out to it, and to the heater, at once."""
    first, on = undisturbed[bench]
    at = on + 0.2 - first
    stage = made(
        tmp_path / "it", bench, f"right: silent at {at - 0.001:.6f} s", f"left.1: overheats at {at:.6f} s"
    )
    wires = tapped(stage, monkeypatch)
    outcome = stage.run(FED)
    assert outcome.ended is Ended.TRIPPED
    linked = [each for each in outcome.record.events if each.kind is EventKind.TRIPS_LINKED]
    assert [(each.subject, each.facts.source) for each in linked] == [("horn", "lamp")]
    after = [data for when, _, data in wires.written if when >= wires.known[0]]
    off = re.compile(rb"OUTP\w*(:STAT\w*)? (OFF|0)\b", re.IGNORECASE)
    delays = {
        name: min(when for when, to, data in wires.written if to == name and off.search(data) and when > on)
        - wires.known[0]
        for name in ("left", "right")
    }
    assert after
    assert all(0.0 <= each < 1e-3 for each in delays.values()), delays
