"""What comes out of a programmed output, and what happens when the physics fails."""

import pytest
from tests.twin.bench import AtHand

from railwright.physics.solver import SolverError


def test_a_set_voltage_is_off_by_the_programming_error_and_read_with_the_reading_error() -> None:
    true, read = [], []
    for seed in range(8):
        left = AtHand("left", seed=seed)
        left.does("VOLT 12,(@2);CURR 1,(@2);:OUTP ON,(@2)")
        left.wait(0.15)
        true.append(float(left.plant.input_history["aux"].since(left.plant.time)[2][-1]))
        read.append(left.number("MEAS:VOLT? (@2)"))
    assert max(abs(value - 12.0) for value in true) < 0.014 + 0.001
    assert max(abs(value - 12.0) for value in true) > 0.003
    assert max(abs(a - b) for a, b in zip(true, read, strict=True)) < 0.012 + 0.005
    assert max(abs(a - b) for a, b in zip(true, read, strict=True)) > 0.002


def test_an_overridden_capacitance_charges_slower() -> None:
    times = []
    for factor in ("x1", "x1.3"):
        left = AtHand("left", main__capacitor__capacitance=factor)
        left.does("VOLT 12,(@1);CURR 1,(@1);:OUTP ON,(@1)")
        left.wait(0.1)
        time, voltage, *_ = left.plant.input_history["main"].since(0.0)
        times.append(float(time[(voltage > 9.0).argmax()]) - 0.1)
    assert times[1] / times[0] == pytest.approx(1.25, abs=0.08)


def test_a_failing_solver_leaves_the_twin_alive_off_and_with_an_error(
    left: AtHand, monkeypatch: pytest.MonkeyPatch
) -> None:
    left.does("VOLT 5,(@1);CURR 1,(@1);:OUTP ON,(@1)")

    def fail(to: float) -> None:
        raise SolverError(left.plant.time, "left.1: voltage", "left.1")

    monkeypatch.setattr(left.plant, "advance", fail)
    left.now += 0.01
    left.server.catch_up()
    monkeypatch.undo()
    left.wait(0.05)
    assert left.error() == -240
    assert left.ask("OUTP? (@1);:VOLT? (@1)") == "0;5.0000000E+00"
    left.does("OUTP ON,(@1)")
    left.wait(0.3)
    assert left.number("MEAS:VOLT? (@1)") == pytest.approx(5.0, abs=0.03)
