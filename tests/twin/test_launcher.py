"""Twins as processes of their own: addresses, real time, recorder, and how they end."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from tests.said import says
from tests.twin.bench import BENCH, DEVICE, PROCEDURE, procedure

from railwright.cli.exits import Exit, code_of
from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.twin.launcher import GivenTruthError, TwinBench, TwinError, serve_bench, socket_address
from railwright.twin.mischief.script import parse_mischief
from railwright.twin.recorder import Trigger
from railwright.twin.server import ReplyTime

pytestmark = pytest.mark.alone

ROOT = Path(__file__).parents[2]


class Client:
    def __init__(self, address: str) -> None:
        self._socket = socket.create_connection(socket_address(address), 10)
        self._answers = self._socket.makefile("rb")

    def tell(self, message: str) -> None:
        self._socket.sendall(message.encode() + b"\n")

    def ask(self, message: str) -> str:
        self.tell(message)
        return self._answers.readline().decode().strip()


@pytest.fixture(scope="module")
def twins() -> Iterator[TwinBench]:
    with TwinBench(BENCH, DEVICE, procedure(aux="right.1"), seed=2) as started:
        yield started


def test_each_supply_answers_at_its_own_address(twins: TwinBench) -> None:
    assert set(twins.addresses) == {"left", "right"}
    assert len(set(twins.addresses.values())) == 2
    assert twins.bench.supplies["left"].address == twins.addresses["left"]
    assert Client(twins.addresses["left"]).ask("*IDN?").startswith("Railwright,TS-1,T-7")
    assert Client(twins.addresses["right"]).ask("*IDN?").startswith("Railwright,Simulated supply")


def test_true_parameters_and_assumptions_are_told(twins: TwinBench) -> None:
    assert 0.8e-3 <= twins.parameters["main.capacitor.capacitance"].value <= 1.2e-3
    assert "aux.lead.resistance" in twins.parameters
    assert {"left.1.reading.voltage.gain", "right.1.programming.current.offset"} <= set(twins.errors)
    assert any(says(str(sentence), "right.1", "accuracy", "voltage") for sentence in twins.assumptions)


def test_time_is_real_and_a_recorder_sees_what_the_readings_cannot(twins: TwinBench, tmp_path: Path) -> None:
    left, right = Client(twins.addresses["left"]), Client(twins.addresses["right"])
    right.tell("CURR 1;:VOLT 5;:OUTP ON")
    left.tell("VOLT 12,(@1);CURR 1,(@1);:OUTP ON,(@1)")
    begin = time.monotonic()
    while float(left.ask("MEAS:VOLT? (@1)")) < 11.0:
        assert time.monotonic() - begin < 5.0
    assert left.ask("SYST:ERR?") == '0,"No error"'
    # 1 mF ± 20 % and the output's own 0.22 mF to 12 V at 1 A, beside 24 Ω, and a reading that is up to 13 ms
    # old
    assert 0.008 < time.monotonic() - begin < 2.0
    trigger = Trigger("main", "voltage", 1.0, before=0.005, length=0.05)
    deadline = time.monotonic() + 5.0
    while not twins.record("scope", trigger, tmp_path / "scope.csv", inputs=["aux"]):
        assert time.monotonic() < deadline
    table = np.genfromtxt(tmp_path / "scope.csv", delimiter=",", names=True)
    assert table.dtype.names == (
        "time_s",
        "main_voltage_V",
        "main_current_A",
        "aux_voltage_V",
        "aux_current_A",
    )
    # Until its limit has responded, the output exceeds it by what is true of this one.
    beyond = (
        twins.parameters["left.1.limit_overshoot"].value * BENCH.output(OutputName("left.1")).current.high
    )
    assert 0.95 < table["main_current_A"].max() < 1.05 + beyond
    assert table["main_voltage_V"][-1] == pytest.approx(12.0, abs=0.15)
    truth = twins.truth()
    assert ("left.1", "enters CC") in {(event.subject, event.what) for event in truth.events}
    assert truth.traces["main"].columns["voltage"][-1] == pytest.approx(
        11.92, abs=0.05
    )  # less the lead's drop
    left.tell("OUTP OFF,(@1)")


def test_a_capture_that_never_came_is_not_written(twins: TwinBench, tmp_path: Path) -> None:
    assert not twins.record("scope", Trigger("main", "voltage", 30.0), tmp_path / "scope.csv")
    assert list(tmp_path.iterdir()) == []


def with_port(port: int) -> Bench:
    supply = BENCH.supplies["left"].model_copy(update={"address": f"TCPIP::127.0.0.1::{port}::SOCKET"})
    return BENCH.model_copy(update={"supplies": {"left": supply}})


def test_a_port_that_is_taken_is_one_clear_line() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(
            TwinError, match=f"supply 'left' cannot listen on TCPIP::127.0.0.1::{port}::SOCKET"
        ):
            TwinBench(with_port(port), ports="bench").start()


def test_other_refusals_before_anything_runs() -> None:
    with pytest.raises(TwinError, match="got 'GPIB::5::INSTR'"):
        socket_address("GPIB::5::INSTR")
    left = BENCH.supplies["left"].model_copy(update={"address": "GPIB::5::INSTR"})
    elsewhere = BENCH.model_copy(update={"supplies": {"left": left}})
    with pytest.raises(TwinError, match="not on 'GPIB::5::INSTR'"):
        TwinBench(elsewhere, ports="bench").start()
    with pytest.raises(TwinError, match=r"no true parameter 'main\.capacitor\.colour'; there are: aux"):
        TwinBench(
            BENCH, DEVICE, PROCEDURE, overrides={"main.capacitor.colour": "x2"}, supplies=["left"]
        ).start()
    with pytest.raises(TwinError, match="left and right"):
        TwinBench(BENCH, DEVICE, procedure({"series": ["left.1", "right.1"]})).start()


@pytest.mark.parametrize("value", ["=-1", "x1e30"])
def test_a_true_value_that_no_document_could_have_is_bad_input(value: str) -> None:
    twins = TwinBench(BENCH, DEVICE, PROCEDURE, overrides={"main.lead.resistance": value}, supplies=["left"])
    with pytest.raises(GivenTruthError) as raised:
        twins.start()
    assert says(str(raised.value), "--true", "main.lead.resistance", "expected a resistance")
    assert code_of(raised.value) == (Exit.BAD_INPUT, str(raised.value))


def test_serving_for_a_while_says_what_is_where(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    lines: list[str] = []
    serve_bench(TwinBench(with_port(port), ports="bench"), say=lines.append, seconds=0.1)
    assert f"left: TCPIP::127.0.0.1::{port}::SOCKET (channel-list)" in lines
    assert lines[-1] == "seed 1; Ctrl-C ends"


def test_faults_by_script_act_on_real_connections_too() -> None:
    script = parse_mischief(
        [
            "left: reset at message 3",
            "left: reboots at message 5 for 0.3 s",
            "right: half answer at message 1",
            "right: endless answer at message 2",
        ],
        BENCH.supplies,
    )
    with TwinBench(BENCH, DEVICE, PROCEDURE, mischief=script, reply_times={"left": ReplyTime(0.02)}) as twins:
        left = Client(twins.addresses["left"])
        left.tell("VOLT 5,(@1);CURR 1,(@1);:OUTP ON,(@1)")
        began = time.monotonic()
        assert left.ask("OUTP? (@1)") == "1"
        assert time.monotonic() - began >= 0.02
        with pytest.raises(ConnectionResetError):
            left.ask("*IDN?")
        left = Client(twins.addresses["left"])
        assert left.ask("OUTP? (@1)") == "1"
        with pytest.raises(ConnectionResetError):
            left.ask("*IDN?")
        with pytest.raises(ConnectionRefusedError):
            Client(twins.addresses["left"])
        rebooted = time.monotonic()
        while True:
            try:
                left = Client(twins.addresses["left"])
                break
            except ConnectionRefusedError:
                time.sleep(0.02)
        assert 0.15 < time.monotonic() - rebooted < 2.0
        assert left.ask("VOLT? (@1);:OUTP? (@1)") == "0.0000000E+00;0"
        right = socket.create_connection(socket_address(twins.addresses["right"]), 10)
        right.sendall(b"OUTP?;VOLT?\n")
        assert right.recv(100) == b"0;0.0000"
        right.sendall(b"VOLT?\n")
        received = b""
        while len(received) < 10_000:
            received += right.recv(10_000)
        assert b"\n" not in received
        right.close()
        acts = twins.acts()
        assert [act.what for act in acts] == ["reset", "reboots", "half answer", "endless answer"]
        ((on, off),) = twins.energised()["left.1"]
        assert off is not None
        assert began - 0.1 < on < began + 0.1
        assert off == pytest.approx(acts[1].time, abs=0.05)
        assert abs(acts[1].time - rebooted) < 0.5


PARENT = """
import sys, time
from tests.twin.bench import BENCH
from railwright.twin.launcher import TwinBench
left = BENCH.supplies["left"].model_copy(update={"address": sys.argv[1]})
bench = BENCH.model_copy(update={"supplies": {**BENCH.supplies, "left": left}})
twins = TwinBench(bench, supplies=["left"])
twins.start()
print(*(child.process.pid for child in twins._children.values()), flush=True)
time.sleep(600)
"""


def alive(pid: int) -> bool:
    """Whether a process runs (one that has ended and waits to be collected does not)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.parametrize(
    "address",
    ["TCPIP::127.0.0.1::5025::SOCKET", "TCPIP::127.0.0.1::hislip0,4880::INSTR", "ASRL./left.tty::INSTR"],
)
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_twins_die_with_their_parent(how: signal.Signals, address: str) -> None:
    """A twin on a serial line went on for ever: who serves it swallowed its end."""
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT, address],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        cwd=ROOT,
    )
    assert parent.stdout is not None
    (pid,) = (int(word) for word in parent.stdout.readline().split())
    assert alive(pid)
    parent.send_signal(how)
    parent.wait(20)
    parent.stdout.close()
    deadline = time.monotonic() + 10.0
    while alive(pid):
        assert time.monotonic() < deadline
        time.sleep(0.02)


