"""The sheet: what somebody without this program needs to set the bench up, as one page.

Wiring drawing and every wire in words; what to dial in on each output, in which order, and what to verify.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from railwright.documents.bench import Bench
from railwright.documents.loader import Documents
from railwright.plan.coming_up import ComingUp, coming_up
from railwright.plan.set_points import Feed, OutputSetPoints, SetPoints
from railwright.plan.stairs import slew_range, too_flat
from railwright.quantities import show
from railwright.report.sheet_order import in_order
from railwright.report.sheet_wires import wires
from railwright.report.text import breakable, sentence
from railwright.report.wiring import wiring_of, wiring_svg
from railwright.settings.context import sources_of
from railwright.settings.findings import Finding, Severity
from railwright.settings.rules import all_rules
from railwright.settings.rules.voltage import COVER, WHO_DECIDES, touch_voltage
from railwright.settings.settle import Settings

MOST_CAUTIONS = 7
"""Cautions that find room."""


def sheet_of(documents: Documents, settings: Settings, made: dt.date) -> dict[str, Any]:
    """Everything on the sheet of a procedure whose inputs all have their set points, as the template's data.

    made: the day that stands on it. KeyError where an input has no set points.
    """
    device, bench, procedure = documents.device, documents.bench, documents.procedure
    sources, timeline = sources_of(documents)
    ups = coming_up(timeline)
    stops = [finding for finding in settings.findings if finding.blocks]
    return {
        "title": breakable(device.device),
        "revision": breakable(device.revision or ""),
        "subject": breakable(procedure.procedure),
        "bench": breakable(bench.bench),
        "laboratory": breakable(bench.laboratory.name) if bench.laboratory else "",
        "made": made.isoformat(),
        "blocked": [breakable(f"{f.about}: {f.why}.") for f in stops],
        "wiring": wiring_svg(wiring_of(device, bench, procedure)),
        "key": _key(),
        "wires": [_kept(line) for line in wires(documents)],
        "dial": _dial(documents, settings.set_points, {each.input: each for each in ups}),
        "order": [
            [_kept(task.words), [_kept(part) for part in task.parts]]
            for task in in_order(documents, settings.set_points, sources, timeline, ups)
        ],
        "cautions": [breakable(line) for line in _cautions(settings.findings)],
        "year": [made.year, made.month, made.day],
    }


def _kept(line: str) -> str:
    """A terminal's name stays with its sign, and a step with its number, at the end of a line."""
    return re.sub(r"(?<=step) (?=\d)| (?=[+−])", "\u00a0", breakable(line))


def _key() -> str:
    """What the lines of the drawing mean."""
    return (
        "Lines that cross without a dot are not joined. s+, s−: sense terminals. Thin broken lines: sense "
        "leads. + and − at a wire's ends: the supply's terminal that it comes from, whatever its colour. "
        "Coloured: the wire that is not 0 V; black: the 0 V side; the colours are those of this print, not "
        "of the real wires."
    )


# What to dial in


def _dial(documents: Documents, set_points: SetPoints, ups: Mapping[str, ComingUp]) -> dict[str, Any]:
    """The table: a row for each setting, a column for each output. ups: how each input comes up."""
    columns = [(feed, points) for name in documents.procedure.hook_up for feed in (set_points[name],)
               for points in feed.outputs]  # fmt: skip
    head = [breakable(points.output) for _, points in columns]
    under = [
        breakable(f"{_instrument(documents.bench, points)}; {_joined(feed)}") for feed, points in columns
    ]
    table: list[tuple[str, list[str]]] = [
        ("OVP", [show(points.ovp, "V") if math.isfinite(points.ovp) else "" for _, points in columns]),
        ("at the current limit", [_action(points) for _, points in columns]),
        ("over-power protection", [_or_off(points.opp, "W") for _, points in columns]),
        ("over-current protection", [_or_off(points.ocp, "A", points.ocp_delay) for _, points in columns]),
        (
            "sense",
            [
                "at the load (external)" if feed.sense == "at load" else "at its terminals"
                for feed, _ in columns
            ],
        ),
        ("current limit", [show(points.current_limit, "A") for _, points in columns]),
        ("rise", [_rise(ups.get(feed.input), feed, points, documents.bench) for feed, points in columns]),
        ("voltage, once on", [_voltage(ups.get(feed.input), points) for feed, points in columns]),
    ]
    rows = [(words, [breakable(each or "—") for each in cells]) for words, cells in table if any(cells)]
    return {"head": head, "under": under, "rows": [[words, *cells] for words, cells in rows]}


