"""Everything that a report prints, as plain data of clean text: the template only sets it."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from railwright.evaluation.outcome import Evaluation, Outcome, Result
from railwright.quantities import show
from railwright.report.cautions import cautions
from railwright.report.figures import number, show_limit, show_measured, show_standard
from railwright.report.plots import Overlay, StepFigure, step_figures
from railwright.report.style import OUTCOME_SHAPES, colours
from railwright.report.subject import NOT_STATED, Instrument, ReportInput, Run, run_facts
from railwright.report.text import breakable, clean, shortened
from railwright.report.wiring import wiring_of, wiring_svg
from railwright.settings.findings import Finding

MEASURE_WORDS = {
    "peak_current": "peak current",
    "peak_voltage": "peak voltage",
    "mean_current": "mean current",
    "mean_voltage": "mean voltage",
    "mean_power": "mean power",
    "turn_on_voltage": "turn-on voltage",
    "turn_off_voltage": "turn-off voltage",
    "start_up_time": "start-up time",
    "high_state_level": "high state level",
    "low_state_level": "low state level",
}


def facts_of(given: ReportInput) -> Run:
    """The run's facts, completed from the bench document."""
    bench = given.documents.bench
    outputs = [name for hook_up in given.documents.procedure.hook_up.values() for name in hook_up.outputs]
    used = tuple(dict.fromkeys(output.partition(".")[0] for output in outputs))
    return run_facts(given.run, bench, used, tuple(dict.fromkeys(record.origin for record in given.external)))


def report_id(given: ReportInput, run: Run) -> str:
    """Unique id: the run's own, and a digest of what is reported and when; the same report has the same id."""
    parts = [
        run.run_id,
        run.unit,
        given.reported.isoformat(),
        dict(run.hashes),
        [
            [
                (r.requirement, r.outcome.value, r.source, r.reason, r.measured and (r.measured.value, r.measured.low))
                for r in evaluation.results
            ]
            for evaluation in given.evaluations
        ],
        [(f.rule, f.about, f.why, f.overridden) for f in given.findings],
        run.deviations,
    ]
    digest = hashlib.sha256(json.dumps(parts, default=str, sort_keys=True).encode()).hexdigest()
    return f"{shortened(run.run_id, 40)}-{digest[:8]}"


def content(given: ReportInput) -> dict[str, Any]:
    """The report's data for the template; drawings as SVG text."""
    documents = given.documents
    device, bench, procedure = documents.device, documents.bench, documents.procedure
    run = facts_of(given)
    overlay = Overlay(
        given.rehearsal, given.measured, given.external, procedure.requires, given.set_points, tuple(device.inputs)
    )
    evaluation = given.evaluation
    return {
        "id": report_id(given, run),
        "title": "Test report",
        "procedure": breakable(procedure.procedure),
        "head": shortened(f"{device.device}: {procedure.procedure}", 70),
        "laboratory": breakable(run.laboratory),
        "address": breakable(run.address),
        "issued": _moment(given.reported),
        "year": [given.reported.year, given.reported.month, given.reported.day],
        "software": breakable(run.software),
        "outcome": _outcome(evaluation.outcome),
        "counts": _counts(evaluation),
        "statement": _statement(evaluation, run),
        "identity": _identity(given, run),
        "instruments": [_instrument(instrument, run) for instrument in run.instruments],
        "method": _method(given, run),
        "hashes": [[breakable(path), digest] for path, digest in run.hashes.items()],
        "requirements": [_requirement(place, result) for place, result in enumerate(evaluation.results, start=1)],
        "evaluations": _evaluations(given.evaluations),
        "sources": [breakable(source) for source in evaluation.sources],
        "notes": [breakable(note) for note in evaluation.notes],
        "rule": rule_statement(evaluation),
        "settings": _settings(given),
        "wiring": wiring_svg(wiring_of(device, bench, procedure)),
        "findings": [_finding(finding) for finding in given.findings],
        "deviations": _deviations(given, run),
        "figures": [_figure(figure) for figure in step_figures(overlay)],
        "colours": colours(device.inputs),
        "budgets": [_budget(place, result) for place, result in enumerate(evaluation.results, start=1)],
        "assumptions": [breakable(assumption) for assumption in given.assumptions],
        "cautions": [
            {"title": caution.title, "text": breakable(caution.text), "pressing": caution.pressing}
            for caution in cautions(device, bench, procedure)
        ],
        "authorised": [breakable(run.authorised_by), breakable(run.function)],
    }


