"""Outputs, leads and loads as one circuit of true values."""

import pytest
from tests.twin.bench import BENCH, DEVICE, AtHand, procedure

from railwright.documents.bench import Coupling
from railwright.documents.fixture import Fixture
from railwright.twin.plant import Plant
from railwright.twin.truth import Truth
from railwright.twin.wiring import Wiring, WiringError, wire


def wired(supply: str, main: object = "left.1", aux: object = "left.2", seed: int = 1) -> Wiring:
    return wire(supply, BENCH, DEVICE, procedure(main, aux), Truth(seed))


def test_each_input_is_a_branch_with_its_loads() -> None:
    wiring = wired("left")
    main, aux = wiring.circuit.branches
    assert (main.name, main.outputs, [load.kind for load in main.loads]) == (
        "main",
        ("left.1",),
        ["capacitor", "resistor"],
    )
    assert (aux.name, wiring.sensed) == ("aux", frozenset({"left.1"}))


def test_what_another_supply_feeds_is_not_simulated_here() -> None:
    assert wired("right").inputs == ()
    assert [branch.loads for branch in wired("right").circuit.branches] == [(), ()]
    assert wired("right", aux="right.1").inputs == ("aux",)


def test_without_a_procedure_every_output_is_open() -> None:
    wiring = wire("left", BENCH, None, None, Truth(1))
    assert [(branch.name, branch.loads) for branch in wiring.circuit.branches] == [
        ("left.1", ()),
        ("left.2", ()),
    ]


def test_lead_resistance_lies_between_geometry_and_the_tabulated_maximum() -> None:
    drawn = [wired("left", seed=seed).circuit.branches[0].lead.resistance for seed in range(50)]
    # 0.5 mm², 2 m: 2 * 2 m * 34.5 mΩ/m of copper at 20 °C and 2 * 2 m * 39.0 mΩ/m (IEC 60228), both ± 6 °C, +
    # 12 mΩ.
    assert min(drawn) > 0.148
    assert max(drawn) < 0.173
    assert max(drawn) - min(drawn) > 0.015


def test_a_group_over_two_supplies_is_refused() -> None:
    with pytest.raises(WiringError, match=r"'main' .* left and right"):
        wired("left", main={"series": ["left.1", "right.1"]})


def test_two_outputs_in_series_add_their_voltages() -> None:
    left = AtHand("left", procedure({"series": ["left.1", "left.2"]}, "right.1"))
    left.does("CURR 2,(@1,2);:VOLT 6,(@1,2);:OUTP ON,(@1,2)")
    left.wait(0.4)
    assert left.plant.input_history["main"].since(left.plant.time)[2][-1] == pytest.approx(12.0, abs=0.05)
    assert [float(v) for v in left.ask("MEAS:VOLT? (@1,2)").split(",")] == pytest.approx([6.0, 6.0], abs=0.03)
    one, other = (float(value) for value in left.ask("MEAS:CURR? (@1,2)").split(","))
    assert one == pytest.approx(other, abs=0.007)


def test_two_outputs_in_parallel_add_their_currents() -> None:
    left = AtHand("left", procedure({"parallel": ["left.1", "left.2"]}, "right.1"))
    left.does("CURR 0.3,(@1,2);:VOLT 12,(@1,2);:OUTP ON,(@1,2)")
    left.wait(0.6)
    currents = [float(value) for value in left.ask("MEAS:CURR? (@1,2)").split(",")]
    assert sum(currents) == pytest.approx(0.5, rel=0.08)
    assert max(currents) < 0.32


FIXTURE = {
    "fuse": {
        "curve": [{"current": "0.4 A", "time": "1 s"}, {"current": "2 A", "time": "5 ms"}],
        "resistance": "50 mohm ± 20 %",
    },
    "diode": {"drop": "0.7 V ± 0.1 V", "resistance": "60 mohm"},
    "switch": {"resistance": "10 mohm"},
    "capacitor": {"capacitance": "470 uF ± 20 %"},
}


