"""What clears trips: one command of an output or several, and none that changes anything else."""

from __future__ import annotations

import pytest
from tests.dialects.test_dialect import text_of

from railwright.cli.dialect import operations
from railwright.dialects.dialect import Dialect, DialectError, load_dialect
from railwright.dialects.files import dialect_names
from railwright.dialects.proofs import entries_of
from railwright.documents.dialect_files import read_dialect

PROVED_BEFORE = "334d76548ec295f436f6b91c040365c3ae6500a1db77d094155ba98e421d4c0d"
"""The entries of `channel-list` on which its OVP rests, by the version before there could be several."""

BOTH = ("VOLTage:PROTection:CLEar", "CURRent:PROTection:CLEar")


def with_clear(name: str, written: str) -> Dialect:
    """One of the package's with this as what clears its trips."""
    (line,) = (each for each in text_of(name).splitlines() if each.startswith("  clear_trips:"))
    return read_dialect(text_of(name).replace(line, f"  clear_trips: {written}"), "mine.yaml")


@pytest.mark.parametrize("name", dialect_names())
def test_several_commands_are_sent_each_to_its_output(name: str) -> None:
    numbered = load_dialect(name).addressing == "numbered-header"
    headers = [f"SOURce{{channel}}:{each}" if numbered else each for each in BOTH]
    made = with_clear(name, f'["{headers[0]}", "{headers[1]}"]')
    one, alone = load_dialect(name).clear_units(2), with_clear(name, f'"{headers[0]}"').clear_units(2)
    units = made.clear_units(2)
    assert (len(one), len(alone), len(units), alone) == (1, 1, 2, units[:1])
    assert [own in unit for own, unit in zip(BOTH, units, strict=True)] == [True, True]
    assert all("2" in unit for unit in units) == ("2" in one[0])
    (shown,) = (row for row in operations(made) if row[0] == "clear trips")
    assert shown[2] == "; ".join(made.clear_units(1))


def test_one_command_in_a_list_is_that_command_and_what_was_proved_with_it_stays_so() -> None:
    plain, listed = load_dialect("channel-list"), with_clear("channel-list", "[OUTPut:PROTection:CLEar]")
    both = with_clear("channel-list", "[OUTPut:PROTection:CLEar, CURRent:PROTection:CLEar]")
    assert entries_of(plain, "OVP", 1) == entries_of(listed, "OVP", 1) == PROVED_BEFORE
    assert entries_of(both, "OVP", 1) != PROVED_BEFORE
    assert entries_of(both, "CV", 1) == entries_of(plain, "CV", 1)


@pytest.mark.parametrize("name", dialect_names())
@pytest.mark.parametrize(
    "command",
    [
        "*RST",
        "*rst",
        "*RCL",
        "*SAV",
        "*TRG",
        "SYSTem:PRESet",
        "STAT:PRES",
        "MEMory:STATe:RECall",
        "MEM:CLE",
        "OUTPut:PROTection:RECall",
        "SYSTem:RESet",
        "RST",
        "OUTPut",
        "SOURce:VOLTage:LEVel",
        "ABORt",
        "INIT",
    ],
)
@pytest.mark.parametrize("written", ['"{}"', '[OUTPut:PROTection:CLEar, "{}"]'])
def test_what_changes_more_is_refused_when_the_file_is_read(name: str, command: str, written: str) -> None:
    with pytest.raises(DialectError) as raised:
        with_clear(name, written.format(command))
    (line,) = str(raised.value).splitlines()
    assert f"'{command}'" in line


@pytest.mark.parametrize("name", dialect_names())
def test_the_command_of_a_setting_is_refused(name: str) -> None:
    for setting, operation in load_dialect(name).settings.items():
        if operation.command is not None and " " not in operation.command:
            with pytest.raises(DialectError) as raised:
                with_clear(name, f'"{operation.command}"')
            assert setting in str(raised.value)


@pytest.mark.parametrize(
    "command",
    [
        "*CLS",
        "OUTP:PROT:CLE",
        "SOURce:VOLTage:PROTection:CLEar",
        "CURRent:PROTection:CLEar",
        "POW:PROT:CLE",
        "OUTPut:PROTection:RESet",
        "OUTPut:TRIP:CLEar",
        "INSTrument:COUPle:OUTPut:PROTection:CLEar",
        "CLEAR",
        "ALARm:CLEar",
    ],
)
def test_what_clears_a_protection_is_taken(command: str) -> None:
    assert with_clear("channel-list", f'"{command}"').actions.clear_trips == (command,)


@pytest.mark.parametrize(
    ("written", "told"),
    [("7", "a list"), ("[OUTP:PROT:CLE?]", "without '?'"), (f"[{', '.join(['CLEAR'] * 9)}]", "at most 8")],
)
def test_nonsense_is_told(written: str, told: str) -> None:
    with pytest.raises(DialectError) as raised:
        with_clear("channel-list", written)
    assert told in str(raised.value)
