"""A simulated instrument that moves contacts, spoken to as anybody would: ROUTe and error numbers are of
SCPI-1999 vol. 2 (from memory).
"""

from __future__ import annotations

import asyncio

import pytest

from railwright.documents.relays import Relays
from railwright.twin.relays import RelaysServer, TwinRelays

DOCUMENT = Relays.model_validate(
    {
        "address": "TCPIP::127.0.0.1::5040::SOCKET",
        "model": "QS-4",
        "serial": "R-0007",
        "contacts": {
            "a": {"channel": 101, "fixture": "A", "without_power": "open"},
            "b": {"channel": 102, "fixture": "B", "without_power": "closed"},
            "c": {"channel": 103, "fixture": "C", "without_power": "open"},
        },
    }
)


def said(*messages: str) -> list[str]:
    """What it answers to each."""
    server = RelaysServer(TwinRelays("box", DOCUMENT), lambda: None)

    async def go() -> list[str]:
        return [await server.answer(message.encode()) for message in messages]

    return asyncio.run(go())


def test_it_says_who_it_is() -> None:
    (answer,) = said("*IDN?")
    assert answer.split(",")[1:3] == ["QS-4", "R-0007"]


@pytest.mark.parametrize(
    ("messages", "last"),
    [
        (["ROUT:CLOS? (@101,102,103)"], "0,1,0"),
        (["ROUTe:CLOSe (@101)", "ROUTe:CLOSe? (@101:103)"], "1,1,0"),
        (["rout:clos (@101:103)", "ROUT:CLOS? (@103:101)"], "1,1,1"),
        (["ROUTe:OPEN (@102)", "ROUTe:CLOSe? (@102)"], "0"),
        (["ROUTe:CLOSe (@101,103);OPEN (@102)", "ROUT:OPEN? (@101,102,103)"], "0,1,0"),
        (["ROUT:CLOS (@101)", "ROUT:OPEN:ALL", "ROUT:CLOS? (@101:103)"], "0,0,0"),
        (["ROUT:CLOS (@101)", "*RST", "ROUT:CLOS? (@101:103)"], "0,1,0"),
        (["ROUT:CLOS (@101);CLOS? (@101)"], "1"),
    ],
)
def test_its_contacts_stand_as_they_were_told(messages: list[str], last: str) -> None:
    assert said(*messages)[-1] == last
    assert said(*messages, "SYST:ERR?")[-1].startswith("0,")


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("ROUT:CLOS (@104)", "-222"),
        ("ROUT:CLOS (@101:104)", "-222"),
        ("ROUT:CLOS 101", "-104"),
        ("ROUT:CLOS", "-109"),
        ("ROUT:CLOS (@101),(@102)", "-108"),
        ("ROUT:SHUT (@101)", "-113"),
        ("ROUT:CLOS (101)", "-171"),
    ],
)
def test_what_it_does_not_understand_moves_nothing(message: str, number: str) -> None:
    told = said(message, "SYST:ERR?", "ROUT:CLOS? (@101:103)")
    assert told[1].partition(",")[0] == number
    assert (told[0], told[2]) == ("", "0,1,0")
