"""`railwright rehearse --cases`: many cases within everything that is uncertain, and how they spread."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from railwright.cli.detail import USUAL, Detail
from railwright.cli.exits import BadInput, Exit

if TYPE_CHECKING:
    from rich.console import Console

    from railwright.circuit.case import Case
    from railwright.documents.procedure import Requirement
    from railwright.rehearsal.ensemble import Ensemble, EnsemblePlan, InputSpread
    from railwright.rehearsal.sensitivity import Sensitivities
    from railwright.settings.check import Checked

_MEASURES = {
    "inrush_peak": ("Inrush peak", "A"),
    "inrush_charge": ("Inrush charge", "C"),
    "inrush_i2t": ("Inrush I²t", "A²s"),
    "first_time_in_limit": ("First time in limit", "s"),
    "time_in_limit": ("Time in limit, all", "s"),
    "peak_current": ("Highest current", "A"),
    "peak_voltage": ("Highest voltage", "V"),
    "settled_voltage": ("Voltage after power-up", "V"),
    "starts": ("Starts", "1"),
    "stops": ("Stops", "1"),
    "tripped_at": ("Trips at", "s"),
}
"""What is shown of each input, with its unit."""

_INDEX_KEYS = ("alone", "in_all", "alone_standard_error", "in_all_standard_error")

WEIGHTY = 0.05
"""Quantities that account for less than this part of a measure's variance are not listed."""


def play(
    procedure: Path,
    cases: int,
    seed: int,
    scheduler: str | None,
    sensitivity: bool,
    json: bool,
    detail: Detail = USUAL,
) -> Exit:
    """Play the ensemble and print it; returns the exit code."""
    from railwright.cli.checking import settle_documents
    from railwright.plan.plan import plan_of
    from railwright.rehearsal.ensemble import plan_ensemble

    checked = settle_documents(procedure, detail)
    given = checked.documents, checked.settings.set_points
    plan = plan_ensemble(*given, cases, seed, plan_of(*given).played)
    with detail.timed("cases"):
        ensemble = _played(plan, scheduler, detail)
    indices = _indices(plan, detail) if sensitivity else None
    from railwright.cli.console import console, print_json

    if json:
        print_json(_data(procedure, plan, ensemble, indices))
    else:
        _show(console(), plan, ensemble, indices, detail.quiet)
    required = [each for each in given[0].procedure.requires if each.expects_trip]
    tripped = any(_unwanted(name, seen, required) for name, seen in ensemble.inputs.items())
    return Exit.STOPPED if tripped else Exit.DONE


def _unwanted(name: str, seen: InputSpread, required: Sequence[Requirement]) -> bool:
    """Whether an input trips in any case though no requirement asks for it. What follows a trip is asked for
    with it; in corners it is not kept which protection it was.
    """
    by = [each.by for each in required if each.of == name]
    wanted = {*by, "linked"} if required else set()
    trips = None not in by and any(protection not in wanted for protection in seen.trips)
    return trips or bool(seen.tripped_corners and not by)


def case_of(checked: Checked, cases: int, seed: int, number: int) -> Case:
    """One case of an ensemble, by its number."""
    from railwright.rehearsal.ensemble import plan_ensemble

    if number >= cases:
        raise BadInput(f"--number: expected a case from 0 to {cases - 1}, got {number}")
    return plan_ensemble(checked.documents, checked.settings.set_points, cases, seed).design.case(number)


def corner_of(checked: Checked, written: str) -> Case:
    """A corner of everything that is uncertain, by its number as it is written ('0x1f' or '31')."""
    from railwright.rehearsal.circuit import uncertain_quantities
    from railwright.rehearsal.corners import corner_case

    try:
        number = int(written, 0)
    except ValueError:
        raise BadInput(f"--corner: expected a number such as 0x1f, got '{written}'") from None
    try:
        return corner_case(uncertain_quantities(checked.documents, checked.settings.set_points), number)
    except ValueError as error:
        raise BadInput(f"--corner: {error}, got {written}") from None


def _played(plan: EnsemblePlan, scheduler: str | None, detail: Detail) -> Ensemble:
    """Play all chunks, with progress on standard error."""
    from railwright.cli.progress import progress
    from railwright.rehearsal.ensemble import merged
    from railwright.spread import ClusterError, over_cluster, over_threads

    parts: Iterator[Ensemble] = over_threads(plan) if scheduler is None else over_cluster(plan, scheduler)
    try:
        with progress("rehearsing", detail.quiet) as told:
            return merged(parts, lambda seen: told(seen.played, plan.design.cases))
    except ClusterError as error:
        raise BadInput(f"--scheduler: {error}") from None


def _indices(plan: EnsemblePlan, detail: Detail) -> Sensitivities:
    """Sobol's indices, with progress on standard error."""
    from railwright.cli.progress import progress
    from railwright.rehearsal.sensitivity import sensitivities
    from railwright.spread import blocks_over_threads

    with detail.timed("sensitivity"), progress("sensitivity", detail.quiet) as told:
        return sensitivities(plan, run=blocks_over_threads, each=told)


