"""A twin's pseudo-terminal: the link that leads to it, and what a line does to bytes."""

from __future__ import annotations

import asyncio
import os
import termios
import tty
from pathlib import Path
from typing import Any

import pytest

from railwright.documents.serial_line import SerialLine
from railwright.twin.serial_port import PacedReader, PacedWriter, SerialPort
from railwright.virtual_time import VirtualLoop, memory_streams


async def echo(reader: Any, writer: Any) -> None:
    while data := await reader.read(100):
        writer.write(data)


def test_a_link_leads_to_it_and_goes_with_it(tmp_path: Path) -> None:
    link = tmp_path / "left.tty"
    link.symlink_to("/dev/pts/99999")  # left by one that was killed

    async def go() -> tuple[str, bool]:
        port = SerialPort(echo, SerialLine())
        device = port.open(str(link))
        led = os.readlink(link) == device
        port.close()
        port.close()
        return device, led

    device, led = asyncio.run(go())
    assert led
    assert device.startswith("/dev/pts/")
    assert not link.is_symlink()


@pytest.mark.parametrize("there", ["file", "folder", "link elsewhere"])
def test_what_else_is_there_is_left_alone(tmp_path: Path, there: str) -> None:
    place = tmp_path / "left.tty"
    if there == "file":
        place.write_text("notes")
    elif there == "folder":
        place.mkdir()
    else:
        place.symlink_to(tmp_path)

    async def go() -> None:
        port = SerialPort(echo, SerialLine())
        with pytest.raises(FileExistsError):
            port.open(str(place))
        port.close()

    asyncio.run(go())
    assert place.exists()


@pytest.mark.parametrize(("speed", "heard"), [(termios.B9600, True), (termios.B19200, False)])
def test_another_rate_is_not_understood(speed: int, heard: bool) -> None:
    async def go() -> bytes:
        port = SerialPort(echo, SerialLine())
        device = os.open(port.open(""), os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(device)
        settings = termios.tcgetattr(device)
        settings[4] = settings[5] = speed
        termios.tcsetattr(device, termios.TCSANOW, settings)
        os.write(device, b"*IDN?\n")
        await asyncio.sleep(0.1)
        answer = os.read(device, 100)
        os.close(device)
        port.close()
        return answer

    assert (asyncio.run(go()) == b"*IDN?\n") is heard


@pytest.mark.parametrize(("baud", "parity", "byte"), [(9600, "none", 10 / 9600), (1200, "even", 11 / 1200)])
def test_bytes_take_the_time_of_the_line(baud: int, parity: Any, byte: float) -> None:
    loop = VirtualLoop()
    settings = SerialLine(baud=baud, parity=parity).settings

    async def go() -> tuple[float, float]:
        (near, to_far), (far, to_near) = memory_streams(loop, latency=0.0)
        reader, writer = PacedReader(far, settings.byte_time), PacedWriter(to_near, settings.byte_time)
        began = loop.now()
        to_far.write(b"x" * 20)
        await reader.read(100)
        arrived = loop.now() - began
        writer.write(b"y" * 30)
        writer.write(b"z" * 10)
        data = b""
        while len(data) < 40:
            data += await near.read(100)
        return arrived, loop.now() - began - arrived

    arrived, answered = loop.complete(go())
    assert arrived == pytest.approx(20 * byte)
    assert answered == pytest.approx(40 * byte)
