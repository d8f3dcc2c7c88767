"""`railwright waveform`: a shape of the procedure as a table or a figure: asked, played and predicted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import numpy as np
import typer

from railwright.cli.arguments import Json, Procedure, Quiet, Verbose
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit

if TYPE_CHECKING:
    from railwright.documents.loader import Documents
    from railwright.plan.plan import Plan
    from railwright.rehearsal.playback import PlayedShape
    from railwright.settings.check import Checked
    from railwright.traces import Record

ENDINGS = (".csv", ".svg", ".png")

Step = Annotated[
    str | None, typer.Option("--step", metavar="NAME", help="The shape; left out: the only one there is.")
]
To = Annotated[Path | None, typer.Option("--to", metavar="FILE", help="Write it there: .csv, .svg or .png.")]
Table = Annotated[
    Path | None,
    typer.Option(
        "--table", metavar="FILE", help="Write the sequence there as a table that a shape can play."
    ),
]
Rehearsed = Annotated[
    bool,
    typer.Option("--rehearsed", help="In a CSV: what is rehearsed, beside what is asked."),
]


# One piece: its docstring is the help, and everything that is shown or written is made of one rehearsal.
# Many: each is an option of the command line.
def waveform(
    procedure: Procedure,
    step: Step = None,
    to: To = None,
    rehearsed: Rehearsed = False,
    table: Table = None,
    json: Json = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Show what becomes of a shape.

    What the procedure asks for, what the outputs really do by rehearsal, and how far the one is from the
    other: largest, r.m.s., and edge by edge; nothing is energised.

    A CSV has the columns time_s and, of each input, main_voltage_V and main_limit_A; two rows at one time are
    a jump. A table has dwell_s, voltage_V, limit_A and way, exact to the last digit.
    """
    from railwright.cli.checking import settle_documents
    from railwright.cli.targets import as_target
    from railwright.plan.plan import plan_of
    from railwright.rehearsal.playback import played_shapes
    from railwright.rehearsal.rehearse import rehearse

    if to is not None and to.suffix.lower() not in ENDINGS:
        raise BadInput(f"--to: expected a file that ends in .csv, .svg or .png, got '{to}'")
    if rehearsed and (to is None or to.suffix.lower() != ".csv"):
        raise BadInput("--rehearsed: expected a CSV file after --to, got none; name one")
    detail = Detail(quiet, verbose)
    checked = settle_documents(procedure, detail)
    documents = checked.documents
    as_target("--to", to, documents.files)
    as_target("--table", table, documents.files)
    plan = plan_of(documents, checked.settings.set_points)
    shapes = [span.name for span in plan.spans if span.kind == "shape"]
    name = _chosen(step, shapes)
    with detail.timed("rehearsal"):
        record = rehearse(documents, checked.settings.set_points, timeline=plan.played).record
    played = [each for each in played_shapes(plan, record) if each.span.name == name]
    if not played and name not in [span.name for span in record.spans]:
        raise BadInput(
            f"--step: expected a shape that is played, got '{name}', which a required trip precedes"
        )
    if not played:
        raise BadInput(f"--step: expected a shape that takes some time, got '{name}', which takes none")
    if table is not None:
        _sequence(documents, played, table)
    if to is not None:
        if to.suffix.lower() == ".csv":
            _table(plan, played, record, to, rehearsed)
        else:
            _figure(checked, played, plan, record, to)
    if json:
        from railwright.cli.console import print_json
        from railwright.cli.shapes import shapes_data

        print_json({"procedure": str(procedure), "shapes": shapes_data(played)})
    else:
        from railwright.cli.console import console
        from railwright.cli.shapes import edges_table, shapes_table

        out = console()
        out.print(shapes_table(played))
        for each in () if quiet else played:
            if each.edges:
                out.print(edges_table(each))
        for file in (to, table):
            if file is not None:
                out.print(f"written: {file}", soft_wrap=True)
    return Exit.DONE


