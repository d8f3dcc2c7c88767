"""`railwright rehearse --faults`: what wrong leads, mistyped figures and lost supplies do."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.cli.detail import USUAL, Detail
from railwright.cli.exits import Exit, complain

if TYPE_CHECKING:
    from rich.console import Console

    from railwright.circuit.case import Case
    from railwright.rehearsal.faults import FaultResult, FaultStudy
    from railwright.settings.check import Checked

_MARKS = {True: "● yes", False: "✕ no", None: "◌ unknown"}
_CONTAINED = {True: "yes", False: "no", None: "unknown"}
LEAST_ENERGY = 1e-6
"""Energies below this are shown as none [J]: they lie within the solver's tolerance."""


def play(procedure: Path, case: str, chosen: Case, json: bool, detail: Detail = USUAL) -> Exit:
    """Rehearse every fault and print it; returns the exit code."""
    from railwright.cli.checking import settle_documents
    from railwright.rehearsal.faults import rehearse_faults

    checked = settle_documents(procedure, detail)
    with detail.timed("faults"):
        study = rehearse_faults(checked.documents, checked.settings.set_points, chosen)
    from railwright.cli.console import console, print_json

    if json:
        print_json(_data(procedure, case, study))
    else:
        _show(console(), checked, study, detail.quiet)
    if study.sound:
        complain(f"these faults say little: {study.sound}")
        return Exit.STOPPED
    verdicts = {result.contained for result in study.results}
    return Exit.FAILED if False in verdicts else Exit.INCONCLUSIVE if None in verdicts else Exit.DONE


def _show(out: Console, checked: Checked, study: FaultStudy, quiet: bool) -> None:
    from railwright.cli.assumptions import print_assumptions
    from railwright.cli.console import table

    columns = ("Fault", "What trips, after", "Voltage", "Current", "Energy, into", "Contained")
    inputs = () if quiet else dict.fromkeys(result.input for result in study.results)
    for name in inputs:
        own = [result for result in study.results if result.input == name]
        title = (
            f"Faults at {name}: extremes at the device (negative: current out of it), "
            "and whether the settings contain them"
        )
        out.print(table(title, columns, [_row(result) for result in own], right=columns[2:4]))
    rows = [
        (_MARKS[verdict], f"{result.input}, {result.title}", result.why, result.remedy)
        for verdict in (False, None)
        for result in study.results
        if result.contained is verdict
    ]
    if rows:
        heads = ("Contained", "Fault", "Why not", "Remedy")
        out.print(table("Not contained, or not known", heads, rows))
    notes = [(f"{result.input}, {result.title}", result.note) for result in study.results if result.note]
    if notes and not quiet:
        out.print(table("Notes", ("Fault", "What else there is to say"), notes))
    if not quiet:
        print_assumptions(out, study.assumptions)
    out.print(f"{len(study.results)} faults rehearsed, one at a time: {study.tally}.")


def _row(result: FaultResult) -> tuple[str, ...]:
    from railwright.quantities import show

    reversed_most = -result.lowest_voltage > result.peak_voltage
    return (
        result.title,
        _trips(result),
        show(result.lowest_voltage if reversed_most else result.peak_voltage, "V", 3),
        _currents(result),
        f"{show(result.energy, 'J', 3)}, {result.energy_in}" if result.energy > LEAST_ENERGY else "none",
        _MARKS[result.contained],
    )


def _currents(result: FaultResult) -> str:
    """Largest current into the device, and the one out of it, negative, where that is larger."""
    from railwright.quantities import show

    told = show(result.peak_current, "A", 3)
    if result.fed_back <= result.peak_current:
        return told
    return f"{told}\n{show(-result.fed_back, 'A', 3)}"


def _trips(result: FaultResult) -> str:
    from railwright.quantities import show

    first = next(iter(result.trips), None)
    if first is None:
        return "nothing"
    others = dict.fromkeys(event.subject for event in result.trips if event.subject != first.subject)
    of = "" if first.subject in (result.input, *result.outputs) else f"{first.subject} "
    told = [f"{of}{first.kind.trip or first.what}, {show(first.time, 's', 3)}"]
    return "\n".join([*told, *(f"then {other}" for other in others)])


def _data(procedure: Path, case: str, study: FaultStudy) -> dict[str, Any]:
    faults = []
    for result in study.results:
        data = dataclasses.asdict(result)
        data["contained"] = _CONTAINED[result.contained]
        data["trips"] = [event.as_data() for event in result.trips]
        data["lead"]["borne"] = _CONTAINED[result.lead.borne]
        for stress, each in zip(data["stresses"], result.stresses, strict=True):
            stress["borne"] = _CONTAINED[each.borne]
        faults.append(data)
    return {
        "procedure": str(procedure),
        "case": case,
        "faults": faults,
        "assumptions": [str(each) for each in study.assumptions],
        "says_little_because": study.sound or None,
    }
