"""What a session begins and ends with, as a dialect's file has it: taken, or refused with one clear line."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.dialects.test_dialect import text_of

from railwright.dialects.dialect import Dialect, DialectError, load_dialect
from railwright.dialects.files import dialect_names
from railwright.dialects.session_commands import check_harmless
from railwright.documents.dialect_files import read_dialect
from railwright.guard.session_settings import SessionCommand
from railwright.scpi.grammar import parse_message


def with_session(entry: str, name: str = "channel-list") -> Dialect:
    """One of the package's with this in its session."""
    text = re.sub(r"^session:.*\n(?: .*\n)*", "", text_of(name), flags=re.MULTILINE)
    return read_dialect(text.replace("instrument:  ", f"session: {{{entry}}}\ninstrument:  ", 1), "mine.yaml")


@pytest.mark.parametrize("name", dialect_names())
def test_commands_and_questions_are_taken_as_they_stand(name: str) -> None:
    made = with_session(
        'opening: [SYSTem:REMote, {send: "SYSTem:REMote:STATe?", answer: "1"}, "*OPC?"], '
        "closing: ['SYSTem:KEY:LOCK 0'], boot: 1.5",
        name,
    )
    settings = made.session_settings
    assert settings.opening == (
        SessionCommand("SYSTem:REMote"),
        SessionCommand("SYSTem:REMote:STATe?", "1"),
        SessionCommand("*OPC?"),
    )
    assert [each.asks for each in settings.opening] == [False, True, True]
    assert settings.closing == (SessionCommand("SYSTem:KEY:LOCK 0"),)
    assert settings.boot == 1.5


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ("opening: ['A;B']", "one command, got 'A;B'"),
        ('opening: ["SYSTem:REMote\\nOUTPut ON"]', "a newline"),
        ("opening: ['SYSTem REMote REMote']", "expected a command"),
        ("opening: SYSTem:REMote", "a list such as [SYSTem:REMote], got 'SYSTem:REMote'"),
        ("closing: [{send: SYSTem:LOCal, answer: '1'}]", "expected a query with 'answer'"),
        ("closing: [{query: 'SYSTem:REMote?'}]", "send"),
        ("opening: ['DISP:TEXT \"a;OUTP ON\"']", "one command"),
        (f"closing: [{', '.join(['SYSTem:LOCal'] * 9)}]", "at most 8 entries"),
        ("boot: -1", "of at least 0"),
        ("boot: 100", "of at most 60"),
    ],
)
def test_nonsense_is_told_in_one_line_for_each(entry: str, told: str) -> None:
    with pytest.raises(DialectError) as raised:
        with_session(entry)
    lines = str(raised.value).splitlines()
    assert any(re.match(r"mine\.yaml:15:\d\d+: ", line) and told in line for line in lines)


@pytest.mark.parametrize("key", ["opening", "closing"])
@pytest.mark.parametrize(
    "command",
    [
        "OUTPut ON",
        "OUTP 1",
        "outp:stat on",
        "VOLT 5",
        "SOURce:VOLTage:LEVel 5",
        ":CURR 3",
        "SOURce:LIST:COUNt 1",
        "INIT",
        "ABORt",
        "APPLy 5,1",
        "SYSTem:COMMunicate:WATChdog:TIME 1",
        "OUTPut:PROTection:CLEar",
        "*RST",
        "*RCL 1",
        "*TRG",
        "*TST?",
        " OUTPut ON",
        "\tOUTP ON",
        " *RST",
        "OUTP\t1",
        "SYSTem:PRESet",
        "MMEM:LOAD:STAT 1",
        "MEM:STAT:REC 1",
        "INST:COUP ALL",
        "INST:SEL UNIT2",
        "PROG:EXEC",
        "ARM",
        "ROUT:CLOS (@1)",
        "CAL?",
        "TEST:ALL?",
        "SYSTem:LANGuage OTHER",
        "RUN",
    ],
)
def test_what_could_change_an_output_is_never_sent_with_a_session(key: str, command: str) -> None:
    with pytest.raises(DialectError) as raised:
        with_session(f"{key}: [{json.dumps(command)}]")
    assert command.split()[0] in str(raised.value)
    assert str(raised.value).count("\n") == 0


@pytest.mark.parametrize("name", dialect_names())
@given(data=st.data())
def test_no_command_of_a_dialect_itself_is_sent_with_a_session(name: str, data: st.DataObject) -> None:
    """Long or short, in capitals or not, with or without the node that may be left out."""
    made = load_dialect(name)
    headers = [each.command for each in made.settings.values() if each.command is not None]
    header = data.draw(st.sampled_from(headers)).replace("{channel}", data.draw(st.sampled_from(["1", "2"])))
    nodes = [
        node if data.draw(st.booleans()) else "".join(sign for sign in node if not sign.islower())
        for node in header.split(":")
    ]
    text = ":".join(nodes)
    text = text.lower() if data.draw(st.booleans()) else text
    assert len(tuple(parse_message(text.encode()))) == 1
    with pytest.raises(ValueError, match="changes no output"):
        check_harmless([f"{text} 1"], made._changing())


@pytest.mark.parametrize("name", dialect_names())
@pytest.mark.parametrize("command", ["*RST", "OUTPut:STATe", "*RCL"])
def test_what_empties_the_queue_of_errors_changes_no_output(name: str, command: str) -> None:
    """It is sent after a person has set what is set by hand, and while outputs are on."""
    text = re.sub(
        r"^instrument:.*\n", f"instrument:\n  clear: '{command}'\n", text_of(name), flags=re.MULTILINE
    )
    text = text.replace('  clear: "*CLS"\n', "", 1)
    with pytest.raises(DialectError, match="changes no output") as raised:
        read_dialect(text, "mine.yaml")
    assert str(raised.value).count("\n") == 0


OWN_WORDS = """\
dialect: own
addressing: none
compound: false
words: {"on": "1", "off": "0"}
session: {opening: [ENTRY]}
instrument: {identify: "ID?"}
settings: {output: OUT, voltage: VSET, current_limit: ISET}
readings: {voltage: "VOUT?", current: "IOUT?"}
status: {trips: {told: false}}
"""


@pytest.mark.parametrize("command", ["OUT 1", "out 1", "VSET 5", "ISET 1"])
def test_a_command_that_only_the_dialect_knows_is_refused_too(command: str) -> None:
    with pytest.raises(DialectError, match="changes no output"):
        read_dialect(OWN_WORDS.replace("ENTRY", f"'{command}'"), "own.yaml")
    vouched = "{send: REMOTE, because: takes it from the panel}, 'OUT?'"
    assert read_dialect(OWN_WORDS.replace("ENTRY", vouched), "own.yaml").session.opening
    with pytest.raises(DialectError, match="because"):
        read_dialect(OWN_WORDS.replace("ENTRY", "REMOTE"), "own.yaml")
    with pytest.raises(DialectError, match="changes no output"):
        read_dialect(OWN_WORDS.replace("ENTRY", f"{{send: {command}, because: nothing}}"), "own.yaml")
