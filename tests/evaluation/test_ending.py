"""A run that ended early, or was not confirmed off, is never a pass; nor is a step that was played late."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.evaluation.stored_runs import OFF, REQUIRES, store
from tests.said import figures, says
from typer.testing import CliRunner

from railwright.archive.stored import StoredRun, evaluate_run, evaluations_of, open_stored
from railwright.cli.app import app
from railwright.evaluation.evaluate import evaluate
from railwright.evaluation.outcome import Evaluation, Outcome
from railwright.evaluation.played import left_open, shortest_segment
from railwright.plan.timeline import build_timeline
from railwright.traces import Event, EventKind, Traces

PASS, FAIL, INCONCLUSIVE = Outcome.PASS, Outcome.FAIL, Outcome.INCONCLUSIVE
TRIP = {"ended": "tripped", "cause": "main tripped: current limit", "at": 1.0}
STOP = {"ended": "stopped", "cause": "main: current 1.5 A above 1 A", "at": 1.0}
CUT = "the step 'steady' was not played to its end: the run ended at 1 s, "
NOT_REACHED = "the step 'sweep' was not reached: the run ended at 1 s, "


def judged(folder: Path, **run: Any) -> tuple[Evaluation, StoredRun]:
    stored = open_stored(store(folder / "made", **run))
    return evaluate_run(stored, []), stored


def outcomes(evaluation: Evaluation) -> list[Outcome]:
    return [result.outcome for result in evaluation.results]


def exit_code(stored: StoredRun) -> int:
    return CliRunner().invoke(app, ["evaluate", str(stored.folder)]).exit_code


def test_a_run_that_was_played_and_confirmed_off_passes(tmp_path: Path) -> None:
    found, stored = judged(tmp_path)
    assert (outcomes(found), found.outcome, found.withheld) == ([PASS] * 3, PASS, "")
    assert stored.ending.words == "completed, off confirmed"
    assert (exit_code(stored), stored.remarks) == (0, ())


@pytest.mark.parametrize(
    ("run", "cause"),
    [
        (TRIP, "main tripped: current limit"),
        (STOP, "stopped: main: current 1.5 A above 1 A"),
        ({**TRIP, "ended": "instrument", "cause": "left: silent"}, "an instrument failed: left: silent"),
        ({**TRIP, "ended": "interrupted", "cause": "interrupted by Ctrl-C"}, "interrupted by Ctrl-C"),
        ({**TRIP, "ended": "record", "cause": "the record is full"}, "the record is full"),
        ({"ended": None, "at": 1.0}, "killed, or the power failed"),
    ],
)
def test_what_was_not_played_to_its_end_is_inconclusive(
    tmp_path: Path, run: dict[str, Any], cause: str
) -> None:
    found, stored = judged(tmp_path, **run)
    assert outcomes(found) == [PASS, INCONCLUSIVE, INCONCLUSIVE]
    assert [result.reason for result in found.results[1:]] == [CUT + cause, NOT_REACHED + cause]
    assert [result.measured for result in found.results[1:]] == [None, None]
    assert (found.outcome, exit_code(stored)) == (INCONCLUSIVE, 5)
    assert says(found.withheld, "1 s", cause)


def test_of_a_killed_run_nobody_confirmed_that_it_is_off(tmp_path: Path) -> None:
    _, stored = judged(tmp_path, ended=None, at=1.0)
    assert stored.ending.words == "stopped, off not confirmed"
    assert says(stored.remarks[-1], "killed", "outputs")


def test_what_failed_stays_failed(tmp_path: Path) -> None:
    failing = REQUIRES.replace("at_least: 11 V", "at_least: 13 V")
    found, stored = judged(tmp_path, **STOP, requires=failing)
    assert outcomes(found) == [FAIL, INCONCLUSIVE, INCONCLUSIVE]
    assert (found.outcome, exit_code(stored)) == (FAIL, 1)


def test_a_peak_above_its_limit_fails_also_a_step_that_was_cut_short(tmp_path: Path) -> None:
    """Nothing later in the step could have made it smaller; a mean, or a peak that is too low, could mend."""
    asked = """requires:
  - {name: high, measure: peak_voltage, of: main, during: steady, at_most: 11 V}
  - {name: low, measure: peak_voltage, of: main, during: steady, at_least: 13 V}
  - {name: mean, measure: mean_current, of: main, during: steady, at_most: 100 mA}
