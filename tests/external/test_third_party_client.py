"""Simulated supplies as any SCPI client meets them: everyday things by pyvisa and by a bare socket.

Nothing of the driver takes part. What must come back is that of IEEE 488.2-1992 and SCPI-1999 (vol. 1: syntax
and style, vol. 2: command reference), named beside each check, from memory; how each family addresses its
outputs is written here by hand, as its manual would.
"""

from __future__ import annotations

import math
import re
import socket
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import pytest
from tests.multimeter.station import documents

from railwright.dialects.files import dialect_names
from railwright.documents.bench import Bench
from railwright.job import Job
from railwright.twin.launcher import TwinBench


@dataclass(frozen=True)
class Family:
    """How a family speaks. first: a command of output 1 in its words, from the one without an output.
    ends: what ends a message, and an answer. queue: it has an error queue. master: the switch over all its
    outputs, '' where it has none. top: MAXimum of the set voltage [V], in the range that it comes up in.
    begins: what it wants to be told first, one command a message as all of it then; unit: whether its numbers
    have it behind them.
    """

    first: Callable[[str], str]
    ends: tuple[str, str] = ("\n", "\n")
    queue: bool = True
    master: str = ""
    top: float = 36.0
    begins: tuple[str, ...] = ()
    unit: bool = False


def listed(command: str) -> str:
    header, space, value = command.partition(" ")
    return f"{header} {value},(@1)" if space else f"{header} (@1)"


def numbered(command: str) -> str:
    """The number stands in the first node, which may then not be left out (SCPI-1999 vol. 1, 6.2.5.2)."""
    whole = f"SOUR:{command}" if command.upper().startswith(("VOLT", "CURR")) else command
    return re.sub(r"^([A-Za-z]+)", r"\g<1>1", whole, count=1)


FAMILIES = {
    "channel-list": Family(listed),
    "selected-output": Family(lambda command: f"INST:NSEL 1;:{command}"),
    "named-output": Family(lambda command: f"INST:SEL UNIT1;:{command}", queue=False),
    "numbered-header": Family(numbered, master="SYST:REL"),
    "selected-apart": Family(lambda command: command, begins=("SYST:REM", "INST UNIT1"), unit=True),
    "prefixed": Family(lambda command: f"INST1:{command}", master="SYST:OUTP", top=18.0),
    "single-output": Family(lambda command: command, ("\r", "\r\n"), queue=False),
}


class Client(Protocol):
    """Whoever speaks to an instrument."""

    def tell(self, message: str) -> None: ...

    def ask(self, message: str) -> str: ...


class BareSocket:
    """Bytes over TCP."""

    def __init__(self, host: str, port: int, ends: tuple[str, str]) -> None:
        self._socket = socket.create_connection((host, port), timeout=5.0)
        self._file, self._ends = self._socket.makefile("rb"), ends

    def tell(self, message: str) -> None:
        self._socket.sendall((message + self._ends[0]).encode("ascii"))

    def ask(self, message: str) -> str:
        self.tell(message)
        answer = self._file.readline().decode("ascii")
        assert answer.endswith(self._ends[1])
        return answer.removesuffix(self._ends[1])

    def close(self) -> None:
        self._file.close()
        self._socket.close()


class Pyvisa:
    """The library that users of instruments have."""

    def __init__(self, host: str, port: int, ends: tuple[str, str]) -> None:
        import pyvisa

        self._manager = pyvisa.ResourceManager("@py")
        self._resource = self._manager.open_resource(
            f"TCPIP::{host}::{port}::SOCKET",
            write_termination=ends[0],
            read_termination=ends[1],
            timeout=5000,
        )

    def tell(self, message: str) -> None:
        self._resource.write(message)  # type: ignore[attr-defined]

    def ask(self, message: str) -> str:
        return str(self._resource.query(message))  # type: ignore[attr-defined]

    def close(self) -> None:
        self._resource.close()
        self._manager.close()


CLIENTS = {"pyvisa": Pyvisa, "bare socket": BareSocket}


@pytest.fixture(scope="module")
def twins(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TwinBench]:
    """One supply of each dialect, and a multimeter."""
    folder = tmp_path_factory.mktemp("station")
    requires = "  - {name: level, measure: high_state_level, of: main, during: steady, at_least: 1 V}\n"
    bench = Job.open(documents(folder / "s", requires)).documents.bench
    with TwinBench(seven(bench, folder)) as started:
        yield started


def seven(bench: Bench, folder: Path) -> Bench:
    """The left supply of a bench in every dialect."""
    from railwright.dialects.dialect import load_dialect

    left = bench.supplies["left"]
    one = {"1": left.outputs["1"]}
    supplies = {
        name: left.model_copy(update={"dialect": load_dialect(name), "outputs": one}) for name in FAMILIES
    }
    return bench.model_copy(update={"supplies": supplies})


def opened(twins: TwinBench, name: str, client: str, ends: tuple[str, str]) -> Pyvisa | BareSocket:
    _, host, port, _ = twins.addresses[name].split("::")
    return CLIENTS[client](host, int(port), ends)


