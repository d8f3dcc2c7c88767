"""Replies to the driver of a supply: good ones, damaged ones, those of another question, and noise."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from typing import Any

from benchmarks.fuzzing.damage import damaged
from benchmarks.fuzzing.trial import Findings
from tests.twin.bench import OUTPUT

from railwright.documents.bench import Supply as SupplyDocument
from railwright.instruments import lists
from railwright.instruments.errors import InstrumentError
from railwright.instruments.lists import OwnList
from railwright.instruments.session import Answer
from railwright.instruments.supply import OutputSetting, SupplyDriver

GOOD = (
    *(
        '0,"No error"',
        '+0,"No error"',
        '-113,"Undefined header;VOLT"',
        '-350,"Queue overflow"',
        "0",
        "1",
        "+1",
        "5.0",
    ),
    *(
        "1.200000E+01",
        "+5.0000E+00,0.0000E+00",
        "256",
        "512",
        "1024",
        "9.91E37",
        "9.9E37",
        "-9.9E37",
        "EXT",
        "LIST",
    ),
    *(
        "FIX",
        "STEP",
        "a,b,c,d",
        "maker,TS-1,T-7,1.0",
        "5.0E0;2.0E-1;256;0",
        '1;0,"No error"',
        '5;1;0,"No error"',
        "",
    ),
)
BAD = (
    *(
        "nan",
        "NAN",
        "inf",
        "-inf",
        "1e400",
        "1_000",
        "١٢",
        "0x10",
        "9" * 5000,
        ";" * 5000,
        "," * 5000,
        '"' * 5001,
    ),
    *(
        "\x1b[2J\x1b]0;x\x07",
        "\x9b31m",
        "\u202e12",
        "\x00",
        "\udcff",
        "é" * 300,
        '-113,"' + "\x1b" * 400 + '"',
    ),
    *('0,"', "0,", ",", '-999999999999999999999,"x"', '1e3,"x"', "1,2,3,4,5", "a" * 100_000, "\ufeff0"),
)


class Liar:
    """A session whose answers are drawn: to a queue's question mostly an empty queue."""

    def __init__(self, dice: random.Random) -> None:
        self.name, self.identity = "left", ""
        self.dice = dice
        self.said: list[str] = []

    def tell(self, message: str, at: float | None = None) -> float:
        """It is told, and nothing comes of it."""
        if self.dice.random() < 0.01:
            raise InstrumentError(self.name, message, "cannot be told", lost=True)
        return 0.0

    def ask(self, message: str, at: float | None = None) -> Answer:
        """An answer, good or bad."""
        if self.dice.random() < 0.02:
            raise InstrumentError(self.name, message, "gives no answer: timeout", lost=True)
        queries = [part for part in message.split(";") if part.partition(" ")[0].endswith("?")]
        likely = ['0,"No error"' if "ERR" in query.upper() else self.dice.choice(GOOD) for query in queries]
        kind = self.dice.randrange(10)
        if kind < 5:
            text = ";".join(likely)
        elif kind < 8:
            text = damaged(self.dice, ";".join(likely).encode()).decode("latin-1")
        else:
            text = self.dice.choice((*GOOD, *BAD))
        self.said.append(text)
        return Answer(text, 0.0, 0.001)

    def together(self, messages: Sequence[str], at: float | None = None) -> Answer:
        """As if it were one message."""
        return self.ask(";".join(messages), at)

    def close(self) -> None:
        """Nothing is open."""


def run(seed: int, count: int) -> Findings:
    """Calls of the driver until so many replies were given."""
    findings = Findings("replies", allowed=(InstrumentError,), limit=5.0)
    dice = random.Random(f"replies {seed}")
    liar = Liar(dice)
    documents = [_document("channel-list"), _document("selected-output")]
    replies = 0
    while replies < count:
        liar.said = []
        supply = SupplyDriver("left", dice.choice(documents), lambda *_: liar)
        supply.connect()
        findings.attempt(_call(dice, supply), lambda: repr([text[:120] for text in liar.said[-3:]]))
        replies += max(1, len(liar.said))
    findings.tried = replies
    return findings


def _document(dialect: str) -> SupplyDocument:
    return SupplyDocument.model_validate(
        {
            "address": "TCPIP::127.0.0.1::5025::SOCKET",
            "dialect": dialect,
            "model": "TS-1",
            "serial": "T-7",
            "outputs": {"1": OUTPUT, "2": OUTPUT},
        }
    )


def _call(dice: random.Random, supply: SupplyDriver) -> Callable[[], Any]:
    """One thing that the driver does."""
    output = dice.choice(("1", "2"))
    changes = dice.sample(
        [
            OutputSetting(output, "voltage", 5.0),
            OutputSetting(output, "current_limit", 0.2),
            OutputSetting(output, "output", dice.random() < 0.5),
            OutputSetting(output, "ovp", 18.0),
            OutputSetting(output, "sense", "at load"),
            OutputSetting(output, "slew_rising", 100.0),
            OutputSetting(output, "trip_delay", 0.02),
        ],
        dice.randrange(1, 5),
    )
    own = OwnList(output, (5.0, 1.0, 5.0), (0.02, 0.5, 1.0), 2, "step")
    calls: tuple[Callable[[], Any], ...] = (
        supply.identify,
        supply.clear,
        supply.errors,
        lambda: supply.put(changes),
        lambda: supply.verify(changes),
        lambda: supply.put_together(changes),
        lambda: supply.clear_trips(output),
        lambda: supply.switch_off(["1", "2"]),
        lambda: supply.state(output),
        lambda: supply.read(["1", "2"]),
        lambda: supply.read([output]),
        lambda: supply.understood_look(["1", "2"], supply.ask(supply.look(["1", "2"])[0])),
        lambda: supply.differences(changes, supply.ask("SOURce:VOLTage?").text),
        lambda: supply.link(output, ["2" if output == "1" else "1"]) if supply.dialect.link else None,
        lambda: lists.load(supply, own),
        lambda: lists.arm(supply, output),
        lambda: lists.start(supply, ["1", "2"]),
        lambda: lists.stop(supply),
        lambda: lists.release(supply, output),
    )
    return dice.choice(calls)
