"""Everything that a report prints, as plain data of clean text: the template only sets it."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from railwright.documents.sources import Location
from railwright.evaluation.outcome import Evaluation, Outcome
from railwright.evaluation.played import out_of_time
from railwright.grouping import grouped
from railwright.plan.set_points import OutputSetPoints
from railwright.plan.timeline import timeline_of
from railwright.quantities import show
from railwright.report.cautions import cautions
from railwright.report.contact_words import contact_words
from railwright.report.disturbances import DisturbanceRow, SeenDisturbance, disturbances
from railwright.report.figures import number
from railwright.report.overlay import Overlay
from railwright.report.plots import StepFigure, step_figures
from railwright.report.results import budget, changes, counts, outcome_data, requirement_row, rule_statement
from railwright.report.style import colours
from railwright.report.subject import (
    NOT_STATED,
    RELAYS,
    Instrument,
    ProvedOutput,
    ReportInput,
    RunFacts,
    run_facts,
)
from railwright.report.text import breakable, capital, clean, sentence, shortened
from railwright.report.wiring import wiring_of, wiring_svg
from railwright.settings.context import FedInput, sources_of
from railwright.settings.findings import Finding
from railwright.settings.hookup.result import WHOLE


def facts_of(given: ReportInput) -> RunFacts:
    """The run's facts, completed from the bench document."""
    documents = given.documents
    used = tuple(dict.fromkeys(output.supply for output in documents.procedure.outputs))
    return run_facts(
        given.run, documents.bench, used, tuple(dict.fromkeys(record.origin for record in given.external))
    )


def report_id(given: ReportInput, run: RunFacts) -> str:
    """The run's id, and a digest of what is reported and when: the same report has the same id."""
    parts = [
        run.run_id,
        run.unit,
        given.reported.isoformat(),
        dict(run.hashes),
        [
            [
                (
                    r.requirement,
                    r.outcome.value,
                    r.source,
                    r.reason,
                    r.measured and (r.measured.value, r.measured.low),
                )
                for r in evaluation.results
            ]
            for evaluation in given.evaluations
        ],
        [(f.rule, f.about, f.why, f.overridden) for f in given.findings],
        run.deviations,
    ]
    digest = hashlib.sha256(json.dumps(parts, default=str, sort_keys=True).encode()).hexdigest()
    return f"{shortened(run.run_id, 40)}-{digest[:8]}"