def _show(
    out: Console, plan: EnsemblePlan, ensemble: Ensemble, indices: Sensitivities | None, quiet: bool
) -> None:
    from railwright.cli.console import table

    design = plan.design
    corners = (
        "" if not design.corners
        else f", all {design.corners} corners first" if design.all_corners
        else f", {design.corners} of them corners"
    )  # fmt: skip
    out.print(
        f"{ensemble.played} cases of {len(design.names)} uncertain quantities{corners}; seed {design.seed}."
    )
    for name, seen in ensemble.inputs.items():
        if quiet:
            out.print(f"{name}: {', '.join(_trips(seen, ensemble, design.corners))}")
            continue
        rows = []
        for measure, (label, unit) in _MEASURES.items():
            spread = seen.measures[measure]
            if spread.count or spread.highest_case >= 0:
                figures = (spread.lowest, *(spread.percentile(p) for p in (5, 50, 95)), spread.highest)
                rows.append((label, *(_figure(value, unit) for value in figures)))
        out.print(table(name, ("", "Lowest", "5 %", "50 %", "95 %", "Highest"), rows, right=_RIGHT))
        for line in _trips(seen, ensemble, design.corners):
            out.print(f"  {line}")
    if not quiet:
        _show_notes(out, ensemble)
    if ensemble.failures:
        out.print(
            f"{ensemble.failures} cases could not be solved, "
            f"the first of them number {ensemble.first_failure}"
        )
    if indices is not None:
        _show_indices(out, indices)


def _trips(seen: InputSpread, ensemble: Ensemble, corners: int) -> Iterator[str]:
    """How often one input trips, in a line for cases and one for corners."""
    from railwright.quantities import show
    from railwright.rehearsal.ensemble import trip_probability

    share, low, high = trip_probability(seen, ensemble.inside)
    causes = ", ".join(f"{what} {count}" for what, count in sorted(seen.trips.items())) or "none"
    yield (
        f"trips in {show(share, '1')} of cases ({causes}); probability between "
        f"{show(low, '1')} and {show(high, '1')} (95 %)"
    )
    if seen.tripped_corners:
        yield f"trips in {seen.tripped_corners} of {corners} corners"


def _show_notes(out: Console, ensemble: Ensemble) -> None:
    out.print("Percentiles are of the cases in the interior; lowest and highest of all, corners included.")
    worst = ensemble.inputs[next(iter(ensemble.inputs))].measures["inrush_peak"].highest_case
    if worst >= 0:
        out.print(f"--json has the number of each worst case; --number {worst} --plot FILE shows that one.")


_RIGHT = ("Lowest", "5 %", "50 %", "95 %", "Highest")


def _figure(value: float, unit: str) -> str:
    from railwright.quantities import show

    return "" if value != value else str(round(value)) if unit == "1" else show(value, unit)


def _show_indices(out: Console, indices: Sensitivities) -> None:
    from railwright.cli.console import table

    rows = []
    for (name, measure), each in indices.found.items():
        if measure not in _MEASURES:
            continue
        ranked = sorted(
            zip(indices.names, each.alone, each.in_all, each.in_all_error, strict=True),
            key=lambda row: -row[2],
        )
        for place, (quantity, own, whole, error) in enumerate(ranked[:4]):
            if whole >= WEIGHTY:
                label = f"{name}: {_MEASURES[measure][0]}" if place == 0 else ""
                # More than half of the range says nothing of the index.
                spread = f"{2.0 * error:.0%}" if error < 0.25 else "open"
                rows.append((label, f"{own:.0%}", f"{whole:.0%}", spread, quantity))
    out.print(
        table(
            "What it is sensitive to (Sobol's indices: part of the variance, alone and with others)",
            ("Measure", "Alone", "In all", "±", "Quantity"), rows, right=("Alone", "In all", "±"),
        )
    )  # fmt: skip
    if any(row[3] == "open" for row in rows):
        out.print("±: 95 %; open: a few rare cases make up the variance, and no index is to be relied on.")
    else:
        out.print("±: 95 %, of what it is in all.")
    left = [
        f"{name}: {_MEASURES[measure][0]}" for name, measure in indices.not_in_all if measure in _MEASURES
    ]
    if left:
        out.print(f"Not in every case, so without an index: {', '.join(left)}.")


def _data(
    procedure: Path, plan: EnsemblePlan, ensemble: Ensemble, indices: Sensitivities | None
) -> dict[str, Any]:
    from railwright.rehearsal.ensemble import trip_probability

    design = plan.design

    def plain(spread: Any) -> dict[str, Any]:
        return {
            "lowest": spread.lowest,
            "lowest_case": spread.lowest_case,
            "highest": spread.highest,
            "highest_case": spread.highest_case,
            "mean": spread.mean,
            "count": spread.count,
            "percentiles": {str(p): spread.percentile(p) for p in (0.1, 1, 5, 25, 50, 75, 95, 99, 99.9)},
        }

    data: dict[str, Any] = {
        "procedure": str(procedure),
        "seed": design.seed,
        "cases": ensemble.played,
        "corners": design.corners,
        "all_corners": design.all_corners,
        "failures": ensemble.failures,
        "quantities": {
            name: {"nominal": v.nominal, "low": v.low, "high": v.high, "distribution": v.distribution}
            for name, v in design.quantities.items()
        },
        "inputs": {
            name: {
                "measures": {measure: plain(spread) for measure, spread in seen.measures.items()},
                "trips": dict(sorted(seen.trips.items())),
                "trip_probability": dict(
                    zip(("estimate", "low", "high"), trip_probability(seen, ensemble.inside), strict=True)
                ),
                "tripped_corners": seen.tripped_corners,
            }
            for name, seen in ensemble.inputs.items()
        },
    }
    if indices is not None:
        data["sensitivities"] = {
            f"{name}.{measure}": {
                quantity: dict(zip(_INDEX_KEYS, map(float, figures), strict=True))
                for quantity, *figures in zip(
                    indices.names, each.alone, each.in_all, each.alone_error, each.in_all_error, strict=True
                )
            }
            for (name, measure), each in indices.found.items()
        }
    return data
