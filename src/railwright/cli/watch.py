"""`railwright watch`: a log of what runs already, over seconds or days."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import BenchPath, Json, Quiet, Verbose
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, complain, say

if TYPE_CHECKING:
    from railwright.watching.watch import BenchLog

Outputs = Annotated[
    list[str] | None,
    typer.Argument(metavar="OUTPUT", help="An output, as left.2, or a supply; left out: all of the bench."),
]
Every = Annotated[str, typer.Option("--every", metavar="TIME", help="The interval between readings.")]
Changes = Annotated[
    list[str] | None,
    typer.Option(
        "--change",
        metavar="STEP",
        help="Write a row only where a reading moved by more than '10 mV', or '5 mA' (give one or both), or "
        "the mode changed.",
    ),
]
Begin = Annotated[
    list[str] | None,
    typer.Option(
        "--from",
        metavar="CONDITION",
        help="The log begins when one of these is met: 'left.1 current above 100 mA for 10 s', '5 min', "
        "'2026-03-01T08:00'.",
    ),
]
Until = Annotated[
    list[str] | None,
    typer.Option(
        "--until",
        metavar="CONDITION",
        help="It ends when one of these is met: the same, or '1000 rows'. Ctrl-C ends it in any case.",
    ),
]
To = Annotated[
    Path | None,
    typer.Option("--to", metavar="FOLDER", help="Where it goes. Default: watches/BENCH-<time>."),
]
As = Annotated[str, typer.Option("--as", metavar="FORM", help="Form of the files: csv or parquet.")]
FileRows = Annotated[
    int | None, typer.Option("--file-rows", min=1, metavar="N", help="A new file begins after N rows.")
]
FileLasts = Annotated[str, typer.Option("--file-for", metavar="TIME", help="Or after this time.")]
Select = Annotated[
    bool,
    typer.Option(
        "--select",
        help="Outputs may be selected where they cannot be read otherwise: that moves the supply's panel.",
    ),
]

OPTIONS = {"begin": "--from", "form": "--as", "file_rows": "--file-rows", "file_lasts": "--file-for"}
"""Argument of the library's call -> option, where they are called otherwise."""


# One piece: what is asked, logged and said, in this order.
# Many: each is an option of the command line.
def watch(
    bench: BenchPath,
    outputs: Outputs = None,
    every: Every = "1 s",
    change: Changes = None,
    begin: Begin = None,
    until: Until = None,
    to: To = None,
    form: As = "csv",
    file_rows: FileRows = None,
    file_lasts: FileLasts = "1 d",
    select: Select = False,
    json: Json = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Log outputs that run already: read by interval, written as rows, for as long as you like.

    It sets and switches nothing. A supply that a run holds is read through the guard of that run, which is
    asked nothing more than the run asks; any other is read over a connection of its own, and no run can begin
    on it meanwhile. Each row has the time since the log began and the clock of the wall; what was missed is
    told in the row, and in the end. Files can be read while the log goes on, and after it was killed.
    """
    from railwright.cli.watch_table import LogDisplay
    from railwright.documents.loader import load_bench
    from railwright.running.interruption import StopRequest, signals_ask
    from railwright.watching.bench_watch import cautions_of
    from railwright.watching.order import OrderError, default_folder, order_of
    from railwright.watching.watch import log_bench

    detail = Detail(quiet, verbose)
    found = load_bench(bench).model
    try:
        order = order_of(
            found,
            outputs or [],
            every=every,
            change=change or [],
            begin=begin or [],
            until=until or [],
            form=form,
            file_rows=file_rows,
            file_lasts=file_lasts,
            select=select,
        )
    except OrderError as error:
        option = "" if error.argument == "outputs" else OPTIONS.get(error.argument, f"--{error.argument}")
        raise BadInput(f"{option}: {error.told}" if option else error.told) from None
    folder = to or default_folder(bench, f"{dt.datetime.now():%Y%m%d-%H%M%S}")
    # On standard error, where standard output is to hold one JSON document.
    stream = sys.stderr if json else sys.stdout
    stop = StopRequest()
    detail.read([bench])
    if not quiet:
        for line in cautions_of(found, order):
            complain(line)
    with signals_ask(stop), LogDisplay(stream, folder, quiet=quiet) as display:
        log = log_bench(found, order, folder, stop, display)
    if json:
        from railwright.cli.console import print_json

        print_json(log.as_data())
    else:
        _say_log(log, quiet)
    if log.outcome.failed:
        complain(f"the log ended early: {log.outcome.failed}; {log.outcome.dropped} rows were not written")
        return Exit.STOPPED
    return Exit.DONE


def _say_log(log: BenchLog, quiet: bool) -> None:
    """How it ended, and what was missed; then what was read of each output."""
    from railwright.quantities import show

    outcome = log.outcome
    say(f"ended: {outcome.why}: {outcome.rows} rows over {show(outcome.duration, 's')}: {log.folder}")
    for name, missed in outcome.missed.items():
        if missed:
            told = ", ".join(f"{count} rows {why}" for why, count in missed.items())
            lost = outcome.lost[name]
            links = f"; its link was lost {lost} time{'s' if lost > 1 else ''}" if lost else ""
            say(f"missed: {name}: {told}{links}")
    for output, each in outcome.statistics.outputs.items() if not quiet else ():
        for quantity, unit in (("voltage", "V"), ("current", "A")):
            read = each.quantities[quantity]
            if read.count:
                spread = f"{show(read.minimum, unit)} .. {show(read.maximum, unit)}"
                told = f"mean {show(read.mean, unit)}, r.m.s. {show(read.rms, unit)}"
                # Known to half a cell: less than one is 0.
                cell = 2 * read.percentile_error
                low, high = (show(read.percentile(n), unit, 3, resolution=cell) for n in (5, 95))
                middle = f"{low} .. {high}"
                say(f"{output} {quantity}: {spread}, {told}, 5 % to 95 %: {middle}")
