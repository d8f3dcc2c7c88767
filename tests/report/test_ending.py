"""What a report says of a run that ended early, or was not confirmed off: first page, JSON, JUnit XML."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.evaluation.stored_runs import OFF, store
from tests.report.cases import REPORTED, RUN
from tests.report.test_document import flat, pages
from typer.testing import CliRunner

from railwright.cli.app import app
from railwright.evaluation.ending import Ending
from railwright.evaluation.outcome import Evaluation, Outcome
from railwright.report import ReportInput
from railwright.report.content import content
from railwright.report.document import compile_pdf
from railwright.report.machine import report_data, to_junit
from railwright.report.subject import outputs_off
from railwright.traces import Record

TRIPPED = Ending(False, "main tripped: current limit", 3.2)
LOST = Ending(False, "an instrument failed: right: silent", 3.2, True, False, ("aux: on since 3.1 s, 4.9 V",))
LEFT_ON = Ending(True, "", 5.0, True, False, ("aux: on since 5 s, 4.9 V",))
DONE = Ending()
END, OFF_CASE = "the run came to its end", "the outputs were confirmed off"


def ended(given: ReportInput, ending: Ending, **off: Any) -> ReportInput:
    """The demo's report of a run all of whose results are a pass, but which ended so."""
    passed = tuple(replace(result, outcome=Outcome.PASS) for result in given.evaluation.results)
    evaluation = replace(given.evaluation, results=passed, withheld=ending.withheld)
    bare = replace(given, measured=Record("supply readings", {}), rehearsal=None, external=())
    run = RUN | {"ending": ending, "ended": "an output tripped: main tripped", "deviations": []}
    return replace(bare, evaluations=(evaluation,), run=run | {"switched_off": {"main": OFF | off}})


@pytest.mark.parametrize(
    ("ending", "errors", "outcome"),
    [
        (DONE, [], "pass"),
        (TRIPPED, [END], "inconclusive"),
        (LOST, [END, OFF_CASE], "inconclusive"),
        (LEFT_ON, [OFF_CASE], "inconclusive"),
    ],
)
def test_junit_has_an_error_for_what_keeps_the_whole_from_passing(
    given: ReportInput, ending: Ending, errors: list[str], outcome: str
) -> None:
    report = ended(given, ending)
    suite = ET.fromstring(to_junit(report))
    assert [c.get("name") for c in suite.iter("testcase") if c.find("error") is not None] == errors
    assert (suite.get("tests"), suite.get("failures"), suite.get("errors")) == ("12", "0", str(len(errors)))
    assert report_data(report)["outcome"] == outcome
    causes = [error.get("message") for error in suite.iter("error")]
    assert all(cause in ending.withheld or cause in ending.not_confirmed for cause in causes)


def test_junit_of_a_procedure_without_requirements_is_not_green(given: ReportInput) -> None:
    report = ended(given, TRIPPED)
    none = Evaluation((), "guarded", 1.0, (), withheld=TRIPPED.withheld)
    suite = ET.fromstring(to_junit(replace(report, evaluations=(none,))))
    assert [suite.get(each) for each in ("tests", "errors", "skipped")] == ["4", "1", "1"]


def test_json_says_how_it_ended(given: ReportInput) -> None:
    data = report_data(ended(given, LOST))
    run = data["run"]
    assert (run["ended_early"], run["ending"], run["off_confirmed"]) == (
        True,
        "stopped, off not confirmed",
        False,
    )
    assert run["not_confirmed"] == ["aux: on since 3.1 s, 4.9 V"]
    assert run["outputs_off"] == {"main": "off confirmed, below 1 V after 20 ms"}
    assert data["evaluation"]["withheld"] == LOST.withheld


def test_the_first_page_says_it_plainly(
    given: ReportInput, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: Path
) -> None:
    drawn = (written / "wiring.svg").read_text()
    monkeypatch.setattr("railwright.report.content.wiring_svg", lambda wiring: drawn)
    texts = pages(compile_pdf(content(ended(given, LOST)), REPORTED), tmp_path)
    first = flat(texts[:1])
    assert "The run ended early. The run ended at 3.2 s, an instrument failed: right: silent." in first
    assert "Off not confirmed. aux: on since 3.1 s, 4.9 V." in first
    assert "inconclusive" in first
    assert "Every requirement was met, but a run that did not end as it should is no pass" in first
    assert "Stopped, off not confirmed." in flat(texts)
    quiet = flat(pages(compile_pdf(content(ended(given, DONE)), REPORTED), tmp_path))
    assert "ended early" not in quiet
    assert "Completed, off confirmed." in quiet


@pytest.mark.parametrize(
    ("off", "words"),
    [
        ({}, "off confirmed, below 1 V after 20 ms"),
        ({"holds": 3.7, "fell_after": None, "residual": 3.7}, "off confirmed, device holds 3.7 V"),
        ({"confirmed": False, "residual": 4.9}, "off not confirmed, last read at 4.9 V"),
        ({"confirmed": False, "residual": None}, "off not confirmed"),
        ({"stays_on": "the fan cools it"}, "stays on, because the fan cools it"),
        ({"confirmed": None}, "state read as off, below 1 V after 20 ms (as recorded by an earlier version)"),
        (
            {"confirmed": None, "fell_after": None, "residual": 4.0},
            "state read as off, last read at 4 V (as recorded by an earlier version)",
        ),
        (
            {"confirmed": None, "verified": False, "residual": 4.0},
            "off not confirmed, last read at 4 V (as recorded by an earlier version)",
        ),
    ],
)
def test_off_is_said_only_of_what_was_read(off: dict[str, Any], words: str) -> None:
    assert outputs_off({"main": OFF | off}) == (("main", words),)


@pytest.mark.parametrize(
    ("ending", "words"),
    [
        (replace(DONE, off_confirmed=None), "completed, off state as recorded by an earlier version"),
        (replace(TRIPPED, energised=False), "stopped, nothing was energised"),
        (TRIPPED, "stopped, off confirmed"),
    ],
)
def test_endings_in_words(ending: Ending, words: str) -> None:
    assert ending.words == words


def test_a_step_that_was_played_late_is_a_deviation(given: ReportInput) -> None:
    spans = tuple(replace(s, late=0.06 if s.name == "line sweep" else 0.0) for s in given.measured.spans)
    data = content(replace(ended(given, DONE), measured=Record("supply readings", {}, (), spans)))
    (line,) = (entry for entry in data["deviations"] if "late" in entry)
    assert line.startswith(
        "The step 'line sweep' was played late: a set point came 60\u00a0ms after its time"
    )


@pytest.mark.parametrize(
    ("run", "code"), [({}, 0), ({"ended": "tripped", "cause": "main tripped: current limit", "at": 1.0}, 5)]
)
def test_the_exit_code_of_a_report(tmp_path: Path, run: dict[str, Any], code: int) -> None:
    folder = store(tmp_path / "made", **run)
    result = CliRunner().invoke(app, ["report", str(folder)])
    assert result.exit_code == code, result.output
    data = json.loads((folder / "report" / "report.json").read_text())
    assert data["outcome"] == {0: "pass", 5: "inconclusive"}[code]
