"""Faults that a twin is given: how they are named, and what they do."""

from __future__ import annotations

import pytest
from tests.said import says
from tests.twin.bench import BENCH, DEVICE, AtHand, procedure

from railwright.documents.device import Device, LoadEntry
from railwright.twin.faults import FaultError, TwinFault, parse_faults
from railwright.twin.plant import Plant
from railwright.twin.truth import Truth
from railwright.twin.wiring import WiringError


def test_faults_are_named_in_words_also_of_inputs_with_blanks() -> None:
    inputs = ("main", "heater two", "two")
    found = parse_faults(["short main", "sense crossed  heater two main", "exchanged main two"], inputs)
    assert found == (
        TwinFault("short", ("main",)),
        TwinFault("sense crossed", ("heater two", "main")),
        TwinFault("exchanged", ("main", "two")),
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("short pump", r"expected one input of the device \(main, aux\) after 'short', got 'pump'"),
        ("exchanged main", "expected two inputs of the device"),
        ("exchanged main main", "expected two inputs of the device"),
        ("burnt main", "expected one of the faults 'short INPUT', .*, got 'burnt main'"),
    ],
)
def test_a_fault_that_there_is_not_is_told(text: str, said: str) -> None:
    with pytest.raises(FaultError, match=said):
        parse_faults([text], ("main", "aux"))


def plant(*faults: str, device: Device = DEVICE) -> Plant:
    """The left supply with both inputs, at 5 V and 1 A, main sensed at the load."""
    made = Plant(
        "left",
        BENCH,
        device,
        procedure("left.1", "left.2"),
        Truth(1),
        faults=parse_faults(faults, ("main", "aux")),
    )
    for output in made.outputs:
        made.set_current(output, 1.0)
        made.set_sense(output, True)
        made.set_ovp(output, 10.0)
        made.set_voltage(output, 5.0)
        made.switch(output, True)
    made.advance(0.5)
    return made


def last(made: Plant, name: str) -> tuple[float, float]:
    """Voltage at the connector [V] and current [A]."""
    _, voltage, _, current, _ = made.input_history[name].since(0.4)
    return float(voltage[-1]), float(current[-1])


def test_a_short_holds_the_output_at_its_limit() -> None:
    voltage, current = last(plant("short main"), "main")
    assert voltage < 0.02
    assert current == pytest.approx(1.0, abs=0.02)
    assert last(plant(), "main")[0] == pytest.approx(5.0, abs=0.03)


def test_an_open_lead_carries_nothing() -> None:
    made = plant("open aux")
    assert last(made, "aux")[1] == pytest.approx(0.0, abs=1e-6)
    reading = made.reading("left.2")
    assert reading is not None
    assert reading.voltage == pytest.approx(5.0, abs=0.05)


def test_exchanged_leads_feed_each_others_load() -> None:
    right, wrong = plant(), plant("exchanged main aux")
    assert last(wrong, "main")[1] == pytest.approx(last(right, "aux")[1], rel=0.05)
    assert last(wrong, "aux")[1] == pytest.approx(last(right, "main")[1], rel=0.05)


def test_a_reversed_input_that_nothing_says_is_protected_conducts_like_a_diode() -> None:
    load = LoadEntry.model_validate({"constant_current": {"current": "100 mA", "compliance": "2 V"}})
    aux = DEVICE.inputs["aux"].model_copy(update={"load": (load,)})
    device = DEVICE.model_copy(update={"inputs": {**DEVICE.inputs, "aux": aux}})
    made = plant("reversed aux", device=device)
    assert last(made, "aux")[0] == pytest.approx(0.7, abs=0.15)
    assert any(says(str(said), "aux", "diode") for said in made.truth.assumptions.all())


def test_a_reversed_resistor_draws_the_same() -> None:
    right, wrong = plant(), plant("reversed aux")
    assert last(wrong, "aux") == pytest.approx(last(right, "aux"), rel=0.01)
    assert any(says(str(said), "aux", "same") for said in wrong.truth.assumptions.all())


@pytest.mark.parametrize("fault", ["sense reversed main", "sense shorted main"])
def test_an_output_that_does_not_see_its_voltage_rises_to_its_ovp(fault: str) -> None:
    made = plant(fault)
    assert made.tripped("left.1") == "OVP"
    assert not made.tripped("left.2")
    assert float(made.input_history["main"].since(0.0)[1].max()) > 9.0


def test_reversed_sense_leads_read_a_negative_voltage() -> None:
    made = plant("sense reversed main")
    assert min(reading.voltage for reading in made.readings("left.1")) < -1.0


def test_faults_that_no_twin_can_have_are_refused() -> None:
    with pytest.raises(WiringError, match="no sense leads"):
        plant("sense open aux")
    with pytest.raises(WiringError, match="one supply"):
        Plant(
            "left",
            BENCH,
            DEVICE,
            procedure("left.1", "right.1"),
            Truth(1),
            faults=parse_faults(["sense crossed main aux"], ("main", "aux")),
        )


def test_a_power_cycle_keeps_the_short(left: AtHand) -> None:
    made = plant("short main")
    made.restart(1.0)
    made.set_current("left.1", 0.5)
    made.set_voltage("left.1", 5.0)
    made.switch("left.1", True)
    made.advance(1.5)
    assert last(made, "main")[1] == pytest.approx(0.5, abs=0.02)