def number(answer: str, unit: str = "") -> float:
    """NR1, NR2 or NR3 (IEEE 488.2, 8.7.2 to 8.7.4), and nothing else but a unit."""
    assert answer.endswith(unit)
    answer = answer.removesuffix(unit)
    assert re.fullmatch(r"[+-]?(\d+(\.\d*)?|\.\d+)(E[+-]?\d+)?", answer), answer
    return float(answer)


def test_every_dialect_is_met() -> None:
    assert set(FAMILIES) == set(dialect_names())


def errors_of(client: Client, queue: bool) -> list[int]:
    """Numbers in the error queue (SCPI-1999 vol. 2, 21.8), or the class of error that *ESR? tells of (IEEE
    488.2, 11.5.1.1: bits 2 to 5), as the hundred of its numbers.
    """
    if not queue:
        events = int(client.ask("*ESR?"))
        return [-100 * (6 - bit) for bit in (5, 4, 3, 2) if events & 1 << bit]
    found = []
    for _ in range(30):
        entry = re.fullmatch(r'(-?\d+),"((?:[^"]|"")*)"', client.ask("SYST:ERR?"))
        assert entry, "an entry is a number and a quoted text (21.8.1)"
        if entry[1] in ("0", "+0"):
            assert entry[2] == "No error"
            return found
        found.append(int(entry[1]))
    raise AssertionError("the queue never empties")


