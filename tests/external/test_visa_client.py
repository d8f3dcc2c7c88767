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
    left = bench.supplies["left"]
    supplies = {
        "left": left.model_copy(update={"address": SERIAL, "line": SerialLine(**LINE)}),
        "right": bench.supplies["right"],
        "middle": left.model_copy(update={"address": "TCPIP::192.0.2.1::hislip0::INSTR"}),
    }
    with TwinBench(bench.model_copy(update={"supplies": supplies})) as twins:
        yield twins


@pytest.fixture(params=["left", "right", "middle"])
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


def hislip(twins: TwinBench, manager: Any) -> Any:
    return manager.open_resource(
        twins.addresses["middle"], read_termination="\n", write_termination="\n", timeout=1000
    )


def test_device_clear_and_the_status_byte_over_hislip(twins: TwinBench) -> None:
    """IVI-6.1, 6.12 and 6.14: what was under way is forgotten, and the byte needs no question."""
    manager = pyvisa.ResourceManager("@py")
    for _ in range(20):
        client = hislip(twins, manager)
        client.query("*CLS;*SRE 0;*OPC?")
        assert client.read_stb() & 16 == 0
        client.write("VOLT 1.5,(@1)")
        client.write("VOLT? (@1)")
        try:
            client.clear()
            break
        except RuntimeError as error:
            # pyvisa-py does not pass over an answer that was on its way when it cleared (IVI-6.1, 6.12).
            if "received 'DataEnd" not in str(error):
                raise
            client.close()
    assert client.query("*IDN?").split(",")[1] == "QS-362"
    # Nobody read the answer before the next question: it is lost, and that is an error (IEEE 488.2, 6.3.2.3).
    client.write("*CLS")
    client.write("VOLT? (@1)")
    time.sleep(0.05)
    assert client.query("*IDN?").split(",")[1] == "QS-362"
    assert client.query("SYST:ERR?").startswith("-410,")
    client.close()
    manager.close()


def test_two_clients_over_hislip_get_each_their_own_answers(twins: TwinBench) -> None:
    manager = pyvisa.ResourceManager("@py")
    first, second = hislip(twins, manager), hislip(twins, manager)
    for client in (first, second):
        client.write("*IDN?" if client is first else "*OPC?")
    assert second.read() == "1"
    assert first.read().split(",")[1] == "QS-362"
    for client in (first, second):
        client.close()
    manager.close()


def test_a_name_that_is_not_there_is_refused_over_hislip(twins: TwinBench) -> None:
    manager = pyvisa.ResourceManager("@py")
    wrong = twins.addresses["middle"].replace("hislip0", "hislip7")
    with pytest.raises(pyvisa.VisaIOError, match="RSRC_NFOUND"):
        manager.open_resource(wrong, open_timeout=1000)
    manager.close()


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
