"""Cautions, with this bench's own numbers."""

from __future__ import annotations

from dataclasses import replace

import pytest

from railwright.documents.fixture import Fixture
from railwright.documents.hook_up import HookUp
from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.report.cautions import Caution, cautions
from railwright.report.content import _highest
from railwright.report.subject import ReportInput
from railwright.settings.group import group_of


@pytest.fixture(scope="module")
def by_title(documents: Documents) -> dict[str, Caution]:
    return {c.title: c for c in cautions(documents.device, documents.bench, documents.procedure, {})}


def test_the_reachable_voltage_counts_and_not_the_set_one(documents: Documents) -> None:
    pair = (OutputName("left.1"), OutputName("left.2"))
    assert group_of(pair, "series", documents.bench).farthest == 72.0
    assert group_of(pair, "parallel", documents.bench).farthest == 36.0


def test_36_v_in_a_wet_place_presses(by_title: dict[str, Caution]) -> None:
    touch = by_title["Voltage that can be touched"]
    assert touch.pressing
    assert "main 36 V, transducer 32 V" in touch.text
    assert "Above it: main." in touch.text


def test_the_same_bench_in_a_dry_place_does_not(documents: Documents) -> None:
    dry = documents.bench.model_copy(update={"location": "dry"})
    touch = cautions(documents.device, dry, documents.procedure, {})[0]
    assert not touch.pressing
    assert "60 V d.c. is the limit" in touch.text


def test_stored_energy_is_half_c_v_squared_at_the_upper_bounds(by_title: dict[str, Caution]) -> None:
    # 1200 uF at 16 V: 153.6 mJ, rounded up: it is a bound; 12 uF at 30 V: 5.4 mJ.
    assert "main 160 mJ (1.2 mF at 16 V)" in by_title["Stored energy"].text
    assert "transducer 5.4 mJ (12 µF at 30 V)" in by_title["Stored energy"].text


@pytest.mark.parametrize(
    ("outputs", "arrangement", "farads", "expected"),
    [
        # ½·220 µF·(24 V)²; in series each has half of it: 2·½·220 µF·(12 V)²; in parallel both have it whole.
        (("left.1",), "alone", 220e-6, "64 mJ"),
        (("left.1", "left.2"), "series", 220e-6, "32 mJ"),
        (("left.1", "left.2"), "parallel", 220e-6, "130 mJ"),
        (("left.1", "left.2"), "parallel", 1e-3, "580 mJ"),
    ],
)
def test_stored_energy_counts_the_outputs_own_capacitors(
    documents: Documents, outputs: tuple[str, ...], arrangement: str, farads: float, expected: str
) -> None:
    supplies = dict(documents.bench.supplies)
    left = supplies["left"]
    given = {n: o.model_copy(update={"output_capacitance": farads}) for n, o in left.outputs.items()}
    supplies["left"] = left.model_copy(update={"outputs": given})
    source = outputs[0] if arrangement == "alone" else {arrangement: list(outputs)}
    fed = HookUp.model_validate({"from": source, "lead": "silicone pair", "sense": "at load"})
    procedure = documents.procedure.model_copy(update={"hook_up": {"main": fed}})
    bench = documents.bench.model_copy(update={"supplies": supplies})
    told = {c.title: c for c in cautions(documents.device, bench, procedure, {"main": 24.0})}
    assert f"the outputs of main {expected} (at 24 V)" in told["Stored energy"].text
    without = {n: o.model_copy(update={"output_capacitance": None}) for n, o in left.outputs.items()}
    supplies["left"] = left.model_copy(update={"outputs": without})
    bench = documents.bench.model_copy(update={"supplies": supplies})
    told = {c.title: c for c in cautions(documents.device, bench, procedure, {"main": 24.0})}
    assert f"not counted: the output capacitors of {', '.join(outputs)}" in told["Stored energy"].text


@pytest.mark.parametrize("level", [15.0, 18.0, 24.0])
def test_stored_energy_counts_what_the_ovp_lets_stand(given: ReportInput, level: float) -> None:
    """An input's OVP at 18 V with 0.2 V of error lets 18.2 V stand, and what it rises while that acts."""
    feed = given.set_points["main"]
    outputs = tuple(replace(each, ovp=level) for each in feed.outputs)
    set_points = {**given.set_points, "main": replace(feed, outputs=outputs)}
    accuracy = given.documents.bench.output(feed.names[0]).ovp.accuracy
    highest = _highest(replace(given, set_points=set_points))["main"]
    assert level + accuracy <= highest < level + accuracy + 3.0


def test_stored_energy_counts_what_is_played_above_the_range_and_a_fixture(documents: Documents) -> None:
    capacitor = {"capacitance": "4.7 mF ± 20 %", "esr": "10 mohm"}
    box = Fixture.model_validate({"capacitor": capacitor})
    bench = documents.bench.model_copy(update={"fixtures": {"box": box}})
    hook_up = dict(documents.procedure.hook_up)
    hook_up["main"] = hook_up["main"].model_copy(update={"fixture": "box"})
    procedure = documents.procedure.model_copy(update={"hook_up": hook_up})
    told = {c.title: c for c in cautions(documents.device, bench, procedure, {"main": 24.0})}
    # 1.2 mF and 5.64 mF at 24 V: 1.9699 J.
    assert "main 2 J (6.84 mF at 24 V)" in told["Stored energy"].text


def test_every_caution_that_a_report_must_carry_is_there(by_title: dict[str, Caution]) -> None:
    assert set(by_title) == {
        "Voltage that can be touched", "Stored energy", "Feeding back", "Hot leads", "Floating outputs",
        "Off is not disconnected", "When the mains return", "No emergency stop", "Who decides",
    }  # fmt: skip
    assert "left.1, right.1" in by_title["Floating outputs"].text
    assert "not an emergency stop" in by_title["No emergency stop"].text


def test_what_the_supplies_do_by_themselves_is_said(documents: Documents) -> None:
    def told(after: str | None, off: str | None, sink: float = 2.0) -> dict[str, Caution]:
        supplies = dict(documents.bench.supplies)
        left = supplies["left"]
        outputs = {n: o.model_copy(update={"when_off": off, "sink": sink}) for n, o in left.outputs.items()}
        supplies["left"] = left.model_copy(update={"after_mains": after, "outputs": outputs})
        bench = documents.bench.model_copy(update={"supplies": supplies})
        return {c.title: c for c in cautions(documents.device, bench, documents.procedure, {})}

    mains, off = "When the mains return", "Off is not disconnected"
    known = told("stays off", "high impedance")
    assert not known[mains].pressing
    assert "left.1 high impedance, right.1 high impedance" in known[off].text
    assert "While off" not in known["Feeding back"].text
    comes = told("comes on", "held at 0 V")
    assert comes[mains].pressing
    assert "mains of left first" in comes[mains].text
    assert "left.1 takes in up to 2 A" in comes["Feeding back"].text
    assert "While off" not in told("comes on", "held at 0 V", 0.0)["Feeding back"].text
    unknown = told(None, None)
    assert not unknown[mains].pressing
    assert "left unknown" in unknown[mains].text
    assert "mains of left first" in unknown[mains].text
    assert "left.1 unknown" in unknown[off].text
