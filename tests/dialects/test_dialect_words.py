"""A dialect's words for on and off, its linked trips and its watchdog."""

from __future__ import annotations

import pytest
from tests.dialects.test_dialect import text_of

from railwright.dialects.dialect import (
    Dialect,
    DialectError,
    load_dialect,
    read_dialect,
)
from railwright.dialects.files import dialect_names
from railwright.dialects.units import compose
from railwright.dialects.words import means_on


def with_words(**words: str) -> Dialect:
    text = text_of("channel-list")
    for word, written in words.items():
        old = '"on": "ON"' if word == "on" else '"off": "OFF"' if word == "off" else f"{word}:"
        assert old in text
        new = f'"{word}": "{written}"' if word in ("on", "off") else f"{word}: {written}, was:"
        text = text.replace(old, new, 1)
    return read_dialect(text, "mine.yaml")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            {"on": "OFF", "off": "ON"},
            "expected a word that switches on for 'on', got 'OFF', which switches off",
        ),
        ({"on": "off", "off": "CLOSed"}, "expected a word that switches on for 'on', got 'off'"),
        ({"on": "0", "off": "1"}, "expected a word that switches on for 'on', got '0'"),
        ({"on": "0.4", "off": "STOP"}, "expected a word that switches on for 'on', got '0.4'"),
        (
            {"on": "RUN", "off": "1"},
            "expected a word that switches off for 'off', got '1', which switches on",
        ),
        ({"on": "RUN", "off": "-2"}, "expected a word that switches off for 'off', got '-2'"),
        ({"on": "RUN", "off": "On"}, "expected a word that switches off for 'off', got 'On'"),
        ({"on": "GO", "off": "go"}, "expected different words for 'on' and 'off', got 'GO' and 'go'"),
        ({"on": "SWITch", "off": "SWIT"}, "expected different words for 'on' and 'off'"),
        ({"line": "STEP"}, "expected different words for 'step' and 'line', got 'STEP' and 'STEP'"),
    ],
)
def test_words_that_would_switch_the_wrong_way_are_refused_at_their_line(
    words: dict[str, str], told: str
) -> None:
    line = text_of("channel-list").split("words:")[0].count("\n") + 1
    with pytest.raises(DialectError) as raised:
        with_words(**words)
    assert str(raised.value).startswith(f"mine.yaml:{line}: words: {told}")
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize(("on", "off"), [("ON", "OFF"), ("1", "0"), ("RUN", "STOP"), ("ENABle", "DISable")])
def test_words_that_switch_the_right_way_are_taken(on: str, off: str) -> None:
    dialect = with_words(on=on, off=off)
    assert dialect.set_unit("output", 1, True) == f"OUTPut:STATe {on},(@1)"
    assert dialect.set_unit("output", 1, False) == f"OUTPut:STATe {off},(@1)"


@pytest.mark.parametrize(
    ("text", "on"),
    [
        ("ON", True),
        (" off ", False),
        ("0.4", False),
        ("0.5", True),
        ("1.", True),
        ("-3", True),
        ("RUN", None),
    ],
)
def test_a_boolean_is_a_word_or_a_rounded_number(text: str, on: bool | None) -> None:
    assert means_on(text) is on


def test_a_link_names_the_channels_that_an_output_goes_off_with() -> None:
    dialect = load_dialect("channel-list")
    assert dialect.link_units(3, (1, 2)) == ["OUTPut:PROTection:LINK (@1,2),(@3)"]
    assert dialect.link_units(3, ()) == ["OUTPut:PROTection:LINK NONE,(@3)"]
    assert dialect.link_query(3) == "OUTPut:PROTection:LINK? (@3)"
    other = load_dialect("selected-output")
    message = compose([*other.select(3), *other.link_units(3, (1,)), other.link_query(3)])
    assert message == "INSTrument:NSELect 3;:OUTPut:PROTection:LINK (@1);:OUTPut:PROTection:LINK?"