# One piece: the whole content of the report, in the order of its page.
def content(given: ReportInput) -> dict[str, Any]:
    """The report's data for the template; drawings as SVG text."""
    documents = given.documents
    device, bench, procedure = documents.device, documents.bench, documents.procedure
    run = facts_of(given)
    overlay = Overlay(
        given.rehearsal,
        given.measured,
        (*given.external, *given.metered),
        procedure.requires,
        given.set_points,
        tuple(device.inputs),
    )
    evaluation = given.evaluation
    unique = report_id(given, run)
    unnamed = {step.called(index) for index, step in enumerate(procedure.steps) if step.name is None}
    return {
        "id": unique,
        "id_breakable": unique if len(unique) <= 40 else breakable(unique),
        "title": "Test report",
        "procedure": breakable(procedure.procedure),
        "head": shortened(f"{device.device}: {procedure.procedure}", 70),
        "laboratory": breakable(run.laboratory),
        "laboratory_short": shortened(run.laboratory, 60),
        "address": breakable(run.address),
        "issued": _moment(given.reported),
        "serial": shortened(run.unit, 40),
        "dates": _dates(given, run),
        "unstated": _unstated(given, run),
        "year": [given.reported.year, given.reported.month, given.reported.day],
        "software": breakable(run.software),
        "outcome": outcome_data(evaluation.outcome),
        "simulated": run.simulated,
        "counts": counts(evaluation),
        "statement": _statement(evaluation, run),
        "alarms": _alarms(run, evaluation),
        "ending": breakable(capital(run.ending.words)),
        "outputs_off": [[breakable(name), breakable(words)] for name, words in run.outputs_off],
        "not_confirmed": [breakable(line) for line in run.ending.not_confirmed],
        "identity": _identity(given, run),
        "instruments": [_instrument(instrument, run) for instrument in run.instruments],
        "proved": [_proved(each) for each in run.proved],
        "method": _method(given, run),
        "disturbances": _disturbances(given),
        "hashes": [[breakable(path), digest] for path, digest in run.hashes.items()],
        "requirements": [
            requirement_row(place, result) for place, result in enumerate(evaluation.results, start=1)
        ],
        "evaluations": changes(given.evaluations),
        "sources": [breakable(source) for source in evaluation.sources],
        "notes": [
            breakable(sentence(note))
            for note in (*evaluation.notes, *(drop.words for drop in evaluation.lead_drops))
        ],
        "rule": rule_statement(evaluation),
        "settings": _settings(given),
        "wiring": wiring_svg(wiring_of(device, bench, procedure)),
        "findings": [_finding(finding) for finding in given.findings],
        "deviations": _deviations(given, run),
        "figures": [_figure(figure, unnamed) for figure in step_figures(overlay)],
        "colours": colours(device.inputs),
        "budgets": [budget(place, result) for place, result in enumerate(evaluation.results, start=1)],
        "assumptions": [breakable(assumption) for assumption in _assumptions(given)],
        "cautions": [
            {"title": caution.title, "text": breakable(caution.text), "pressing": caution.pressing}
            for caution in cautions(device, bench, procedure, _highest(given))
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


def _dates(given: ReportInput, run: RunFacts) -> str:
    """Day of the test and of the report, for the head of each page."""
    tested = run.start.date().isoformat() if run.start else NOT_STATED
    return f"tested {tested}, issued {given.reported.date().isoformat()}"


def _unstated(given: ReportInput, run: RunFacts) -> list[str]:
    """What ISO/IEC 17025:2017, 7.8.2 wants in a report and neither the documents nor the run hold."""
    held = {
        "the laboratory's name": run.laboratory,
        "the laboratory's address": run.address,
        "the customer": run.customer,
        "the item's revision": given.documents.device.revision or NOT_STATED,
        "the item's serial number": run.unit,
        "the ambient conditions": run.ambient,
        "the operator": run.operator,
        "who authorises the report": run.authorised_by or NOT_STATED,
    }
    never = (
        "how the customer can be reached",
        "the item's condition and date of receipt",
        "how the item was sampled",
        "work by external providers",
    )
    return [*(what for what, value in held.items() if value == NOT_STATED), *never]


def _statement(evaluation: Evaluation, run: RunFacts) -> str:
    """The conformity statement in a sentence or two."""
    total = len(evaluation.results)
    ended = " " + breakable(sentence(f"The run ended early: {run.ended}")) if run.ending.early else ""
    if not total:
        return f"The procedure states no requirement, so this report makes no statement of conformity.{ended}"
    words: str = {
        Outcome.PASS: "The unit meets every requirement of the procedure",
        Outcome.FAIL: "The unit does not meet every requirement of the procedure",
        Outcome.INCONCLUSIVE: "No requirement failed, but not every one could be decided",
        Outcome.NOT_JUDGED: "No requirement was judged",
    }[evaluation.outcome]
    left = sum(result.outcome is Outcome.NOT_JUDGED for result in evaluation.results)
    if left:
        ended += " " + breakable(
            sentence(
                f"{run.ending.by_trip}; requirements of steps after it, {left} of {total}, are not judged"
            )
        )
        if evaluation.outcome is Outcome.PASS:
            words = "The unit meets every requirement of the procedure up to the trip that it requires"
    decided = {result.outcome for result in evaluation.results} <= {Outcome.PASS, Outcome.NOT_JUDGED}
    if evaluation.withheld and decided and left < total:
        fault = (
            "whose folder is not whole and unchanged"
            if evaluation.unsound
            else "that did not end as it should"
        )
        words = f"Every requirement was met, but a run {fault} is no pass"
    return f"{words} ({total} in all), under the decision rule stated below.{ended}"


def _alarms(run: RunFacts, evaluation: Evaluation) -> list[dict[str, str]]:
    """What the first page says at once of a run that ended early, was not confirmed off, whose folder is not
    whole and unchanged, or whose records contradict each other.
    """
    ending = run.ending
    unconfirmed = [f"{line.rstrip('.')}." for line in ending.not_confirmed]
    # Whether it is so; the title; what is to be said of it, and what follows from it.
    found = (
        (
            bool(ending.early),
            "The run ended early.",
            [sentence(ending.early)],
            "Requirements of steps that were not played to their end are inconclusive, unless what was "
            "recorded fails them already. The whole is no pass.",
        ),
        (
            ending.off_confirmed is False,
            "Off not confirmed.",
            unconfirmed,
            "A voltage may have been left at the outputs. The whole is no pass.",
        ),
        (
            bool(evaluation.unsound),
            "The run's folder is not whole and unchanged.",
            [sentence(line) for line in evaluation.unsound],
            "What was measured or required may have been another. The whole is no pass.",
        ),
        (
            bool(evaluation.contradictions),
            "Records contradict each other.",
            [sentence(each.words) for each in evaluation.contradictions],
            "Requirements that rest on one of the two are inconclusive.",
        ),
    )
    return [
        {"title": title, "text": breakable(" ".join([*lines, follows]))}
        for holds, title, lines, follows in found
        if holds
    ]


def _identity(given: ReportInput, run: RunFacts) -> list[list[str]]:
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
        ("Ambient", _ambient(given, run)),
        ("Operator", run.operator),
        ("Run", run.run_id),
    ]
    return [[label, breakable(value)] for label, value in rows]


def _ambient(given: ReportInput, run: RunFacts) -> str:
    """Ambient conditions, and that the bench document states them where no one else did."""
    stated = run.ambient != NOT_STATED and run.ambient == given.documents.bench.ambient.text
    return f"{run.ambient}, as the bench document states" if stated else run.ambient


_SETTINGS = {
    "ovp": "over-voltage protection",
    "opp": "over-power protection",
    "ocp": "over-current protection",
    "ocp_delay": "delay of the over-current protection",
}


def _instrument(instrument: Instrument, run: RunFacts) -> dict[str, str]:
    tested = run.start.date() if run.start else None
    unknown = "–" if instrument.kind == RELAYS else "unknown"
    return {
        "name": breakable(instrument.name),
        "kind": breakable(instrument.kind),
        "model": breakable(instrument.model),
        "serial": breakable(instrument.serial),
        "certificate": breakable(instrument.certificate if instrument.kind != RELAYS else unknown),
        "calibrated": instrument.calibrated.isoformat() if instrument.calibrated else unknown,
        "due": instrument.due.isoformat() if instrument.due else unknown,
        "state": instrument.state(tested),
        "identification": breakable(instrument.identification),
    }


def _method(given: ReportInput, run: RunFacts) -> list[list[str]]:
    procedure = given.documents.procedure
    every = show(procedure.record.every, "s")
    steps = ", ".join(
        _step_title(each.called(index), each.kind, named=bool(each.name))
        for index, each in enumerate(procedure.steps)
    )
    rows = [
        ("Procedure", procedure.procedure),
        ("Steps", steps),
        *(("Hook-up", reason.why) for reason in given.reasons if reason.about == WHOLE),
        ("Readings", f"every {every}, by the supplies themselves"),
        *(("Multimeter", _probed(given, name)) for name in procedure.multimeters),
        *(("Relay", told) for told in contact_words(given.documents)),
        (
            "Recordings",
            ", ".join(record.origin for record in given.external) or "none beside the supplies' own",
        ),
        ("Rehearsal", "circuit computation with nominal values" if given.rehearsal else "none"),
        ("Software", run.software),
    ]
    return [[label, breakable(value)] for label, value in rows]


def _probed(given: ReportInput, name: str) -> str:
    """What a multimeter measured, where, and how often."""
    probe = given.documents.procedure.multimeters[name]
    meter = given.documents.bench.multimeters[name]
    place = f"at the {'connector of' if probe.at == 'connector' else 'terminals that feed'}"
    where = "of" if meter.quantity == "current" else place
    every, mean = show(meter.interval, "s"), show(meter.aperture, "s")
    return f"{name}: {meter.quantity} {where} {probe.of}, every {every}, each the mean of {mean}"


MOST_HELD = 6
"""Levels of one disturbance that are told."""


def disturbances_of(given: ReportInput) -> tuple[DisturbanceRow, ...]:
    """The disturbances of the procedure's shapes, beside what was read of them."""
    timeline = timeline_of(given.documents.procedure, given.documents.device)
    return disturbances(given.documents, timeline, given.measured)


def _disturbances(given: ReportInput) -> list[dict[str, str]]:
    rows = disturbances_of(given)
    if all(row.at == "connector" for row in rows):
        return [_disturbance(row) for row in rows]
    sources, _ = sources_of(given.documents)
    return [_disturbance(row, sources.get(row.input)) for row in rows]


def _at_connector(seen: Sequence[SeenDisturbance], source: FedInput | None) -> str:
    """The levels at the connector by the current that was read with those at the terminals, for people; '':
    unknown, as behind a diode, which may block.
    """
    known = [(each.level, each.current) for each in seen if each.current is not None]
    blocks = source is not None and source.fixture is not None and source.fixture.diode is not None
    if source is None or blocks or len(known) < len(seen):
        return ""
    ends = [level - drop(amps) for level, amps in known for drop in (source.drop, source.least_drop)]
    return f" ({between(ends, 'V')} at the connector, by the lead's resistance)"


def _disturbance(row: DisturbanceRow, source: FedInput | None = None) -> dict[str, str]:
    """Level and duration of equal disturbances, as asked and as they were read. source: the input with its
    lead, where its voltage was read at the terminals.
    """
    first, times = row.asked[0], len(row.asked)
    level = "off" if first.off else show(first.level, "V")
    lasts = show(first.duration, "s")
    if any(abs(length - first.duration) > 1e-6 for _, length in first.held):
        held = ", ".join(
            f"{show(volts, 'V')} for {show(length, 's')}" for volts, length in first.held[:MOST_HELD]
        )
        lasts += f": {held}{', …' if len(first.held) > MOST_HELD else ''}"
    beyond = f"beyond {'the middle' if row.summed_up else show(first.middle, 'V')}"
    if row.summed_up:
        level = between((each.level for each in row.asked), "V")
        lasts = between((each.duration for each in row.asked), "s")
    if any(each.duration - each.beyond > 1e-6 for each in row.asked):
        lasts += f"; {between((each.beyond for each in row.asked), 's')} {beyond}"
    seen = [each for each in row.seen if each is not None]
    read = "not played" if not row.played else "nothing read in it"
    if seen:
        length = between((s for each in seen for s in (each.shortest, each.longest)), "s")
        missing = f"; nothing read in {times - len(seen)}" if len(seen) < times else ""
        there = _at_connector(seen, source) if row.at == "terminals" else ""
        read = (
            f"{between((each.level for each in seen), 'V')} at the {row.at}{there}; {length} "
            f"{beyond}{missing}"
        )
    return {
        "step": breakable(row.step),
        "input": breakable(row.input),
        "test": breakable(row.test),
        "level": f"{level} from {show(first.base, 'V')}",
        "lasts": lasts,
        "times": str(times),
        "read": read,
    }


def between(values: Iterable[float], unit: str) -> str:
    """From the lowest to the highest value, as one where they are printed alike."""
    known = list(values)
    low, high = show(min(known), unit), show(max(known), unit)
    return low if low == high else f"{low} to {high}"


def _settings(given: ReportInput) -> list[dict[str, Any]]:
    """Feeds in the order of the device's inputs, each with its outputs' settings and the reasons for them."""
    rows = []
    for name in given.documents.device.inputs:
        feed = given.set_points.get(name)
        if feed is None:
            continue
        outputs = tuple(output.output for output in feed.outputs)
        values = [
            {
                "output": breakable(output.output),
                "current_limit": show(output.current_limit, "A"),
                "at_limit": "regulate"
                if output.at_limit == "regulate"
                else f"trip after {show(output.trip_delay, 's')}",
                "ovp": show(output.ovp, "V"),
                "others": _other_protections(output),
            }
            for output in feed.outputs
        ]
        reasons = [
            {
                "setting": breakable(_SETTINGS.get(reason.setting, reason.setting.replace("_", " "))),
                "about": breakable(reason.about),
                "value": clean(reason.value)
                if isinstance(reason.value, str)
                else number(reason.value, reason.unit),
                "why": breakable(capital(reason.why)),
                "where": _place(reason.where),
            }
            for reason in given.reasons
            if reason.about in (name, *outputs)
        ]
        joined = "alone" if feed.arrangement == "alone" else f"in {feed.arrangement}"
        through = f"{feed.lead} and {feed.fixture}" if feed.fixture else feed.lead
        linked = f"; goes off with {', '.join(feed.trips_when)}" if feed.trips_when else ""
        rows.append(
            {
                "input": clean(name),
                "how": breakable(
                    f"{', '.join(outputs)} ({joined}) through {through}, sense {feed.sense}{linked}"
                ),
                "values": values,
                "reasons": reasons,
            }
        )
    return rows


def _other_protections(output: OutputSetPoints) -> str:
    """Over-power and over-current protection of an output, as far as they are used."""
    said = []
    if math.isfinite(output.opp):
        said.append(f"at {show(output.opp, 'W')}")
    if math.isfinite(output.ocp):
        after = f" after {show(output.ocp_delay, 's')}" if output.ocp_delay else ""
        said.append(f"at {show(output.ocp, 'A')}{after}")
    return ", ".join(said)


def _place(where: Location | None) -> str:
    """File, line and column, without the folder in which the file happened to lie."""
    return breakable(f"{Path(where.file).name}:{where.line}:{where.column}") if where else ""


def _assumptions(given: ReportInput) -> list[str]:
    """What the rehearsal assumed and no finding says already."""
    said = " ".join(finding.why for finding in given.findings).lower()
    return [str(each) for each in given.assumptions if each.text.lower() not in said]


def _proved(each: ProvedOutput) -> dict[str, Any]:
    """What was seen of a dialect at an output: what was provoked together stands together."""
    times = grouped(((at[:10], by, how), name) for name, at, by, how in each.proved)
    lines = [f"{', '.join(names)}: {at}, {by}, {how}" for (at, by, how), names in times.items()]
    lines += [f"not proved: {', '.join(each.missing)}"] if each.missing else []
    return {
        "output": breakable(each.output),
        "instrument": breakable(f"{each.model}, version {each.version}"),
        "lines": [breakable(line) for line in lines],
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "rule": breakable(finding.rule),
        "severity": finding.severity.value,
        "about": breakable(finding.about),
        "where": _place(finding.where),
        "why": breakable(sentence(finding.why)),
        "remedy": breakable(sentence(finding.remedy)),
        "overridden": breakable(sentence(finding.overridden)) if finding.overridden else "",
    }


def _highest(given: ReportInput) -> dict[str, float]:
    """What may stand at each input at most [V]: where its OVP ends it, or all that its outputs reach."""
    sources, _ = sources_of(given.documents)
    found = {}
    for name, feed in given.set_points.items():
        source = sources[name]
        level = source.ovp_with_error(feed.ovp)
        past = max(source.ovp_overshoot(level, feed.limit) or 0.0, source.ovp_past(level, feed.limit))
        unprotected = any(output.ovp is None for output in source.rows)
        found[name] = source.farthest if unprotected else level + past
    return found


def _deviations(given: ReportInput, run: RunFacts) -> list[str]:
    listed = [sentence(deviation) for deviation in run.deviations]
    if run.ending.early and not any("ended early" in entry for entry in listed):
        listed.insert(0, f"The run ended early: {run.ended}.")
    timeline = timeline_of(given.documents.procedure, given.documents.device)
    late = (out_of_time(span, timeline, given.measured) for span in given.measured.spans)
    listed += [sentence(text) for text in late if text]
    tested = run.start.date() if run.start else None
    for instrument in run.instruments:
        if instrument.state(tested) == "overdue" and instrument.due:
            listed.append(f"{instrument.name}: calibration was due on {instrument.due.isoformat()}.")
        elif instrument.state(tested) == "unknown":
            listed.append(f"{instrument.name}: calibration is unknown.")
    listed += [
        f"Finding {each.rule} ({each.about}) was overridden, for this reason: {each.overridden}"
        for each in given.findings
        if each.overridden
    ]
    return [breakable(entry) for entry in listed]


def _figure(figure: StepFigure, unnamed: Collection[str]) -> dict[str, Any]:
    return {
        "step": breakable(_step_title(figure.step, figure.kind, named=figure.step not in unnamed)),
        "inputs": breakable(", ".join(figure.inputs)),
        "svg": figure.svg,
        "alt": clean(figure.description),
    }


def _step_title(called: str, kind: str, *, named: bool) -> str:
    """A step without a name of its own is called by its kind, and by its number as elsewhere."""
    return called if named else f"{kind.replace('_', ' ')} ({called})"


def as_lines(data: Mapping[str, Any]) -> str:
    """All text of a report's data, drawings left out, for asking which characters it needs."""
    return json.dumps({k: v for k, v in data.items() if k not in ("figures", "wiring")}, ensure_ascii=False)
