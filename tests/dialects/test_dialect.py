"""Dialect files: the ones that are there are right, and a wrong one is told with its line."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.bench import replaced

from railwright.dialects.dialect import DialectError, load_dialect, read_dialect
from railwright.dialects.files import dialect_names, dialect_text
from railwright.dialects.operation import _PLAIN, Setting
from railwright.dialects.units import compose
from railwright.scpi.grammar import parse_message


def text_of(name: str) -> str:
    return dialect_text(name)


@pytest.mark.parametrize("name", dialect_names())
def test_the_dialects_that_are_there(name: str) -> None:
    dialect = load_dialect(name)
    assert dialect.name == name
    assert dialect.instrument.identify == "*IDN?"
    assert {*dialect.settings, *dialect.impossible} == {*get_args(Setting)}


def test_a_channel_list_goes_last() -> None:
    dialect = load_dialect("channel-list")
    assert dialect.set_unit("voltage", 2, 5.0) == "SOURce:VOLTage 5,(@2)"
    assert dialect.query_unit("voltage", 2) == "SOURce:VOLTage? (@2)"
    assert dialect.reading_units((1, 2))[0] == "MEASure:VOLTage? (@1,2)"


def test_a_selected_output_is_selected_in_every_message() -> None:
    dialect = load_dialect("selected-output")
    message = compose([*dialect.select(2), dialect.set_unit("output", 2, True), "*OPC?"])
    assert message == "INSTrument:NSELect 2;:OUTPut:STATe ON;*OPC?"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("  voltage: SOURce:VOLTage", "  voltage: 'SOURce VOLTage'", "nothing else"),
        ("  voltage: SOURce:VOLTage", "  voltage: SOURce:VOLTage?", "without '?'"),
        ("  voltage: SOURce:VOLTage", "  voltge: SOURce:VOLTage", "voltge"),
        ('identify: "*IDN?"', 'identify: "*IDN"', "ending in '?'"),
        ('identify: "*IDN?"', 'identify: "*ID N?"', "expected"),
        ("compound: true", "compound: perhaps", "boolean"),
        ("{CV: 10,", "{CV: 99,", "15"),
        ("{CV: 10,", "{XV: 10,", "CV"),
    ],
)
def test_a_wrong_entry_is_told_at_its_line(old: str, new: str, told: str) -> None:
    text = text_of("channel-list")
    assert old in text
    line = text[: text.index(old)].count("\n") + 1
    with pytest.raises(DialectError) as raised:
        read_dialect(text.replace(old, new, 1), "mine.yaml")
    assert any(
        row.startswith(f"mine.yaml:{line}: ") and told in row for row in str(raised.value).splitlines()
    )


@pytest.mark.parametrize("text", ["- a\n- b\n", "a: [", "a: 1\na: 2\n", "&a [*a]", "", "42"])
def test_what_is_no_dialect(text: str) -> None:
    with pytest.raises(DialectError, match=r"mine.yaml:\d+: expected"):
        read_dialect(text, "mine.yaml")


def test_an_unknown_dialect_names_those_that_are_there() -> None:
    with pytest.raises(DialectError, match=f"{', '.join(dialect_names())}, got 'chanel-list'"):
        load_dialect("chanel-list")


@pytest.mark.parametrize(
    ("name", "compound"), [("selected-output", "true"), ("channel-list", "true"), ("prefixed", "false")]
)
def test_which_output_is_selected_is_asked_only_where_it_is_selected_apart(name: str, compound: str) -> None:
    """In one message nothing comes between the selection and the command."""
    entry = '  identify: "*IDN?"\n'
    assert f"compound: {compound}" in text_of(name)
    text = text_of(name).replace(entry, f"{entry}  selected: INSTrument:NSELect?\n", 1)
    with pytest.raises(
        DialectError, match=r"selected with 'addressing: selected-output' and 'compound: false'"
    ):
        read_dialect(text, "mine.yaml")


@pytest.mark.parametrize("answer", ["DISable", "DIS", "dis", "0", "OFF"])
def test_the_word_for_off_comes_back_long_or_short(answer: str) -> None:
    """As the guard takes it: what the driver does not understand it cannot prepare."""
    plain = load_dialect("channel-list")
    dialect = plain.model_copy(update={"words": {**plain.words, "on": "ENABle", "off": "DISable"}})
    assert dialect.understood("output", answer, 1) is False
    assert answer.upper() in dialect.off_answers
    assert dialect.understood("output", "ENAB", 1) is True


@given(st.from_regex(_PLAIN, fullmatch=True))
def test_a_header_that_is_taken_at_once_is_one_by_the_grammar(header: str) -> None:
    (unit,) = parse_message(header.encode("ascii"))
    assert (unit.query, unit.parameters) == (header.endswith("?"), ())


@pytest.mark.parametrize(
    ("name", "old", "new", "told"),
    [
        ("prefixed", 'prefix: "INSTrument{channel}:"', 'prefix: "INSTrument{channel}:\\n"', "prefix"),
        ("prefixed", 'prefix: "INSTrument{channel}:"', 'prefix: "OUTP ON;INSTrument{channel}:"', "prefix"),
        ("prefixed", 'prefix: "INSTrument{channel}:"', 'prefix: "INSTrument {channel}:"', "prefix"),
        ("prefixed", 'prefix: "INSTrument{channel}:"', 'prefix: "INSTrument{channel}{x}:"', "prefix"),
        ("named-output", 'called: "UNIT{channel}"', 'called: "UNIT{channel};OUTP ON"', "called"),
        ("named-output", 'called: "UNIT{channel}"', 'called: {1: "A\\nOUTP ON", 2: B}', "called"),
        ("named-output", 'called: "UNIT{channel}"', "called: {1: A, 2: A}", "called"),
        ("channel-list", '"off": "OFF"', '"off": "0;OUTP ON"', "words"),
        ("channel-list", '"off": "OFF"', '"off": "0\\rOUTP ON"', "words"),
        ("channel-list", "no link: NONE", 'no link: "NONE;OUTP ON"', "words"),
    ],
)
def test_no_text_that_goes_into_a_message_ends_it(name: str, old: str, new: str, told: str) -> None:
    """A newline, or `;`, would have what follows taken for a command of its own."""
    text = text_of(name)
    changed, line = replaced(text, (old, new)), text[: text.index(old)].count("\n") + 1
    with pytest.raises(DialectError) as raised:
        read_dialect(changed, "mine.yaml")
    first, *others = str(raised.value).splitlines()
    # The entry's own line, or that of the words that it is one of.
    assert line - 2 <= int(first.split(":")[1]) <= line
    assert told in first
    assert others == []


def mastered(entry: str) -> str:
    return text_of("channel-list") + f"\nmaster: {entry}\n"


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ("{switch: {query: 'OUTPut:KEY?'}}", "a command and a query"),
        ("{switch: by hand}", "a command and a query"),
        ("{switch: 'OUTPut{channel}:KEY'}", "no {channel}"),
        ("{switch: OUTPut:KEY, goes_off: sometimes}", "'last' or 'first'"),
        (
            "{switch: {command: OUTPut:KEY, query: 'OUTPut:KEY?', 'on': '0', 'off': '1'}}",
            "exchange the words",
        ),
        ("{switch: {command: OUTPut:KEY, query: 'OUTPut:KEY?', 'on': RUN}}", "together"),
        ("{switch: {command: OUTPut:KEY, query: 'OUTPut:KEY?', unit: mV}}", "without 'unit'"),
        ("{goes_off: last}", "switch"),
    ],
)
def test_a_master_switch_that_cannot_be_used_is_told(entry: str, told: str) -> None:
    line = mastered(entry).count("\n")
    with pytest.raises(DialectError) as raised:
        read_dialect(mastered(entry), "mine.yaml")
    assert any(
        row.startswith(f"mine.yaml:{line}: ") and told in row for row in str(raised.value).splitlines()
    )


def test_a_master_switch_has_words_of_its_own_or_those_of_all() -> None:
    own = (
        "{switch: {command: OUTPut:KEY, query: 'OUTPut:KEY?', 'on': RELease, 'off': BLOCk}, goes_off: first}"
    )
    dialect = read_dialect(mastered(own), "mine.yaml")
    assert (dialect.master_unit(True), dialect.master_unit(False)) == (
        "OUTPut:KEY RELease",
        "OUTPut:KEY BLOCk",
    )
    assert dialect.understood_master("REL") is True
    assert dialect.understood_master("BLOC") is False
    assert dialect.master_off_answers == ("0", "OFF", "BLOCK", "BLOC")
    with pytest.raises(ValueError, match="expected 1 or 0"):
        dialect.understood_master("MAYBE")
    plain = read_dialect(mastered("{switch: OUTPut:KEY}"), "mine.yaml")
    assert plain.master_unit(True) == "OUTPut:KEY ON"
    assert plain.master_queries == ["OUTPut:KEY?"]
    none = load_dialect("channel-list")
    assert none.master_queries == []
    with pytest.raises(ValueError, match="no master switch"):
        none.master_unit(True)


@pytest.mark.parametrize("value", [128, 129, 0, 32, 60])
def test_bit_7_of_the_event_status_tells_that_the_power_came_on(value: int) -> None:
    """IEEE 488.2, 11.5.1.1.2; bits 2 to 5 tell of errors."""
    dialect = load_dialect("channel-list")
    assert dialect.came_on(str(value)) is (value >= 128)
    assert bool(dialect.event_error(str(value))) is bool(value & 0b111100)
    with pytest.raises(ValueError, match="register"):
        dialect.came_on("1.5")