@pytest.mark.parametrize(
    "number", [signal.SIGINT, signal.SIGQUIT, signal.SIGHUP, signal.SIGTSTP, signal.SIGTTOU, signal.SIGTTIN]
)
def test_what_a_terminal_sends_neither_ends_nor_stops_a_twin(
    twins: TwinBench, number: signal.Signals
) -> None:
    child = twins._children[("left",)]
    assert os.getsid(child.process.pid) != os.getsid(0)
    child.process.send_signal(number)
    # It answers, so it still runs; a supply that was stopped would let this time out.
    assert set(child.ask({"what": "energised"}, timeout=5.0)) == {"energised"}


def on_a_line(link: Path, port: int | None) -> Bench:
    """A supply whose serial line a link leads to, and one at a port, if any."""
    wire = BENCH.supplies["left"].model_copy(update={"address": f"ASRL{link}::INSTR"})
    found = {"wire": wire} if port is None else {**with_port(port).supplies, "wire": wire}
    return BENCH.model_copy(update={"supplies": found})


@pytest.mark.parametrize("with_a_port", [True, False])
def test_a_second_bench_of_twins_leaves_the_first_ones_line_alone(with_a_port: bool, tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1] if with_a_port else None
    link = tmp_path / "wire.tty"
    with TwinBench(on_a_line(link, port), ports="bench") as first:
        device = os.readlink(link)
        with pytest.raises(TwinError, match="cannot listen on"):
            TwinBench(on_a_line(link, port), ports="bench").start()
        assert os.readlink(link) == device
        first.check()
        assert first.addresses["wire"] == f"ASRL{link}::INSTR"
        # One that is killed leaves its link, which the next takes over.
        for child in first._children.values():
            child.process.kill()
            child.process.wait()
        assert link.is_symlink()
        with TwinBench(on_a_line(link, port), ports="bench"):
            assert Path(os.readlink(link)).exists()
    assert not link.is_symlink()


def test_a_terminal_that_is_no_twins_holds_no_link(tmp_path: Path) -> None:
    """The number of a pseudo-terminal is given anew once it is closed."""
    near, far = os.openpty()
    link = tmp_path / "wire.tty"
    link.symlink_to(os.ttyname(far))
    try:
        with TwinBench(on_a_line(link, None), ports="bench"):
            assert os.readlink(link) != os.ttyname(far)
    finally:
        os.close(near)
        os.close(far)