def _instrument(bench: Bench, points: OutputSetPoints) -> str:
    """Which output of which instrument it is, as it stands on the instrument."""
    supply = bench.supply_of(points.output)
    named = " ".join(part for part in (supply.model, supply.serial) if part)
    output = points.output.output
    channel = str(supply.channels[output])
    known = f" (channel {channel})" if channel != output else ""
    return f"output {output}{known} of {named or points.output.supply}"


def _joined(feed: Feed) -> str:
    if feed.arrangement == "alone":
        return f"feeds {feed.input}"
    return f"feeds {feed.input}, in {feed.arrangement}"


def _action(points: OutputSetPoints) -> str:
    if points.at_limit == "regulate":
        return "regulates (no trip)"
    return f"trips after {show(points.trip_delay, 's')}"


def _or_off(level: float, unit: str, delay: float = 0.0) -> str:
    if not math.isfinite(level):
        return ""
    return show(level, unit) + (f" after {show(delay, 's')}" if delay else "")


def _rise(up: ComingUp | None, feed: Feed, points: OutputSetPoints, bench: Bench) -> str:
    if up is None or not up.stages:
        return ""
    if up.at_once is None:
        return "by stages"
    if (rate := up.at_once.rate) is None:
        return ""
    slews = slew_range(feed, bench)
    if slews is None or too_flat(rate, slews):
        return "slowly, in steps"
    rate = min(rate, slews[1]) * points.share
    return f"{rate / 1e3:.4g} V/ms" if rate >= 100.0 else show(rate, "V/s")


def _voltage(up: ComingUp | None, points: OutputSetPoints) -> str:
    if up is None:
        return ""
    if up.at_once is not None:
        return show(up.at_once.voltage * points.share, "V")
    to = f", by stages up to {show(up.stages[-1].voltage * points.share, 'V')}" if up.stages else ""
    return f"0 V{to}"


# Cautions


def _voltages(finding: Finding) -> list[float]:
    """The voltages that a finding tells [V]."""
    return [figure.value for figure in finding.figures if figure.unit == "V"]


def _cautions(findings: Sequence[Finding]) -> list[str]:
    """What the check warns of, the weightiest first, and what always holds."""
    left_out = {known.id for known in all_rules() if not known.on_sheet}
    found = [
        f
        for f in findings
        if (f.severity is Severity.STOP and not f.blocks)
        or (f.severity is Severity.CAUTION and f.rule not in left_out)
    ]
    lines, told = [], set[str]()
    for finding in found:
        if finding.rule in told:
            continue
        told.add(finding.rule)
        others = [o for o in found if o.rule == finding.rule and o.about != finding.about]
        same = dict.fromkeys(o.about for o in others if _voltages(o) == _voltages(finding))
        apart = dict.fromkeys(o.about for o in others if o.about not in same)
        too = f" The same holds for {', '.join(same)}." if same else ""
        if apart:
            too += f" Likewise, at other voltages, {', '.join(apart)}: 'railwright check' tells them."
        # Who decides is said once, at the end.
        remedy = COVER if finding.rule == touch_voltage.id else finding.remedy
        todo = sentence(remedy if finding.overridden is None else f"accepted: {finding.overridden}")
        lines.append(f"{finding.about}: {finding.why}. {todo}{too}")
    more = len(lines) - MOST_CAUTIONS
    if more > 0:
        lines = [*lines[:MOST_CAUTIONS], f"{more} more, which 'railwright check' tells."]
    always = (
        "Keep a switch within reach that does not go through this program. Capacitors keep their charge "
        f"after off. {sentence(WHO_DECIDES)}"
    )
    return [*lines, always]
