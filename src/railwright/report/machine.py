"""The report for machines: one JSON document with SI numbers and stable keys, and JUnit XML."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import re
import xml.etree.ElementTree as ET
from typing import Any

from railwright.evaluation.data import as_data
from railwright.evaluation.outcome import Evaluation, Outcome, Result
from railwright.measures.wording import interval_words
from railwright.report.content import disturbances_of, facts_of, report_id
from railwright.report.figures import number, show_limit
from railwright.report.results import rule_statement
from railwright.report.subject import Instrument, ReportInput, RunFacts
from railwright.settings.data import FINDINGS, REASONS, SET_POINTS

FORMAT = 1
"""Raised when a key of the JSON report changes its meaning or goes away."""

_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def report_data(given: ReportInput) -> dict[str, Any]:
    """The report as one JSON-ready dict; SI units, null is unknown or unbounded, times are ISO 8601.

    `evaluation` and `settings` have the keys that they have in the run's folder.
    """
    run = facts_of(given)
    device = given.documents.device
    tested = run.start.date() if run.start else None
    return {
        "format": FORMAT,
        "report_id": report_id(given, run),
        "issued": given.reported.isoformat(),
        "outcome": given.evaluation.outcome.value,
        "run": {
            "id": run.run_id,
            "start": _moment(run.start),
            "end": _moment(run.end),
            "ended": run.ended,
            "ended_early": bool(run.ending.early),
            "ending": run.ending.words,
            "off_confirmed": run.ending.off_confirmed,
            "not_confirmed": list(run.ending.not_confirmed),
            "outputs_off": dict(run.outputs_off),
            "simulated": run.simulated,
            "operator": run.operator,
            "ambient": run.ambient,
            "software": run.software,
        },
        "laboratory": {"name": run.laboratory, "address": run.address},
        "customer": run.customer,
        "device": {"name": device.device, "revision": device.revision, "unit": run.unit},
        "procedure": given.documents.procedure.procedure,
        "document_hashes": dict(run.hashes),
        "disturbances": [dataclasses.asdict(row) for row in disturbances_of(given)],
        "instruments": [_instrument(instrument, tested) for instrument in run.instruments],
        "proved": [dataclasses.asdict(each) for each in run.proved],
        "decision": rule_statement(given.evaluation),
        "evaluation": as_data(given.evaluation),
        "earlier_evaluations": [as_data(evaluation) for evaluation in given.evaluations[:-1]],
        "settings": {
            "set_points": SET_POINTS.write(given.set_points),
            "reasons": REASONS.write(given.reasons),
            "findings": FINDINGS.write(given.findings),
        },
        "deviations": list(run.deviations),
    }


def to_json(given: ReportInput) -> str:
    """JSON text, ASCII only, ends in a newline."""
    return json.dumps(report_data(given), indent=2, allow_nan=False) + "\n"


def _moment(moment: dt.datetime | None) -> str | None:
    return moment.isoformat() if moment else None


def _instrument(instrument: Instrument, tested: dt.date | None) -> dict[str, Any]:
    return {
        "name": instrument.name,
        "kind": instrument.kind,
        "model": instrument.model,
        "serial": instrument.serial,
        "identification": instrument.identification or None,
        "certificate": instrument.certificate,
        "calibrated": instrument.calibrated.isoformat() if instrument.calibrated else None,
        "due": instrument.due.isoformat() if instrument.due else None,
        "calibration": instrument.state(tested),
    }


def _xml(text: object) -> str:
    """Text that XML 1.0 can hold: what it cannot becomes a replacement character."""
    return _NOT_XML.sub("\ufffd", str(text))


def to_junit(given: ReportInput) -> str:
    """JUnit XML: one test case a requirement; what is inconclusive counts as a failure, never as skipped. One
    that is not judged, because a required trip ended the run before its step, is skipped. Of a procedure
    without requirements one is skipped: nothing was judged.

    Three more are of the run: that it came to its end, that its outputs were confirmed off, and that its
    folder is whole and unchanged. They are errors where that is not so: such a run is no pass, whatever its
    requirements say.
    """
    run = facts_of(given)
    results = given.evaluation.results
    of_run = _of_run(run, given.evaluation)
    not_judged = sum(result.outcome is Outcome.NOT_JUDGED for result in results)
    failures = sum(result.outcome is not Outcome.PASS for result in results) - not_judged
    errors = sum(bool(problem) for _, problem, _ in of_run)
    seconds = (run.end - run.start).total_seconds() if run.start and run.end else 0.0
    skipped = not_judged if results else 1
    tests = max(1, len(results)) + len(of_run)
    counts = {"tests": tests, "failures": failures, "errors": errors, "skipped": skipped}
    shown = {name: str(count) for name, count in counts.items()} | {"time": f"{seconds:.3f}"}
    root = ET.Element("testsuites", {"name": "railwright", **shown})
    device, procedure = given.documents.device.device, given.documents.procedure.procedure
    suite = ET.SubElement(root, "testsuite", {"name": _xml(f"{device}: {procedure}"), **shown})
    if run.start is not None:
        suite.set("timestamp", run.start.replace(tzinfo=None).isoformat(timespec="seconds"))
    properties = ET.SubElement(suite, "properties")
    facts = {"report": report_id(given, run), "run": run.run_id, "unit": run.unit, "operator": run.operator}
    for name, value in facts.items():
        ET.SubElement(properties, "property", {"name": name, "value": _xml(value)})
    for result in results:
        _case(suite, device, result)
    if not results:
        case = ET.SubElement(
            suite, "testcase", {"classname": _xml(device), "name": "requirements", "time": "0"}
        )
        ET.SubElement(case, "skipped", {"message": "the procedure has no requirement: nothing was judged"})
    for name, problem, told in of_run:
        case = ET.SubElement(
            suite, "testcase", {"classname": _xml(f"{device}.run"), "name": name, "time": "0"}
        )
        if problem:
            error = ET.SubElement(case, "error", {"type": run.ending.words, "message": _xml(problem)})
            error.text = _xml(told)
        ET.SubElement(case, "system-out").text = _xml(told)
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _of_run(run: RunFacts, evaluation: Evaluation) -> list[tuple[str, str, str]]:
    """Test cases of the run itself: name, what is wrong (empty: nothing), and what there is to tell."""
    ending = run.ending
    lines = [ending.words, *(f"{name}: {words}" for name, words in run.outputs_off), *ending.not_confirmed]
    unconfirmed = "; ".join(ending.not_confirmed) or ending.words
    return [
        ("the run came to its end", ending.early, ending.early or run.ended),
        (
            "the outputs were confirmed off",
            unconfirmed if ending.off_confirmed is False else "",
            "\n".join(lines),
        ),
        (
            "the run's folder is whole and unchanged",
            "; ".join(evaluation.unsound),
            "\n".join(evaluation.unsound) or "every file that decides is as its manifest says",
        ),
    ]


def _case(suite: ET.Element, device: str, result: Result) -> None:
    names = {"classname": _xml(f"{device}.{result.of}.{result.during}"), "name": _xml(result.requirement)}
    case = ET.SubElement(suite, "testcase", {**names, "time": "0"})
    if result.outcome is Outcome.NOT_JUDGED:
        ET.SubElement(case, "skipped", {"message": _xml(result.reason)})
    elif result.outcome is not Outcome.PASS:
        failure = ET.SubElement(
            case,
            "failure",
            {"type": result.outcome.value, "message": _xml(f"{result.outcome.value}: {result.reason}")},
        )
        failure.text = _xml(_lines(result))
    ET.SubElement(case, "system-out").text = _xml(_lines(result))


def _lines(result: Result) -> str:
    measured = result.measured
    value = "nothing measured"
    if measured is not None:
        low, high = number(measured.low, result.unit), number(measured.high, result.unit)
        interval = interval_words(low, high, measured.bounded)
        value = f"{number(measured.value, result.unit)}, 95 % interval {interval}"
    lines = [
        f"{result.measure} of {result.of} during {result.during}: {value}",
        f"limit: {show_limit(result.lower, result.upper, result.unit)}",
        f"outcome: {result.outcome.value}: {result.reason}",
        f"decided from: {result.source}",
    ]
    return "\n".join(lines)
