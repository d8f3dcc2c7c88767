"""Faults by script, as a client and the physics see them, in virtual time."""

import asyncio

import pytest
from tests.said import says
from tests.twin.network import Client, Network, fails

ON = "VOLT 12,(@1);CURR 1,(@1);:OUTP ON,(@1)"
OFF = "OUTP OFF,(@1)"


async def switched_on(network: Network) -> Client:
    """A client that has sent one message, and output 1 on."""
    client = await network.client()
    await client.tell(ON)
    return client


def test_a_reset_at_a_message_comes_before_it_is_carried_out() -> None:
    async def run(network: Network) -> tuple[type[BaseException] | None, str]:
        client = await switched_on(network)
        how = await fails(client.ask("VOLT 5,(@1);VOLT? (@1)"))
        return how, await (await network.client()).ask("VOLT? (@1)")

    network = Network("left: reset at message 2")
    assert network.play(run) == (ConnectionResetError, "1.2000000E+01")
    (act,) = network.twins.acts()
    assert (act.what, act.line) == ("reset", "left: reset at message 2")
    assert act.time == pytest.approx(network.began + 3e-4)
    assert network.twins.on("left.1")


def test_after_a_message_it_has_been_carried_out_and_answered() -> None:
    async def run(network: Network) -> tuple[str, str]:
        client = await switched_on(network)
        answer = await client.ask("VOLT 5,(@1);VOLT? (@1)")
        return answer, (
            await client.ask("*IDN?", within=1.0) if await fails(client.line()) is None else "gone"
        )

    assert Network("left: silent after message 2").play(run)[0] == "5.0000000E+00"
    assert Network("left: reset after message 2").play(run) == ("5.0000000E+00", "gone")


@pytest.mark.parametrize(("kind", "carried_out"), [("silent", True), ("deaf", False)])
def test_silence(kind: str, carried_out: bool) -> None:
    async def run(network: Network) -> str:
        client = await switched_on(network)
        with pytest.raises(TimeoutError):
            await client.ask("VOLT 5,(@1);VOLT? (@1)")
        await asyncio.sleep(1.0)
        return await client.ask("VOLT? (@1)")

    network = Network(f"left: {kind} at message 2 for 1.5 s")
    assert network.play(run) == ("5.0000000E+00" if carried_out else "1.2000000E+01")


def test_an_off_that_is_lost() -> None:
    async def twice(network: Network) -> list[str]:
        client = await switched_on(network)
        await client.tell(OFF)
        first = await client.ask("OUTP? (@1)")
        await client.tell(OFF)
        return [first, await client.ask("OUTP? (@1)")]

    assert Network('left: deaf at "OUTP OFF" for 1 time').play(twice) == ["1", "0"]


def test_slow_goes_for_each_message() -> None:
    async def run(network: Network) -> list[float]:
        client = await network.client()
        times = []
        for _ in range(4):
            began = network.loop.now()
            await client.ask("*IDN?")
            times.append(round(network.loop.now() - began, 4))
        return times

    assert Network("left: slow 50 ms at message 2 for 2 times").play(run) == [2e-4, 0.0502, 0.0502, 2e-4]


@pytest.mark.parametrize(
    ("kind", "lines"),
    [
        ("two answers", ["1.2000000E+01\n", "1.2000000E+01\n"]),
        ("previous answer", ["0\n", ""]),
        ("wrong answer", ["1.3300000E+01\n", ""]),
        ("half answer", ["1.20000", ""]),
    ],
)
def test_spoilt_answers(kind: str, lines: list[str]) -> None:
    async def run(network: Network) -> list[str]:
        client = await switched_on(network)
        assert await client.ask("OUTP? (@2)") == "0"
        await client.tell("VOLT? (@1)")
        await asyncio.sleep(0.1)
        network.twins.servers["left"].drop("close")
        return [await client.line(), await client.line()]

    network = Network(f"left: {kind} at VOLT? for 3 times")
    assert network.play(run) == lines
    assert network.acts == [kind]


def test_spoilt_answers_are_those_to_the_command_that_is_named_and_as_many() -> None:
    async def run(network: Network) -> list[str]:
        client = await switched_on(network)
        await asyncio.sleep(0.01)
        return [await client.ask(query) for query in 2 * ("OUTP? (@1)", "OUTP? (@1)", "CURR? (@2)")]

    network = Network("left: wrong answer at OUTP? 2 for 2 times")
    assert network.play(run) == ["1", "0", "0.0000000E+00", "0", "1", "0.0000000E+00"]
    assert network.acts == ["wrong answer", "wrong answer"]


