"""Outcomes of an evaluation as commands print them, and the exit code they give."""

from __future__ import annotations

from typing import TYPE_CHECKING

from railwright.cli.console import OUTCOME_MARKS, table
from railwright.cli.detail import USUAL, Detail
from railwright.cli.exits import Exit
from railwright.evaluation.outcome import Evaluation, Outcome, Result

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console
    from rich.table import Table

_CODES = {
    Outcome.PASS: Exit.DONE,
    Outcome.FAIL: Exit.FAILED,
    Outcome.INCONCLUSIVE: Exit.INCONCLUSIVE,
    Outcome.NOT_JUDGED: Exit.INCONCLUSIVE,
}


def code_of_outcome(outcome: Outcome) -> Exit:
    """Exit code of a command whose result is this outcome."""
    return _CODES[outcome]


_COLUMNS = ("Requirement", "Of, during", "Value", "95 % interval", "Limit", "Outcome", "Decided by")
_MEASURED_ONLY = ("95 % interval", "Decided by")


def evaluation_table(evaluation: Evaluation) -> Table:
    """Each requirement with its value, 95 % interval, limit, outcome, and the record that decided."""
    return table("Requirements", _COLUMNS, [_row(result) for result in evaluation.results])


def prediction_table(evaluation: Evaluation, resolution: Callable[[str, str], float]) -> Table:
    """The same for a rehearsal, which has no uncertainty of reading and only itself to decide.

    resolution: below what a figure of an input in a unit is the solver's own.
    """
    keep = [index for index, name in enumerate(_COLUMNS) if name not in _MEASURED_ONLY]
    rows = [_row(result, resolution(result.of, result.unit)) for result in evaluation.results]
    return table(
        "Requirements, as predicted", [_COLUMNS[i] for i in keep], [[row[i] for i in keep] for row in rows]
    )


def budget_table(evaluation: Evaluation) -> Table:
    """The uncertainty budget of each requirement that was measured: source, standard uncertainty, kind."""
    from railwright.quantities import show

    rows = [
        (
            result.requirement if place == 0 else "",
            each.source,
            show(each.standard, result.unit, 2),
            each.words,
        )
        for result in evaluation.results
        if result.measured is not None
        for place, each in enumerate(result.measured.contributions)
    ]
    columns = ("Requirement", "Source", "Standard uncertainty", "Distribution")
    return table("Uncertainty budgets", columns, rows, right=("Standard uncertainty",))


def print_evaluation(out: Console, evaluation: Evaluation, detail: Detail = USUAL) -> None:
    """The table, the reason for each requirement that did not pass, notes, and the outcome of the whole, with
    what keeps it from being a pass. Quiet: no table and no notes. Verbose: every reason, and the budgets.
    """
    if not detail.quiet:
        out.print(evaluation_table(evaluation))
    if detail.verbose:
        out.print(budget_table(evaluation))
    print_reasons(out, evaluation, passed=detail.verbose)
    for contradiction in evaluation.contradictions:
        out.print(f"contradiction: {contradiction.words}")
    for note in () if detail.quiet else (*evaluation.notes, *(drop.words for drop in evaluation.lead_drops)):
        out.print(f"note: {note}")
    if evaluation.withheld:
        out.print(f"no pass: {evaluation.withheld}")
    band = f", guard band {evaluation.guard_band:g} × U" if evaluation.rule == "guarded" else ""
    out.print(f"{whole(evaluation)}, by the {evaluation.rule} rule{band} (U at 95 %)")


def print_reasons(out: Console, evaluation: Evaluation, *, passed: bool = False) -> None:
    """The reason for each requirement that did not pass, or for all of them."""
    for result in evaluation.results:
        if passed or result.outcome is not Outcome.PASS:
            out.print(f"{OUTCOME_MARKS[result.outcome]}  {result.requirement}: {result.reason}")


def whole(evaluation: Evaluation) -> str:
    """The outcome of all requirements together, for people."""
    if not evaluation.results:
        return f"{OUTCOME_MARKS[Outcome.NOT_JUDGED]}: the procedure has no requirement"
    return f"{OUTCOME_MARKS[evaluation.outcome]} as a whole"


def _row(result: Result, resolution: float = 0.0) -> tuple[str, ...]:
    from railwright.report.figures import show_limit, show_measured

    limit = show_limit(result.lower, result.upper, result.unit)
    if result.measured is None:
        value, interval = "not measured", ""
    else:
        measured = result.measured
        value, interval = show_measured(
            measured.value, measured.low, measured.bounded, result.unit, resolution
        )
    return (
        result.requirement,
        f"{result.of}, {result.during}",
        value,
        interval,
        limit,
        OUTCOME_MARKS[result.outcome],
        result.source,
    )
