"""Dialects that name an output among the parameters, and that take one field of an answer."""

from __future__ import annotations

import pytest
from tests.bench import replaced
from tests.instruments.stated_supply import DIALECT

from railwright.dialects.dialect import Dialect, DialectError
from railwright.dialects.files import dialect_text
from railwright.dialects.harmless import why_harmful
from railwright.dialects.proofs import entries_of
from railwright.documents.dialect_files import read_dialect
from railwright.documents.loader import load_documents
from railwright.examples import example
from railwright.guard.local_link import LocalLink
from railwright.guard.session_settings import SessionSettings, is_query, questions
from railwright.instruments.guarded import open_guarded
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop


def edited(*edits: tuple[str, str]) -> Dialect:
    return read_dialect(replaced(DIALECT, *edits), "stated.dialect.yaml")


@pytest.mark.parametrize(
    ("command", "query", "sent", "asked"),
    [
        ("VOLT", "VOLT?", "VOLT B,5", "VOLT? B"),
        ("VOLT {value},{channel}", "VOLT? {channel}", "VOLT 5,B", "VOLT? B"),
        ("VOLT {channel} {value}", "VOLT {channel}?", "VOLT B 5", "VOLT B?"),
        ("VOLT {channel}", "VOLT {channel}?", "VOLT B,5", "VOLT B?"),
        ("VOLT CH{channel}={value}", "VOLT? CH{channel}", "VOLT CHB=5", "VOLT? CHB"),
        ("VOLT{channel}", "VOLT{channel}?", "VOLTB 5", "VOLTB?"),
    ],
)
def test_an_output_stands_where_the_header_says(command: str, query: str, sent: str, asked: str) -> None:
    dialect = edited(("  voltage: VOLT\n", f'  voltage: {{command: "{command}", query: "{query}"}}\n'))
    assert dialect.set_unit("voltage", 2, 5.0) == sent
    assert dialect.query_unit("voltage", 2) == asked
    assert (is_query(sent), is_query(asked)) == (False, True)


def test_a_header_alone_stands_for_command_and_query() -> None:
    dialect = edited(("  voltage: VOLT\n", '  voltage: "VOLT {channel}"\n'))
    assert (dialect.set_unit("voltage", 1, 5.0), dialect.query_unit("voltage", 1)) == ("VOLT A,5", "VOLT A?")


@pytest.mark.parametrize(
    ("message", "asks"),
    [("LAMP A?", 1), ("LAMP A?;:STAT? A", 2), ('DISP "A?"', 0), ("LAMP A,1;:LAMP A?", 1), ("LAMP A", 0)],
)
def test_what_asks(message: str, asks: int) -> None:
    assert questions(message) == asks


def test_what_ends_in_a_question_mark_is_no_harmless_question_for_that() -> None:
    """An instrument that takes no such form might switch on."""
    assert why_harmful("OUTPut 1?", (), vouched=True) != ""
    assert why_harmful("OUTPut? 1", (), vouched=True) == ""


OUT = ('query: "LAMP {channel}?"', 'query: "STAT?", field: 2')
WRONG = [
    (OUT[0], f"{OUT[1]}, answers_on: CV", "together"),
    (OUT[0], f"{OUT[1]}, answers_on: [CV, CC], answers_off: [NO, CC]", "different words"),
    (OUT[0], f"{OUT[1]}, answers_on: [CV, 'OFF'], answers_off: [NO]", "switches on"),
    ("ovp: OVER", "ovp: {command: OVER, query: 'OVER?', answers_on: A, answers_off: B}", "for 'ovp'"),
    (
        "  voltage: VOLT\n",
        '  voltage: {command: "VOLT {value}", query: "VOLT?"}\n',
        "beside {value}",
    ),
    ("  voltage: VOLT\n", '  voltage: "VOLT {channel};*RST"\n', "';'"),
    ("  voltage: VOLT\n", '  voltage: "{channel} VOLT"\n', "header"),
    ("called: {1: A, 2: B}", 'called: {1: A, 2: "B?"}', "without '?'"),
    ("field: 2", "field: 0", "at least 1"),
    ("compound: true", "compound: true\nsession: {parted_by: ;}", "compound: false"),
    ("compound: true", "compound: true\nsession: {parted_by: ':'}", "got ':'"),
    ('parted_by: "/"', 'parted_by: ""', "at least 1 character, got"),
    ("compound: true", "compound: true\nlist_readings: true", "list_readings: false"),
    ('words: "YES", nothing: "NO"', 'words: "YES"', "'nothing'"),
    ('words: "YES", nothing: "NO"', 'bit: 3, words: "YES", nothing: "NO"', "expected 'bit'"),
    ('words: "YES", nothing: "NO"', 'words: "YES", nothing: ["NO", "YES"]', "other words"),
    ('words: "YES", nothing: "NO"', "bit: 16", "at most 15"),
    ('words: "YES", nothing: "NO"', 'bit: 3, clear: "*RST"', "changes no output"),
    ('words: "YES", nothing: "NO"', "bit: 3, clear: LAMP", "changes no output"),
    (
        'trips: {query: "STAT?", field: 5, words: {OVP: "1", current limit: "2"}, nothing: "0"}',
        'trips: {field: 5, each: {OVP: "OV?", current limit: "OC?"}}',
        "with 'each'",
    ),
    (
        'trips: {query: "STAT?", field: 5, words: {OVP: "1", current limit: "2"}, nothing: "0"}',
        'trips: {each: {OVP: {query: "STAT?", field: 5}, current limit: {query: "STAT?", field: 5}}}',
        "of its own",
    ),
]