def _chosen(step: str | None, shapes: list[str]) -> str:
    listed = ", ".join(f"'{name}'" for name in shapes)
    if not shapes:
        raise BadInput("expected a procedure with a shape, got none; add one")
    if step is None:
        if len(shapes) > 1:
            raise BadInput(f"--step: expected one of the shapes {listed}, got none; name one")
        return shapes[0]
    if step not in shapes:
        raise BadInput(f"--step: expected one of the shapes {listed}, got '{step}'")
    return step


def _sequence(documents: Documents, played: list[PlayedShape], to: Path) -> None:
    """Write the one input's sequence as it is written in the procedure, repeats written out."""
    from railwright.documents.standard_tests import pieces_of, turns_of
    from railwright.records.manifest import write_atomically
    from railwright.waveforms.shapes import Repeat
    from railwright.waveforms.table import NoTable, rows_of, table_text

    if len(played) != 1:
        raise BadInput(f"--table: expected a shape of one input, got one of {len(played)}; make it several")
    (each,) = played
    shape = documents.procedure.steps[each.step].shape
    assert shape is not None
    pieces = pieces_of(documents.procedure, documents.device, shape, each.input)
    turns = turns_of(documents.procedure, documents.device, shape)
    try:
        rows = rows_of((Repeat(pieces, turns, shape.pause_between),), float(each.asked.value[0]))
    except NoTable as error:
        raise BadInput(f"--table: {error}") from None
    write_atomically(to, table_text(rows))


def _table(plan: Plan, played: list[PlayedShape], record: Record, to: Path, rehearsed: bool) -> None:
    from railwright.cli.csv import write_columns
    from railwright.rehearsal.playback import limit_waveform
    from railwright.waveforms.columns import on_one_time_base
    from railwright.waveforms.waveform import Waveform

    waves: dict[str, Waveform] = {}
    for each in played:
        waves[f"{each.input}_voltage_V"] = each.asked
        waves[f"{each.input}_limit_A"] = limit_waveform(plan, each.step, each.input)
        if rehearsed:
            part = record.traces[each.input].closed(each.span.start, each.span.end)
            time = np.maximum.accumulate(part.time - part.time[0])
            waves[f"{each.input}_rehearsed_voltage_V"] = Waveform(time, part.columns["voltage"])
            waves[f"{each.input}_rehearsed_current_A"] = Waveform(time, part.columns["current"])
    columns = on_one_time_base(waves)
    write_columns(to, columns, ["%.12g", *["%.9g"] * (len(columns) - 1)])


def _figure(checked: Checked, played: list[PlayedShape], plan: Plan, record: Record, to: Path) -> None:
    from railwright.plan.listing import shape_actions
    from railwright.plan.set_point import waveform
    from railwright.quantities import show
    from railwright.report.waveform_plot import Curves, save_waveforms, worst_edge

    curves = []
    asked, reaching = shape_actions(plan.timeline), shape_actions(plan.played)
    for each in played:
        key, span = (each.step, each.input), each.span
        own, reached = asked.get(key), reaching.get(key)
        otherwise = None  # where points of a list, stairs or fewer set points take the place of what is asked
        if own is not None and reached is not None and own.actions != reached.actions:
            otherwise = waveform(reached.level, reached.actions, span.start, span.end - span.start)
        # The last edge is seen in what follows the step.
        horizon = max([each.asked.duration, *(e.asked.until for e in each.edges)])
        part = record.traces[each.input].closed(each.span.start, each.span.start + horizon)
        time = part.time - each.span.start
        edges = [
            (e.asked.time, e.asked_duration, e.duration, e.asked.until)
            for e in each.edges
            if e.duration is not None or not e.reached
        ]
        away = "; nothing is asked while off" if each.away else ""
        told = f"off by up to {show(abs(each.whole.largest), 'V')}, {show(each.whole.rms, 'V')} r.m.s.{away}"
        curves.append(
            Curves(
                each.input,
                each.asked,
                otherwise,
                time,
                part.columns["voltage"],
                worst_edge(edges, horizon),
                told,
                each.away,
            )
        )
    save_waveforms(curves, played[0].span.name, tuple(checked.documents.device.inputs), to)
