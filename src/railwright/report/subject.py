"""What a report is made from: everything frozen, nothing read from the world, the date passed in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from railwright.assumptions import Assumption
from railwright.documents.bench import Bench, Recorder, Supply
from railwright.evaluation.ending import Ending
from railwright.quantities import show
from railwright.records.ends import last_told

if TYPE_CHECKING:
    from railwright.documents.loader import Documents
    from railwright.evaluation.outcome import Evaluation
    from railwright.plan.set_points import SetPoints
    from railwright.settings.findings import Finding, Reason
    from railwright.traces import Record


RELAYS = "relays"
"""Kind of an instrument that moves contacts, as a run's facts have it."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """One instrument as it was used: identification, and calibration as it held on the day of the test."""

    name: str
    kind: str
    model: str
    serial: str
    certificate: str
    calibrated: dt.date | None
    due: dt.date | None
    identification: str = ""

    def state(self, tested: dt.date | None) -> str:
        """Calibration on the day of the test: 'valid', 'overdue' or 'unknown'; of what measures nothing, such
        as relays, 'not needed'.
        """
        if self.kind == RELAYS:
            return "not needed"
        if self.due is None or tested is None:
            return "unknown"
        return "overdue" if tested > self.due else "valid"


@dataclass(frozen=True, slots=True)
class ProvedOutput:
    """What was seen of the dialect at an output's instrument before the run: when, by whom and how each was
    provoked; missing: what was not.
    """

    output: str
    model: str
    version: str
    proved: tuple[tuple[str, str, str, str], ...]
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RunFacts:
    """Who, when, where and with what: the facts of one run, as its folder keeps them."""

    run_id: str
    unit: str
    operator: str
    laboratory: str
    address: str
    customer: str
    ambient: str
    start: dt.datetime | None
    end: dt.datetime | None
    ended: str
    ending: Ending
    outputs_off: tuple[tuple[str, str], ...]
    software: str
    instruments: tuple[Instrument, ...]
    proved: tuple[ProvedOutput, ...]
    hashes: Mapping[str, str]
    deviations: tuple[str, ...]
    simulated: bool
    authorised_by: str
    function: str


@dataclass(frozen=True, slots=True, eq=False)
class ReportInput:
    """All that a report is made from.

    external: recordings already aligned in time to `measured`. evaluations: the first, then any later ones;
    the last one is what the report states. metered: what multimeters read. run: the facts of the run (see
    `run_facts`). reported: date of the report.
    """

    documents: Documents
    set_points: SetPoints
    reasons: tuple[Reason, ...]
    findings: tuple[Finding, ...]
    rehearsal: Record | None
    measured: Record
    evaluations: tuple[Evaluation, ...]
    run: Mapping[str, Any]
    reported: dt.datetime
    external: tuple[Record, ...] = ()
    assumptions: tuple[Assumption, ...] = field(default=())
    metered: tuple[Record, ...] = ()

    def __post_init__(self) -> None:
        if not self.evaluations:
            raise ValueError("expected at least one evaluation to report, got none")

    @property
    def evaluation(self) -> Evaluation:
        """The evaluation that counts."""
        return self.evaluations[-1]


NOT_STATED = "not stated"


def _text(data: Mapping[str, Any], key: str, otherwise: str = NOT_STATED) -> str:
    value = data.get(key)
    return otherwise if value is None or not str(value).strip() else str(value)


def _moment(value: Any) -> dt.datetime | None:
    if isinstance(value, dt.datetime):
        return value
    return dt.datetime.fromisoformat(value) if isinstance(value, str) and value else None


def _date(value: Any) -> dt.date | None:
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    return dt.date.fromisoformat(value) if isinstance(value, str) and value else None


def _sentence(value: Any) -> str:
    """A deviation is a sentence, or a mapping of named parts."""
    if isinstance(value, Mapping):
        return ", ".join(f"{key}: {part}" for key, part in value.items())
    return str(value)


