"""Which requirements the supply's own readings can decide, and what would where they cannot."""

from __future__ import annotations

import ast
import datetime as dt
import tempfile
from pathlib import Path

import pytest
from tests.bench import BENCH, EXAMPLE, PROCEDURE, demo_with
from tests.said import says

from railwright import measures
from railwright.documents.loader import Documents
from railwright.rehearsal.rehearse import rehearse
from railwright.settings.measurable import Measurable, measurable
from railwright.settings.settle import settle


def looked_at(documents: Documents) -> dict[str, Measurable]:
    settings = settle(documents, dt.date(2026, 11, 25))
    record = rehearse(documents, settings.set_points).record
    return {m.requirement: m for m in measurable(documents, settings.set_points, record)}


def changed(folder: Path, bench: dict[str, str], procedure: dict[str, str]) -> dict[str, Measurable]:
    edits = [(BENCH, old, new) for old, new in bench.items()]
    edits += [(PROCEDURE, old, new) for old, new in procedure.items()]
    return looked_at(demo_with(folder, *edits))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Measurable]:
    return looked_at(demo_with(tmp_path_factory.mktemp("demo")))


def test_all_of_the_example_but_the_inrush_can_be_measured(demo: dict[str, Measurable]) -> None:
    assert [name for name, each in demo.items() if each.verdict != "yes"] == ["transducer inrush"]


def test_a_peak_needs_a_recording_and_who_can_make_it_is_named(demo: dict[str, Measurable]) -> None:
    inrush = demo["transducer inrush"]
    assert (inrush.verdict, inrush.uncertainty) == ("no", None)
    assert says(inrush.why, "18 ms")
    # 200 samples within 18 ms; a third of the 32.7 mA that are left
    assert says(inrush.would, "12 000", "±11 mA", "transient recorder")


def test_what_would_do_is_no_beginning_of_a_sentence() -> None:
    """No measure says what would decide it with a comma at its end, which a table or a list shows."""
    texts = [
        node.value
        for file in Path(measures.__path__[0]).glob("*.py")
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]
    assert any("a recording of the load's own output" in text for text in texts)
    assert [text for text in texts if text.rstrip(", ") and text.endswith(",")] == []


def test_what_is_expected_and_its_uncertainty_come_from_the_rehearsal_and_the_reading_model(
    demo: dict[str, Measurable],
) -> None:
    level = demo["supply level"]
    assert level.expected == pytest.approx(12.0, abs=1e-3)
    assert level.leaves == pytest.approx(0.1, abs=1e-3)
    # ± (0.05 % of 12 V + 6 mV): of a rectangle of 12 mV 95 % lie within 11.4 mV
    assert level.uncertainty is not None
    assert 0.006 < level.uncertainty < 0.0125


def test_a_recorder_that_is_not_exact_or_quick_enough_is_not_named(tmp_path: Path) -> None:
    found = changed(tmp_path, {"interval: 20 us": "interval: 200 us"}, {})
    assert "can" not in found["transducer inrush"].would.rpartition(": ")[2].split()


def test_a_tolerance_as_narrow_as_the_reading_is_not_measurable(tmp_path: Path) -> None:
    found = changed(tmp_path, {}, {"between: 11.9 V .. 12.1 V": "between: 11.995 V .. 12.005 V"})
    level = found["supply level"]
    assert level.verdict == "no"
    assert says(level.would, "±1.7 mV")
    wider = {}
    (tmp_path / "wider").mkdir()
    wider = changed(tmp_path / "wider", {}, {"between: 11.9 V .. 12.1 V": "between: 11.985 V .. 12.015 V"})
    assert wider["supply level"].verdict == "marginal"


def test_readings_of_unknown_accuracy_measure_nothing(tmp_path: Path) -> None:
    text = (EXAMPLE / BENCH).read_text("utf-8")
    begin = text.index("        reading:\n")
    end = text.index("        rise: 12 ms", begin)
    found = changed(tmp_path, {text[begin:end]: ""}, {})
    assert found["supply level"].verdict == "no"
    assert found["supply level"].uncertainty is None


@pytest.mark.parametrize(
    ("limit", "beyond"),
    [("between: 12.2 V .. 12.4 V", 0.2), ("between: 11 V .. 11.9 V", 0.1), ("at_least: 13 V", 1.0)],
)
def test_what_is_expected_beyond_its_limit_will_fail_however_it_is_measured(
    tmp_path: Path, limit: str, beyond: float
) -> None:
    found = changed(tmp_path, {}, {"between: 11.9 V .. 12.1 V": limit})["supply level"]
    assert found.verdict == "will fail"
    assert found.leaves == pytest.approx(-beyond, abs=2e-3)
    assert says(found.why, "12 V")


def test_restarts_that_are_expected_will_fail(tmp_path: Path) -> None:
    """Down to 6 V the station stops at 7.6 V, once."""
    found = changed(tmp_path, {}, {"during: line sweep\n    at_most: 0": "during: brown-out\n    at_most: 0"})
    (restarts,) = [each for name, each in found.items() if "running" in name]
    assert (restarts.verdict, restarts.expected, restarts.leaves) == ("will fail", 1.0, -1.0)


@pytest.mark.parametrize(
    ("interval", "current", "named"),
    [("20 us", True, True), ("1 ms", True, True), ("5 ms", True, False), ("20 us", False, False)],
)
def test_who_can_record_what_may_fall_between_readings_is_named(
    tmp_path: Path, interval: str, current: bool, named: bool
) -> None:
    """The load's stops, which have no rate of their own: a recorder of the bench that is quick enough."""
    own = {"record: {every: 10 ms}": "record: {every: 50 ms}"}
    bench = {"interval: 20 us": f"interval: {interval}"}
    if not current:
        bench["    current: {of_value: 1 %, offset: 0.5 mA, resolution: 0.1 mA, noise: 0.1 mA}\n"] = ""
    runs = changed(tmp_path, bench, own)["keeps running over the line range"]
    assert runs.verdict == "no"
    assert says(runs.would, "460 samples/s")
    assert says(runs.would, "transient recorder") is named


def test_the_uncertainty_of_a_run_is_about_what_was_told(demo: dict[str, Measurable]) -> None:
    """A run is held against 64 places of its readings, a check against two: a start's is up to 1.4 times it.

    The charge of the start: 25 readings of 10 ms, from before the step on; the first is that of an output
    that is off, so nothing is open at its beginning.
    """
    from railwright.examples import example
    from railwright.job import Job

    check = Job.open(example() / PROCEDURE).check()
    told = {each.requirement: each.uncertainty for each in check.measurable}
    for seed in (4,):
        with tempfile.TemporaryDirectory() as folder:
            made = check.run(unit="U", operator="O", folder=Path(folder) / "run", twins=True, seed=seed)
            for result in made.evaluate().results:
                if (found := result.measured) is None or found.unseen:
                    continue
                widest = told[result.requirement]
                assert widest is not None, result.requirement
                ratio = (found.high - found.low) / 2 / widest if widest else 1.0
                assert 0.3 <= ratio <= 1.5, (result.requirement, ratio)


def test_who_can_record_whether_the_limit_regulates_is_named(tmp_path: Path) -> None:
    """No status tells what lies between two answers; a recording of the current below the limit does."""
    own = (
        "  - {name: stays on, measure: time_out_of_cv, of: main, during: steady, at_most: 0 s}\n"
        "  - name: supply level\n"
    )
    found = changed(tmp_path, {}, {"  - name: supply level\n": own})["stays on"]
    assert found.verdict == "no"
    assert says(found.would, "current", "transient recorder")
