"""The page of a proved bench: what was found, every figure that was compared, and lines for signatures."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

from railwright.proving.bench import BenchProofRecord, ProvedStage, UsedInstrument
from railwright.proving.lines import ProofLine, ProvedFigure
from railwright.quantities import show
from railwright.report.document import compile_pdf
from railwright.report.text import breakable, capital, sentence

OUTCOMES = {True: ("disc", "pass"), False: ("cross", "found"), None: ("dash", "not judged")}
"""Shape and word of a line's outcome."""


def proof_pdf(record: BenchProofRecord) -> bytes:
    """The page as PDF bytes; the same record gives the same bytes."""
    return compile_pdf(proof_content(record), record.at.replace(microsecond=0), "proof.typ")


def proof_content(record: BenchProofRecord) -> dict[str, Any]:
    """Everything on the page, as the template's data."""
    found = [f"{stage.output}: {line.why}" for stage in record.stages for line in stage.found]
    found += [f"off not confirmed: {line}" for line in record.not_confirmed]
    unjudged = [
        f"{stage.output}, {line.what}: {line.why}"
        for stage in record.stages
        for line in stage.lines
        if line.passed is None
    ]
    return {
        "number": breakable(record.number),
        "bench": breakable(record.bench),
        "operator": breakable(record.operator),
        "at": f"{record.at:%Y-%m-%d %H:%M}",
        "due": record.due.isoformat() if record.passed else "",
        "year": [record.at.year, record.at.month, record.at.day],
        "simulated": record.simulated,
        "passed": record.passed,
        "outcome": _outcome_words(record),
        "found": [breakable(sentence(capital(line))) for line in found],
        "unjudged": [breakable(sentence(capital(line))) for line in unjudged],
        "stages": [_stage(stage) for stage in record.stages],
        "instruments": [_instrument(each, record.at.date()) for each in record.instruments],
        "entry": entry_of(record),
    }


def entry_of(record: BenchProofRecord) -> str:
    """What the bench document says of it from now on; '' where it proved nothing."""
    if not record.passed or record.simulated:
        return ""
    return f"proved: {{on: {record.at.date()}, due: {record.due}, record: {record.number}}}"


def _outcome_words(record: BenchProofRecord) -> str:
    count = len(record.found) + len(record.not_confirmed)
    if count:
        return f"{count} found"
    return "everything that was judged passed" if record.unjudged else "everything passed"


def _stage(stage: ProvedStage) -> dict[str, Any]:
    return {
        "title": breakable(f"{stage.output} through {stage.lead}"),
        "rows": [_row(line) for line in stage.lines],
    }


def _row(line: ProofLine) -> dict[str, Any]:
    shape, word = OUTCOMES[line.passed]
    return {
        "what": breakable(capital(line.what)),
        "at": breakable(line.at),
        "figures": [[breakable(each.of), _figure(each, line.unit)] for each in line.figures],
        "seen": breakable(line.seen),
        "between": _between(line),
        "shape": shape,
        "word": word,
    }


def _figure(figure: ProvedFigure, unit: str) -> str:
    bound = f" ± {show(figure.bound, unit, 2)}" if figure.bound else ""
    return breakable(f"{show(figure.value, unit, 5)}{bound}")


def _between(line: ProofLine) -> str:
    low, high = math.isfinite(line.low), math.isfinite(line.high)
    if low and high:
        return breakable(f"{show(line.low, line.unit)} to {show(line.high, line.unit)}")
    if high:
        return breakable(f"at most {show(line.high, line.unit)}")
    return breakable(f"at least {show(line.low, line.unit)}") if low else ""


def _instrument(each: UsedInstrument, today: dt.date) -> dict[str, Any]:
    calibrated, identity = each.calibrated, each.identity
    state = "unknown" if calibrated is None else "overdue" if calibrated.due < today else "valid"
    return {
        "name": breakable(each.name),
        "kind": each.kind,
        "model": breakable(identity.model),
        "serial": breakable(identity.serial),
        "version": breakable(identity.version),
        "certificate": breakable(calibrated.certificate) if calibrated else "unknown",
        "due": calibrated.due.isoformat() if calibrated else "unknown",
        "state": state,
    }