def run_facts(
    data: Mapping[str, Any], bench: Bench, used: tuple[str, ...], recorders: tuple[str, ...]
) -> RunFacts:
    """The facts of a run; what it does not say is taken from the bench document, else is "not stated".

    data: run_id, unit, operator, laboratory {name, address}, customer, ambient, instruments, proved, start,
    end (ISO 8601), ended, ending (an `Ending`), switched_off (as in run.json), simulated, software_version,
    document_hashes {path: sha256}, deviations, authorised_by, function.
    used: supplies of the hook-up; recorders: recorders whose recordings were used. ValueError for a bad date.
    """
    laboratory = data.get("laboratory") or {}
    if isinstance(laboratory, str):
        laboratory = {"name": laboratory}
    own = bench.laboratory
    given = {str(entry.get("name")): entry for entry in data.get("instruments") or ()}
    instruments = [_instrument(name, "supply", bench.supplies[name], given.pop(name, {})) for name in used]
    instruments += [
        _instrument(name, "recorder", bench.recorders.get(name), given.pop(name, {})) for name in recorders
    ]
    instruments += [
        _instrument(name, _text(entry, "kind", "instrument"), None, entry)
        for name, entry in given.items()
        if entry.get("used", True)
    ]
    return RunFacts(
        run_id=_text(data, "run_id"),
        unit=_text(data, "unit"),
        operator=_text(data, "operator"),
        laboratory=_text(laboratory, "name", own.name if own else NOT_STATED),
        address=_text(laboratory, "address", own.address if own else NOT_STATED),
        customer=_text(data, "customer"),
        ambient=_text(data, "ambient", bench.ambient.text or NOT_STATED),
        start=_moment(data.get("start")),
        end=_moment(data.get("end")),
        ended=_text(data, "ended"),
        ending=data.get("ending") or Ending(off_confirmed=None),
        outputs_off=outputs_off(data.get("switched_off") or {}),
        software=_text(data, "software_version"),
        instruments=tuple(instruments),
        proved=tuple(_proved(entry) for entry in data.get("proved") or ()),
        hashes={str(path): str(digest) for path, digest in (data.get("document_hashes") or {}).items()},
        deviations=tuple(_sentence(entry) for entry in data.get("deviations") or ()),
        simulated=bool(data.get("simulated", False)),
        authorised_by=_text(data, "authorised_by", ""),
        function=_text(data, "function", ""),
    )


def _proved(entry: Mapping[str, Any]) -> ProvedOutput:
    proved = tuple(
        (str(name), _text(each, "at"), _text(each, "by"), _text(each, "how"))
        for name, each in (entry.get("proved") or {}).items()
    )
    missing = tuple(str(each) for each in entry.get("missing") or ())
    return ProvedOutput(
        _text(entry, "output"), _text(entry, "model"), _text(entry, "version"), proved, missing
    )


def _instrument(name: str, kind: str, own: Supply | Recorder | None, entry: Mapping[str, Any]) -> Instrument:
    """An instrument as the run has it in `entry`; what is not there, as `own` of the bench has it."""
    known = {key: value for key, value in entry.items() if value is not None}
    calibration = known.get("calibration") or known.get("calibrated") or {}
    calibrated = own.calibrated if own else None
    return Instrument(
        name=name,
        kind=kind,
        model=_text(known, "model", (own.model if isinstance(own, Supply) else None) or NOT_STATED),
        serial=_text(known, "serial", (own.serial if own else None) or NOT_STATED),
        certificate=_text(calibration, "certificate", calibrated.certificate if calibrated else "unknown"),
        calibrated=_date(calibration.get("on")) or (calibrated.on if calibrated else None),
        due=_date(calibration.get("due")) or (calibrated.due if calibrated else None),
        identification=_text(known, "identification", ""),
    )


def outputs_off(switched_off: Mapping[str, Mapping[str, Any]]) -> tuple[tuple[str, str], ...]:
    """(input, how its outputs went off) of each input, in the order of the mapping.

    switched_off: as in `run.json`; `confirmed`, `holds` [V] and `stays_on` are missing in an earlier
    version's. "Off" is said only where it was read.
    """
    return tuple((name, _words(off)) for name, off in switched_off.items())


def _words(off: Mapping[str, Any]) -> str:
    if off.get("stays_on"):
        return f"stays on, because {str(off['stays_on']).removeprefix('because ')}"
    if off.get("confirmed") is None:
        return _earlier(off)
    if not off["confirmed"]:
        return f"off not confirmed{last_told(off, ', ')}"
    if off.get("holds") is not None:
        return f"off confirmed, device holds {show(float(off['holds']), 'V')}"
    return f"off confirmed{_fell(off)}"


def _earlier(off: Mapping[str, Any]) -> str:
    """Of a version that asked for the output's state, and did not confirm off by current and voltage."""
    version = " (as recorded by an earlier version)"
    if not off.get("verified"):
        return f"off not confirmed{last_told(off, ', ')}{version}"
    return f"state read as off{_fell(off) or last_told(off, ', ')}{version}"


def _fell(off: Mapping[str, Any]) -> str:
    if off.get("fell_after") is None or off.get("threshold") is None:
        return ""
    return f", below {show(float(off['threshold']), 'V')} after {show(float(off['fell_after']), 's')}"
