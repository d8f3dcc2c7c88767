"""Twins in memory and in virtual time, over real SCPI text."""

import asyncio
import time

import numpy as np
import pytest
from tests.twin.bench import BENCH, DEVICE, PROCEDURE
from tests.twin.network import Client, Network

from railwright.twin.server import ReplyTime
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

ON = "VOLT 12,(@1);CURR 1,(@1);:OUTP ON,(@1)"


def test_two_seconds_of_two_supplies_take_well_under_one() -> None:
    async def half(client: Client, readings: str) -> int:
        for _ in range(200):
            await client.ask(readings)
            await asyncio.sleep(9.8e-3)
        return 200

    async def run(network: Network) -> float:
        left, right = await network.client("left"), await network.client("right")
        await left.tell(ON)
        await asyncio.gather(half(left, "MEAS:VOLT? (@1);:FETC:CURR? (@1)"), half(right, "MEAS:VOLT?"))
        return network.twins.voltage("left.1")

    network = Network()
    network.play(run)  # whatever is compiled is compiled now
    network, began = Network(), time.process_time()
    assert network.play(run) == pytest.approx(12.0, abs=0.1)
    assert time.process_time() - began < 1.0
    assert network.loop.now() - network.began == pytest.approx(2.0, abs=0.01)


def test_the_truth_is_seen_as_it_is_now_and_as_it_was() -> None:
    network, twins = (made := Network()), made.twins

    async def run(network: Network) -> list[float]:
        client = await network.client()
        times = []
        for message in (ON, "OUTP OFF,(@1)", "OUTP ON,(@1)"):
            await client.tell(message)
            times.append(network.loop.now() + twins.latency)
            await asyncio.sleep(0.25)
        assert twins.on("left.1")
        assert not twins.on("left.2")
        assert twins.current("left.1") == pytest.approx(0.5, abs=0.05)
        return times

    first, second, third = network.play(run)
    spans = twins.energised("left.1")
    assert np.allclose([span[0] for span in spans], [first, third])
    assert spans[0][1] == pytest.approx(second)
    assert spans[1][1] is None
    assert twins.energised("left.2") == ()
    truth = twins.truth()
    main = truth.traces["main"]
    assert np.interp(second - 1e-3, main.time, main.columns["voltage"]) == pytest.approx(11.9, abs=0.1)
    assert ("left.1", "enters CC") in {(event.subject, event.what) for event in truth.events}


def test_what_trips_is_not_energised() -> None:
    async def run(network: Network) -> str:
        client = await network.client()
        await client.tell("VOLT 12,(@1);CURR 0.1,(@1);CURR:PROT:DEL 0.01,(@1);STAT ON,(@1);:OUTP ON,(@1)")
        await asyncio.sleep(0.5)
        return await client.ask("OUTP? (@1)")

    network = Network()
    assert network.play(run) == "0"
    ((begin, end),) = network.twins.energised("left.1")
    assert end == pytest.approx(begin + 0.01, abs=2e-3)
    assert not network.twins.on("left.1")


def test_point_lists_and_what_waits_for_them_go_by_virtual_time() -> None:
    async def run(network: Network) -> tuple[str, float, str]:
        client = await network.client()
        await client.tell("LIST:VOLT 1,5,(@2);DWEL 30,(@2);:VOLT:MODE LIST,(@2);:OUTP ON,(@2)")
        began = network.loop.now()
        done = await client.ask("INIT (@2);*OPC?", within=100.0)
        took = network.loop.now() - began
        await client.tell("INIT (@2);*WAI;:VOLT:MODE FIX,(@2)")
        return done, took, await client.ask("SYST:ERR?", within=100.0)

    network = Network()
    done, took, error = network.play(run)
    assert (done, error) == ("1", '0,"No error"')
    assert took == pytest.approx(60.0, abs=0.02)
    assert network.loop.now() - network.began == pytest.approx(120.0, abs=0.05)


def test_a_supply_takes_its_time_whoever_asks() -> None:
    async def run(network: Network) -> tuple[float, float]:
        one, other = await network.client(), await network.client()
        began = network.loop.now()
        await one.ask("OUTP? (@1);:VOLT? (@1)")
        alone = network.loop.now() - began
        began = network.loop.now()
        await asyncio.gather(one.ask("*IDN?"), other.ask("*IDN?"))
        return alone, network.loop.now() - began

    alone, both = Network(reply_times={"left": ReplyTime(message=0.02, query=0.1)}).play(run)
    assert alone == pytest.approx(0.2202, abs=1e-4)
    assert both == pytest.approx(0.2402, abs=1e-4)


def test_addresses_are_those_of_the_bench() -> None:
    async def run(network: Network) -> str:
        with pytest.raises(ConnectionRefusedError):
            await network.twins.connect("TCPIP::127.0.0.1::5999::SOCKET")
        client = Client(await network.twins.connect("tcpip0::127.0.0.1::5026::socket"))
        return await client.ask("*IDN?")

    assert Network().play(run).startswith("Railwright,Simulated supply,0,")


def test_two_twins_of_one_document_are_two_instruments_and_one_reached_twice_is_one() -> None:
    async def run(network: Network) -> list[str]:
        return [await (await network.client()).ask("*IDN?") for _ in range(2)]

    first, second = Network().play(run), Network().play(run)
    assert first[0] == first[1]
    assert first[0] != second[0]
    assert first[0].rpartition("-")[0] == second[0].rpartition("-")[0]


def test_an_override_without_a_parameter_is_refused() -> None:
    with pytest.raises(ValueError, match=r"no true parameter 'main\.nothing'"):
        VirtualNetwork(VirtualLoop(), BENCH, DEVICE, PROCEDURE, overrides={"main.nothing": "x2"})


def test_a_closed_network_leaves_nothing_waiting() -> None:
    network = Network()

    async def run(network: Network) -> Client:
        client = await network.client()
        await client.ask("*IDN?")
        return client

    with network.twins:
        client = network.loop.complete(run(network))
    assert network.loop.complete(client.line()) == ""
    network.loop.close()
