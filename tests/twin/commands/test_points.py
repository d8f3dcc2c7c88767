"""Point lists and triggers."""

import pytest
from tests.twin.bench import AtHand


@pytest.fixture
def ready(left: AtHand) -> AtHand:
    left.does("CURR 1,(@2);:OUTP ON,(@2);:LIST:VOLT 2,4,6,(@2);DWEL 0.1,(@2);:VOLT:MODE LIST,(@2)")
    return left


def test_a_list_is_queried_back(ready: AtHand) -> None:
    ready.does("LIST:COUN 3,(@2);INT LIN,(@2)")
    assert ready.ask("LIST:VOLT? (@2);VOLT:POIN? (@2)") == "2.0000000E+00,4.0000000E+00,6.0000000E+00;3"
    assert ready.ask("LIST:DWEL:POIN? (@2);:LIST:DWEL? (@2);COUN? (@2);INT? (@2)") == "1;1.0000000E-01;3;LIN"
    ready.does("LIST:COUN INF,(@2)")
    assert ready.ask("LIST:COUN? (@2);:VOLT:MODE? (@2);:LIST:VOLT? (@1)") == (
        "9.9000000E+37;LIST;9.9100000E+37"
    )


def test_a_stepping_list_plays_in_its_time(ready: AtHand) -> None:
    ready.does("INIT (@2)")
    seen = []
    for _ in range(4):
        ready.wait(0.05)
        seen.append(round(ready.number("MEAS:VOLT? (@2)"), 1))
        ready.wait(0.05)
    assert seen == [2.0, 4.0, 6.0, 6.0]
    assert ready.number("VOLT? (@2)") == 6.0
    assert int(ready.ask("STAT:OPER:COND?")) & ~(1 << 13) == 1 << 10  # in CV, nothing plays


def test_lines_between_points(ready: AtHand) -> None:
    ready.does(
        "VOLT:MODE FIX,(@2);:VOLT 0,(@2);:VOLT:MODE LIST,(@2);:LIST:INT LIN,(@2);VOLT 4,(@2);DWEL 0.4,(@2)"
    )
    ready.wait(0.1)
    ready.does("INIT (@2)")
    ready.wait(0.21)
    assert ready.number("MEAS:VOLT? (@2)") == pytest.approx(2.0, abs=0.25)
    ready.does("ABOR")
    held = ready.number("VOLT? (@2)")
    ready.wait(0.3)
    assert held == pytest.approx(2.1, abs=0.1)
    assert ready.number("MEAS:VOLT? (@2)") == pytest.approx(held, abs=0.03)


def test_a_list_waits_for_its_trigger(ready: AtHand) -> None:
    ready.does("TRIG:SOUR BUS,(@2);:INIT (@2)")
    ready.wait(0.05)
    assert int(ready.ask("STAT:OPER:COND?")) & (1 << 5)
    assert ready.refuses("INIT (@2)") == -213
    ready.does("*TRG")
    ready.wait(0.05)
    assert int(ready.ask("STAT:OPER:COND?")) & (1 << 3)
    assert ready.refuses("VOLT 1,(@2)") == -221
    assert ready.refuses("*TRG") == -211


def test_opc_waits_for_the_list(ready: AtHand) -> None:
    ready.does("*ESE 1;:INIT (@2);*OPC")
    assert ready.ask("*ESR?") == "0"
    ready.wait(0.4)
    assert ready.ask("*STB?;*ESR?") == "32;1"


def test_a_triggered_level(left: AtHand) -> None:
    left.does("CURR 1,(@2);:VOLT 2,(@2);:OUTP ON,(@2);:VOLT:TRIG 5,(@2);:TRIG:SOUR BUS,(@2);:INIT (@2)")
    left.wait(0.1)
    assert left.number("VOLT? (@2)") == 2.0
    left.does("TRIG (@2)")
    left.wait(0.1)
    assert left.number("MEAS:VOLT? (@2)") == pytest.approx(5.0, abs=0.03)


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("LIST:VOLT 1,99,(@2)", -222),
        ("LIST:DWEL 1 MS,(@2)", -222),
        ("LIST:COUN 0,(@2)", -222),
        ("LIST:VOLT " + ",".join(["1"] * 201) + ",(@2)", -223),
        ("LIST:DWEL 0.1,0.2,(@2);:INIT (@2)", -226),
        ("VOLT:MODE LIST,(@1);:INIT (@1)", -221),
        ("TRIG (@2)", -211),
        ("LIST:INT ROUND,(@2)", -224),
    ],
)
def test_refusals(ready: AtHand, message: str, number: int) -> None:
    assert ready.refuses(message) == number
