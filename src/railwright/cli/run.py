"""`railwright run`: the procedure on the bench's supplies, recorded."""

from __future__ import annotations

import contextlib
import datetime as dt
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from railwright.cli.arguments import Procedure
from railwright.cli.exits import BadInput, Exit, complain

if TYPE_CHECKING:
    from railwright.cli.checking import Checked
    from railwright.instruments.session import Trace
    from railwright.running.outcome import RunOutcome
    from railwright.twin.launcher import TwinBench

Unit = Annotated[str, typer.Option(metavar="SERIAL", help="Serial number of the specimen under test.")]
Operator = Annotated[str, typer.Option(metavar="NAME", help="Who runs it.")]
Folder = Annotated[
    Path | None, typer.Option(metavar="FOLDER", help="Where the run is kept; must be empty. Default: runs/…")
]
TraceLines = Annotated[
    bool, typer.Option("--trace", help="Print every line sent and received, on standard error.")
]
Twins = Annotated[
    bool, typer.Option("--twins", help="On simulated supplies, started for this run, on free ports.")
]
Seed = Annotated[int, typer.Option(help="Of the simulated supplies.")]
True_ = Annotated[
    list[str] | None,
    typer.Option("--true", metavar="NAME=VALUE", help="With --twins: a true parameter, as in 'twin'."),
]
Faults = Annotated[
    list[str] | None,
    typer.Option("--fault", metavar="'KIND INPUT'", help="With --twins: what lies wrong, as in 'twin'."),
]

MischiefLines = Annotated[
    list[str] | None,
    typer.Option(
        "--mischief",
        metavar="'SUPPLY: KIND …'",
        help="With --twins: a fault at an instant, as in 'twin'.",
    ),
]


def run(
    procedure: Procedure,
    unit: Unit,
    operator: Operator,
    folder: Folder = None,
    trace: TraceLines = False,
    twins: Twins = False,
    seed: Seed = 1,
    true: True_ = None,
    fault: Faults = None,
    mischief: MischiefLines = None,
) -> Exit:
    """Check, then play the procedure on the bench, and record it.

    Every setting is verified before an output goes on, and the outputs go off whatever happens. Ctrl-C
    switches off and keeps the record. Never a substitute for an emergency stop.
    """
    from railwright.cli.checking import check_documents
    from railwright.cli.truth import keep_truth
    from railwright.cli.twin import faults_of, mischief_of, overrides_of

    if not twins and (true or fault or mischief):
        raise BadInput(
            "--true, --fault, --mischief: expected --twins beside them; a real supply has no such thing"
        )
    place = folder or default_folder(procedure, unit)
    checked = check_documents(procedure, rehearsed=True)
    if not may_run(checked, place):
        return Exit.STOPPED
    started: TwinBench | None = None
    with contextlib.ExitStack() as stack:
        if twins:
            from railwright.twin.launcher import TwinBench

            documents = checked.documents
            bench = TwinBench(
                documents.bench,
                documents.device,
                documents.procedure,
                seed=seed,
                overrides=overrides_of(true or []),
                faults=faults_of(fault or [], tuple(documents.device.inputs)),
                mischief=mischief_of(mischief or [], documents.bench),
                ports="free",
            )
            started = stack.enter_context(bench)
            for name, address in started.addresses.items():
                print(f"simulated: {name} at {address}")
            checked = replace(checked, documents=replace(documents, bench=started.bench))
        outcome = play(checked, unit, operator, place, print_line if trace else None)
        truth = keep_truth(outcome.folder, started) if started is not None else None
    report_outcome(outcome)
    if truth is not None:
        print(f"what the seed had drawn, to compare: {truth}")
    return code_of_run(outcome)


def default_folder(procedure: Path, unit: str) -> Path:
    """runs/<procedure>-<unit>-<time>."""
    stem = procedure.name.split(".")[0]
    safe = re.sub(r"[^A-Za-z0-9_-]+", "-", unit).strip("-") or "unit"
    return Path("runs") / f"{stem}-{safe}-{dt.datetime.now():%Y%m%d-%H%M%S}"


def may_run(checked: Checked, folder: Path) -> bool:
    """Whether nothing blocks the run; says what does. BadInput where the folder is in use."""
    from railwright.cli.console import console
    from railwright.cli.findings import findings_table, summary

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadInput(
            f"{folder}: expected a folder that is empty or not there, got one in use; name another"
        )
    findings = checked.settings.findings
    shown = [finding for finding in findings if finding.severity != "note"]
    out = console()
    if shown:
        out.print(findings_table(shown))
    out.print(f"check: {summary(findings)}")
    if checked.settings.blocked:
        complain("nothing was energised: a finding stops the run, and the procedure does not override it")
    return not checked.settings.blocked


def play(checked: Checked, unit: str, operator: str, folder: Path, trace: Trace | None = None) -> RunOutcome:
    """The run itself, with its progress shown."""
    from railwright.cli.live import live
    from railwright.instruments.session import open_visa
    from railwright.running.runner import run as run_procedure
    from railwright.settings.data import as_data

    with live(trace is print_line) as progress:
        return run_procedure(
            checked.documents,
            checked.settings.set_points,
            unit=unit,
            operator=operator,
            folder=folder,
            progress=progress,
            findings=checked.settings.findings,
            settings=as_data(checked.settings),
            open_session=open_visa(trace),
        )


Direction = Literal["sent", "received"]


def traffic_line(time: float, instrument: str, direction: Direction, line: str) -> str:
    """One line of the traffic: time on the monotonic clock [s], instrument, direction, text."""
    return f"{time:12.6f} {instrument} {'→' if direction == 'sent' else '←'} {line}"


def print_line(time: float, instrument: str, direction: Direction, line: str) -> None:
    """The same on standard error, at once."""
    sys.stderr.write(traffic_line(time, instrument, direction, line) + "\n")


def report_outcome(outcome: RunOutcome) -> None:
    """How it ended, how the outputs went off, what to look out for, and where the record is."""
    from railwright.quantities import show
    from railwright.running.outcome import ENDED_TEXTS

    cause = f": {outcome.cause}" if outcome.cause else ""
    print(f"{ENDED_TEXTS[outcome.ended]}{cause}")
    if outcome.remedy:
        print(f"→ {outcome.remedy}")
    if not outcome.energised:
        print("nothing was energised")
    for off in outcome.switched_off.values():
        state = "off" if off.verified else "NOT VERIFIED OFF"
        if off.fell_after is not None:
            fell = f"below {show(off.threshold, 'V')} after {show(off.fell_after, 's')}"
        else:
            fell = f"{show(off.residual, 'V')} still stand there (threshold {show(off.threshold, 'V')})"
        print(f"{off.input}: {state}, {fell}")
    # What was not played deviates from nothing; how it ended stands above.
    for line in outcome.deviations if outcome.energised else ():
        if not outcome.cause or outcome.cause not in line:
            print(f"deviation: {line}")
    for line in outcome.cautions:
        complain(f"caution: {line}")
    print(f"run: {outcome.folder}")


def code_of_run(outcome: RunOutcome) -> Exit:
    """0 when the run played to its end, 4 when an instrument failed, 3 when anything else ended it."""
    from railwright.running.outcome import Ended

    if outcome.ended is Ended.COMPLETED:
        return Exit.DONE
    return Exit.INSTRUMENT if outcome.ended is Ended.INSTRUMENT else Exit.STOPPED
