"""The report for machines: one JSON document with SI numbers and stable keys, and JUnit XML."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import xml.etree.ElementTree as ET
from typing import Any

from railwright.evaluation.outcome import Evaluation, Outcome, Result
from railwright.report.content import facts_of, report_id
from railwright.report.figures import number, show_limit
from railwright.report.results import rule_statement
from railwright.report.subject import Instrument, ReportInput
from railwright.settings.findings import Finding

FORMAT = 1
"""Raised when a key of the JSON report changes its meaning or goes away."""

_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def as_data(given: ReportInput) -> dict[str, Any]:
    """The report as one JSON-ready dict; units are SI, null is unknown or unbounded, times are ISO 8601."""
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
            "ended_early": run.ended_early,
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
        "instruments": [_instrument(instrument, tested) for instrument in run.instruments],
        "decision": {
            "rule": given.evaluation.rule,
            "guard_band": _finite(given.evaluation.guard_band),
            "statement": rule_statement(given.evaluation),
        },
        "requirements": [result_data(result) for result in given.evaluation.results],
        "earlier_evaluations": [_earlier(evaluation) for evaluation in given.evaluations[:-1]],
        "settings": _settings(given),
        "findings": [_finding(finding) for finding in given.findings],
        "deviations": list(run.deviations),
    }


def to_json(given: ReportInput) -> str:
    """JSON text, ASCII only, ends in a newline."""
    return json.dumps(as_data(given), indent=2, allow_nan=False) + "\n"


def _moment(moment: dt.datetime | None) -> str | None:
    return moment.isoformat() if moment else None


def _finite(value: float | None) -> float | None:
    """JSON has no infinity and no NaN; both are null."""
    return value if value is not None and math.isfinite(value) else None


def result_data(result: Result) -> dict[str, Any]:
    """One requirement judged."""
    measured = result.measured
    return {
        "requirement": result.requirement,
        "measure": result.measure,
        "of": result.of,
        "during": result.during,
        "at": result.at,
        "unit": result.unit,
        "lower_limit": _finite(result.lower),
        "upper_limit": _finite(result.upper),
        "value": _finite(measured.value) if measured else None,
        "low": _finite(measured.low) if measured else None,
        "high": _finite(measured.high) if measured else None,
        "coverage": 0.95 if measured else None,
        "outcome": result.outcome.value,
        "reason": result.reason,
        "source": result.source,
        "how": measured.how if measured else None,
        "unseen": measured.unseen if measured else None,
        "would_decide": measured.would_decide if measured else None,
        "assumptions": list(measured.assumptions) if measured else [],
        "contributions": [
            {"source": c.source, "standard": _finite(c.standard), "distribution": c.distribution}
            for c in (measured.contributions if measured else ())
        ],
    }


def _earlier(evaluation: Evaluation) -> dict[str, Any]:
    return {
        "outcome": evaluation.outcome.value,
        "sources": list(evaluation.sources),
        "requirements": [
            {"requirement": r.requirement, "outcome": r.outcome.value, "source": r.source, "reason": r.reason}
            for r in evaluation.results
        ],
    }


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


def _settings(given: ReportInput) -> list[dict[str, Any]]:
    return [
        {
            "input": feed.input,
            "arrangement": feed.arrangement,
            "lead": feed.lead,
            "sense": feed.sense,
            "trips_when": list(feed.trips_when),
            "outputs": [
                {
                    "output": output.output,
                    "current_limit_A": _finite(output.current_limit),
                    "at_limit": output.at_limit,
                    "trip_delay_s": _finite(output.trip_delay) if output.at_limit == "trip" else None,
                    "ovp_V": _finite(output.ovp),
                    "share": _finite(output.share),
                }
                for output in feed.outputs
            ],
            "reasons": [
                {
                    "about": r.about,
                    "setting": r.setting,
                    "value": _finite(r.value),
                    "unit": r.unit,
                    "why": r.why,
                }
                for r in given.reasons
                if r.about in (feed.input, *(output.output for output in feed.outputs))
            ],
        }
        for feed in given.set_points.values()
    ]


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "rule": finding.rule,
        "severity": finding.severity.value,
        "about": finding.about,
        "where": str(finding.where) if finding.where else None,
        "why": finding.why,
        "remedy": finding.remedy,
        "overridden": finding.overridden,
    }


def _xml(text: object) -> str:
    """Text that XML 1.0 can hold: what it cannot becomes a replacement character."""
    return _NOT_XML.sub("\ufffd", str(text))


def to_junit(given: ReportInput) -> str:
    """JUnit XML: one test case a requirement; what is inconclusive counts as a failure, never as skipped."""
    run = facts_of(given)
    results = given.evaluation.results
    failures = sum(result.outcome is not Outcome.PASS for result in results)
    seconds = (run.end - run.start).total_seconds() if run.start and run.end else 0.0
    counts = {"tests": str(len(results)), "failures": str(failures), "errors": "0", "skipped": "0"}
    root = ET.Element("testsuites", {"name": "railwright", **counts, "time": f"{seconds:.3f}"})
    device, procedure = given.documents.device.device, given.documents.procedure.procedure
    suite = ET.SubElement(
        root, "testsuite", {"name": _xml(f"{device}: {procedure}"), **counts, "time": f"{seconds:.3f}"}
    )
    if run.start is not None:
        suite.set("timestamp", run.start.replace(tzinfo=None).isoformat(timespec="seconds"))
    properties = ET.SubElement(suite, "properties")
    facts = {"report": report_id(given, run), "run": run.run_id, "unit": run.unit, "operator": run.operator}
    for name, value in facts.items():
        ET.SubElement(properties, "property", {"name": name, "value": _xml(value)})
    for result in results:
        _case(suite, device, result)
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _case(suite: ET.Element, device: str, result: Result) -> None:
    names = {"classname": _xml(f"{device}.{result.of}.{result.during}"), "name": _xml(result.requirement)}
    case = ET.SubElement(suite, "testcase", {**names, "time": "0"})
    if result.outcome is not Outcome.PASS:
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
        value = (
            f"{number(measured.value, result.unit)}, 95 % interval {number(measured.low, result.unit)} "
            f"to {number(measured.high, result.unit)}"
        )
    lines = [
        f"{result.measure} of {result.of} during {result.during}: {value}",
        f"limit: {show_limit(result.lower, result.upper, result.unit)}",
        f"outcome: {result.outcome.value}: {result.reason}",
        f"decided from: {result.source}",
    ]
    return "\n".join(lines)
