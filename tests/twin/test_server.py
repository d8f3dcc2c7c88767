"""Whatever arrives, the twin lives on, with an error in its queue."""

import asyncio

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.twin.bench import BENCH, DEVICE, PROCEDURE, AtHand
from tests.twin.network import Network

from railwright.scpi.errors import STANDARD_TEXTS, parse_entry
from railwright.twin.commands import TREE
from railwright.twin.plant import Plant
from railwright.twin.server import LONGEST_MESSAGE, SupplyServer
from railwright.twin.supply import TwinSupply
from railwright.twin.truth import Truth

BYTES = settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def at_hand() -> AtHand:
    return AtHand("left")


def drained(at_hand: AtHand) -> list[int]:
    """The numbers of all errors in the queue, which is empty then."""
    numbers = []
    while number := at_hand.error():
        numbers.append(number)
    return numbers


@BYTES
@given(st.binary(max_size=120))
def test_any_bytes_leave_it_alive_with_errors_of_the_standard(at_hand: AtHand, message: bytes) -> None:
    at_hand.ask(message.replace(b"\n", b""))
    assert set(drained(at_hand)) <= set(STANDARD_TEXTS)
    assert at_hand.ask("*IDN?").startswith("Railwright,")


BODIES = [pattern.replace("[", "").replace("]", "").replace("#", "") for pattern, _ in TREE.entries]
WORDS = [node for body in BODIES for node in body.split(":") if node]
PIECES = [*WORDS, *":;? ,", "(@1)", "(@1:2)", "1", "1E99", "MAX", "ON", "#14abcd", "'x'", "MV", "\xff"]
PARAMETERS = ("", " 1", " ON", " 'x'", " #13abc", " (@1)", " 1E30 V", " NAN", " (@1),(@2)", " 1,2,(@2)")


@BYTES
@given(st.lists(st.sampled_from(PIECES), max_size=12))
def test_scrambled_commands_leave_it_alive(at_hand: AtHand, pieces: list[str]) -> None:
    at_hand.ask("".join(pieces))
    assert set(drained(at_hand)) <= set(STANDARD_TEXTS)
    at_hand.wait(0.004)
    assert parse_entry(at_hand.ask("SYST:ERR?"))[0] == 0


@pytest.mark.parametrize("body", BODIES)
def test_every_command_takes_every_kind_of_parameter_without_falling(at_hand: AtHand, body: str) -> None:
    header, query = body.removesuffix("?"), "?" if body.endswith("?") else ""
    for parameter in (
        "",
        " 1",
        " ON",
        " 'x'",
        " #13abc",
        " (@1)",
        " 1E30 V",
        " NAN",
        " (@1),(@2)",
        " 1,2,(@2)",
    ):
        answer = at_hand.ask(header + query + parameter)
        numbers = drained(at_hand)
        assert not (answer and numbers and query == "")
        assert set(numbers) <= set(STANDARD_TEXTS)
    at_hand.ask("*RST;*CLS")
    assert at_hand.ask("OUTP? (@1:2)") == "0,0"


def test_a_slow_machine_lags_instead_of_going_deaf() -> None:
    at_hand = AtHand("left")
    before = at_hand.plant.time
    at_hand.now += 3600.0
    at_hand.server.catch_up()
    assert at_hand.plant.time - before < 0.3
    at_hand.wait(0.2)
    assert at_hand.plant.time - before == pytest.approx(0.45, abs=0.01)


def test_a_lag_shifts_only_what_is_played_after_it() -> None:
    at_hand = AtHand("left")
    at_hand.wait(0.1)
    early = at_hand.plant.time
    began = at_hand.now - early
    at_hand.now += 1.0
    at_hand.server.catch_up()
    late = at_hand.plant.time
    wall = at_hand.server.wall_clock(np.array([early / 2, early, late]))
    assert wall == pytest.approx([began + early / 2, began + early, at_hand.now])
    assert wall[2] - wall[1] > late - early + 0.5


