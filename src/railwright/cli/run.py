"""`railwright run`: the procedure on the bench's supplies, recorded."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from railwright.cli.arguments import Procedure, Quiet, Seed, TrueValues, Verbose, filled, folder_to_fill
from railwright.cli.detail import USUAL, Detail
from railwright.cli.exits import BadInput, Exit, complain, expect_free, say, stands
from railwright.cli.run_words import code_of_run, headline
from railwright.cli.series import CoolDown, Repeat
from railwright.cli.streams import loss_of, same_file

if TYPE_CHECKING:
    from railwright.assumptions import Assumption
    from railwright.cli.live import PrintedLines
    from railwright.cli.printer import Printer
    from railwright.documents.loader import Documents
    from railwright.guard.process_link import ProcessLink
    from railwright.records.ended import SwitchedOff
    from railwright.running.outcome import RunOutcome
    from railwright.settings.check import Checked
    from railwright.settings.findings import Finding
    from railwright.twin.launcher import TwinBench
    from railwright.twin.virtual_network import VirtualNetwork

Unit = Annotated[str, typer.Option(metavar="SERIAL", help="Serial number of the specimen under test.")]
Operator = Annotated[str, typer.Option(metavar="NAME", help="Who runs it.")]
Folder = Annotated[
    Path | None,
    typer.Option(
        parser=folder_to_fill,
        metavar="FOLDER",
        help="Where the run is kept; must be empty. Default: runs/…",
    ),
]
TraceLines = Annotated[
    bool, typer.Option("--trace", help="Print every line sent and received, on standard error.")
]
Twins = Annotated[
    bool, typer.Option("--twins", help="On simulated supplies, started for this run, on free ports.")
]
Faults = Annotated[
    list[str] | None,
    typer.Option("--fault", metavar="'KIND INPUT'", help="With --twins: what lies wrong, as in 'twin'."),
]
LOST_TWIN = 2.0
"""How long a simulated supply that is gone is waited for [s]: it does not come back."""

Consent = Annotated[
    bool,
    typer.Option(
        "--consent",
        help="Go on where an output is found on, or a voltage stands at one before the run. Used outputs are "
        "switched off first; outputs that feed no input stay as they are.",
    ),
]

MischiefLines = Annotated[
    list[str] | None,
    typer.Option(
        "--mischief",
        metavar="'SUPPLY: KIND …'",
        help="With --twins: a fault at an instant, as in 'twin'.",
    ),
]


# One piece: guard, supplies, signals and printer end in the reverse order of their beginning.
# Many: each is an option of the command line.
def run(
    procedure: Procedure,
    unit: Unit,
    operator: Operator,
    folder: Folder = None,
    trace: TraceLines = False,
    twins: Twins = False,
    seed: Seed = 1,
    true: TrueValues = None,
    fault: Faults = None,
    consent: Consent = False,
    mischief: MischiefLines = None,
    repeat: Repeat = 1,
    cool_down: CoolDown = None,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    r"""Check, then play the procedure on the bench, and record it.

    Every setting is verified before an output goes on. At every ending the outputs are switched off and read
    to be off; where that cannot be confirmed, exit code 6 says so. Ctrl-C, Ctrl-Z and Ctrl-\ end the run and
    keep the record. Never a substitute for an emergency stop.

    With --repeat each play is a run of its own, and the exit code is that of the worst.
    """
    from railwright.cli.checking import CheckedToday
    from railwright.cli.printer import Printer
    from railwright.cli.series import expect_repeatable, play_series, series_of
    from railwright.cli.told_ending import ending_told
    from railwright.cli.twin import faults_of, mischief_of, overrides_of
    from railwright.documents.message_file import read_messages
    from railwright.running.folder import default_folder
    from railwright.running.interruption import StopRequest, signals_ask

    if not twins and (true or fault or mischief):
        raise BadInput(
            "--true, --fault, --mischief: expected --twins beside them; a real supply has no such thing"
        )
    for option, given_text in (("--unit", unit), ("--operator", operator)):
        filled(option, given_text)
    detail = Detail(quiet, verbose)
    series = series_of(folder or default_folder(procedure, unit), repeat, cool_down)
    started: TwinBench | None = None
    stop = StopRequest()
    # Left last: what is told of an ending waits for nothing but itself, and holds up nothing.
    with ending_told(read_messages(), quiet) as teller, contextlib.ExitStack() as stack:
        # Started first, so that it is there when the check is done.
        guard = _Guard()
        stack.callback(guard.close)
        check = CheckedToday(procedure, detail, simulated=twins)
        found = checked = check()
        expect_repeatable(series, checked.documents)
        if not may_run(checked, series.folders[0], detail):
            return Exit.STOPPED
        if twins:
            documents = checked.documents
            checked, started = on_twins(
                stack,
                checked,
                detail,
                seed=seed,
                overrides=overrides_of(true or []),
                faults=faults_of(fault or [], tuple(documents.device.inputs)),
                mischief=mischief_of(mischief or [], documents.bench),
            )
        teller.begins(checked.documents.procedure.procedure, unit, series, simulated=twins)
        # Signals are requests, and printing is done by a thread, until the last line is out.
        stack.enter_context(signals_ask(stop))
        printer = stack.enter_context(Printer(stop))
        given: dict[str, Any] = {
            "stop": stop,
            "consent": consent,
            "trace": printer.trace if trace else None,
        }
        if twins:
            given["wait_for_lost"] = LOST_TWIN
        from railwright.cli.by_hand import ask_a_person
        from railwright.running.by_hand import SimulatedHands

        given["hands"] = ask_a_person if started is None else SimulatedHands(started.set_by_hand)

        taken: dict[str, int | None] = {}

        def against_the_next() -> str:
            nonlocal found, checked
            for name, before in taken.items():
                if taken_at(checked, name) != before:
                    return f"'{name}' was switched off or used by another program meanwhile"
            if (again := check()) is found:
                return ""
            say("checked again, as the day or what was proved is another:")
            found, bench = again, checked.documents.bench
            checked = replace(again, documents=replace(again.documents, bench=bench))
            return "" if may_run(checked, series.place, detail) else "a finding stops the next"

        def play_one(number: int, place: Path) -> RunOutcome:
            link = guard.link if number == 1 else guard.next()
            outcome = play(checked, unit, operator, place, printer, quiet=quiet, link=link, **given)
            stands(code_of_run(outcome))
            report_outcome(outcome, quiet, checked.documents)
            if started is not None:
                report_truth(outcome, started, quiet)
            if number < series.times:
                guard.close()
                taken.update({name: taken_at(checked, name) for name in supplies_of(checked)})
            return outcome

        played = play_series(series, play_one, against_the_next, stop, tell=detail.say)
        stands(played.code)
        teller.ends(played)
    if loss := loss_of(sys.stderr):
        say(f"caution: {loss}")
    return played.code


def supplies_of(checked: Checked) -> tuple[str, ...]:
    """The supplies that a run has to do with."""
    feeds = checked.settings.set_points.values()
    return tuple(dict.fromkeys(each.output.supply for feed in feeds for each in feed.outputs))


def taken_at(checked: Checked, supply: str) -> int | None:
    """`guard.locks.last_taken` of a supply."""
    from railwright.guard.locks import last_taken, runtime_folder

    return last_taken(checked.documents.bench.supplies[supply].address, runtime_folder())


def _started_guard() -> ProcessLink:
    """BadInput where none can be started."""
    from railwright.guard.process_link import ProcessLink

    try:
        return ProcessLink()
    except OSError as error:
        raise BadInput(f"expected a guard beside the run, got '{error}': begin again") from None


class _Guard:
    """The guard beside the run that goes on: a process for each."""

    def __init__(self) -> None:
        self.link = _started_guard()

    def next(self) -> ProcessLink:
        """One for the next play; that of the last has ended."""
        self.close()
        self.link = _started_guard()
        return self.link

    def close(self) -> None:
        self.link.close()


def on_twins(
    stack: contextlib.ExitStack, checked: Checked, detail: Detail, **given: Any
) -> tuple[Checked, TwinBench]:
    """Simulated supplies, started for one run; and what was checked, on their addresses."""
    from railwright.twin.launcher import TwinBench

    documents = checked.documents
    bench = TwinBench(documents.bench, documents.device, documents.procedure, ports="free", **given)
    started = stack.enter_context(bench)
    for name, address in started.addresses.items():
        detail.say(f"simulated: {name} at {address}")
    return replace(checked, documents=replace(documents, bench=started.bench)), started


def may_run(checked: Checked, folder: Path, detail: Detail = USUAL) -> bool:
    """Whether nothing blocks the run; says what does. BadInput where the folder is in use."""
    expect_free(folder)
    assumptions = () if checked.rehearsal is None else checked.rehearsal.assumptions
    return may_be_energised(checked.settings.findings, checked.settings.blocked, detail, assumptions)


def may_be_energised(
    findings: Sequence[Finding], blocked: bool, detail: Detail, assumptions: Sequence[Assumption] = ()
) -> bool:
    """Whether nothing blocks it; says what was found."""
    from railwright.cli.assumptions import print_assumptions
    from railwright.cli.console import console
    from railwright.cli.findings import findings_table, problems, summary
    from railwright.settings.findings import ASSUMED

    shown = problems(findings)
    if detail.verbose:
        shown = [finding for finding in findings if finding.rule != ASSUMED]
    out = console()
    if shown:
        out.print(findings_table(shown))
    if detail.verbose and assumptions:
        print_assumptions(out, assumptions)
    if not detail.quiet:
        out.print(f"check: {summary(findings)}")
    if blocked:
        complain("nothing was energised: a finding stops the run, and the procedure does not override it")
    return not blocked


def play(
    checked: Checked,
    unit: str,
    operator: str,
    folder: Path,
    printer: Printer,
    *,
    quiet: bool = False,
    display: PrintedLines | None = None,
    **given: Any,
) -> RunOutcome:
    """The run itself, with its progress shown by the printer; `given` goes to `railwright.running.runner.run`
    as it is. display: what is drawn, in place of the usual.
    """
    from railwright.cli.live import live
    from railwright.running.runner import run as run_procedure
    from railwright.settings.data import as_data

    display = display or live(printer.out, given.get("trace") == printer.trace, quiet)
    with printer.showing(display) as progress:
        return run_procedure(
            checked.documents,
            checked.settings.set_points,
            unit=unit,
            operator=operator,
            folder=folder,
            progress=progress,
            findings=checked.settings.findings,
            settings=as_data(checked.settings),
            **given,
        )


def report_outcome(outcome: RunOutcome, quiet: bool = False, documents: Documents | None = None) -> None:
    """How it ended, how the outputs went off, what to look out for, and where the record is.

    quiet: of the outputs, only those that are not simply off. documents: what was played; with them, what its
    set points left open that came late.
    """
    say(headline(outcome))
    for line in outcome.not_confirmed:
        say(line)
    # Who sends the output to a file must not miss this on the terminal.
    if not outcome.off_confirmed and not same_file(sys.stdout, sys.stderr):
        complain("\n".join([headline(outcome), *outcome.not_confirmed]))
    if outcome.remedy:
        say(f"→ {outcome.remedy}")
    if not outcome.energised and outcome.off_confirmed:
        say("nothing was energised")
    for off in outcome.switched_off.values():
        if not quiet or off.stays_on or not off.confirmed:
            say(f"{off.input}: {off_words(off)}")
    # What was not played deviates from nothing; how it ended stands above.
    for line in outcome.deviations if outcome.energised else ():
        if not outcome.cause or outcome.cause not in line:
            say(f"deviation: {line}")
    for line in _left_open(documents, outcome) if documents is not None and outcome.energised else ():
        say(f"deviation: {line}")
    for line in outcome.cautions:
        complain(f"caution: {line}")
    if outcome.fault:
        complain(f"{outcome.fault}railwright: this is a fault in Railwright itself, not in your documents")
    say(f"run: {outcome.folder}")


def _left_open(documents: Documents, outcome: RunOutcome) -> Iterator[str]:
    from railwright.evaluation.played import left_open
    from railwright.plan.timeline import timeline_of

    procedure = documents.procedure
    yield from left_open(procedure, timeline_of(procedure, documents.device), outcome.record)


def off_words(off: SwitchedOff) -> str:
    """How the outputs of one input ended."""
    from railwright.quantities import show
    from railwright.records.ends import last_read

    if off.stays_on:
        return f"stays on, because {off.stays_on}"
    if off.confirmed and off.holds is not None:
        return f"off confirmed, device holds {show(off.holds, 'V')}"
    threshold = show(off.threshold, "V")
    if off.fell_after is not None:
        voltage = f"below {threshold} after {show(off.fell_after, 's')}"
    else:
        voltage = f"{last_read(off.residual, off.before)} (threshold {threshold})"
    if off.confirmed:
        return f"off confirmed, {voltage}"
    state = "the output says that it is off" if off.verified else "its state was not read to be off"
    return f"OFF NOT CONFIRMED: {state}, {voltage}"


def report_truth(outcome: RunOutcome, twins: TwinBench | VirtualNetwork, quiet: bool = False) -> None:
    """Keep what the seed had drawn beside the record. Where that fails, the run has ended as it has."""
    from railwright.cli.truth import keep_truth

    try:
        kept = keep_truth(outcome.folder, twins)
        if not quiet:
            say(f"what the seed had drawn, to compare: {kept}")
    except (OSError, ValueError) as error:
        complain(f"caution: what the seed had drawn is not kept beside the record: {error}")