def test_garbage_is_drawn_from_the_seed() -> None:
    async def run(network: Network) -> str:
        client = await network.client()
        return await client.ask("*IDN?")

    first, again = (Network("left: garbage").play(run) for _ in range(2))
    assert first == again
    assert not first.startswith("Railwright")
    assert Network("left: garbage", seed=2).play(run) != first


def test_an_answer_without_end() -> None:
    async def run(network: Network) -> int:
        client = await switched_on(network)
        await client.tell("VOLT? (@1)")
        await client.tell(OFF)
        count = 0
        while count < 100_000:
            received = await client.reader.read(10_000)
            assert b"\n" not in received
            count += len(received)
        client.writer.close()
        await asyncio.sleep(0.1)
        return await (await network.client()).ask("OUTP? (@1)") == "0"

    network = Network("left: endless answer at VOLT?")
    assert network.play(run)
    assert network.loop.now() - network.began < 0.5


def test_refused_after_a_drop() -> None:
    async def run(network: Network) -> tuple[object, ...]:
        client = await switched_on(network)
        dropped = await fails(client.ask("*IDN?"))
        refused = await fails(network.client())
        still = network.twins.on("left.1")
        await asyncio.sleep(2.0)
        return dropped, refused, still, await (await network.client()).ask("OUTP? (@1)")

    network = Network("left: refuses at message 2 for 1.9 s")
    assert network.play(run) == (ConnectionResetError, ConnectionRefusedError, True, "1")


def test_a_reboot_loses_the_settings() -> None:
    async def run(network: Network) -> tuple[object, ...]:
        client = await switched_on(network)
        dropped = await fails(client.ask("*IDN?"))
        refused = await fails(network.client())
        await asyncio.sleep(2.0)
        client = await network.client()
        return dropped, refused, await client.ask("VOLT? (@1);:OUTP? (@1);*ESR?")

    network = Network("left: reboots at message 2")
    assert network.play(run) == (ConnectionResetError, ConnectionRefusedError, "0.0000000E+00;0;128")
    ((_, off),) = network.twins.energised("left.1")
    assert off == pytest.approx(network.twins.acts()[0].time)


def test_another_client_takes_the_supply() -> None:
    async def run(network: Network) -> tuple[object, ...]:
        client = await switched_on(network)
        await client.tell("VOLT? (@1)")
        try:
            said: object = await client.line()
        except TimeoutError:
            said = "nothing"
        return said, await (await network.client()).ask("VOLT? (@1)")

    assert Network("left: taken over at message 2").play(run) == ("", "1.2000000E+01")
    assert Network("left: taken over silently at message 2").play(run) == ("nothing", "1.2000000E+01")


def test_a_supply_that_takes_one_client() -> None:
    async def run(network: Network) -> list[str]:
        one = await network.client()
        first = await one.ask("OUTP? (@1)")
        other = await network.client()
        second = await other.line()
        one.writer.close()
        await asyncio.sleep(0.01)
        return [first, second, await (await network.client()).ask("OUTP? (@1)")]

    assert Network("left: one client").play(run) == ["0", "", "0"]


def test_errors_and_commands_of_others() -> None:
    async def run(network: Network) -> list[str]:
        client = await switched_on(network)
        return [await client.ask(each) for each in ("SYST:ERR?", "VOLT? (@1)", "SYST:ERR?")]

    network = Network(
        "left: error -310 at message 2",
        'left: told "VOLT 7,(@1)" at message 3',
        'left: told "BOOM" at message 4',
    )
    errors = network.play(run)
    assert errors[0].startswith("-310,")
    assert errors[1] == "7.0000000E+00"
    assert errors[2].startswith("-113,")


def test_an_output_goes_off_and_another_comes_on_at_times() -> None:
    async def run(network: Network) -> str:
        client = await switched_on(network)
        await asyncio.sleep(1.0)
        return await client.ask("OUTP? (@1,2)")

    network = Network("left.1: goes off at 0.5 s", "left.2: comes on at 0.1 s .. 0.4 s")
    assert network.play(run) == "0,1"
    ((begin, end),) = network.twins.energised("left.1")
    assert end == pytest.approx(begin + 0.5)
    ((other, _),) = network.twins.energised("left.2")
    assert begin + 0.1 <= other <= begin + 0.4
    assert [act.time for act in network.twins.acts()] == [pytest.approx(other), pytest.approx(end)]


