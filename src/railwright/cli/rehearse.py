"""`railwright rehearse`: the procedure worked through by computation; nothing is energised."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from railwright.circuit import CASE_NAMES
from railwright.cli.arguments import Json, Procedure, Quiet, Seed, Verbose
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit

if TYPE_CHECKING:
    from rich.console import Console

    from railwright.evaluation.outcome import Evaluation
    from railwright.plan.plan import Plan
    from railwright.rehearsal.rehearse import InputResult, Prediction
    from railwright.settings.check import Checked


# A text: of a choice, typer puts the words of the library that it asks before its message.
CaseOption = Annotated[
    str,
    typer.Option(
        "--case",
        metavar=f"<{'|'.join(CASE_NAMES)}>",
        help="Where in their tolerances all uncertain quantities are.",
    ),
]
Plot = Annotated[
    Path | None, typer.Option("--plot", metavar="FILE", help="Plot voltages and currents (.png or .svg).")
]
Step = Annotated[str | None, typer.Option("--step", metavar="NAME", help="Plot this step only.")]
Cases = Annotated[
    int | None,
    typer.Option("--cases", metavar="N", min=1, help="Play N cases within everything that is uncertain."),
]
Number = Annotated[
    int | None,
    typer.Option("--number", metavar="K", min=0, help="Play case K of --cases alone, with traces and plots."),
]
Corner = Annotated[
    str | None,
    typer.Option("--corner", metavar="K", help="Play the corner K of everything that is uncertain."),
]
Sensitivity = Annotated[
    bool, typer.Option("--sensitivity", help="Say which tolerance each result is sensitive to.")
]
Scheduler = Annotated[
    str | None,
    typer.Option("--scheduler", metavar="ADDRESS", help="Spread the cases over a Dask cluster."),
]
Faults = Annotated[
    bool, typer.Option("--faults", help="Rehearse what goes wrong: leads, mistyped figures, lost supplies.")
]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write the traces as CSV.")]


# One piece: its docstring is the help, and options that exclude each other are told apart at once.
# Many: each is an option of the command line.
def rehearse(
    procedure: Procedure,
    case: CaseOption = CASE_NAMES[0],
    plot: Plot = None,
    step: Step = None,
    csv: Csv = None,
    cases: Cases = None,
    seed: Seed = 1,
    number: Number = None,
    corner: Corner = None,
    sensitivity: Sensitivity = False,
    scheduler: Scheduler = None,
    faults: Faults = False,
    json: Json = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Work the procedure through by circuit physics.

    Shows peaks, trips and events, and how each requirement will come out; nothing is energised.

    With --faults: what trips and when, what reaches the device, and whether the settings contain it; a fault
    that they do not contain gives 1, one of which the documents say too little 5.

    With --cases: percentiles and worst cases of each measure, and how probable a trip is.

    An output that would trip, and is not required to, or a load that would restart for ever, gives exit code
    3; a requirement that would fail 1; one undecided 5.
    """
    from railwright.circuit.case import NAMED
    from railwright.cli.checking import settle_documents
    from railwright.cli.targets import as_target
    from railwright.evaluation.evaluate import evaluate
    from railwright.plan.required_trip import not_required
    from railwright.rehearsal.repeating import rehearse_until

    detail = Detail(quiet, verbose)
    if case not in NAMED:
        raise BadInput(f"--case: expected one of {', '.join(NAMED)}, got '{case}'")
    chosen = NAMED[case]
    if corner is not None and (faults or cases is not None or case != CASE_NAMES[0]):
        raise BadInput("--corner: expected no --case, --cases or --faults beside it; leave them out")
    if faults:
        if plot is not None or csv is not None or step is not None or cases is not None:
            raise BadInput("--faults: expected no --cases, --step, --plot or --csv beside it; leave them out")
        from railwright.cli.faults import play as play_faults

        return play_faults(procedure, case, chosen, json, detail)
    if cases is not None and number is None:
        if plot is not None or csv is not None or step is not None or case != CASE_NAMES[0]:
            raise BadInput("--cases: expected no --case, --step, --plot or --csv beside it; leave them out")
        from railwright.cli.ensemble import play as play_ensemble

        return play_ensemble(procedure, cases, seed, scheduler, sensitivity, json, detail)
    if sensitivity or scheduler is not None or (number is not None and cases is None):
        raise BadInput("--number, --sensitivity, --scheduler: expected --cases beside them; add it")
    if plot is not None and plot.suffix.lower() not in (".png", ".svg"):
        raise BadInput(f"--plot: expected a file that ends in .png or .svg, got '{plot}'")
    checked = settle_documents(procedure, detail)
    as_target("--plot", plot, checked.documents.files)
    as_target("--csv", csv, checked.documents.files)
    if cases is not None and number is not None:
        from railwright.cli.ensemble import case_of

        chosen = case_of(checked, cases, seed, number)
    if corner is not None:
        from railwright.cli.ensemble import corner_of

        chosen = corner_of(checked, corner)
    given = checked.documents, checked.settings.set_points
    with detail.timed("rehearsal"):
        plan, rehearsal = rehearse_until(*given, chosen)
    record = rehearsal.record
    evaluation = evaluate(checked.documents, checked.settings.set_points, record)
    unwanted = not_required(checked.documents.procedure, record.spans, record.events)
    stops = _stops(bool(unwanted), rehearsal)
    if plot is not None:
        _plot(checked, rehearsal, step, plot)
    if csv is not None:
        from railwright.cli.csv import write_traces

        write_traces(csv, rehearsal.record.traces)
    from railwright.cli.console import console, print_json

    if json:
        print_json(_data(procedure, _case_name(case, number, corner), checked, plan, rehearsal, evaluation))
    else:
        written = [path for path in (plot, csv) if path is not None]
        _show(console(), plan, rehearsal, evaluation, written, detail, stops=stops)
    return _code(stops, evaluation)


