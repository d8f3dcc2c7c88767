"""A unit with relays and outputs on a serial line: the twin on a pseudo-terminal, the guard over it."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

import pytest
from tests.relays.pins import documents

from railwright.documents.loader import load_documents
from railwright.documents.relays import Relays
from railwright.documents.wires import Wires
from railwright.guard import wire
from railwright.guard.session import Session, SessionError
from railwright.guard.session_settings import USUAL
from railwright.twin.launcher import TwinBench, TwinError
from railwright.twin.relays import RelaysServer, TwinRelays

MESSAGE = "ROUTe:CLOSe? (@3)"


def unit(folder: Path, line: str = "") -> Relays:
    own = f"ASRL./port.tty::INSTR{line}"
    return load_documents(documents(folder, address=own)).bench.relays["port"]


async def spoken(twin: RelaysServer, served: Wires, client: Relays, *messages: str) -> list[str]:
    """The answers of a unit that is served by one document and opened by another."""
    address = await twin.start_at(served, at_bench=False)
    assert address.startswith("ASRL/dev/pts/")
    session = Session("port", address, wire.connect, client.carried(USUAL))
    try:
        await session.open()
        found = []
        for message in messages:
            if "?" in message:
                found.append((await session.ask(message, 1.0)).answer)
            else:
                await session.tell(message, 1.0)
        return found
    finally:
        session.close()
        twin.close()
        await asyncio.sleep(0.02)


@pytest.mark.parametrize(
    "line", ["", "\n    line: {baud: 19200}", "\n    line: {baud: 115200, parity: even}"]
)
def test_contacts_are_moved_and_asked_back_over_the_line(line: str, tmp_path: Path) -> None:
    own = unit(tmp_path / "s", line)
    twin = RelaysServer(TwinRelays("port", own), lambda: None)
    began = time.monotonic()
    answers = asyncio.run(
        spoken(twin, own, own, "*IDN?", MESSAGE, "ROUTe:CLOSe (@3)", MESSAGE, "ROUTe:OPEN (@3)", MESSAGE)
    )
    took = time.monotonic() - began
    assert answers[0].split(",")[1:3] == ["QS-4", "R-0007"]
    assert answers[1:] == ["0", "1", "0"]
    # Some 130 bytes, of ten bits each or eleven.
    bauds = own.line.baud if own.line is not None else 9600
    assert took >= 130 * 10 / bauds


def test_who_has_set_another_rate_is_not_understood(tmp_path: Path) -> None:
    own, other = unit(tmp_path / "s"), unit(tmp_path / "t", "\n    line: {baud: 115200}")
    twin = RelaysServer(TwinRelays("port", own), lambda: None)
    with pytest.raises(SessionError):
        asyncio.run(spoken(twin, own, other, "*IDN?"))
    assert not twin.relays.contacts[3].closed


def test_twins_of_a_bench_offer_it_and_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the bench's own address, which leads to a pseudo-terminal while they serve."""
    monkeypatch.chdir(tmp_path)
    own = load_documents(documents(tmp_path / "s", address="ASRL./port.tty::INSTR"))
    twins = TwinBench(own.bench, own.device, own.procedure)
    with twins:
        assert twins.addresses["port"].startswith("ASRL/dev/pts/")
        assert twins.bench.relays["port"].address == twins.addresses["port"]
        device = Path(twins.addresses["port"][4:].partition("::")[0])
        assert device.exists()
        began = time.monotonic()
    assert time.monotonic() - began < 2.0
    assert not device.exists()


def test_at_what_no_twin_can_offer_one_is_refused(tmp_path: Path) -> None:
    own = load_documents(documents(tmp_path / "s", address="GPIB0::5::INSTR"))
    with pytest.raises(TwinError, match="GPIB0"):
        TwinBench(own.bench, own.device, own.procedure, ports="bench").start()