def _moment(moment: dt.datetime | None) -> str:
    """Date and time to the second with its offset from UTC."""
    if moment is None:
        return NOT_STATED
    zone = moment.strftime("%z")
    offset = f" UTC{zone[:3]}:{zone[3:5]}".replace("UTC+00:00", "UTC") if zone else ""
    return moment.strftime("%Y-%m-%d %H:%M:%S") + offset


def _outcome(outcome: Outcome) -> dict[str, str]:
    return {"word": outcome.value, "shape": OUTCOME_SHAPES[outcome]}


def _counts(evaluation: Evaluation) -> list[dict[str, Any]]:
    return [
        {**_outcome(outcome), "count": sum(result.outcome is outcome for result in evaluation.results)}
        for outcome in Outcome
    ]


def _statement(evaluation: Evaluation, run: Run) -> str:
    """The conformity statement in a sentence or two."""
    total = len(evaluation.results)
    if not total:
        return "The procedure states no requirement, so this report makes no statement of conformity."
    words = {
        Outcome.PASS: "The unit meets every requirement of the procedure",
        Outcome.FAIL: "The unit does not meet every requirement of the procedure",
        Outcome.INCONCLUSIVE: "No requirement failed, but not every one could be decided",
    }[evaluation.outcome]
    ended = f" The run ended early: {breakable(run.ended)}." if run.ended_early else ""
    return f"{words} ({total} in all), under the decision rule stated below.{ended}"


def _identity(given: ReportInput, run: Run) -> list[list[str]]:
    device = given.documents.device
    tested = _moment(run.start) + (f" to {_moment(run.end)}" if run.end else "")
    bench = given.documents.bench
    rows = [
        ("Customer", run.customer),
        ("Item tested", device.device),
        ("Revision", device.revision or NOT_STATED),
        ("Serial number", run.unit),
        ("Date of test", tested),
        ("Date of report", _moment(given.reported)),
        ("Place", f"{bench.bench}, {run.address} ({bench.location} location)"),
        ("Ambient", run.ambient),
        ("Operator", run.operator),
        ("Run", run.run_id),
    ]
    return [[label, breakable(value)] for label, value in rows]


def _instrument(instrument: Instrument, run: Run) -> dict[str, str]:
    tested = run.start.date() if run.start else None
    return {
        "name": breakable(instrument.name),
        "kind": breakable(instrument.kind),
        "model": breakable(instrument.model),
        "serial": breakable(instrument.serial),
        "certificate": breakable(instrument.certificate),
        "calibrated": instrument.calibrated.isoformat() if instrument.calibrated else "unknown",
        "due": instrument.due.isoformat() if instrument.due else "unknown",
        "state": instrument.state(tested),
        "identification": breakable(instrument.identification),
    }


def _method(given: ReportInput, run: Run) -> list[list[str]]:
    procedure = given.documents.procedure
    every = show(procedure.record.every, "s")
    steps = ", ".join(step.name or step.kind.replace("_", " ") for step in procedure.steps)
    rows = [
        ("Procedure", procedure.procedure),
        ("Steps", steps),
        ("Readings", f"every {every}, by the supplies themselves"),
        ("Recordings", ", ".join(record.origin for record in given.external) or "none beside the supplies' own"),
        ("Rehearsal", "circuit computation with nominal values" if given.rehearsal else "none"),
        ("Software", run.software),
    ]
    return [[label, breakable(value)] for label, value in rows]