def test_a_measurement_is_waited_for_also_where_it_is_the_first() -> None:
    """A supply that was switched on a moment ago has read nothing yet; an error would be no answer."""
    plant = Plant("left", BENCH, DEVICE, PROCEDURE, Truth(1, {}))
    supply = TwinSupply("left", BENCH.supplies["left"], plant)
    assert not supply.has_read
    answer = asyncio.run(SupplyServer(supply).answer(b"MEAS:VOLT? (@1)"))
    assert abs(float(answer)) < 0.1
    assert 0.0 < plant.time < 0.5


@pytest.mark.slow
def test_opc_query_and_wai_wait_while_others_are_served() -> None:
    at_hand = AtHand("left")

    async def talk() -> tuple[str, str, float]:
        server = SupplyServer(at_hand.supply)
        port = await server.start("127.0.0.1", 0)
        running = asyncio.ensure_future(server.run())
        waiting_reader, waiting = await asyncio.open_connection("127.0.0.1", port)
        other_reader, other = await asyncio.open_connection("127.0.0.1", port)
        loop = asyncio.get_running_loop()
        begin = loop.time()
        waiting.write(b"LIST:VOLT 1,(@2);DWEL 0.3,(@2);:VOLT:MODE LIST,(@2);:INIT (@2);*OPC?\n")
        await asyncio.sleep(0.05)
        other.write(b"STAT:OPER:COND?\n")
        seen = await other_reader.readline()
        done = await waiting_reader.readline()
        took = loop.time() - begin
        running.cancel()
        waiting.close()
        other.close()
        return seen.decode(), done.decode(), took

    seen, done, took = asyncio.run(talk())
    assert int(seen) & (1 << 3)
    assert done == "1\n"
    assert 0.25 < took < 2.0


@pytest.mark.slow
def test_sockets_survive_what_clients_do() -> None:
    at_hand = AtHand("left")

    async def misbehave() -> list[bytes]:
        server = SupplyServer(at_hand.supply)
        port = await server.start("127.0.0.1", 0)
        running = asyncio.ensure_future(server.run())
        answers = []

        async def ask(message: bytes) -> bytes:
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            writer.write(message)
            answer = await asyncio.wait_for(reader.readline(), 10)
            writer.close()
            return answer

        # A line of a million bytes without an end, then the connection drops.
        _, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(b"x" * 1_000_000)
        await writer.drain()
        await asyncio.sleep(0.05)
        writer.close()
        answers.append(await ask(b"SYST:ERR?\n"))
        # Half a command, then the connection drops: no message, no error.
        _, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(b"VOLT 5,(@")
        writer.transport.abort()
        answers.append(await ask(b"SYST:ERR?\n"))
        # Thousands of questions from someone who never reads an answer.
        _, deaf = await asyncio.open_connection("127.0.0.1", port)
        deaf.write(b"*IDN?\n" * 5000)
        answers.append(await ask(b"*IDN?\n"))
        # Binary rubbish, and a command after it on the same connection.
        answers.append(await ask(bytes(range(256)) + b"\n*CLS;:SYST:ERR?\n"))
        # Two messages in one packet, one message in many.
        answers.append(await ask(b"*CLS\n*ESE 4\n*ESE?\n"))
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        for letter in b"*ESE?\r\n":
            writer.write(bytes([letter]))
            await asyncio.sleep(0.002)
        answers.append(await reader.readline())
        writer.close()
        deaf.transport.abort()
        running.cancel()
        return answers

    answers = asyncio.run(misbehave())
    assert answers[0].startswith(b'-363,"Input buffer overrun')
    assert answers[1] == b'0,"No error"\n'
    assert answers[2].startswith(b"Railwright,")
    assert answers[3:] == [b'0,"No error"\n', b"4\n", b"4\n"]


def test_a_message_may_be_as_long_as_the_bound() -> None:
    at_hand = AtHand("left")
    assert at_hand.ask(b"*ESE?" + b" " * (LONGEST_MESSAGE - 5)) == "0"


def test_in_a_burst_the_others_have_their_turn() -> None:
    async def run(network: Network) -> int:
        loud, other = await network.client(), await network.client()
        loud.writer.write(b"BOOM\n" * 9600)  # 48 KB in one piece
        return int(await other.ask("SYST:ERR:COUN?"))

    assert 1 <= Network().play(run) <= 16  # of at most 20 that the queue holds
