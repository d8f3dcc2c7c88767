"""The instrument language against its standards: SCPI-1999 and IEEE 488.2-1992.

The standards' text was not at hand: figures and examples are from memory unless a line says otherwise.
"""

import pytest

from railwright.scpi.blocks import decode_block
from railwright.scpi.data import Number, Text
from railwright.scpi.errors import ScpiError, event_bit, format_entry, standard_text
from railwright.scpi.grammar import parse_message
from railwright.scpi.headers import CommandTree
from railwright.scpi.numbers import format_nr3, parse_decimal, parse_other_base, unit_factor
from railwright.twin.commands import TREE
from railwright.twin.registers import QUESTIONABLE_CURRENT, QUESTIONABLE_VOLTAGE

# SCPI-1999 vol. 2, chapter 21, error and event numbers (from memory; the first twelve also in the project's
# reference values).
ERRORS = {
    0: "No error",
    -102: "Syntax error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -131: "Invalid suffix",
    -221: "Settings conflict",
    -222: "Data out of range",
    -350: "Queue overflow",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -100: "Command error",
    -101: "Invalid character",
    -103: "Invalid separator",
    -104: "Data type error",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -114: "Header suffix out of range",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -151: "Invalid string data",
    -161: "Invalid block data",
    -171: "Invalid expression",
    -200: "Execution error",
    -211: "Trigger ignored",
    -213: "Init ignored",
    -223: "Too much data",
    -224: "Illegal parameter value",
    -226: "Lists not same length",
    -230: "Data corrupt or stale",
    -241: "Hardware missing",
    -310: "System error",
    -363: "Input buffer overrun",
    -430: "Query DEADLOCKED",
}


@pytest.mark.parametrize(("number", "text"), ERRORS.items())
def test_error_numbers_and_texts(number: int, text: str) -> None:
    assert standard_text(number) == text
    assert format_entry(number) == f'{number},"{text}"'


@pytest.mark.parametrize(("number", "bit"), [(-113, 5), (-222, 4), (-350, 3), (-410, 2)])
def test_standard_event_bits(number: int, bit: int) -> None:
    """IEEE 488.2-1992, 11.5.1: command error 5, execution error 4, device-dependent error 3, query error
    2.
    """
    assert event_bit(number) == bit


# SCPI-1999 vol. 1, 6.2.1: the short form is the first four characters, or three where the fourth is a vowel;
# a word of four characters or fewer is its own short form.
def short_form(word: str) -> str:
    """SCPI-1999 vol. 1, 6.2.1: the first four letters, or three where the fourth is a vowel and the word is
    longer than four.
    """
    word = word.upper()
    return word if len(word) <= 4 else word[:3] if word[3] in "AEIOU" else word[:4]


SHORT_FORMS = {
    "MEASURE": "MEAS",
    "VOLTAGE": "VOLT",
    "CURRENT": "CURR",
    "FREQUENCY": "FREQ",
    "POWER": "POW",
    "LEVEL": "LEV",
    "FREE": "FREE",
    "STATE": "STAT",
    "TRIGGER": "TRIG",
    "OUTPUT": "OUTP",
    "ERROR": "ERR",
    "DELAY": "DEL",
}


@pytest.mark.parametrize(("word", "short"), SHORT_FORMS.items())
def test_short_forms(word: str, short: str) -> None:
    assert short_form(word) == short


def test_every_header_of_the_twin_follows_the_short_form_rule() -> None:
    words = {
        node.strip("[]#?")
        for pattern, _ in TREE.entries
        for node in pattern.replace("[", "").replace("]", "").split(":")
        if node.strip("[]#?") and not node.startswith("*")
    }
    written = {word: "".join(letter for letter in word if not letter.islower()) for word in words}
    # NSELect is the standard's own exception: N and then SELect (SCPI-1999 vol. 2, INSTrument:NSELect).
    wrong = {
        word: short for word, short in written.items() if short != short_form(word) and word != "NSELect"
    }
    assert len(words) > 40
    assert wrong == {}


def test_voltage_accepts_its_two_forms_and_nothing_between() -> None:
    """Reference values of the project: `VOLTage` accepts VOLT and VOLTAGE, nothing between; any case."""
    tree: CommandTree[int] = CommandTree()
    tree.add("VOLTage", 1)
    found = {}
    for length in range(1, 9):
        word = "VOLTAGEX"[:length]
        try:
            found[word] = tree.find((word.lower(),), False)[0]
        except ScpiError as error:
            found[word] = error.number
    assert {word for word, what in found.items() if what == 1} == {"VOLT", "VOLTAGE"}
    assert {what for what in found.values() if what != 1} == {-113}