def _where(result: Result) -> str:
    measure = MEASURE_WORDS.get(result.measure, result.measure.replace("_", " "))
    place = f" ({result.at})" if result.unit == "V" else ""
    return f"{measure}{place} of {result.of}, during {result.during}"


def _requirement(place: int, result: Result) -> dict[str, Any]:
    value, interval = "nothing measured", "–"
    if result.measured is not None:
        measured = result.measured
        value, interval = show_measured(measured.value, measured.low, measured.high, result.unit)
        if measured.low == measured.high:
            interval = "exact"
    return {
        "number": place,
        "name": breakable(result.requirement),
        "what": breakable(_where(result)),
        "value": value,
        "interval": interval,
        "limit": show_limit(result.lower, result.upper, result.unit),
        "outcome": _outcome(result.outcome),
        "reason": breakable(_capital(result.reason)),
        "source": breakable(result.source),
    }


def _evaluations(evaluations: Sequence[Evaluation]) -> list[dict[str, Any]]:
    """What a later evaluation changed: one row for each requirement whose outcome or source is not the first one's."""
    if len(evaluations) < 2:
        return []
    first, last = evaluations[0], evaluations[-1]
    earlier = {result.requirement: result for result in first.results}
    rows = []
    for result in last.results:
        before = earlier.get(result.requirement)
        if before is None or (before.outcome is result.outcome and before.source == result.source):
            continue
        rows.append(
            {
                "name": breakable(result.requirement),
                "before": _outcome(before.outcome),
                "before_source": breakable(before.source),
                "before_reason": breakable(_capital(before.reason)),
                "after": _outcome(result.outcome),
                "after_source": breakable(result.source),
            }
        )
    return rows


def rule_statement(evaluation: Evaluation) -> str:
    """The decision rule in words, as ISO/IEC 17025 wants it stated with each statement of conformity."""
    if evaluation.rule != "guarded":
        return (
            "Simple acceptance (JCGM 106:2012): the measured value alone is compared with the limits; its uncertainty "
            "is stated but not taken into account. A value at a limit can be wrongly accepted, or wrongly rejected, "
            "with a probability of up to 50 %."
        )
    band = f"{evaluation.guard_band:g} × U"
    text = (
        f"Guarded acceptance and guarded rejection (JCGM 106:2012) with a guard band of {band}, where U is the distance "
        "from the measured value to the end of its 95 % coverage interval on the side of the limit. Pass: the value "
        f"lies inside the limits by at least {band}. Fail: it lies outside by more than {band}. Between the two, or "
        "where something may hide from the readings, the outcome is inconclusive, and says what would decide it."
    )
    if evaluation.guard_band == 1.0:
        text += " A wrong pass or a wrong fail then has a probability of about 2.5 % at most."
    return text


def _settings(given: ReportInput) -> list[dict[str, Any]]:
    """Feeds in the order of the device's inputs, each with its outputs' settings and the reasons behind them."""
    rows = []
    for name in given.documents.device.inputs:
        feed = given.set_points.get(name)
        if feed is None:
            continue
        outputs = tuple(output.output for output in feed.outputs)
        values = []
        for output in feed.outputs:
            limit = "regulate" if output.at_limit == "regulate" else f"trip after {show(output.trip_delay, 's')}"
            values.append(
                {
                    "output": breakable(output.output),
                    "current_limit": show(output.current_limit, "A"),
                    "at_limit": limit,
                    "ovp": show(output.ovp, "V"),
                }
            )
        reasons = [
            {
                "setting": breakable(reason.setting.replace("_", " ")),
                "about": breakable(reason.about),
                "value": number(reason.value, reason.unit),
                "why": breakable(_capital(reason.why)),
                "where": breakable(reason.where or ""),
            }
            for reason in given.reasons
            if reason.about in (name, *outputs)
        ]
        joined = "alone" if feed.arrangement == "alone" else f"in {feed.arrangement}"
        linked = f"; goes off with {', '.join(feed.trips_when)}" if feed.trips_when else ""
        rows.append(
            {
                "input": clean(name),
                "how": breakable(f"{', '.join(outputs)} ({joined}) through {feed.lead}, sense {feed.sense}{linked}"),
                "values": values,
                "reasons": reasons,
            }
        )
    return rows


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "rule": breakable(finding.rule),
        "severity": finding.severity.value,
        "about": breakable(finding.about),
        "where": breakable(finding.where or ""),
        "why": breakable(_capital(finding.why)),
        "remedy": breakable(_capital(finding.remedy)),
        "overridden": breakable(finding.overridden) if finding.overridden else "",
    }


