"""The report for machines: stable keys, SI numbers, and inconclusive counted as a failure."""

from __future__ import annotations

import json
import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.report.cases import RUN, evaluation

from railwright.documents.loader import Documents
from railwright.evaluation.outcome import Outcome
from railwright.report import ReportInput
from railwright.report.content import content as report_content
from railwright.report.machine import to_json, to_junit


@pytest.fixture(scope="module")
def data(given: ReportInput) -> dict[str, Any]:
    return json.loads(to_json(given))


def test_json_keys_are_stable(data: dict[str, Any]) -> None:
    top = (
        "format report_id issued outcome run laboratory customer device procedure document_hashes instruments"
    )
    assert set(data) == {
        *top.split(),
        "proved",
        "disturbances",
        "decision",
        "evaluation",
        "earlier_evaluations",
        "settings",
        "deviations",
    }
    assert set(data["settings"]) == {"set_points", "reasons", "findings"}
    assert {"name", "measure", "unit", "lower", "upper", "outcome", "reason", "source", "measured"} <= set(
        data["evaluation"]["requirements"][0]
    )


def test_json_holds_si_numbers(data: dict[str, Any]) -> None:
    inrush = next(r for r in data["evaluation"]["requirements"] if r["name"] == "transducer inrush")
    assert (inrush["measured"]["value"], inrush["upper"], inrush["unit"]) == (0.0428, 0.06, "A")
    assert data["settings"]["set_points"]["main"]["outputs"][0]["trip_delay"] == 0.04
    assert data["earlier_evaluations"][0]["outcome"] == "fail"
    assert data["instruments"][0]["calibration"] == "valid"


def test_what_was_proved_of_the_dialects_is_in_the_report(given: ReportInput) -> None:
    when = {"at": "2026-11-02T10:00:00+00:00", "by": "A. Keeper", "how": "prove", "dialect": "ab"}
    entry = {"output": "left.1", "model": "QS-362", "version": "1.4", "missing": ["OCP"]}
    run = {
        **given.run,
        "proved": [{**entry, "proved": {"on": when, "CV": {**when, "at": "2026-11-03T10:00"}}}],
    }
    (told,) = json.loads(to_json(replace(given, run=run)))["proved"]
    assert (told["output"], told["model"], told["version"]) == ("left.1", "QS-362", "1.4")
    assert told["proved"][1] == ["CV", "2026-11-03T10:00", "A. Keeper", "prove"]
    assert told["missing"] == ["OCP"]
    (row,) = report_content(replace(given, run=run))["proved"]
    assert [line.replace("\u2060", "") for line in row["lines"]] == [
        "on: 2026-11-02, A. Keeper, prove",
        "CV: 2026-11-03, A. Keeper, prove",
        "not proved: OCP",
    ]


def test_json_has_no_infinity(given: ReportInput) -> None:
    first, *rest = given.evaluation.results
    assert first.measured is not None
    open_ended = replace(first, measured=replace(first.measured, high=math.inf, value=math.nan))
    changed = replace(given.evaluation, results=(open_ended, *rest))
    text = to_json(replace(given, evaluations=(changed,)))
    result = json.loads(text, parse_constant=pytest.fail)["evaluation"]["requirements"][0]
    assert result["measured"]["high"] is None
    assert result["measured"]["value"] is None


def test_inconclusive_counts_as_a_failure_and_nothing_is_skipped(
    given: ReportInput, documents: Documents
) -> None:
    suite = ET.fromstring(to_junit(replace(given, evaluations=(evaluation(documents, False),))))
    assert (suite.get("tests"), suite.get("failures"), suite.get("errors"), suite.get("skipped")) == (
        "12",
        "2",
        "0",
        "0",
    )
    kinds = {
        case.get("name"): [f.get("type") for f in case.findall("failure")] for case in suite.iter("testcase")
    }
    assert kinds["transducer inrush"] == ["inconclusive"]
    assert kinds["starts at"] == ["fail"]
    assert kinds["stops at"] == []
    assert suite.findall(".//skipped") == []