def _case_name(case: str, number: int | None, corner: str | None) -> str | int:
    return number if number is not None else case if corner is None else f"corner {corner}"


def _stops(trips: bool, rehearsal: Prediction) -> str:
    """What would end a run, or never end in it, for people; empty: nothing.

    trips: an output would trip though no requirement asks for it.
    """
    from railwright.rehearsal.restarting import endless_restarts
    from railwright.traces import EventKind

    found = ["an output would trip"] if trips else []
    found += [
        f"{event.subject}: {event.what}: {event.detail}"
        for event in rehearsal.record.events
        if event.kind is EventKind.HOLD_FAILS
    ]
    for name in rehearsal.inputs:
        steps = endless_restarts(rehearsal.record, (name,))
        found += [f"{name} would restart for ever in '{step}'" for step in list(steps)[:1]]
    return "; ".join(found)


def _code(stops: str, evaluation: Evaluation) -> Exit:
    from railwright.cli.outcomes import code_of_outcome

    if stops:
        return Exit.STOPPED
    # Without requirements a rehearsal has done all that was asked of it.
    return code_of_outcome(evaluation.outcome) if evaluation.results else Exit.DONE


def _plot(checked: Checked, rehearsal: Prediction, step: str | None, path: Path) -> None:
    from railwright.report.overlay import Overlay
    from railwright.report.plots import save_overview, save_step

    overlay = Overlay(
        rehearsal=rehearsal.record,
        requirements=checked.documents.procedure.requires,
        set_points=checked.settings.set_points,
        inputs=tuple(checked.documents.device.inputs),
    )
    if step is None:
        save_overview(overlay, path)
        return
    try:
        save_step(overlay, step, path)
    except KeyError:
        known = ", ".join(f"'{span.name}'" for span in rehearsal.record.spans)
        raise BadInput(f"--step: expected one of the steps {known}, got '{step}'") from None


