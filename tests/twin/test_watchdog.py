"""The communication watchdog of a simulated supply."""

import asyncio

import pytest
from tests.twin.bench import BENCH, DEVICE, PROCEDURE, AtHand
from tests.twin.network import Client, Network

from railwright.documents.ending import Watchdog
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

WATCHED = BENCH.model_copy(
    update={
        "supplies": {
            name: supply.model_copy(
                update={"watchdog": Watchdog.model_validate({"times": "0.1 s .. 60 s", "does": "off"})}
            )
            for name, supply in BENCH.supplies.items()
        }
    }
)


class Watched(Network):
    def __init__(self) -> None:
        self.loop = VirtualLoop()
        self.twins = VirtualNetwork(self.loop, WATCHED, DEVICE, PROCEDURE)


def test_a_supply_without_one_says_so(left: AtHand) -> None:
    assert left.refuses("SYST:COMM:WATC:TIME 1") == -241
    assert left.refuses("SYST:COMM:WATC:STAT?") == -241


def test_silence_switches_all_outputs_off_and_any_message_holds_it_back() -> None:
    async def run(network: Network) -> tuple[str, str]:
        client: Client = await network.client()
        await client.tell("SYST:COMM:WATC:TIME 0.5;STAT ON;:VOLT 5,(@1:2);CURR 1,(@1:2);:OUTP ON,(@1:2)")
        for _ in range(5):
            await asyncio.sleep(0.4)
            await client.tell("BOOM")
        assert network.twins.on("left.1")
        await asyncio.sleep(0.6)
        assert not network.twins.on("left.1")
        return await client.ask("SYST:COMM:WATC:TIME?;STAT?"), await client.ask("OUTP? (@1:2)")

    network = Watched()
    assert network.play(run) == ("5.0000000E-01;1", "0,0")
    for output in ("left.1", "left.2"):
        ((on, off),) = network.twins.energised(output)
        assert off == pytest.approx(on + 5 * 0.4 + 0.5, abs=1e-6)


def test_switched_off_it_lets_silence_be() -> None:
    async def run(network: Network) -> str:
        client: Client = await network.client()
        await client.tell("SYST:COMM:WATC:TIME 0.5;STAT ON;STAT OFF;:CURR 1,(@1);:OUTP ON,(@1)")
        await asyncio.sleep(5.0)
        return await client.ask("OUTP? (@1);:SYST:COMM:WATC:STAT?")

    assert Watched().play(run) == "1;0"
