"""What `run.json` has to hold for a run to be evaluated and reported; more may stand there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from railwright.records.codec import (
    FLAG,
    NUMBER,
    TEXT,
    WHOLE,
    Codec,
    Key,
    Misfit,
    choice,
    fields,
    many,
    named,
    optional,
)
from railwright.records.ended import Ended


def _maybe(codec: Codec[Any]) -> Key:
    """Of what is not always known, or what an earlier version did not write."""
    return Key(optional(codec), missing=None)


def moment(data: Any) -> dt.datetime | None:
    """An instant from its text; None where that is empty. Misfit where it is something else."""
    try:
        found = dt.datetime.fromisoformat(TEXT.read(data)) if data else None
    except ValueError:
        found = dt.datetime.min
    if found is not None and found.tzinfo is None:
        raise Misfit(f"expected a date and time in ISO 8601 with its offset from UTC, got {data!r:.60}")
    return found


def _day(data: Any) -> dt.date | None:
    try:
        return dt.date.fromisoformat(TEXT.read(data)) if data else None
    except ValueError:
        raise Misfit(f"expected a date in ISO 8601, got {data!r:.60}") from None


_MOMENT, _DAY = Codec(str, moment), Codec(str, _day)

_LABORATORY = fields(dict, name=_maybe(TEXT), address=_maybe(TEXT))
_CALIBRATION = fields(dict, on=_maybe(_DAY), due=_maybe(_DAY), certificate=_maybe(TEXT))
_IDENTIFICATION = fields(dict, **dict.fromkeys(("maker", "model", "serial", "version"), _maybe(TEXT)))
_INSTRUMENT = fields(
    dict,
    name=TEXT,
    kind=_maybe(TEXT),
    model=_maybe(TEXT),
    serial=_maybe(TEXT),
    calibration=_maybe(_CALIBRATION),
    identification=_maybe(_IDENTIFICATION),
)
_PROVOKED = fields(dict, at=_maybe(TEXT), by=_maybe(TEXT), how=_maybe(TEXT))
_PROVED = fields(
    dict,
    output=_maybe(TEXT),
    model=_maybe(TEXT),
    version=_maybe(TEXT),
    proved=_maybe(named(_PROVOKED)),
    missing=_maybe(many(TEXT)),
)
_SWITCHED_OFF = fields(
    dict,
    **dict.fromkeys(("verified", "confirmed"), _maybe(FLAG)),
    **dict.fromkeys(("threshold", "fell_after", "residual", "before", "holds"), _maybe(NUMBER)),
    stays_on=_maybe(TEXT),
)

_ABOUT = fields(
    dict,
    **dict.fromkeys(("run", "unit", "operator", "software", "ambient", "cause"), _maybe(TEXT)),
    **dict.fromkeys(("started", "began", "finished"), _maybe(_MOMENT)),
    **dict.fromkeys(("energised", "off_confirmed"), _maybe(FLAG)),
    **dict.fromkeys(("not_confirmed", "cautions", "deviations"), _maybe(many(TEXT))),
    **dict.fromkeys(("rows", "multimeter_rows"), _maybe(named(WHOLE))),
    **dict.fromkeys(("documents", "dialects"), _maybe(named(TEXT))),
    ended=_maybe(choice(Ended)),
    laboratory=_maybe(_LABORATORY),
    sensed=named(TEXT),
    instruments=many(_INSTRUMENT),
    proved=_maybe(many(_PROVED)),
    switched_off=_maybe(named(_SWITCHED_OFF)),
)


def time_zero(about: Mapping[str, Any]) -> str | None:
    """When time 0 of the record was (ISO 8601): when the run began to play; of one that never did, when it
    was started. None: an earlier version did not say.
    """
    return about.get("began") or about.get("started")


def check_about(data: Mapping[str, Any]) -> None:
    """Misfit where `run.json` holds something else than who reads a run takes from it."""
    _ABOUT.read(data)
