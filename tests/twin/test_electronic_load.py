"""What the simulated electronic load answers and refuses, by SCPI-1999's own tree."""

from __future__ import annotations

import asyncio

import pytest
from tests.proving.bench import load_of

from railwright.twin.electronic_load import ElectronicLoadServer, TwinElectronicLoad
from railwright.twin.truth import Truth


class _Load(ElectronicLoadServer):
    """One that lies beside the bench."""

    def __init__(self) -> None:
        super().__init__(TwinElectronicLoad("sink", load_of(), Truth(1)), lambda: None)

    def execute(self, message: bytes) -> str:
        return asyncio.run(self.answer(message))


@pytest.fixture
def load() -> _Load:
    return _Load()


@pytest.mark.parametrize(
    ("message", "answer"),
    [
        ("INP ON;:INP?", "1"),
        ("input:state 1;:inp:stat?", "1"),
        ("INP ON;INP OFF;INP?", "0"),
        ("CURR 1.25;:SOUR:CURR?", "1.2500000E+00"),
        ("SOURce:CURRent:LEVel:IMMediate:AMPLitude 250 MA;:CURR?", "2.5000000E-01"),
        ("CURR MAX;:CURR?", "1.0000000E+01"),
        ("FUNC:MODE CURR;:FUNC:MODE?", "CURR"),
        ("SYST:ERR?", '0,"No error"'),
        ("*OPC?", "1"),
    ],
)
def test_everyday_things(load: _Load, message: str, answer: str) -> None:
    assert load.execute(message.encode()) == answer
    assert load.execute(b"SYST:ERR?").startswith("0,")


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("CURR 10.5", -222),
        ("CURR", -109),
        ("CURR 1,2", -108),
        ("INP MAYBE", -141),
        ("FUNC:MODE VOLT", -224),
        ("VOLT 5", -113),
        ("CURR 1 V", -131),
    ],
)
def test_what_is_wrong_is_queued_and_changes_nothing(load: _Load, message: str, number: int) -> None:
    before = load.load.on, load.load.current
    assert load.execute(message.encode()) == ""
    assert load.execute(b"SYST:ERR?").startswith(f"{number},")
    assert (load.load.on, load.load.current) == before
    load.execute(message.encode())
    load.execute(b"*CLS")
    assert load.execute(b"SYST:ERR?").startswith("0,")


def test_it_says_who_it_is(load: _Load) -> None:
    assert load.execute(b"*IDN?").startswith("Railwright,EL-600,E-0007,")


def test_both_readings_are_of_one_instant(load: _Load) -> None:
    voltage, current = load.execute(b"MEAS:VOLT?;:FETC:CURR?").split(";")
    assert load.execute(b"FETC:VOLT?;CURR?") == f"{voltage};{current}"