def with_fixture(**parts: object) -> tuple[Plant, Truth]:
    """Supply left with these parts between lead and main."""
    bench = BENCH.model_copy(update={"fixtures": {"box": Fixture.model_validate(parts or FIXTURE)}})
    plan = procedure(main_sense="at terminals")
    hook_up = {**plan.hook_up, "main": plan.hook_up["main"].model_copy(update={"fixture": "box"})}
    truth = Truth(1)
    return Plant("left", bench, DEVICE, plan.model_copy(update={"hook_up": hook_up}), truth), truth


def test_a_fixture_lies_in_the_circuit_with_true_values() -> None:
    plant, truth = with_fixture()
    main = next(branch for branch in plant.wiring.circuit.branches if branch.name == "main")
    bare = wired("left").circuit.branches[0]
    assert main.lead.fuse == ((0.4, 1.0), (2.0, 0.005))
    assert main.lead.diode == truth.parameters["main.fixture.drop"].value
    assert 0.6 <= main.lead.diode <= 0.8
    assert [load.kind for load in main.loads] == ["capacitor", "resistor", "capacitor"]
    assert main.loads[2].values["capacitance"] == truth.parameters["main.fixture.capacitance"].value
    # Both draw their share of the bounds from the same stream.
    assert main.lead.resistance - bare.lead.resistance == pytest.approx(0.12, abs=0.01)
    assert any("ESR" in each.text and "(its fixture)" in each.text for each in truth.assumptions.all())


def test_its_fuse_opens_in_the_twin_too() -> None:
    plant, _ = with_fixture()
    plant.set_current("left.1", 2.0)
    plant.set_voltage("left.1", 12.0)
    plant.switch("left.1", True)
    plant.advance(3.0)
    assert [event.what for event in plant.events if event.subject == "main" and "fuse" in event.what] == [
        "fuse opens"
    ]


def test_an_open_switch_leaves_the_input_without_supply() -> None:
    plant, _ = with_fixture(switch={"starts": "open"})
    plant.set_current("left.1", 2.0)
    plant.set_voltage("left.1", 12.0)
    plant.switch("left.1", True)
    plant.advance(0.2)
    voltage = plant.input_history["main"].since(0.0)[1]
    assert abs(voltage).max() < 1e-6


@pytest.mark.parametrize(("by", "goes"), [("step", 11.0), ("ratio", 7.5)])
def test_coupled_set_points_move_together(by: str, goes: float) -> None:
    left = AtHand("left")
    document = BENCH.supplies["left"].model_copy(
        update={"coupled": (Coupling(outputs=("1", "2"), by=by),)}  # type: ignore[arg-type]
    )
    left.does("VOLT 12,(@1);:VOLT 5,(@2)")
    left.supply.document = document
    left.does("VOLT 18,(@1)")
    assert [float(each) for each in left.ask("VOLT? (@1,2)").split(",")] == pytest.approx([18.0, goes])


@pytest.mark.parametrize(("by", "goes"), [("step", 1.0), ("ratio", 0.75)])
def test_coupled_current_limits_move_together_and_voltages_stay(by: str, goes: float) -> None:
    """From 1 A and 0.5 A to 1.5 A: common practice, no source."""
    left = AtHand("left")
    coupling = Coupling(outputs=("1", "2"), by=by, of="current_limit")  # type: ignore[arg-type]
    left.does("VOLT 12,(@1);:VOLT 5,(@2);:CURR 1,(@1);:CURR 0.5,(@2)")
    left.supply.document = BENCH.supplies["left"].model_copy(update={"coupled": (coupling,)})
    left.does("CURR 1.5,(@1);:VOLT 18,(@1)")
    assert [float(each) for each in left.ask("CURR? (@1,2)").split(",")] == pytest.approx([1.5, goes])
    assert [float(each) for each in left.ask("VOLT? (@1,2)").split(",")] == pytest.approx([18.0, 5.0])