@pytest.mark.parametrize("name", [name for name in dialect_names() if load_dialect(name).link])
def test_what_a_link_s_query_answers(name: str) -> None:
    dialect = load_dialect(name)
    for answer, channels in (("NONE", ()), (" none\n", ()), ("(@2,1)", (1, 2)), ("(@ 1:3 )", (1, 2, 3))):
        assert dialect.understood_link(answer) == channels
    for answer in ("", "1", "(@0)", "(@1),(@2)", "NONE,(@1)", "(@123456)"):
        with pytest.raises(ValueError, match=r"\(@1,2\), or NONE, got"):
            dialect.understood_link(answer)


@pytest.mark.parametrize("name", [name for name in dialect_names() if load_dialect(name).watchdog])
def test_a_watchdog_has_a_time_and_is_on_or_off(name: str) -> None:
    dialect = load_dialect(name)
    assert dialect.watchdog is not None
    time, state = dialect.watchdog.time, dialect.watchdog.state
    assert dialect.watchdog_units(2.5) == [f"{time} 2.5", f"{state} {dialect.words['on']}"]
    assert dialect.watchdog_units(None) == [f"{state} {dialect.words['off']}"]
    assert dialect.watchdog_queries() == [f"{time}?", f"{state}?"]
    assert dialect.understood_watchdog("+2.5E+00", "1") == 2.5
    assert dialect.understood_watchdog("2.5", "0") is None
    with pytest.raises(ValueError, match="expected 1 or 0"):
        dialect.understood_watchdog("2.5", "2.5")


def test_a_dialect_without_link_and_watchdog_says_nothing_of_them() -> None:
    bare = load_dialect("channel-list").model_copy(update={"link": None, "watchdog": None})
    assert bare.link_units(1, (2,)) == bare.watchdog_units(1.0) == bare.watchdog_queries() == []
    with pytest.raises(ValueError, match="linked trips"):
        bare.link_query(1)


@pytest.mark.parametrize("name", [name for name in dialect_names() if load_dialect(name).status.trips.bits])
def test_an_over_temperature_trip_is_bit_4(name: str) -> None:
    """SCPI-1999 vol. 1, 9.4: TEMPerature."""
    assert load_dialect(name).status.trips.tripped([str(1 << 4)], 1) == ("OTP",)


@pytest.mark.parametrize(
    ("one", "other", "meant"),
    [
        ("INTernal", "EXTernal", "at terminals"),
        ("INT", "REMote", "at terminals"),
        ("internal", "OUTSide", "at terminals"),
        ("REMote", "EXT", "at load"),
        ("LOAD", "external", "at load"),
    ],
)
def test_sense_words_that_mean_their_opposite_are_refused(one: str, other: str, meant: str) -> None:
    """Set and asked back by the same words, an exchange showed nowhere: a run said that it sensed at the load
    while its supply sensed at its terminals, and the lead's drop lay outside the interval.
    """
    text, pair = text_of("channel-list"), "at load: EXTernal, at terminals: INTernal"
    assert pair in text
    with pytest.raises(DialectError) as raised:
        read_dialect(text.replace(pair, f"at load: {one}, at terminals: {other}"), "mine.yaml")
    assert f"which means '{meant}'" in str(raised.value)


def test_a_list_that_is_called_fixed_is_refused() -> None:
    text = text_of("channel-list")
    for fixed, points in (("LIST", "FIXed"), ("SET", "FIX"), ("LIST", "POINts")):
        with pytest.raises(DialectError, match="which means"):
            read_dialect(
                text.replace("fixed: FIXed, list: LIST", f"fixed: {fixed}, list: {points}"), "mine.yaml"
            )


@pytest.mark.parametrize(
    ("load", "terminals"), [("REMote", "LOCal"), ("ON", "OFF"), ("EXT", "INT"), ("1", "0")]
)
def test_sense_words_of_its_own_are_taken(load: str, terminals: str) -> None:
    text, pair = text_of("channel-list"), "at load: EXTernal, at terminals: INTernal"
    made = read_dialect(text.replace(pair, f'at load: "{load}", at terminals: "{terminals}"'), "mine.yaml")
    assert (made.words["at load"], made.words["at terminals"]) == (load, terminals)