def same(queue: bool, found: list[int], expected: int) -> bool:
    """Whether an error of this number, or of its class where there is no queue, is all that was told."""
    return found == [expected if queue else -100 * (-expected // 100)]


def wait_until(holds: Callable[[], bool], at_most: float = 20.0) -> None:
    """Ask again until it holds; the machine may be busy."""
    deadline = time.monotonic() + at_most
    while not holds():
        assert time.monotonic() < deadline
        time.sleep(0.02)


@pytest.mark.parametrize("client", CLIENTS)
@pytest.mark.parametrize("name", FAMILIES)
def test_everyday_things_with_a_supply(name: str, client: str, twins: TwinBench) -> None:
    family = FAMILIES[name]
    first, queue = family.first, family.queue
    session = opened(twins, name, client, family.ends)
    tell, ask = session.tell, session.ask
    alone, volts = bool(family.begins), "V" if family.unit else ""
    if alone:
        time.sleep(0.05)  # so long it hears nothing
    for message in family.begins:
        tell(message)
    try:
        # 1: who are you? Four fields, none empty (488.2, 10.14)
        fields = ask("*IDN?").split(",")
        assert len(fields) == 4
        assert all(fields)
        # 2: *CLS empties events and queue (10.3)
        tell("*CLS")
        assert errors_of(session, queue) == []
        # 3: *RST brings outputs off (10.32; SCPI vol. 2, 15.11: OUTPut:STATe OFF)
        tell(first("OUTP ON"))
        tell("*RST")
        assert ask(first("OUTP?")) == "0"
        # 4: *TST? is a number; 0: passed (10.38)
        assert number(ask("*TST?")) == 0
        # 5: *OPC? answers 1 (10.19), *OPC sets bit 0 (10.18), which reading clears (10.12)
        assert ask("*OPC?") == "1"
        ask("*ESR?")
        tell("*OPC")
        assert int(ask("*ESR?")) & 1
        assert int(ask("*ESR?")) == 0
        # 6: enable registers keep what they are told; bit 6 of *SRE stays 0 (10.10, 10.34)
        tell("*ESE 53")
        tell("*SRE 96")
        assert (ask("*ESE?"), ask("*SRE?")) == ("53", "32")
        # 7: an enabled event is summed up in bit 5, and in bit 6 where that is enabled (11.2)
        tell("NO:SUCH:HEADER")
        status = int(ask("*STB?"))
        assert status & 1 << 5
        assert status & 1 << 6
        # 8: a header that there is not is -113, a command error
        assert same(queue, errors_of(session, queue), -113)
        ask("*ESR?")
        for message in ("*ESE 0", "*SRE 0") if alone else ("*ESE 0;*SRE 0",):
            tell(message)
        # 9: a set point and its query; long and short forms, either case (SCPI vol. 1, 6.2.1)
        tell(first("VOLT 5"))
        assert math.isclose(number(ask(first("VOLT?")), volts), 5.0, abs_tol=1e-3)
        tell(first("voltage 5.5"))
        assert math.isclose(number(ask(first("VOLTAGE?")), volts), 5.5, abs_tol=1e-3)
        # 10: with a unit, and in another number format (vol. 1, 7.2; 488.2, 7.7.2)
        tell(first("VOLT 6500MV"))
        assert math.isclose(number(ask(first("VOLT?")), volts), 6.5, abs_tol=1e-3)
        tell(first("VOLT 7.25E0"))
        assert math.isclose(number(ask(first("VOLT?")), volts), 7.25, abs_tol=1e-3)
        # 11: MINimum and MAXimum can be set (vol. 1, 7.2.1)
        tell(first("VOLT MIN"))
        assert number(ask(first("VOLT?")), volts) == 0.0
        tell(first("VOLT MAXimum"))
        assert math.isclose(number(ask(first("VOLT?")), volts), family.top, abs_tol=1e-3)
        # 12: beyond it: -222, an execution error, and nothing has changed
        tell(first(f"VOLT {family.top + 1.0}"))
        assert same(queue, errors_of(session, queue), -222)
        assert math.isclose(number(ask(first("VOLT?")), volts), family.top, abs_tol=1e-3)
        # 13: a wrong unit is -131, too little -109, too much -108: command errors
        for given, error in (("VOLT 5A", -131), ("VOLT 5 V,6", -108)):
            tell(first(given))
            assert same(queue, errors_of(session, queue), error), given
        # 14: booleans by word or number, and answered 0 or 1 (vol. 1, 7.3)
        tell(first("VOLT 1"))
        for given, answered in (("ON", "1"), ("OFF", "0"), ("1", "1"), ("0", "0")):
            tell(first(f"OUTP {given}"))
            assert ask(first("OUTP?")) == answered
        # 15: an unknown word of a choice is an error, and the output stays as it was
        tell(first("OUTP MAYBE"))
        assert errors_of(session, queue) != []
        assert ask(first("OUTP?")) == "0"
        # 16: several queries in a message come back in one line, parted by `;` (488.2, 8.4.1)
        if not alone:
            assert re.fullmatch(r"1;53?\d*|1;0", ask("*OPC?;*ESE?"))
        # 17: a leading colon begins at the root (vol. 1, 6.2.4), and so does a header after `;:`
        assert ask(":SYST:VERS?").startswith("1999.")
        if not alone:
            assert ask("*OPC?;:SYST:VERS?") == "1;1999.0"
        # 18: white space and empty messages do no harm (488.2, 7.4.1.2)
        tell("   ")
        tell(first("VOLT   \t 2"))
        assert math.isclose(number(ask(first("VOLT?")), volts), 2.0, abs_tol=1e-3)
        # 19: *WAI and *OPC? in a row end (10.39)
        tell("*WAI")
        assert ask("*OPC?") == "1"
        # 20: a measurement answers a number near the truth
        tell(first("VOLT 3"))
        tell(first("CURR 0.5"))
        tell(first("OUTP ON"))
        if family.master:
            # An output that is switched on delivers nothing before the switch over all of them is on, too.
            assert (ask(first("OUTP?")), ask(f"{family.master}?")) == ("1", "0")
            wait_until(lambda: math.isclose(number(ask(first("MEAS:VOLT?")), volts), 0.0, abs_tol=0.05))
            tell(f"{family.master} ON")
        assert ask("*OPC?") == "1"
        wait_until(lambda: math.isclose(number(ask(first("MEAS:VOLT?")), volts), 3.0, abs_tol=0.05))
        tell(first("OUTP OFF"))
        # 21: nothing of that has left an error behind
        assert errors_of(session, queue) == []
        # 22: a query that is not read is no answer to the next: each answer belongs to its question
        answers = [ask("*IDN?"), ask("*OPC?"), ask("*IDN?")]
        assert answers[0] == answers[2]
        assert answers[1] == "1"
    finally:
        session.close()


@pytest.mark.parametrize("client", CLIENTS)
def test_everyday_things_with_a_multimeter(client: str, twins: TwinBench) -> None:
    session = opened(twins, "volts", client, ("\n", "\n"))
    tell, ask = session.tell, session.ask
    try:
        assert len(ask("*IDN?").split(",")) == 4
        tell("*RST;*CLS")
        assert errors_of(session, True) == []
        # SCPI-1999 vol. 2, 3: CONFigure sets, READ? measures, FETCh? gives the same once more
        tell("CONF:VOLT:DC 10")
        assert ask("SENS:FUNC?").strip('"').startswith("VOLT")
        assert number(ask("VOLT:DC:RANG?")) >= 10.0
        tell("SENSE:VOLTAGE:DC:APERTURE 10MS")
        assert math.isclose(number(ask("VOLT:APER?")), 0.01)
        read = number(ask("READ?"))
        assert number(ask("FETC?")) == read
        assert abs(read) < 0.01
        # MEASure? is CONFigure and READ? in one, of any function
        assert abs(number(ask("MEAS:CURR:DC?"))) < 0.01
        assert ask("SENS:FUNC?").strip('"').startswith("CURR")
        tell("FUNC 'VOLT:DC'")
        assert ask("SENS:FUNC?").strip('"').startswith("VOLT")
        tell("INIT")
        assert abs(number(ask("FETC?"))) < 0.01
        for given, error in (("VOLT:DC:RANG 5000", -222), ("FUNC 'RES'", -224), ("VOLT:DC:RANG", -109)):
            tell(given)
            assert errors_of(session, True) == [error], given
        tell("*RST")
        tell("FETC?")
        assert errors_of(session, True) == [-230]
        assert ask("SYST:VERS?") == "1999.0"
        assert int(ask("*STB?")) == 0
    finally:
        session.close()