def _deviations(given: ReportInput, run: Run) -> list[str]:
    listed = [_capital(clean(deviation)) for deviation in run.deviations]
    if run.ended_early and not any(clean(run.ended) in entry for entry in listed):
        listed.insert(0, f"The run ended early: {run.ended}.")
    tested = run.start.date() if run.start else None
    for instrument in run.instruments:
        if instrument.state(tested) == "overdue" and instrument.due:
            listed.append(f"{instrument.name}: calibration was due on {instrument.due.isoformat()}.")
        elif instrument.state(tested) == "unknown":
            listed.append(f"{instrument.name}: calibration is unknown.")
    for finding in given.findings:
        if finding.overridden:
            listed.append(
                f"Finding {finding.rule} ({finding.about}) was overridden, for this reason: {finding.overridden}"
            )
    return [breakable(entry) for entry in listed]


def _figure(figure: StepFigure) -> dict[str, Any]:
    return {
        "step": breakable(figure.step),
        "inputs": breakable(", ".join(figure.inputs)),
        "svg": figure.svg,
        "alt": clean(figure.description),
        "events": [f"{n}  {show(at, 's')}, {breakable(text)}" for n, at, text in figure.events],
        "left_out": figure.left_out,
        "not_drawn": [breakable(words) for words in figure.not_drawn],
    }


def _budget(place: int, result: Result) -> dict[str, Any]:
    measured = result.measured
    entry: dict[str, Any] = {"number": place, "name": breakable(result.requirement), "what": breakable(_where(result))}
    if measured is None:
        return {**entry, "how": breakable(_capital(result.reason)), "rows": [], "remarks": []}
    total = sum(c.standard**2 for c in measured.contributions)
    rows = [
        [
            breakable(_capital(c.source)),
            breakable(c.distribution),
            show_standard(c.standard, result.unit),
            f"{100 * c.standard**2 / total:.0f} %" if total else "–",
        ]
        for c in sorted(measured.contributions, key=lambda c: -c.standard)
    ]
    value, interval = show_measured(measured.value, measured.low, measured.high, result.unit)
    remarks = [f"Hidden from the readings: {measured.unseen}"] if measured.unseen else []
    remarks += [f"What would decide it: {measured.would_decide}"] if measured.would_decide else []
    remarks += [f"Assumed: {assumption}" for assumption in measured.assumptions]
    return {
        **entry,
        "how": breakable(_capital(measured.how)),
        "rows": rows,
        "combined": show_standard(total**0.5, result.unit),
        "value": value,
        "interval": "exact" if measured.low == measured.high else interval,
        "source": breakable(result.source),
        "remarks": [breakable(remark) for remark in remarks],
    }


def _capital(text: str) -> str:
    """First letter raised, unless the sentence begins with a value or a name in quotes."""
    return text[:1].upper() + text[1:] if text[:1].islower() else text


def as_lines(data: Mapping[str, Any]) -> str:
    """All text of a report's data, drawings left out, for asking which characters it needs."""
    return json.dumps({k: v for k, v in data.items() if k not in ("figures", "wiring")}, ensure_ascii=False)