@pytest.mark.parametrize(("right", "wrong", "told"), WRONG)
def test_a_mistake_is_told_with_its_line(right: str, wrong: str, told: str) -> None:
    with pytest.raises(DialectError) as caught:
        edited((right, wrong))
    assert told in str(caught.value)
    assert all(each.file == "stated.dialect.yaml" for each in caught.value.faults)


def test_a_field_that_is_missing_is_no_answer() -> None:
    dialect = edited()
    assert dialect.understood_status(["1,CC,1.0,0.1,2"] * 2, 1) == ("CC", ("current limit",))
    assert dialect.understood_status(["1, CV ,1.0,0.1, 0"] * 2, 1) == ("CV", ())
    for answer in ("1", "1,CV,1.0,0.1", "1,CV,1.0,0.1,7", ""):
        with pytest.raises(ValueError, match="expected"):
            dialect.understood_status([answer] * 2, 1)


def test_what_a_switch_answers_by_words_of_its_own() -> None:
    dialect = edited((OUT[0], f"{OUT[1]}, answers_on: [CV, CC], answers_off: [NO, OVer]"))
    assert [dialect.understood("output", f"x,{word},1", 1) for word in ("CV", "cc", "NO", "OV", "OVER")] == [
        True,
        True,
        False,
        False,
        False,
    ]
    assert dialect.off_answers == ("NO", "OVER", "OV")
    for answer in ("x,1,1", "x,OFF,1", "x,,1", "x"):
        with pytest.raises(ValueError, match="expected"):
            dialect.understood("output", answer, 1)
    assert edited().off_answers == ("0", "OFF")


def test_flags_in_fields_of_one_answer() -> None:
    own = 'trips: {query: "STAT?", field: 5, words: {OVP: "1", current limit: "2"}, nothing: "0"}'
    each = "{OVP: {query: 'STAT?', field: 5}, OCP: {query: 'STAT?', field: 6}, OTP: 'HOT?'}"
    trips = edited((own, f"trips: {{each: {each}}}")).status.trips
    assert trips.queries == ("STAT?", "STAT?", "HOT?")
    assert trips.tripped(["1,CV,1,1,0,1"] * 2 + ["0"], 1) == ("OCP",)
    with pytest.raises(ValueError, match="at least 6 fields"):
        trips.tripped(["1,CV,1,1,0"] * 2 + ["0"], 1)


@pytest.mark.parametrize(
    ("parted_by", "message", "answer", "fields"),
    [
        (",", "STAT? A", "1,CV;0", "1,CV;0"),
        (";", "STAT? A", "1;CV;0", "1,CV,0"),
        (" ", "STAT? A", " 1  CV 0 ", "1,CV,0"),
        (" ", "*IDN?", "Quay bench,T 5", "Quay bench,T 5"),
    ],
)
def test_fields_of_an_answer_are_handed_on_with_commas(
    parted_by: str, message: str, answer: str, fields: str
) -> None:
    assert SessionSettings(parted_by=parted_by).fields(message, answer) == fields


def test_what_a_field_is_taken_from_is_proved_with_it() -> None:
    one, other = edited(), edited(("field: 5", "field: 6"))
    assert entries_of(one, "OVP", 1) != entries_of(other, "OVP", 1)
    assert entries_of(one, "CV", 1) == entries_of(other, "CV", 1)
    mode = edited(("field: 2", "field: 7"))
    assert entries_of(one, "CV", 1) != entries_of(mode, "CV", 1)


def test_a_twin_takes_the_name_of_an_output_first() -> None:
    text = dialect_text("channel-list").replace("addressing: channel-list", "addressing: parameter")
    text = text.replace("list_readings: true", "list_readings: false")
    dialect = read_dialect(text.replace("dialect: channel-list", "dialect: own"), "own.dialect.yaml")
    documents, loop = load_documents(example() / "power-input.procedure.yaml"), VirtualLoop()
    left = documents.bench.supplies["left"].model_copy(update={"dialect": dialect})
    bench = documents.bench.model_copy(update={"supplies": {"left": left}})
    with VirtualNetwork(loop, bench) as network:
        link = LocalLink(loop, network.connect)
        driver = SupplyDriver("left", left, open_guarded(link))
        driver.connect()
        driver.identify()
        driver.clear()
        for setting, value in (("voltage", 3.0), ("current_limit", 1.0), ("output", True)):
            driver.put([OutputSetting("2", setting, value)])  # type: ignore[arg-type]
        link.sleep(1.0)
        found = driver.read(["1", "2"])
    assert (found["1"].on, found["2"].on) == (False, True)
    assert found["2"].voltage == pytest.approx(3.0, abs=0.05)
