"""True parameters and errors: inside the documents' bounds, seeded, overridden."""

from contextlib import nullcontext
from pathlib import Path

import pytest
from tests.running.small import SET_POINTS, write
from tests.said import says
from tests.twin.bench import BENCH, DEVICE, PROCEDURE, AtHand

from railwright.documents.loader import load_documents
from railwright.documents.output_name import OutputName
from railwright.quantities import Dimension, Uncertain
from railwright.quantities.units import DIMENSION_NAMES
from railwright.rehearsal.circuit import build_circuit
from railwright.twin.plant import Plant
from railwright.twin.truth import SystematicError, Truth
from railwright.twin.wiring import WiringError, wire

CAPACITANCE = Uncertain(1e-3, 0.8e-3, 1.2e-3)


def test_draws_fill_the_bounds_and_repeat() -> None:
    drawn = [Truth(seed).choose("c", CAPACITANCE) for seed in range(400)]
    assert min(drawn) >= CAPACITANCE.low
    assert max(drawn) <= CAPACITANCE.high
    assert min(drawn) < 0.82e-3
    assert max(drawn) > 1.18e-3
    assert sum(drawn) / 400 == pytest.approx(1e-3, rel=0.03)
    assert drawn == [Truth(seed).choose("c", CAPACITANCE) for seed in range(400)]


def test_one_figure_does_not_disturb_another() -> None:
    one, other = Truth(5), Truth(5)
    other.choose("something else", CAPACITANCE)
    assert one.choose("c", CAPACITANCE) == other.choose("c", CAPACITANCE)


def test_overrides() -> None:
    truth = Truth(1, {"c": "x1.3", "r": "=0.5"})
    assert truth.choose("c", CAPACITANCE) == pytest.approx(1.3e-3)
    assert truth.unused_overrides() == ["r"]
    assert truth.choose("r", Uncertain(1.0, 1.0, 1.0)) == 0.5


@pytest.mark.parametrize("text", ["1.3", "x", "y2", "=nan", "xinf"])
def test_an_override_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"expected 'x1\.3'"):
        Truth(1, {"c": text})


@pytest.mark.parametrize(
    ("name", "given", "told"),
    [
        ("main.capacitor.capacitance", "=-1", "above zero"),
        ("main.capacitor.capacitance", "=0", "above zero"),
        ("main.capacitor.capacitance", "=1e30", "too large"),
        ("main.capacitor.capacitance", "x-2", "above zero"),
        ("main.lead.resistance", "=-0.1", "zero or more"),
    ],
)
def test_a_true_value_is_one_that_a_document_could_have(name: str, given: str, told: str) -> None:
    with pytest.raises(WiringError, match=f"^{name}: expected .*{told}"):
        wire("left", BENCH, DEVICE, PROCEDURE, Truth(1, {name: given}))


@pytest.mark.parametrize("given", ["=0.0047", "x0.01", "=1e-6", "=2"])
def test_a_true_value_may_lie_far_outside_its_bounds(given: str) -> None:
    truth = Truth(1, {"main.capacitor.capacitance": given})
    wire("left", BENCH, DEVICE, PROCEDURE, truth)
    assert truth.parameters["main.capacitor.capacitance"].given


@pytest.mark.parametrize("unit", DIMENSION_NAMES)
def test_a_given_value_is_read_in_every_unit(unit: str) -> None:
    for text, passes in (("=2.5", True), ("=1e16", False)):
        truth = Truth(1, {"c": text})
        truth.choose("c", CAPACITANCE)
        with nullcontext() if passes else pytest.raises(ValueError, match=r"^c: expected"):
            truth.check_given("c", Dimension(unit))


def test_errors_of_an_output_stay_inside_its_accuracy() -> None:
    output = BENCH.output(OutputName("left.1"))
    for seed in range(100):
        errors = Truth(seed).output("left.1", output)
        assert abs(errors.set_voltage.gain) <= 0.0005
        assert abs(errors.read_voltage.offset) <= 0.006
        assert abs(errors.read_current.gain) <= 0.001
        assert abs(errors.ovp_offset) <= 0.1
    assert errors.read_voltage.noise == 0.001


def test_what_is_unknown_is_assumed_aloud() -> None:
    truth = AtHand("right", plan=None).truth
    said = " ".join(map(str, truth.assumptions.all()))
    for word in (
        "right.1: accuracy of its voltage readings is not given",
        "right.1: resolution of its current programming is not given",
        "right.1: noise of its current readings is not given",
        "right.1: update interval of its readings is not given",
    ):
        assert word in said
    left = AtHand("left", plan=None).truth
    assert not any(
        sentence.subject == "left.1" and "readings" in sentence.text for sentence in left.assumptions.all()
    )


def test_twin_and_rehearsal_assume_in_the_same_words(tmp_path: Path) -> None:
    documents = load_documents(write(tmp_path, *(f"TCPIP::127.0.0.1::{port}::SOCKET" for port in (1, 2))))
    _, rehearsed = build_circuit(documents, SET_POINTS)
    twins = [
        Plant(name, documents.bench, documents.device, documents.procedure, truth).truth
        for name, truth in (("left", Truth(1)), ("right", Truth(1)))
    ]
    said = {sentence for truth in twins for sentence in truth.assumptions.all()}
    # What the program does is none of a twin's business.
    own = {
        each
        for each in rehearsed
        if not each.text.startswith("a linked output") and "the program" not in each.text
    }
    assert own <= said
    assert any(says(sentence.text, "contact resistance") for sentence in own)


def test_every_true_figure_is_kept_with_its_unit_and_bounds() -> None:
    truth = Truth(3, {"main.capacitor.capacitance": "x1.1"})
    Plant("left", BENCH, DEVICE, PROCEDURE, truth)
    drawn = truth.parameters["main.capacitor.capacitance"]
    assert (drawn.value, drawn.nominal, drawn.unit, drawn.given) == (pytest.approx(1.1e-3), 1e-3, "F", True)
    assert truth.parameters["main.lead.resistance"].unit == "ohm"
    assert all(true.unit for true in (*truth.parameters.values(), *truth.errors.values()))
    for true in truth.errors.values():
        assert true.low <= true.value <= true.high
    gain = truth.errors["left.1.programming.voltage.gain"]
    assert gain.value == Truth(3).output("left.1", BENCH.output(OutputName("left.1"))).set_voltage.gain
    assert gain.high == 0.0005


def test_a_grid() -> None:
    error = SystematicError(0.0, 0.0, 1e-3, 0.0)
    assert error.on_grid(1.23456) == pytest.approx(1.235)
    assert SystematicError(0.0, 0.0, 0.0, 0.0).on_grid(1.23456) == 1.23456
