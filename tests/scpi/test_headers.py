"""Header patterns and the command tree."""

import pytest

from railwright.scpi.errors import ScpiError
from railwright.scpi.headers import CommandTree, parse_pattern


@pytest.fixture
def tree() -> CommandTree[str]:
    tree: CommandTree[str] = CommandTree()
    for pattern in (
        "[SOURce#]:VOLTage[:LEVel][:AMPLitude]",
        "VOLTage:PROTection?",
        "*CLS",
        "OUTPut#[:STATe]",
    ):
        tree.add(pattern, pattern)
    return tree


@pytest.mark.parametrize(
    ("header", "numbers"),
    [("VOLT", ()), ("SOUR2:voltage:LEV", (2,)), ("Source:Volt:Ampl", ()), ("SOUR:VOLT:LEVEL:AMPLITUDE", ())],
)
def test_every_way_of_writing_finds_the_command(
    tree: CommandTree[str], header: str, numbers: tuple[int, ...]
) -> None:
    assert tree.find(tuple(header.split(":")), False) == ("[SOURce#]:VOLTage[:LEVel][:AMPLitude]", numbers)


@pytest.mark.parametrize("header", ["VOLTA", "VOL", "SOUR", "VOLT:AMPL:LEV", "VOLT:PROT", "CLS", "*CL"])
def test_what_is_not_in_the_tree_is_undefined(tree: CommandTree[str], header: str) -> None:
    with pytest.raises(ScpiError) as caught:
        tree.find(tuple(header.split(":")), False)
    assert caught.value.number == -113


@pytest.mark.parametrize("header", ["VOLT2", "OUTP9999999"])
def test_a_number_where_none_may_be_is_out_of_range(tree: CommandTree[str], header: str) -> None:
    with pytest.raises(ScpiError) as caught:
        tree.find((header,), False)
    assert caught.value.number == -114


def test_a_header_cannot_be_taken_twice(tree: CommandTree[str]) -> None:
    with pytest.raises(ValueError, match="taken already"):
        tree.add("VOLTage[:LEVel]", "again")


@pytest.mark.parametrize("pattern", ["", "VOLTage:", "voltage", "[SOURce:VOLTage", "VOLTage::LEVel"])
def test_malformed_patterns_are_refused(pattern: str) -> None:
    with pytest.raises(ValueError, match="header pattern"):
        parse_pattern(pattern)
