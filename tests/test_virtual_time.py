"""Virtual time: asyncio code that waits for nothing, and connections in memory."""

from __future__ import annotations

import asyncio
import os
import threading
import time
from pathlib import Path

import pytest

from railwright.virtual_time import PacedLoop, Stalled, VirtualLoop, memory_streams


def test_an_hour_passes_at_once() -> None:
    loop = VirtualLoop()
    began, here = time.monotonic(), loop.now()
    loop.sleep(3600.0)
    assert loop.now() - here == pytest.approx(3600.0)
    assert time.monotonic() - began < 1.0


def test_an_answer_comes_after_both_ways_and_the_work_between() -> None:
    loop = VirtualLoop()
    (reader, writer), (far_reader, far_writer) = memory_streams(loop, latency=1e-3)

    async def serve() -> None:
        while data := await far_reader.read(100):
            await asyncio.sleep(0.5)
            far_writer.write(b"got " + data)

    async def ask() -> bytes:
        writer.write(b"it")
        return await asyncio.wait_for(reader.read(100), 2.0)

    serving = loop.create_task(serve())
    assert loop.complete(ask()) == b"got it"
    assert loop.now() == pytest.approx(1000.502)
    writer.close()
    loop.sleep(1.0)
    assert serving.done()


def test_what_is_written_at_one_instant_arrives_in_order() -> None:
    loop = VirtualLoop()
    (_, writer), (far_reader, _) = memory_streams(loop)
    expected = b"".join(b"%d;" % number for number in range(500))

    async def send() -> bytes:
        for number in range(500):
            writer.write(b"%d;" % number)
        writer.close()
        return await far_reader.read()

    assert loop.complete(send()) == expected


def test_a_deadline_passes_in_virtual_time() -> None:
    loop = VirtualLoop()
    (reader, _), _ = memory_streams(loop)

    async def ask() -> bytes:
        return await asyncio.wait_for(reader.read(1), 10.0)

    with pytest.raises(TimeoutError):
        loop.complete(ask())
    assert loop.now() == pytest.approx(1010.0)


def test_a_closed_connection_says_so_to_the_writer() -> None:
    loop = VirtualLoop()
    (_, writer), (_, far_writer) = memory_streams(loop)
    far_writer.close()

    async def send() -> None:
        writer.write(b"x")
        await writer.drain()

    with pytest.raises(ConnectionResetError):
        loop.complete(send())


def test_waiting_for_nothing_is_said_instead_of_lasting_for_ever() -> None:
    loop = VirtualLoop()
    with pytest.raises(Stalled):
        loop.complete(_never())


async def _never() -> None:
    await asyncio.get_running_loop().create_future()


def test_a_paced_loop_goes_as_fast_as_the_clock_while_it_is_asked_to() -> None:
    """And neither before that nor after it; time that was lost in between is made up for."""
    paced = threading.Event()
    loop = PacedLoop(paced)

    def took(duration: float) -> float:
        begin = time.monotonic()
        loop.sleep(duration)
        return time.monotonic() - begin

    assert took(100.0) < 1.0
    paced.set()
    loop.sleep(0.01)
    begin, now = time.monotonic(), loop.now()
    for _ in range(10):
        loop.sleep(0.02)
    assert loop.now() - now == pytest.approx(0.2)
    assert time.monotonic() - begin > 0.19
    time.sleep(0.1)
    assert took(0.1) < 0.09
    paced.clear()
    assert took(100.0) < 1.0
    loop.close()


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="lists descriptors as Linux does")
def test_loops_that_are_dropped_without_being_closed_hold_no_descriptor() -> None:
    before = os.listdir("/proc/self/fd")
    loops = [VirtualLoop(), PacedLoop(threading.Event())]
    assert [each.run_until_complete(asyncio.sleep(1.0, "done")) for each in loops] == ["done"] * 2
    for each in loops:
        each.call_soon_threadsafe(list)
        each.sleep(1.0)
    assert len(os.listdir("/proc/self/fd")) == len(before)
