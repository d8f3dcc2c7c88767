"""Settings as plain data for JSON: stable keys, SI numbers."""

from __future__ import annotations

import math
from typing import Any

from railwright.documents.sources import Location
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.settings.findings import Finding, Reason
from railwright.settings.settle import Settings
from railwright.settings.windows.window import End, Window


def _where(where: Location | None) -> dict[str, Any] | None:
    return None if where is None else {"file": where.file, "line": where.line, "column": where.column}


def finding_as_data(finding: Finding) -> dict[str, Any]:
    """One finding; `blocks` says whether it keeps a run from being energised."""
    return {
        "rule": finding.rule,
        "severity": finding.severity.value,
        "about": finding.about,
        "where": _where(finding.where),
        "why": finding.why,
        "remedy": finding.remedy,
        "overridden": finding.overridden,
        "blocks": finding.blocks,
    }


def reason_as_data(reason: Reason) -> dict[str, Any]:
    """One setting's value in SI units, or in words without a unit, and why."""
    return {
        "about": reason.about,
        "setting": reason.setting,
        "value": reason.value,
        "unit": reason.unit,
        "where": _where(reason.where),
        "why": reason.why,
    }


def _output_as_data(points: OutputSetPoints) -> dict[str, Any]:
    return {
        "output": points.output,
        "current_limit": points.current_limit,
        "at_limit": points.at_limit,
        "trip_delay": points.trip_delay if points.at_limit == "trip" else None,
        "ovp": points.ovp,
        "share": points.share,
        "opp": _number(points.opp),
        "ocp": _number(points.ocp),
        "ocp_delay": points.ocp_delay if math.isfinite(points.ocp) else None,
    }


def feed_as_data(feed: Feed) -> dict[str, Any]:
    """What feeds one input, with the set points of each output."""
    return {
        "arrangement": feed.arrangement,
        "lead": feed.lead,
        "fixture": feed.fixture,
        "sense": feed.sense,
        "trips_when": list(feed.trips_when),
        "outputs": [_output_as_data(points) for points in feed.outputs],
    }


def _number(value: float | None) -> float | None:
    """A number that JSON has: an end that lies nowhere (infinite) is none."""
    return value if value is not None and math.isfinite(value) else None


def _end_as_data(end: End | None) -> dict[str, Any] | None:
    if end is None:
        return None
    return {
        "value": _number(end.value),
        "demand": end.key,
        "why": end.why,
        "where": _where(end.where),
        "closed_form": end.bracket,
        "replay": None if end.replay is None else end.replay.options,
    }


def window_as_data(window: Window) -> dict[str, Any]:
    """One window: its two ends, everything else that bounds it, and what is recommended; SI units. null:
    none, or unknown. replay: options of `railwright rehearse` that play the case behind an end.
    """
    outputs = {name: window.of_output(name) for name in window.parts}
    return {
        "about": window.about,
        "setting": window.setting,
        "unit": window.unit,
        "step": window.step,
        "step_given": not window.taken,
        "used": window.used,
        "asked": _number(window.asked),
        "low": _end_as_data(window.low),
        "high": _end_as_data(window.high),
        "recommended": _number(window.recommended),
        "why": window.why,
        "lacks": [impossible.why for impossible in window.lacks],
        "demands": [{"side": end.side, **(_end_as_data(end) or {})} for end in window.ends],
        "outputs": {
            name: {"low": _number(low), "high": _number(high), "recommended": _number(value)}
            for name, (low, high, value) in outputs.items()
        },
    }


def as_data(settings: Settings) -> dict[str, Any]:
    """Settings as one JSON-ready mapping. rises: number of a power-up, from 0 -> the rate that was worked out
    for it [V/s].
    """
    return {
        "blocked": settings.blocked,
        "set_points": {name: feed_as_data(feed) for name, feed in settings.set_points.items()},
        "reasons": [reason_as_data(reason) for reason in settings.reasons],
        "windows": [window_as_data(window) for window in settings.windows],
        "findings": [finding_as_data(finding) for finding in settings.findings],
        "rises": None if settings.rises is None else {str(n): rate for n, rate in settings.rises.items()},
    }
