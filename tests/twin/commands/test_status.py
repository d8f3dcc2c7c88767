"""Common commands, status registers, the error queue, measuring."""

import pytest
from tests.twin.bench import AtHand


def test_identity(left: AtHand, right: AtHand) -> None:
    assert left.ask("*IDN?").split(",")[:3] == ["Railwright", "TS-1", "T-7"]
    assert right.ask("*IDN?").split(",")[:3] == ["Railwright", "Simulated supply", "0"]
    assert left.ask("*TST?;*OPC?;:SYST:VERS?") == "0;1;1999.0"


def test_power_on_is_seen_once(left: AtHand) -> None:
    left.supply.status.standard_event = 1 << 7
    assert left.ask("*ESR?;*ESR?") == "128;0"


def test_errors_come_out_in_order(left: AtHand) -> None:
    left.ask("VOLT 99,(@1)")
    left.ask("BOOM")
    assert left.ask("SYST:ERR:COUN?") == "2"
    assert [left.ask("SYST:ERR?").split(",")[0] for _ in range(3)] == ["-222", "-113", "0"]


def test_a_full_queue_says_so_in_its_last_place(left: AtHand) -> None:
    for _ in range(30):
        left.ask("BOOM")
    numbers = [left.error() for _ in range(21)]
    assert numbers == [-113] * 19 + [-350, 0]


def test_error_classes_reach_the_status_byte(left: AtHand) -> None:
    left.does("*ESE 48;*SRE 32")
    left.ask("BOOM")
    assert left.ask("*STB?") == str(4 | 32 | 64)
    assert left.ask("*ESE?;*SRE?;*ESR?") == "48;32;32"
    left.ask("VOLT 99,(@1)")
    assert left.ask("*ESR?") == "16"
    left.does("*CLS")
    assert left.ask("*STB?") == "0"


def test_an_answer_that_waits_shows_in_the_status_byte(left: AtHand) -> None:
    assert left.ask("*ESR?;*STB?") == "0;16"


def test_questionable_and_operation_registers(left: AtHand) -> None:
    left.does("VOLT 12,(@1);CURR 0.1,(@1);:STAT:QUES:ENAB 1;:STAT:OPER:ENAB 2048;:OUTP ON,(@1)")
    left.wait(0.1)
    assert left.ask("STAT:QUES:INST:ISUM1:COND?;:STAT:OPER:INST:ISUM1:COND?") == "1;2048"
    assert left.ask("STAT:OPER:INST:ISUM2:COND?") == "0"
    assert int(left.ask("*STB?")) == 8 | 128
    assert int(left.ask("STAT:QUES?")) & 1
    assert int(left.ask("STAT:QUES?")) & 1 == 0  # reading has cleared the event, the condition stands
    assert int(left.ask("STAT:QUES:COND?")) & 1


def test_a_short_spell_in_current_limit_is_kept_as_an_event(left: AtHand) -> None:
    left.does("VOLT 12,(@1);CURR 1,(@1);:OUTP ON,(@1)")
    left.wait(0.5)
    assert left.ask("STAT:OPER:INST:ISUM:COND?") == str(1 << 10)
    assert int(left.ask("STAT:OPER:INST:ISUM:EVEN?")) & (1 << 11)


def test_transition_filters(left: AtHand) -> None:
    left.does("STAT:OPER:INST:ISUM1:PTR 0;NTR 1024")
    left.does("CURR 2,(@1);:VOLT 5,(@1);:OUTP ON,(@1)")
    left.wait(0.2)
    left.ask("STAT:OPER:INST:ISUM1?")  # charging the capacitor it went in and out of CV
    assert left.ask("STAT:OPER:INST:ISUM1?") == "0"
    left.does("OUTP OFF,(@1)")
    left.wait(0.01)
    assert left.ask("STAT:OPER:INST:ISUM1?") == "1024"
    left.does("STAT:PRES")
    assert left.ask("STAT:OPER:INST:ISUM1:PTR?;NTR?;ENAB?;:STAT:OPER:ENAB?") == "32767;0;32767;0"


def test_fetch_gives_the_other_quantity_of_the_same_reading(left: AtHand) -> None:
    left.does("VOLT 12,(@1);CURR 2,(@1);:OUTP ON,(@1)")
    assert left.refuses("FETC:CURR? (@1)") == -230
    left.wait(0.01)
    left.ask("MEAS:VOLT? (@1)")
    kept = left.supply.latched[0]
    assert kept is not None
    left.wait(0.1)
    assert left.number("FETC:CURR? (@1)") == pytest.approx(kept.current)
    assert left.number("MEAS:CURR? (@1)") != pytest.approx(kept.current)


@pytest.mark.parametrize(
    ("message", "number"), [("*ESE 256", -222), ("*ESE", -109), ("STAT:OPER:INST:ISUM9?", -114)]
)
def test_refusals(left: AtHand, message: str, number: int) -> None:
    assert left.refuses(message) == number
