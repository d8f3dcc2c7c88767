"""A third party's client at the twins: pyvisa with pyvisa-py, over every transport that both speak.

Source of what is asked: IEEE 488.2-1992, 10 (common commands).
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest
import pyvisa
from pyvisa import constants

from railwright.documents.loader import load_bench
from railwright.documents.serial_line import SerialLine
from railwright.examples import example
from railwright.twin.launcher import TwinBench

pytestmark = pytest.mark.alone

LINE = {"baud": 57600, "stop_bits": 2}
SERIAL = "ASRL/dev/ttyUSB0::INSTR"


@pytest.fixture(scope="module")
def twins() -> Iterator[TwinBench]:
    bench = load_bench(example() / "quay.bench.yaml").model
    data = {"left": {"address": SERIAL}, "right": {}}
    supplies = {}
    for name, supply in bench.supplies.items():
        supplies[name] = supply.model_copy(update=data[name])
    supplies["left"] = supplies["left"].model_copy(update={"line": SerialLine(**LINE)})
    with TwinBench(bench.model_copy(update={"supplies": supplies})) as twins:
        yield twins


@pytest.fixture(params=["left", "right"])
def client(request: pytest.FixtureRequest, twins: TwinBench) -> Iterator[Any]:
    manager = pyvisa.ResourceManager("@py")
    address = twins.addresses[request.param]
    client = manager.open_resource(address, read_termination="\n", write_termination="\n", timeout=2000)
    if address.startswith("ASRL"):
        client.baud_rate = 57600
        client.stop_bits = constants.StopBits.two
    yield client
    client.close()
    manager.close()


def test_everyday_things(client: Any) -> None:
    client.write("*RST")
    client.write("*CLS")
    assert len(client.query("*IDN?").split(",")) == 4
    assert client.query("*OPC?") == "1"
    assert client.query("*ESR?") == "0"
    client.write("NO:SUCH:HEADER")
    assert client.query("SYST:ERR?").startswith("-113,")
    assert client.query("SYST:ERR?").startswith("0,")
    assert int(client.query("*ESR?")) & 32
    assert client.query("*ESE 60;*ESE?") == "60"
    assert int(client.query("*STB?")) & 32 == 0


def test_a_client_with_another_rate_is_not_understood(twins: TwinBench) -> None:
    code = (
        "import sys, pyvisa\n"
        "client = pyvisa.ResourceManager('@py').open_resource(sys.argv[1], timeout=500,\n"
        "    read_termination='\\n', write_termination='\\n', baud_rate=9600)\n"
        "try:\n    print(client.query('*IDN?'))\nexcept pyvisa.VisaIOError:\n    print('nothing')\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, twins.addresses["left"]], capture_output=True, text=True, timeout=30
    )
    assert told.stdout == "nothing\n", told.stderr


def test_bytes_take_their_time_on_the_line(twins: TwinBench) -> None:
    """100 messages `*OPC?` and their answers: 8 bytes of 11 bits each, at 57600 Bd."""
    manager = pyvisa.ResourceManager("@py")
    client = manager.open_resource(twins.addresses["left"], read_termination="\n", write_termination="\n")
    client.baud_rate = 57600
    client.stop_bits = constants.StopBits.two
    client.write("")  # ends what came at another rate before
    began = time.monotonic()
    for _ in range(100):
        assert client.query("*OPC?") == "1"
    took = time.monotonic() - began
    client.close()
    manager.close()
    assert 100 * 9 * 11 / 57600 < took < 3.0