def test_without_requirements_nothing_is_judged_and_that_is_skipped(given: ReportInput) -> None:
    nothing = replace(given.evaluation, results=())
    assert nothing.outcome is Outcome.NOT_JUDGED
    changed = replace(given, evaluations=(nothing,))
    suite = ET.fromstring(to_junit(changed))
    counted = {name: suite.get(name) for name in ("tests", "failures", "errors", "skipped")}
    assert counted == {"tests": "4", "failures": "0", "errors": "0", "skipped": "1"}
    (case,) = [case for case in suite.iter("testcase") if case.find("skipped") is not None]
    assert case.get("name") == "requirements"
    assert json.loads(to_json(changed))["evaluation"]["outcome"] == "not judged"


def test_what_a_required_trip_precedes_is_skipped_and_no_failure(
    given: ReportInput, documents: Documents
) -> None:
    first, *others = evaluation(documents, True).results
    passed = [replace(each, outcome=Outcome.PASS) for each in others]
    left = replace(first, measured=None, outcome=Outcome.NOT_JUDGED, reason="the step was not reached")
    judged = replace(given.evaluation, results=(*passed, left))
    assert judged.outcome is Outcome.PASS
    suite = ET.fromstring(to_junit(replace(given, evaluations=(judged,))))
    assert (suite.get("failures"), suite.get("errors"), suite.get("skipped")) == ("0", "0", "1")
    assert suite.get("tests") == str(len(judged.results) + 3)
    (case,) = [case for case in suite.iter("testcase") if case.find("skipped") is not None]
    assert case.get("name") == left.requirement
    alone = replace(judged, results=(left,))
    assert alone.outcome is Outcome.NOT_JUDGED


def test_junit_gives_the_reason_and_the_run(given: ReportInput, documents: Documents) -> None:
    suite = ET.fromstring(to_junit(replace(given, evaluations=(evaluation(documents, False),))))
    failure = suite.find(".//testcase[@name='transducer inrush']/failure")
    assert failure is not None
    assert "would decide it" in str(failure.get("message"))
    assert "limit: at most 60 mA" in str(failure.text)
    properties = {p.get("name"): p.get("value") for p in suite.iter("property")}
    assert properties["unit"] == "TG-0042"
    assert suite.find("testsuite").get("time") == "14.000"  # type: ignore[union-attr]


@pytest.mark.parametrize("text", ["]]><x>&amp; \"'", "\x00\x1b[31m\x0b", "\ud800", "\ufffe\uffff", "a\nb\tc"])
def test_hostile_text_leaves_the_xml_and_the_json_valid(given: ReportInput, text: str) -> None:
    results = tuple(
        replace(r, requirement=text, reason=text, outcome=Outcome.INCONCLUSIVE)
        for r in given.evaluation.results
    )
    changed = replace(
        given,
        evaluations=(replace(given.evaluation, results=results),),
        run=RUN | {"unit": text, "operator": text},
    )
    suite = ET.fromstring(to_junit(changed).encode())
    assert len(list(suite.iter("testcase"))) == 12
    assert json.loads(to_json(changed))["evaluation"]["requirements"][0]["reason"] == text


def test_json_holds_each_disturbance_in_si(given: ReportInput, data: dict[str, Any]) -> None:
    """The station's brown-out: from 12 V down to 6 V, 4.5 s in all, half of each ramp of 2 s below 9 V."""
    (row,) = data["disturbances"]
    (asked,), (seen,) = row["asked"], row["seen"]
    assert (row["step"], row["input"], row["played"]) == ("brown-out", "main", True)
    assert (asked["base"], asked["level"], asked["off"]) == (12.0, 6.0, False)
    assert asked["end"] - asked["start"] == pytest.approx(4.5)
    assert asked["beyond"] == pytest.approx(2.5)
    # As read: between the instants at which straight lines through the readings cross 9 V.
    trace, span = given.measured.traces["main"], given.measured.span("brown-out")
    inside = (trace.time >= span.start) & (trace.time <= span.end)
    time, volts = trace.time[inside], trace.columns["voltage"][inside] - 9.0
    turns = np.flatnonzero(volts[1:] * volts[:-1] < 0.0)
    crossed = time[turns] - volts[turns] * np.diff(time)[turns] / np.diff(volts)[turns]
    assert seen["shortest"] <= crossed[-1] - crossed[0] <= seen["longest"]