@pytest.mark.parametrize(("kind", "says"), [("stays on", "1"), ("stays on but says off", "0")])
def test_an_output_that_will_not_go_off(kind: str, says: str) -> None:
    async def run(network: Network) -> list[str]:
        client = await switched_on(network)
        await asyncio.sleep(0.3)
        said = []
        for how in (OFF, "*RST"):
            await client.tell(how)
            await asyncio.sleep(0.1)
            said.append(await client.ask("OUTP? (@1)"))
        assert network.twins.on("left.1")
        return said

    network = Network(f"left.1: {kind} at message 2")
    assert network.play(run) == [says, says]
    assert network.twins.energised("left.1")[-1][1] is None


def test_one_that_stays_on_for_a_time_can_be_switched_off_after_it() -> None:
    async def run(network: Network) -> str:
        client = await switched_on(network)
        await client.tell(OFF)
        await asyncio.sleep(0.6)
        assert network.twins.on("left.1")
        await client.tell(OFF)
        return await client.ask("OUTP? (@1)")

    network = Network("left.1: stays on but says off at message 2 for 0.5 s")
    assert network.play(run) == "0"
    assert network.twins.energised("left.1")[-1][1] is not None


def test_an_output_comes_on_again_as_often_as_is_said() -> None:
    async def run(network: Network) -> None:
        client = await switched_on(network)
        for _ in range(3):
            await client.tell(OFF)
            await asyncio.sleep(0.5)

    network = Network("left.1: comes on again 0.2 s at message 2 for 2 times")
    network.play(run)
    spans = network.twins.energised("left.1")
    assert len(spans) == 3
    for (_, off), (on, _), act in zip(spans[:-1], spans[1:], network.twins.acts(), strict=True):
        assert off is not None
        assert on == pytest.approx(off + 0.2) == pytest.approx(act.time)
    assert spans[-1][1] is not None


def test_over_temperature_trips_and_cannot_be_cleared_while_it_is_hot() -> None:
    async def run(network: Network) -> list[str]:
        client = await switched_on(network)
        await asyncio.sleep(0.1)
        said = [await client.ask("OUTP? (@1)")]
        await asyncio.sleep(0.01)
        said.append(await client.ask("OUTP? (@1);:STAT:QUES:INST:ISUM1:COND?"))
        await client.tell("OUTP:PROT:CLE (@1);:OUTP ON,(@1)")
        said.append(await client.ask("SYST:ERR?"))
        await asyncio.sleep(1.0)
        said.append(await client.ask("OUTP? (@1);:STAT:QUES:INST:ISUM1:COND?"))
        await client.tell("OUTP:PROT:CLE (@1)")
        await client.tell("OUTP ON,(@1)")
        said.append(await client.ask("OUTP? (@1);:STAT:QUES:INST:ISUM1:COND?"))
        return said

    network = Network("left.1: overheats at message 2 for 1 s")
    said = network.play(run)
    assert said[:2] == ["0", "0;16"]
    assert says(said[2], "-221", "left.1")
    assert said[3:] == ["0;16", "1;0"]
    assert ("left.1", "trips OTP") in {(e.subject, e.what) for e in network.twins.truth().events}


@pytest.mark.parametrize(("told_off", "spans"), [(False, 2), (True, 1)])
def test_it_comes_back_when_it_has_cooled_unless_it_was_told_to_go_off(told_off: bool, spans: int) -> None:
    async def run(network: Network) -> str:
        client = await switched_on(network)
        await client.ask("*IDN?")
        await asyncio.sleep(0.1)
        if told_off:
            await client.tell(OFF)
        await asyncio.sleep(1.0)
        return await client.ask("OUTP? (@1)")

    network = Network("left.1: overheats and comes back at message 2 for 1 s")
    assert network.play(run) == str(spans - 1)
    assert len(network.twins.energised("left.1")) == spans
    assert network.acts == ["overheats and comes back", "comes on again"][:spans]


def test_a_linked_output_follows_over_temperature() -> None:
    async def run(network: Network) -> str:
        client = await switched_on(network)
        await client.tell("OUTP:PROT:LINK (@1),(@2);:VOLT 5,(@2);CURR 1,(@2);:OUTP ON,(@2)")
        await asyncio.sleep(0.5)
        return await client.ask("OUTP? (@2);:OUTP:PROT:LINK:TRIP? (@2)")

    assert Network("left.1: overheats at 0.2 s").play(run) == "0;1"


def test_a_script_touches_only_its_own_supply() -> None:
    async def run(network: Network) -> str:
        left, right = await network.client(), await network.client("right")
        await fails(left.ask("*IDN?"))
        return await right.ask("OUTP?")

    assert Network("left: refuses").play(run) == "0"
