"""What stands on a slow serial line before a question takes nothing of the question's own time: a supply
whose OFF is still on its way is not lost. In virtual time.
"""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from railwright.guard.session import ON_THE_LINE, Session, SessionError
from railwright.guard.session_settings import LineSettings, SessionSettings
from railwright.virtual_time import VirtualLoop, memory_streams

OFF = "OUTPut:STATe OFF,(@1);:OUTPut:STATe OFF,(@2)"
LOOK = "OUTPut:STATe? (@1,2);:MEASure:VOLTage? (@1,2);:FETCh:CURRent? (@1,2)"
DEADLINE = 0.5


class Line:
    """The writing end of a line: each byte takes its time."""

    def __init__(self, inner: Any, byte_time: float) -> None:
        self._inner, self._byte_time, self.free_at = inner, byte_time, 0.0

    def write(self, data: bytes) -> None:
        loop = asyncio.get_running_loop()
        self.free_at = max(self.free_at, loop.time()) + len(data) * self._byte_time
        loop.call_at(self.free_at, self._inner.write, data)

    async def drain(self) -> None:
        await self._inner.drain()

    def close(self) -> None:
        self._inner.close()


async def serve(reader: Any, writer: Line, silent: bool) -> None:
    while line := await reader.readline():
        if b"?" in line and not silent:
            writer.write(b"1,1;+1.20000E+01,+1.20000E+01;+5.0000E-01,+5.0000E-01\n")


def asked(baud: int, offs: int, owing: bool, silent: bool = False) -> tuple[str, float]:
    """What a look is answered after so many OFF, and how long that took [s]. owing: behind a question that
    was given up.
    """
    loop, line = VirtualLoop(), LineSettings(baud=baud)

    async def connect(address: str, session_settings: SessionSettings) -> Any:
        near, far = memory_streams(loop)
        loop.create_task(serve(far[0], Line(far[1], line.byte_time), silent))
        return near[0], Line(near[1], line.byte_time)

    async def go() -> tuple[str, float]:
        session = Session("left", "ASRL/dev/ttyS0::INSTR", connect, SessionSettings(line=line))
        await session.open()
        if owing:
            given_up = loop.create_task(session.ask(LOOK, DEADLINE))
            await asyncio.sleep(1e-3)
            given_up.cancel()
        for _ in range(offs):
            session.push(OFF)
        began = loop.time()
        try:
            answer = (await session.ask(LOOK, DEADLINE)).answer
        except SessionError as error:
            answer = str(error)
        session.close()
        await asyncio.sleep(0.01)
        return answer, loop.time() - began

    return loop.complete(go())


@pytest.mark.parametrize("owing", [False, True])
@pytest.mark.parametrize("offs", [0, 1, 2, 4])
@pytest.mark.parametrize("baud", [1200, 2400, 9600, 57600])
def test_what_is_on_the_line_before_it_is_no_time_of_a_question(baud: int, offs: int, owing: bool) -> None:
    answer, _ = asked(baud, offs, owing)
    assert answer.startswith("1,1;+1.2")


@pytest.mark.parametrize("owing", [False, True])
@pytest.mark.parametrize("offs", [0, 4])
@pytest.mark.parametrize("baud", [1200, 57600])
def test_a_silent_supply_is_given_up_once_its_own_time_is_over(baud: int, offs: int, owing: bool) -> None:
    answer, took = asked(baud, offs, owing, silent=True)
    assert "no whole answer" in answer
    before = offs * (len(OFF) + 1) + owing * (len(LOOK) + 1 + ON_THE_LINE)
    own = len(LOOK) + ON_THE_LINE
    assert took == pytest.approx(DEADLINE + (before + own) * 10 / baud, abs=0.02)