def _show(
    out: Console,
    plan: Plan,
    rehearsal: Prediction,
    evaluation: Evaluation,
    written: list[Path],
    detail: Detail,
    *,
    stops: str,
) -> None:
    from railwright.cli.assumptions import print_assumptions
    from railwright.cli.console import table
    from railwright.cli.outcomes import prediction_table, print_reasons, whole
    from railwright.cli.shapes import shapes_table
    from railwright.quantities import show
    from railwright.rehearsal.playback import played_shapes

    if detail.quiet:
        for name, result in rehearsal.inputs.items():
            if result.tripped:
                out.print(f"{name} {_tripped(result)}")
        print_reasons(out, evaluation)
        predicted = ", as predicted" if evaluation.results else ""
        out.print(f"{whole(evaluation)}{predicted}{stops and f'; {stops}'}")
        _show_written(out, written)
        return
    columns = (
        "Input",
        "Inrush peak",
        "Inrush charge",
        "Time in limit",
        "Highest voltage",
        "Starts",
        "Stops",
        "Trips",
    )
    rows = [(name, *_row(rehearsal, name)) for name in rehearsal.inputs]
    out.print(table("Rehearsal", columns, rows, right=columns[1:7]))
    events = [
        (f"{event.time:.6f} s", event.subject, event.what + (f": {event.detail}" if event.detail else ""))
        for event in rehearsal.record.events
    ]
    out.print(table("Events", ("Time", "Of", "What"), events, right=("Time",)))
    out.print(prediction_table(evaluation, lambda name, unit: _resolution(rehearsal, name, unit)))
    if detail.verbose:
        print_reasons(out, evaluation, passed=True)
    if played := played_shapes(plan, rehearsal.record):
        out.print(shapes_table(played))
    print_assumptions(out, rehearsal.assumptions)
    end = show(max(float(traces.time[-1]) for traces in rehearsal.record.traces.values()), "s")
    out.print(f"{end} rehearsed in {rehearsal.steps} steps of the solver.")
    if stops:
        out.print(f"{stops}.")
    _show_written(out, written)


def _show_written(out: Console, written: list[Path]) -> None:
    for path in written:
        out.print(f"written: {path}")


def _resolution(rehearsal: Prediction, name: str, unit: str) -> float:
    """Below what a voltage or current of an input is the solver's own [SI]: a part of the highest one."""
    import numpy as np

    from railwright.physics.simulation import RESOLUTION

    column = {"V": "voltage", "A": "current"}.get(unit)
    traces = rehearsal.record.traces.get(name)
    if column is None or traces is None:
        return 0.0
    return RESOLUTION * float(np.abs(traces.columns[column]).max())


def _row(rehearsal: Prediction, name: str) -> tuple[str, ...]:
    from railwright.quantities import show

    result = rehearsal.inputs[name]

    def known(value: float | None, unit: str) -> str:
        if value is None:
            return "not powered up"
        return show(value, unit, resolution=_resolution(rehearsal, name, unit))

    return (
        known(result.inrush_peak, "A"),
        known(result.inrush_charge, "C"),
        show(result.time_in_limit, "s"),
        known(result.peak_voltage, "V"),
        str(result.starts),
        str(result.stops),
        _tripped(result) if result.tripped else "no",
    )


def _tripped(result: InputResult) -> str:
    """What tripped, and when."""
    from railwright.quantities import show

    return f"{result.tripped} at {show(result.tripped_at or 0.0, 's')}"


def _data(
    procedure: Path,
    case: str | int,
    checked: Checked,
    plan: Plan,
    rehearsal: Prediction,
    evaluation: Evaluation,
) -> dict[str, Any]:
    from railwright.cli.shapes import shapes_data
    from railwright.evaluation.data import as_data
    from railwright.rehearsal.playback import played_shapes

    def plain(result: InputResult) -> dict[str, Any]:
        values = {name: getattr(result, name) for name in type(result).__dataclass_fields__}
        return {**values, "tripped": result.tripped or ""}

    record = rehearsal.record
    return {
        "procedure": str(procedure),
        "case": case,
        "inputs": {name: plain(result) for name, result in rehearsal.inputs.items()},
        "events": [event.as_data() for event in record.events],
        "steps": [
            {"name": s.name, "kind": s.kind, "start": s.start, "end": s.end, "inputs": list(s.inputs)}
            for s in record.spans
        ],
        "shapes": shapes_data(played_shapes(plan, rehearsal.record)),
        "assumptions": [str(each) for each in rehearsal.assumptions],
        "evaluation": as_data(evaluation),
    }
