"""Channel numbers, worked out by the twin from the document alone."""

import asyncio
from typing import Any

import pytest
from tests.twin.bench import BENCH, AtHand

from railwright.dialects.dialect import load_dialect
from railwright.documents.bench import Output, Supply
from railwright.documents.output_name import OutputName
from railwright.twin.channels import channel_numbers
from railwright.twin.plant import Plant
from railwright.twin.server import SupplyServer
from railwright.twin.supply import TwinSupply
from railwright.twin.truth import Truth
from railwright.twin.wiring import WiringError

OUTPUT = BENCH.output(OutputName("left.1"))


def supply(dialect: str = "channel-list", **channels: int | None) -> Supply:
    """A supply with these outputs; `_1` is called '1'. None: no channel is written."""
    outputs: dict[str, Output] = {
        name.removeprefix("_"): OUTPUT.model_copy(update={"channel": channel})
        for name, channel in channels.items()
    }
    return BENCH.supplies["left"].model_copy(update={"dialect": load_dialect(dialect), "outputs": outputs})


class Odd(AtHand):
    """A supply whose outputs 3, B, 1 have channels 2, 3, 1."""

    def __init__(self, dialect: str) -> None:
        document = supply(dialect, _3=2, B=3, _1=1)
        bench = BENCH.model_copy(update={"supplies": {"left": document}})
        self.now = 0.0
        self.plant = Plant("left", bench, None, None, Truth(1))
        self.supply = TwinSupply("left", document, self.plant)
        self.server = SupplyServer(self.supply, clock=lambda: self.now)
        self.wait(0.1)
        self.ask("*CLS")

    def on(self) -> list[str]:
        self.wait(0.01)
        return [output for output in self.plant.outputs if self.plant.is_on(output)]


def test_a_channel_is_what_is_written_else_the_name() -> None:
    assert channel_numbers(supply(_3=2, B=3, _1=1)) == {"3": 2, "B": 3, "1": 1}
    assert channel_numbers(supply(_2=None)) == {"2": 2}
    assert channel_numbers(BENCH.supplies["left"]) == {"1": 1, "2": 2}


@pytest.mark.parametrize(
    ("channels", "said"),
    [
        ({"_0": None}, "output '0': expected a channel, as its name is no number of 1 to 99999"),
        ({"B": None}, "output 'B': expected a channel, as its name is no number"),
        ({"_1": None, "B": 1}, "output 'B': expected a channel of its own, got 1, as '1' has"),
    ],
)
def test_an_output_without_a_channel_of_its_own_is_refused(channels: dict[str, Any], said: str) -> None:
    with pytest.raises(WiringError, match=said):
        channel_numbers(supply(**channels))


def test_channel_lists_speak_to_the_outputs_that_have_the_channels() -> None:
    odd = Odd("channel-list")
    odd.does("CURR 1,(@1:3);:VOLT 5,(@3);:OUTP ON,(@3)")
    assert odd.on() == ["left.B"]
    odd.does("VOLT 7,(@2)")
    assert odd.ask("VOLT? (@3,2,1)") == "5.0000000E+00,7.0000000E+00,0.0000000E+00"
    odd.does("OUTP OFF,(@3);:OUTP ON,(@1:2)")
    assert odd.on() == ["left.3", "left.1"]
    assert odd.refuses("VOLT 5,(@4)") == -222
    odd.does("OUTP:PROT:LINK (@2,1),(@3)")
    assert odd.ask("OUTP:PROT:LINK? (@3)") == "(@2,1)"
    assert odd.supply.panels[1].follows == (0, 2)


def test_one_output_named_2_is_channel_2() -> None:
    lone = TwinSupply(
        "left",
        document := supply(_2=None),
        Plant("left", BENCH.model_copy(update={"supplies": {"left": document}}), None, None, Truth(1)),
    )
    server = SupplyServer(lone, clock=lambda: 0.0)
    assert asyncio.run(server.answer(b"OUTP? (@2)")) == "0"
    assert asyncio.run(server.answer(b"OUTP? (@1)")) == ""
    assert lone.status.errors.take().startswith("-222,")


def test_registers_of_an_output_have_the_number_of_its_channel() -> None:
    odd = Odd("channel-list")
    odd.does("VOLT 5,(@3);CURR 1,(@3);:OUTP ON,(@3)")
    odd.wait(0.1)
    conditions = [odd.ask(f"STAT:OPER:INST:ISUM{channel}:COND?") for channel in (1, 2, 3)]
    assert conditions == ["0", "0", "1024"]
    assert odd.refuses("STAT:OPER:INST:ISUM4:COND?") == -114


def test_selecting_by_number_and_by_name() -> None:
    odd = Odd("selected-output")
    assert odd.ask("INST:NSEL?;:INST:SEL?;:INST:CAT?") == '1;UNIT1;"UNIT2","UNIT3","UNIT1"'
    odd.does("INST:NSEL 3;:OUTP ON")
    assert odd.on() == ["left.B"]
    odd.does("INST UNIT2;:VOLT 4;:OUTP ON")
    assert odd.on() == ["left.3", "left.B"]
    assert odd.refuses("INST:NSEL 4") == -222
    assert odd.refuses("INST UNIT4") == -224
    odd.does("*RST")
    assert odd.ask("INST:NSEL?") == "1"


def test_a_gap_between_channels_is_no_channel() -> None:
    document = supply("selected-output", _1=None, _5=None)
    bench = BENCH.model_copy(update={"supplies": {"left": document}})
    gap = TwinSupply("left", document, Plant("left", bench, None, None, Truth(1)))
    server = SupplyServer(gap, clock=lambda: 0.0)
    assert asyncio.run(server.answer(b"INST:NSEL 5;NSEL?")) == "5"
    assert asyncio.run(server.answer(b"INST:NSEL 3")) == ""
    assert gap.status.errors.take().startswith("-222,")
    assert asyncio.run(server.answer(b"INST:NSEL?")) == "5"
