"""Settings read back from what `railwright.settings.data.as_data` made of them, as a run keeps them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from railwright.documents.output_name import OutputName
from railwright.documents.sources import Location
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.settings.findings import Finding, Reason, Severity
from railwright.settings.settle import Settings


def settings_from_data(data: Mapping[str, Any]) -> Settings:
    """The inverse of `as_data`. KeyError, TypeError or ValueError where the data are something else."""
    return Settings(
        {name: _feed(name, feed) for name, feed in data["set_points"].items()},
        tuple(_reason(entry) for entry in data["reasons"]),
        tuple(_finding(entry) for entry in data["findings"]),
        rises=_rises(data.get("rises")),
    )


def _rises(data: Mapping[str, Any] | None) -> Mapping[int, float] | None:
    """None where an earlier version did not keep them."""
    return None if data is None else {int(number): float(rate) for number, rate in data.items()}


def _where(data: Mapping[str, Any] | None) -> Location | None:
    return None if data is None else Location(data["file"], int(data["line"]), int(data["column"]))


def _feed(name: str, data: Mapping[str, Any]) -> Feed:
    outputs = tuple(
        OutputSetPoints(
            OutputName(entry["output"]),
            float(entry["current_limit"]),
            entry["at_limit"],
            float(entry["trip_delay"] or 0.0),
            float(entry["ovp"]),
            float(entry["share"]),
            _level(entry.get("opp")),
            _level(entry.get("ocp")),
            float(entry.get("ocp_delay") or 0.0),
        )
        for entry in data["outputs"]
    )
    return Feed(
        name,
        data["arrangement"],
        outputs,
        data["lead"],
        data["sense"],
        tuple(data["trips_when"]),
        data.get("fixture"),
    )


def _level(given: float | None) -> float:
    """A level that may not be used, or not be there in what an earlier version wrote."""
    return math.inf if given is None else float(given)


def _reason(data: Mapping[str, Any]) -> Reason:
    return Reason(
        data["about"],
        data["setting"],
        float(data["value"]) if data["unit"] else str(data["value"]),
        data["unit"],
        _where(data["where"]),
        data["why"],
    )


def _finding(data: Mapping[str, Any]) -> Finding:
    return Finding(
        data["rule"],
        Severity(data["severity"]),
        data["about"],
        _where(data["where"]),
        data["why"],
        data["remedy"],
        data["overridden"],
    )