"""
    found, _ = judged(tmp_path, **STOP, requires=asked)
    assert outcomes(found) == [FAIL, INCONCLUSIVE, INCONCLUSIVE]
    assert says(found.results[0].reason, "11 V")
    assert says(found.results[0].reason, "1 s", "main", "1.5 A", "1 A")


def test_points_of_a_sweep_that_were_played_may_fail_and_the_last_one_is_left_out(tmp_path: Path) -> None:
    asked = "requires:\n  - {name: each, measure: mean_current, of: main, during: sweep, each_point: worst, "
    at = {**TRIP, "at": 2.17}
    failed, _ = judged(tmp_path, **at, requires=asked + "at_most: 100 mA}\n")
    (result,) = failed.results
    assert (result.outcome, result.measured is not None) == (FAIL, True)
    assert result.measured is not None
    assert figures(result.measured.how)[-1] == "2"
    (tmp_path / "more").mkdir()
    passed, _ = judged(tmp_path / "more", **at, requires=asked + "at_most: 1 A}\n")
    assert (passed.results[0].outcome, passed.results[0].measured) == (INCONCLUSIVE, None)


def test_a_signal_in_the_last_step(tmp_path: Path) -> None:
    found, stored = judged(tmp_path, ended="interrupted", cause="interrupted by SIGTERM", at=2.4)
    assert outcomes(found) == [PASS, PASS, INCONCLUSIVE]
    assert (found.outcome, exit_code(stored)) == (INCONCLUSIVE, 5)


def test_a_run_that_ended_after_its_last_required_step_is_no_pass(tmp_path: Path) -> None:
    asked = "\n".join(line for line in REQUIRES.splitlines() if "three" not in line) + "\n"
    found, stored = judged(tmp_path, **{**TRIP, "at": 2.0}, requires=asked)
    assert outcomes(found) == [PASS, PASS]
    assert (found.outcome, exit_code(stored)) == (INCONCLUSIVE, 5)


@pytest.mark.parametrize("run", [TRIP, {"off_confirmed": False, "not_confirmed": ["aux: 4.9 V"]}])
def test_without_a_requirement_too(tmp_path: Path, run: dict[str, Any]) -> None:
    found, stored = judged(tmp_path, **run, requires="")
    assert (found.results, found.outcome, exit_code(stored)) == ((), Outcome.NOT_JUDGED, 5)


def test_a_completed_run_that_was_not_confirmed_off(tmp_path: Path) -> None:
    line = "aux: on since 2.6 s, last read at 4.9 V"
    found, stored = judged(tmp_path, off_confirmed=False, not_confirmed=[line])
    assert outcomes(found) == [PASS] * 3
    assert (found.outcome, found.withheld) == (INCONCLUSIVE, f"off not confirmed ({line})")
    assert (exit_code(stored), stored.remarks) == (5, (f"off not confirmed: {line}",))
    assert stored.ending.words == "completed, off not confirmed"


@pytest.mark.parametrize(
    ("off", "confirmed"),
    [
        ({"confirmed": False, "residual": 4.9}, False),
        ({"confirmed": False, "stays_on": "the fan cools it"}, True),
        ({"confirmed": True, "holds": 3.7}, True),
    ],
)
def test_each_input_must_be_confirmed_unless_it_stays_on(
    tmp_path: Path, off: dict[str, Any], confirmed: bool
) -> None:
    _, stored = judged(tmp_path, switched_off={"main": OFF, "aux": {**OFF, **off}})
    assert stored.ending.off_confirmed is confirmed
    assert stored.ending.not_confirmed == (() if confirmed else ("aux: last read at 4.9 V",))


STEPS = ("first power", "steady", "sweep")
OLD = {key: value for key, value in OFF.items() if key != "confirmed"}


@pytest.mark.parametrize(("verified", "confirmed"), [(True, None), (False, False)])
def test_a_run_of_an_earlier_version(tmp_path: Path, verified: bool, confirmed: bool | None) -> None:
    old = {"off_confirmed": None, "not_confirmed": None, "steps": {name: {"whole": None} for name in STEPS}}
    off = {"main": OLD, "aux": {**OLD, "verified": verified}}
    found, stored = judged(tmp_path, switched_off=off, **old)
    assert stored.ending.off_confirmed is confirmed
    assert found.outcome is (PASS if verified else INCONCLUSIVE)
    assert all(span.whole for span in stored.data.record.spans)
    (tmp_path / "early").mkdir()
    early, stored = judged(tmp_path / "early", switched_off=off, **old, **TRIP)
    assert [span.whole for span in stored.data.record.spans] == [True, False]
    assert outcomes(early) == [PASS, INCONCLUSIVE, INCONCLUSIVE]


def test_an_evaluation_of_an_earlier_version_is_no_pass_either(tmp_path: Path) -> None:
    _, stored = judged(tmp_path, **TRIP)
    path = stored.folder / "evaluations" / "01.json"
    data = json.loads(path.read_text())
    del data["withheld"]
    passed = [{**entry, "outcome": "pass"} for entry in data["requirements"]]
    path.write_text(json.dumps({**data, "outcome": "pass", "requirements": passed}))
    (evaluation,), _ = evaluations_of(stored)
    assert outcomes(evaluation) == [PASS] * 3
    assert evaluation.outcome is INCONCLUSIVE


@pytest.mark.parametrize(
    ("played", "reason"),
    [
        ({"late": 0.02}, ""),
        ({"late": 0.03}, "a set point came 30 ms after its time, allowed are 25 ms, a tenth of its shortest"),
        ({"left_out": 1}, "1 set point of the step 'sweep' was left out: the host did not keep up"),
        ({"left_out": 12}, "12 set points of the step 'sweep' were left out"),
    ],
)
@pytest.mark.parametrize("limit", ["1 A", "100 mA"])
def test_a_step_that_was_played_late_decides_nothing(
    tmp_path: Path, played: dict[str, Any], reason: str, limit: str
) -> None:
    asked = REQUIRES.replace("sweep, at_most: 1 A", f"sweep, at_most: {limit}")
    found, stored = judged(tmp_path, steps={"sweep": played}, requires=asked)
    result = found.results[-1]
    decided = PASS if limit == "1 A" else FAIL
    assert result.outcome is (INCONCLUSIVE if reason else decided)
    assert reason in result.reason
    assert outcomes(found)[:2] == [PASS, PASS]
    assert exit_code(stored) == (5 if reason else {PASS: 0, FAIL: 1}[decided])


@pytest.mark.parametrize(
    ("played", "says_of"),
    [
        ({"late": 0.0249}, ()),  # a tenth of 250 ms
        ({"late": 0.0251}, ("'sweep'", "25.1 ms", "25 ms", "'by sweep'")),
        ({"left_out": 3}, ("3", "'sweep'", "'by sweep'")),
    ],
)
def test_a_run_says_which_requirements_late_set_points_leave_open(
    tmp_path: Path, played: dict[str, Any], says_of: tuple[str, ...]
) -> None:
    stored = open_stored(store(tmp_path / "made"))
    record, documents = stored.data.record, stored.documents
    timeline = build_timeline(documents.procedure, documents.device)
    spans = tuple(replace(each, **played) if each.name == "sweep" else each for each in record.spans)
    sweep = [each.name for each in documents.procedure.requires if each.during == "sweep"]
    found = list(left_open(documents.procedure, timeline, replace(record, spans=spans)))
    assert sweep
    assert len(found) == bool(says_of)
    if says_of:
        assert says(found[0], *(f"'{sweep[0]}'" if each == "'by sweep'" else each for each in says_of))
    # Of a step on which nothing hangs nothing is said.
    idle = documents.procedure.model_copy(update={"requires": ()})
    assert list(left_open(idle, timeline, replace(record, spans=spans))) == []


def test_what_a_point_list_times_itself_cannot_be_late(tmp_path: Path) -> None:
    stored = open_stored(store(tmp_path / "made"))
    record, documents = stored.data.record, stored.documents
    timeline = build_timeline(documents.procedure, documents.device)
    sweep = record.span("sweep")
    assert shortest_segment(sweep, timeline, record) == pytest.approx(0.25)
    listed = replace(record, events=(Event(sweep.start, "main", EventKind.POINT_LIST_STARTS),))
    assert shortest_segment(sweep, timeline, listed) == pytest.approx(1.0)


def test_how_exactly_the_times_are_known_widens_the_interval(tmp_path: Path) -> None:
    """The step ends with the first set point of the next one: what is not known of that counts too."""
    asked = "requires:\n  - {name: charge, measure: charge, of: main, during: steady, at_most: 1 C}\n"
    stored = open_stored(store(tmp_path / "made", requires=asked))
    record, late = stored.data.record, {}
    main = record.traces["main"]
    rising = Traces(main.time, {**main.columns, "current": 0.1 + 0.1 * main.time})
    for error in (0.0, 0.02):
        spans = tuple(
            replace(span, time_error=error if span.name == "sweep" else 0.0) for span in record.spans
        )
        run = replace(record, spans=spans, traces={"main": rising})
        (result,) = evaluate(stored.documents, stored.settings.set_points, run).results
        assert result.measured is not None
        (part,) = (c for c in result.measured.contributions if c.source == "time of the readings")
        late[error] = part.standard
    # The window moves by so much against a current that is 100 mA higher at its end.
    assert late[0.02] - late[0.0] == pytest.approx(0.02 * 0.1 / 3**0.5, rel=0.05)
