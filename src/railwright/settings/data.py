"""Settings as JSON, and back: stable keys, SI numbers. Windows are written for readers, and not read back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from railwright.documents.output_name import OutputName
from railwright.documents.sources import Location
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.quantities import StatedFigure, figures_of
from railwright.records.codec import (
    NUMBER,
    TEXT,
    WHOLE,
    Codec,
    Key,
    by_name,
    choice,
    derived,
    fields,
    many,
    named,
    number,
    optional,
)
from railwright.settings.findings import Finding, Reason, Severity
from railwright.settings.settle import Settings
from railwright.settings.windows.window import End, Window

_WHERE = optional(fields(Location, file=TEXT, line=WHOLE, column=WHOLE))

OUTPUT: Codec[OutputName] = Codec(str, lambda data: OutputName(TEXT.read(data)))

_OUTPUT = fields(
    OutputSetPoints,
    output=OUTPUT,
    current_limit=NUMBER,
    at_limit=TEXT,
    trip_delay=Key(number(null=0.0), of=lambda each: each.trip_delay if each.at_limit == "trip" else None),
    ovp=NUMBER,
    share=NUMBER,
    # Settings of an earlier version do not have these.
    opp=Key(number(null=math.inf), missing=math.inf),
    ocp=Key(number(null=math.inf), missing=math.inf),
    ocp_delay=Key(
        number(null=0.0),
        of=lambda each: each.ocp_delay if math.isfinite(each.ocp) else None,
        missing=0.0,
    ),
)

_FEED = fields(
    Feed,
    input=TEXT,
    arrangement=TEXT,
    lead=TEXT,
    fixture=Key(optional(TEXT), missing=None),
    sense=TEXT,
    trips_when=many(TEXT),
    outputs=many(_OUTPUT),
)

SET_POINTS = by_name(_FEED, field="input")
"""What feeds each input, with the set points of each output."""

_NUMBER_OR_WORDS: Codec[float | str] = Codec(
    lambda value: value, lambda data: data if isinstance(data, str) else NUMBER.read(data)
)

_FIGURES = many(fields(StatedFigure, name=TEXT, value=number(math.nan), unit=TEXT))

REASONS = many(
    fields(
        Reason,
        about=TEXT,
        setting=TEXT,
        value=_NUMBER_OR_WORDS,
        unit=TEXT,
        where=_WHERE,
        why=TEXT,
        figures=Key(_FIGURES, missing=()),
    )
)
"""Each setting's value in SI units, or in words without a unit, and why."""

FINDINGS = many(
    fields(
        Finding,
        rule=TEXT,
        severity=choice(Severity),
        about=TEXT,
        where=_WHERE,
        why=TEXT,
        remedy=TEXT,
        overridden=optional(TEXT),
        figures=Key(_FIGURES, missing=()),
        blocks=derived(lambda finding: finding.blocks),
    )
)
"""Each finding; `blocks` says whether it keeps a run from being energised."""


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
        "figures": _FIGURES.write(figures_of(end.why)),
        "where": _WHERE.write(end.where),
        "closed_form": end.bracket,
        "replay": None if end.replay is None else end.replay.options,
    }


def window_as_data(window: Window) -> dict[str, Any]:
    """One window: its two ends, everything else that bounds it, and what is recommended; SI units. null:
    none, or unknown. replay: options of `railwright rehearse` that play the case behind an end.
    """
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
        "figures": _FIGURES.write(figures_of(window.why)),
        "lacks": [impossible.why for impossible in window.lacks],
        "demands": [{"side": end.side, **(_end_as_data(end) or {})} for end in window.ends],
        "outputs": {
            name: dict(zip(("low", "high", "recommended"), map(_number, window.of_output(name)), strict=True))
            for name in window.parts
        },
    }


_RISES: Codec[Mapping[int, float]] = Codec(
    lambda rises: {str(number): rate for number, rate in rises.items()},
    lambda data: {int(number): rate for number, rate in named(NUMBER).read(data).items()},
)
"""Number of a power-up, from 0 -> the rate that was worked out for it [V/s]."""

_SETTINGS = fields(
    Settings,
    blocked=derived(lambda settings: settings.blocked),
    set_points=SET_POINTS,
    reasons=REASONS,
    windows=derived(lambda settings: [window_as_data(window) for window in settings.windows]),
    findings=FINDINGS,
    # Settings of an earlier version do not have them.
    rises=Key(optional(_RISES), missing=None),
)


def as_data(settings: Settings) -> dict[str, Any]:
    """Settings as one JSON-ready mapping."""
    data: dict[str, Any] = _SETTINGS.write(settings)
    return data


def settings_from_data(data: Mapping[str, Any]) -> Settings:
    """The inverse of `as_data` but for the windows, also of what an earlier version wrote. Misfit
    where the data are something else.
    """
    return _SETTINGS.read(data)