# SCPI-1999 vol. 1, 6.2.4 (traversal of the header tree), the standard's kind of examples: what a message
# means, written out with every header from the root.
PATHS = {
    "FREQ:STAR 3 MHZ;STOP 5 MHZ": ["FREQ:STAR", "FREQ:STOP"],
    "FREQ:STAR 3 MHZ;:FREQ:STOP 5 MHZ": ["FREQ:STAR", "FREQ:STOP"],
    "VOLT 5;CURR 1": ["VOLT", "CURR"],
    "VOLT:PROT 18;PROT:STAT ON": ["VOLT:PROT", "VOLT:PROT:STAT"],
    "VOLT:PROT:STAT ON;LEV 18": ["VOLT:PROT:STAT", "VOLT:PROT:LEV"],
    "MEAS:VOLT?;CURR?": ["MEAS:VOLT?", "MEAS:CURR?"],
    "LIST:VOLT 1,2;*CLS;DWEL 1": ["LIST:VOLT", "*CLS", "LIST:DWEL"],
    "*CLS;VOLT:PROT 5;*WAI;:OUTP ON": ["*CLS", "VOLT:PROT", "*WAI", "OUTP"],
}


@pytest.mark.parametrize(("message", "headers"), PATHS.items())
def test_paths(message: str, headers: list[str]) -> None:
    assert [unit.header for unit in parse_message(message.encode())] == headers


# IEEE 488.2-1992, 7.7.2: decimal numeric program data in its flexible form.
NUMBERS = {"12": 12.0, "-3": -3.0, "+.5": 0.5, "7.": 7.0, "1.25E+1": 12.5, "1.25e1": 12.5, "125 E -1": 12.5}


@pytest.mark.parametrize(("text", "value"), NUMBERS.items())
def test_decimal_numbers(text: str, value: float) -> None:
    assert parse_decimal(text) == pytest.approx(value, rel=1e-15)


def test_a_number_with_a_unit() -> None:
    (unit,) = parse_message(b"VOLT 12.5 V")
    assert unit.parameters == (Number(12.5, "V"),)


@pytest.mark.parametrize(("letter", "digits", "value"), [("H", "1F", 31), ("Q", "17", 15), ("B", "101", 5)])
def test_other_bases(letter: str, digits: str, value: int) -> None:
    """IEEE 488.2-1992, 7.7.4: #H hexadecimal, #Q octal, #B binary."""
    assert parse_other_base(letter, digits) == value


# IEEE 488.2-1992, 7.7.3: multipliers. M is milli and MA mega, but MHZ and MOHM are mega; so MA as a suffix of
# a current is milliampere.
SUFFIXES = [
    ("MA", "A", 1e-3),
    ("MAA", "A", 1e6),
    ("UA", "A", 1e-6),
    ("MV", "V", 1e-3),
    ("MAV", "V", 1e6),
    ("KV", "V", 1e3),
    ("MHZ", "HZ", 1e6),
    ("MAHZ", "HZ", 1e6),
    ("MOHM", "OHM", 1e6),
    ("MS", "S", 1e-3),
    ("NS", "S", 1e-9),
    ("PF", "F", 1e-12),
    ("F", "F", 1.0),
]


@pytest.mark.parametrize(("suffix", "unit", "factor"), SUFFIXES)
def test_suffix_multipliers(suffix: str, unit: str, factor: float) -> None:
    assert unit_factor(suffix, unit) == pytest.approx(factor, rel=1e-15)


def test_blocks() -> None:
    """IEEE 488.2-1992, 7.7.6: `#<n><length><data>`, and `#0<data>` up to the end of the message."""
    assert decode_block(b"#15HELLO,1") == (b"HELLO", 8)
    assert decode_block(b"#3005HELLO")[0] == b"HELLO"
    assert decode_block(b"#0HELLO") == (b"HELLO", 7)


def test_strings() -> None:
    """IEEE 488.2-1992, 7.7.5: either quote; a quote inside is doubled."""
    (unit,) = parse_message(b'DISP "a ""b""",\'it\'\'s\'')
    assert unit.parameters == (Text('a "b"'), Text("it's"))


def test_special_numbers_of_a_response() -> None:
    """SCPI-1999 vol. 1, 7.2.1: infinity is 9.9E37, not-a-number 9.91E37."""
    assert float(format_nr3(float("inf"))) == 9.9e37
    assert float(format_nr3(float("-inf"))) == -9.9e37
    assert float(format_nr3(float("nan"))) == 9.91e37


def test_questionable_bits() -> None:
    """SCPI-1999 vol. 1, 9.4: questionable register, bit 0 voltage, bit 1 current."""
    assert (QUESTIONABLE_VOLTAGE, QUESTIONABLE_CURRENT) == (1 << 0, 1 << 1)


def test_common_commands_are_there() -> None:
    """IEEE 488.2-1992, chapter 10, and the list in the project's reference values."""
    common = {pattern for pattern, _ in TREE.entries if pattern.startswith("*")}
    assert common >= {"*IDN?", "*RST", "*TST?", "*CLS", "*OPC", "*OPC?", "*ESR?", "*ESE", "*SRE", "*STB?"}
    assert common >= {"*TRG", "*WAI"}
