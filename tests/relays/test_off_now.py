"""`railwright off` on a bench with relays: outputs first, then contacts, and what is said of them."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.multimeter.station import network_of
from tests.relays.station import LEFT, RIGHT, documents

from railwright.running import off_now
from railwright.running.off_bench import read_bench, read_relays
from railwright.running.off_now import OffNow
from railwright.twin.relays import RelaysServer
from railwright.twin.virtual_network import VirtualNetwork


def off(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    names: frozenset[str] | None = None,
    before: Callable[[VirtualNetwork], None] = lambda network: None,
) -> tuple[bool, list[str], dict[int, bool], list[str]]:
    """Everything on and the contact closed, as after a crash of run and guard; then `railwright off`. Gives
    whether it confirmed that, what it said, how contacts stand, and what was said to the relay.
    """
    procedure = documents(folder)
    lines, heard = list[str](), list[str]()
    with network_of(procedure) as (_, network, loop):
        monkeypatch.setattr(off_now, "connect", network.connect)
        (box,) = network.relays.values()
        box.relays.contacts[101].move(True)
        for server in network.servers.values():
            supply = server.supply
            for own in supply.channels[:1]:
                supply.plant.switch(f"{supply.name}.{own}", True)
                supply.plant.set_voltage(f"{supply.name}.{own}", 12.0)
        loop.complete(asyncio.sleep(0.5))
        assert network.on(LEFT)
        before(network)
        right = RelaysServer.answer

        async def listening(self: RelaysServer, message: bytes) -> str:
            heard.append(message.decode().strip())
            assert not any(network.on(name) for name in (LEFT, RIGHT)) or not message.startswith(b"ROUT")
            return await right(self, message)

        monkeypatch.setattr(RelaysServer, "answer", listening)
        text = (procedure.parent / "quay.bench.yaml").read_text("utf-8")
        job = OffNow(
            read_bench(text, procedure.parent),
            names,
            [],
            folder / "no-plans",
            lines.append,
            read_relays(text),
        )
        confirmed = loop.complete(job.go())
        return confirmed, lines, {n: c.closed for n, c in box.relays.contacts.items()}, heard


def test_contacts_come_to_rest_after_all_outputs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    confirmed, lines, stands, _ = off(tmp_path / "s", monkeypatch)
    assert confirmed
    assert stands == {101: False}
    assert lines[-1].startswith("contact gate: reads open")
    assert all("off confirmed" in line for line in lines[:-1])


def test_where_not_all_outputs_go_off_no_contact_moves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    confirmed, lines, stands, heard = off(tmp_path / "s", monkeypatch, frozenset({LEFT}))
    assert confirmed
    assert (stands, heard) == ({101: True}, [])
    assert any(line.startswith("contact gate: not moved") and "unknown" in line for line in lines)


def test_a_supply_that_cannot_be_reached_leaves_the_contact_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    confirmed, lines, stands, heard = off(
        tmp_path / "s", monkeypatch, before=lambda network: network.servers["right"].refuse(True)
    )
    assert not confirmed
    assert (stands, heard) == ({101: True}, [])
    assert any("contact gate: not moved" in line and "right" in line for line in lines)


def test_one_that_comes_on_again_is_said_to_and_then_what_became_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """0.45 s after it went off, so after it was confirmed; nothing had said by then that it is off."""

    def comes_on(network: VirtualNetwork) -> None:
        supply, times = network.servers["left"].supply, [0.45]
        plant, right = supply.plant, supply.plant.switch

        def switch(name: str, on: bool) -> None:
            right(name, on)
            if name == LEFT and not on and times:
                asyncio.get_running_loop().call_later(times.pop(), supply.switch, 0, True)

        monkeypatch.setattr(plant, "switch", switch)

    confirmed, lines, stands, _ = off(tmp_path / "s", monkeypatch, before=comes_on)
    assert confirmed
    assert stands == {101: False}
    own = [line for line in lines if line.startswith(LEFT)]
    assert [("again" in line, "off confirmed" in line) for line in own] == [(True, False), (False, True)]
