"""Trips: over-voltage, current limit after its delay, linked, over-power, over-current."""

import pytest
from tests.twin.bench import AtHand


def test_a_voltage_above_the_ovp_level_trips_and_must_be_cleared(left: AtHand) -> None:
    left.does("VOLT:PROT 10,(@1);:VOLT 12,(@1);:CURR 2,(@1);:OUTP ON,(@1)")
    left.wait(0.2)
    assert left.ask("VOLT:PROT:TRIP? (@1,2);:OUTP? (@1);:CURR:PROT:TRIP? (@1)") == "1,0;0;0"
    assert left.refuses("OUTP ON,(@1)") == -221
    left.does("OUTP:PROT:CLE (@1);:VOLT 5,(@1)")
    assert left.ask("VOLT:PROT:TRIP? (@1);:OUTP? (@1)") == "0;0"
    left.does("OUTP ON,(@1)")
    left.wait(0.2)
    assert left.number("MEAS:VOLT? (@1)") == pytest.approx(5.0, abs=0.03)


def test_a_switched_off_ovp_does_not_trip(left: AtHand) -> None:
    left.does("VOLT:PROT 10,(@1);:VOLT:PROT:STAT OFF,(@1);:VOLT 12,(@1);:CURR 2,(@1);:OUTP ON,(@1)")
    left.wait(0.2)
    assert left.ask("VOLT:PROT:STAT? (@1);:OUTP? (@1)") == "0;1"


def test_the_current_limit_regulates_or_trips_after_its_delay(left: AtHand) -> None:
    left.does("VOLT 12,(@1);CURR 0.2,(@1);:OUTP ON,(@1)")
    left.wait(0.5)
    assert left.ask("OUTP? (@1)") == "1"
    assert left.number("MEAS:CURR? (@1)") == pytest.approx(0.2, abs=0.01)
    left.does("CURR:PROT:DEL 100 MS,(@1);STAT ON,(@1)")
    left.wait(0.05)
    assert left.ask("CURR:PROT:TRIP? (@1);DEL? (@1);STAT? (@1)") == "0;1.0000000E-01;1"
    left.wait(0.15)
    assert left.ask("CURR:PROT:TRIP? (@1);:OUTP? (@1)") == "1;0"


def test_a_linked_output_goes_off_with_its_source_and_not_the_other_way(left: AtHand) -> None:
    left.does("OUTP:PROT:LINK (@1),(@2)")
    assert left.ask("OUTP:PROT:LINK? (@1,2)") == "NONE,(@1)"
    left.does("VOLT 5,(@1,2);:CURR 1,(@1,2);:OUTP ON,(@1,2)")
    left.wait(0.1)
    left.does("VOLT:PROT 4,(@1)")
    left.wait(0.05)
    assert left.ask("OUTP? (@1,2);:OUTP:PROT:LINK:TRIP? (@1,2)") == "0,0;0,1"
    assert left.refuses("OUTP ON,(@2)") == -221
    left.does("OUTP:PROT:CLE (@1,2);:VOLT:PROT MAX,(@1);PROT 4,(@2);:OUTP ON,(@1,2)")
    left.wait(0.1)
    assert left.ask("OUTP? (@1,2)") == "1,0"


def test_an_over_current_protection_of_its_own_trips_below_the_limit_after_its_delay(left: AtHand) -> None:
    left.does("VOLT 12,(@1);:CURR 2,(@1);:OUTP ON,(@1)")
    left.wait(0.2)
    left.does("CURR:PROT 300 MA,(@1);:CURR:PROT:LEV:DEL 100 MS,(@1);:CURR:PROT:LEV:STAT ON,(@1)")
    left.wait(0.05)
    assert left.ask("CURR:PROT? (@1);:CURR:PROT:LEV:DEL? (@1);:CURR:PROT:LEV:TRIP? (@1)") == (
        "3.0000000E-01;1.0000000E-01;0"
    )
    left.wait(0.15)
    assert left.ask("CURR:PROT:LEV:TRIP? (@1);:CURR:PROT:TRIP? (@1);:OUTP? (@1)") == "1;0;0"
    assert int(left.ask("STAT:QUES:INST:ISUM1:COND?")) & 1 << 11


def test_an_over_power_protection_trips_when_it_is_on(left: AtHand) -> None:
    left.does("POW:PROT 5,(@1);:VOLT 12,(@1);:CURR 2,(@1);:OUTP ON,(@1)")
    left.wait(0.2)
    assert left.ask("POW:PROT? (@1);:POW:PROT:STAT? (@1);:OUTP? (@1)") == "5.0000000E+00;0;1"
    left.does("POW:PROT:STAT ON,(@1)")
    left.wait(0.1)
    assert left.ask("POW:PROT:TRIP? (@1,2);:OUTP? (@1)") == "1,0;0"
    assert int(left.ask("STAT:QUES:INST:ISUM1:COND?")) & 1 << 3


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("OUTP:PROT:LINK (@2),(@2)", -221),
        ("OUTP:PROT:LINK 1,(@2)", -104),
        ("OUTP:PROT:LINK (@5),(@2)", -222),
        ("VOLT:PROT 38.5,(@1)", -222),
        ("CURR:PROT:DEL 1 US,(@1)", -222),
        ("CURR:PROT:LEV 3,(@1)", -222),
        ("CURR:PROT:LEV:DEL 1 MS,(@1)", -222),
        ("POW:PROT 70,(@1)", -222),
    ],
)
def test_refusals(left: AtHand, message: str, number: int) -> None:
    assert left.refuses(message) == number


def test_an_output_without_them_says_so() -> None:
    right = AtHand("right")
    right.does("INST:NSEL 1")
    for message in ("POW:PROT 5", "CURR:PROT 1", "CURR:PROT:LEV:DEL 10 MS"):
        assert right.refuses(message) == -241
