"""Set points, slew, sensing, the output switch, and both ways to say which output is meant."""

import pytest
from tests.twin.bench import AtHand


def test_set_points_are_queried_back_on_the_grid(left: AtHand) -> None:
    left.does("VOLT 12.34567,(@1);CURR 200 MA,(@1:2)")
    assert left.ask("VOLT? (@1);CURR? (@2,1)") == "1.2346000E+01;2.0000000E-01,2.0000000E-01"


def test_every_spelling_sets_the_same(left: AtHand) -> None:
    for number, header in enumerate(
        ("volt", "VOLTAGE:LEVEL", "SOUR:VOLT:LEV:IMM:AMPL", "Source:Voltage:Amplitude"), 1
    ):
        left.does(f"{header} {number},(@1)")
        assert left.number("VOLT? (@1)") == number


def test_bounds_and_special_words(left: AtHand) -> None:
    assert (
        left.ask("VOLT? MIN,(@1);:VOLT? MAX,(@1);:CURR? MAXimum,(@1)")
        == "0.0000000E+00;3.6000000E+01;2.5000000E+00"
    )
    left.does("VOLT MAX,(@1)")
    assert left.number("VOLT? (@1)") == 36.0


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("VOLT 36.1,(@1)", -222),
        ("VOLT -1,(@1)", -222),
        ("VOLT 5 A,(@1)", -131),
        ("VOLT ON,(@1)", -141),
        ("VOLT '5',(@1)", -158),
        ("VOLT (@1)", -109),
        ("VOLT", -109),
        ("VOLT 5", -109),
        ("VOLT 5,6,(@1)", -108),
        ("VOLT 5,(@3)", -222),
        ("VOLT 5,(1)", -171),
        ("VOLT? 5,(@1)", -141),
        ("VOLTA 5,(@1)", -113),
        ("VOLT2 5,(@1)", -114),
        ("INST:NSEL 1", -113),
        ("OUTP 1 V,(@1)", -138),
        ("VOLT:ALC:SOUR MAYBE,(@1)", -224),
    ],
)
def test_refusals(left: AtHand, message: str, number: int) -> None:
    assert left.refuses(message) == number


def test_a_refused_setting_changes_no_output_of_the_list(left: AtHand) -> None:
    left.does("VOLT 3,(@1,2)")
    assert left.refuses("VOLT 5,(@1,9)") == -222
    assert left.ask("VOLT? (@1,2)") == "3.0000000E+00,3.0000000E+00"


def test_an_execution_error_ends_its_unit_and_a_command_error_the_message(left: AtHand) -> None:
    left.ask("VOLT 99,(@1);CURR 1,(@1)")
    assert (left.error(), left.number("CURR? (@1)")) == (-222, 1.0)
    left.ask("VOLTX 5,(@1);CURR 2,(@1)")
    assert (left.error(), left.number("CURR? (@1)")) == (-113, 1.0)


def test_the_output_comes_up_and_goes_down(left: AtHand) -> None:
    left.does("VOLT 12,(@1);CURR 2,(@1);:OUTP ON,(@1)")
    left.wait(0.3)
    assert left.ask("OUTP? (@1,2)") == "1,0"
    assert left.number("MEAS:VOLT? (@1)") == pytest.approx(12.0, abs=0.03)
    assert left.number("FETC:CURR? (@1)") == pytest.approx(0.5, rel=0.06)
    left.does("OUTP OFF,(@1)")
    left.wait(0.02)
    falling = left.number("MEAS:VOLT? (@1)")
    left.wait(0.5)
    assert left.ask("OUTP? (@1)") == "0"
    assert 0.1 < falling < 12.0
    assert left.number("MEAS:VOLT? (@1)") == pytest.approx(0.0, abs=0.02)


def test_slew(left: AtHand) -> None:
    left.does("VOLT:SLEW 100 V/S,(@1);:CURR 2,(@1);:OUTP ON,(@1);:VOLT 12,(@1)")
    left.wait(0.06)
    assert 3.0 < left.number("MEAS:VOLT? (@1)") < 7.0
    assert left.ask("VOLT:SLEW? (@1);:VOLT:SLEW:FALL? (@1)") == "1.0000000E+02;2.4000000E+03"


def test_sensing_moves_the_regulated_point_and_only_while_off(left: AtHand) -> None:
    left.does("VOLT:ALC:SOUR EXT,(@1);:VOLT 12,(@1);:CURR 2,(@1);:OUTP ON,(@1)")
    left.wait(0.3)
    assert left.ask("VOLT:ALC:SOUR? (@1)") == "EXT"
    rows = left.plant.input_history["main"].since(left.plant.time - 0.01)
    assert rows[2][-1] - rows[1][-1] > 0.05  # terminals above the connector by the lead's drop
    assert rows[1][-1] == pytest.approx(12.0, abs=0.02)
    assert left.refuses("VOLT:ALC:SOUR INT,(@1)") == -221


def test_a_selected_output_takes_the_commands(right: AtHand) -> None:
    right.does("INST:NSEL 2;:VOLT 5;CURR 1;:INST UNIT1;:VOLT 3")
    assert right.ask("INST:NSEL?;:INST?;:INST:CAT?") == '1;UNIT1;"UNIT1","UNIT2"'
    assert right.ask("VOLT?;:INST:NSEL 2;:VOLT?") == "3.0000000E+00;5.0000000E+00"


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("VOLT 5,(@1)", -108),
        ("INST:NSEL 3", -222),
        ("INST UNIT3", -224),
        ("INST 'UNIT1'", -224),
        ("VOLT:SLEW 5", -241),
        ("VOLT:PROT 5", -241),
        ("CURR:PROT:STAT ON", -241),
        ("VOLT:ALC:SOUR EXT", -241),
        ("LIST:VOLT 1,2", -241),
    ],
)
def test_refusals_of_a_plain_supply_with_selected_output(right: AtHand, message: str, number: int) -> None:
    assert right.refuses(message) == number


def test_reset(left: AtHand) -> None:
    left.does("VOLT 12,(@1);CURR 2,(@1);:VOLT:ALC:SOUR EXT,(@1);:OUTP ON,(@1)")
    left.wait(0.1)
    left.does("*RST")
    assert left.ask("OUTP? (@1);:VOLT? (@1);:CURR? (@1);:VOLT:ALC:SOUR? (@1);:VOLT:PROT? (@1)") == (
        "0;0.0000000E+00;0.0000000E+00;INT;3.8000000E+01"
    )
