"""`railwright prove`: the bench's outputs and leads, one after the other, into its electronic load."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from railwright.cli.arguments import Json, Quiet, Seed, TrueValues, Verbose, filled
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, complain, say

if TYPE_CHECKING:
    from railwright.documents.bench import Bench
    from railwright.documents.output_name import OutputName
    from railwright.guard.link import GuardLink
    from railwright.proving.bench import BenchProofRecord, Pair, ProvedStage
    from railwright.twin.faults import TwinFault

BenchFile = Annotated[Path, typer.Argument(metavar="BENCH", help="The bench document.")]
Operator = Annotated[str, typer.Option(metavar="NAME", help="Who proves it; stands on the page.")]
LoadName = Annotated[
    str | None, typer.Option("--load", metavar="NAME", help="Which electronic load, where there are several.")
]
Pairs = Annotated[
    list[str] | None,
    typer.Option(
        "--through",
        metavar="'OUTPUT LEAD'",
        help="Only this output through this lead, such as 'left.1 thin pair'; may be given several times. "
        "Left out: every output and every lead once.",
    ),
]
HoldsFor = Annotated[int, typer.Option("--days", min=1, max=3660, help="For how many days it holds.")]
To = Annotated[
    Path | None, typer.Option("--to", metavar="FILE", help="The page, a .pdf. Default: BENCH's, .proof.pdf")
]
Twins = Annotated[bool, typer.Option("--twins", help="On simulated instruments, in simulated time.")]
Faults = Annotated[
    list[str] | None,
    typer.Option("--fault", metavar="'KIND LEAD'", help="With --twins: what lies wrong in a lead."),
]


# One piece: what is asked, proved, written and said, in this order.
# Many: each is an option of the command line.
def prove(
    bench: BenchFile,
    operator: Operator,
    load: LoadName = None,
    through: Pairs = None,
    days: HoldsFor = 365,
    to: To = None,
    twins: Twins = False,
    seed: Seed = 1,
    true: TrueValues = None,
    fault: Faults = None,
    json: Json = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Prove each output and lead into the electronic load, with the device unplugged.

    SWITCHES OUTPUTS ON. For each output it asks to unplug the device and connect the lead to the load, looks
    that no current flows with the load off, then at: on, off, CV, OVP (by lowering its level at a low
    voltage), levels, drop along the lead, remote sense, current limit and its response, trip delay. A guard
    switches output and load off at every ending. Writes a page with lines for signatures. Exit code 1: it
    found something; 5: it found nothing, and something could not be judged.
    """
    from railwright.cli.twin import overrides_of
    from railwright.documents.loader import load_bench
    from railwright.documents.proof_files import keep_proofs
    from railwright.proving.bench import NotReady, prove_bench
    from railwright.proving.data import record_as_data
    from railwright.records.manifest import write_atomically
    from railwright.report.proof_page import proof_pdf

    filled("--operator", operator)
    if not twins and (true or fault):
        raise BadInput("--true, --fault: expected --twins beside them; a real bench has no such thing")
    path = to if to is not None else bench.with_name(bench.name.split(".")[0] + ".proof.pdf")
    if path.suffix.lower() != ".pdf":
        raise BadInput(f"--to: expected a file that ends in .pdf, got '{path}'")
    detail = Detail(quiet, verbose)
    with detail.timed("reading"):
        found = load_bench(bench).model
    detail.read([bench])
    sink = _load_of(found, load, bench)
    pairs = _pairs(found, through or [])
    simulated = _Simulated(
        found, sink, seed, overrides_of(true or []), _faults(fault, pairs) if fault else ()
    )
    at = dt.datetime.now().astimezone()
    try:
        record = prove_bench(
            found,
            sink,
            pairs,
            operator=operator.strip(),
            at=at,
            place=simulated if twins else _real,
            ready=(lambda output, lead: True) if twins else _Asked(sink),
            holds_for=days,
            tell=(lambda stage: None) if quiet or json else _say_stage,
            say=complain,
        )
    except NotReady as error:
        complain(str(error))
        return Exit.STOPPED
    write_atomically(path, proof_pdf(record))
    kept = keep_proofs(record.proofs)
    if json:
        from railwright.cli.console import print_json

        print_json({**record_as_data(record), "page": str(path), "kept": None if kept is None else str(kept)})
    else:
        _say_record(record, path, kept)
    if record.not_confirmed:
        lines = [f"OFF NOT CONFIRMED: {line}: use the mains switch" for line in record.not_confirmed]
        complain("\n".join(lines))
        return Exit.OFF_NOT_CONFIRMED
    if not record.passed:
        return Exit.FAILED
    return Exit.INCONCLUSIVE if record.unjudged else Exit.DONE


def _load_of(bench: Bench, name: str | None, path: Path) -> str:
    """The load that is meant. BadInput where there is none, or more than one."""
    known = list(bench.electronic_loads)
    if name is None and len(known) == 1:
        return known[0]
    if name is not None and name in known:
        return name
    listed = ", ".join(known) or "none"
    if name is None and not known:
        raise BadInput(f"{path}:1:1: expected 'electronic_loads', got none; describe the load that is there")
    raise BadInput(f"--load: expected one of the bench's electronic loads ({listed}), got {name or 'none'!r}")


def _faults(texts: Sequence[str], pairs: Sequence[Pair]) -> tuple[TwinFault, ...]:
    """What lies wrong in the leads that are proved. BadInput: such a fault, or lead, is not there."""
    from railwright.twin.faults import OF_A_LEAD, FaultError, parse_faults

    try:
        return parse_faults(texts, sorted({lead for _, lead in pairs}), OF_A_LEAD, "lead that is proved")
    except FaultError as error:
        raise BadInput(f"--fault: {error}") from None


def _pairs(bench: Bench, texts: Sequence[str]) -> tuple[Pair, ...]:
    """Outputs and leads as they are named. BadInput."""
    from railwright.proving.bench import pairs_of

    chosen = []
    for text in texts:
        words = " ".join(text.split())
        # Names have blanks in them: the longest that the text begins with.
        begun = [each for each in bench.output_names if f"{words} ".startswith(f"{each} ")]
        name = max(begun, key=len, default=None)
        if name is None:
            known = ", ".join(bench.output_names)
            raise BadInput(f"--through: expected an output of the bench first ({known}), got '{text}'")
        lead = words[len(name) + 1 :]
        if lead not in bench.leads:
            known = ", ".join(f"'{each}'" for each in bench.leads)
            raise BadInput(f"--through: expected a lead of the bench after it ({known}), got '{text}'")
        chosen.append((name, lead))
    return pairs_of(bench, chosen)


class _Simulated:
    """Places on simulated instruments."""

    # Many: what is simulated.
    def __init__(
        self, bench: Bench, load: str, seed: int, overrides: dict[str, str], faults: Sequence[TwinFault]
    ) -> None:
        self.bench, self.load, self.seed = bench, load, seed
        self.overrides, self.faults = overrides, faults

    @contextmanager
    def __call__(self, output: OutputName, lead: str) -> Iterator[GuardLink]:
        from railwright.proving.simulated import NotSimulated, simulated_place

        given: dict[str, Any] = {"seed": self.seed, "overrides": self.overrides, "faults": self.faults}
        try:
            with simulated_place(self.bench, output, lead, self.load, **given) as (link, _):
                yield link
        except NotSimulated as error:
            raise BadInput(f"--twins: {error}") from None


def _real(output: OutputName, lead: str) -> AbstractContextManager[GuardLink]:
    from contextlib import closing

    from railwright.guard.process_link import ProcessLink

    return closing(ProcessLink())


class _Asked:
    """Asks the person at the bench; nobody sits at a terminal: nothing is switched on."""

    def __init__(self, load: str) -> None:
        self.load = load

    def __call__(self, output: OutputName, lead: str) -> bool:
        if not sys.stdin.isatty():
            return False
        print(
            f"Unplug the device from every output. Connect {output} through '{lead}' to {self.load}, sense "
            "leads at the load. Type 'unplugged' when that is so:",
            end=" ",
            file=sys.stderr,
            flush=True,
        )
        return sys.stdin.readline().strip().lower() == "unplugged"


def _say_stage(stage: ProvedStage) -> None:
    judged = sum(line.passed is not None for line in stage.lines)
    told = f"{len(stage.found)} found" if stage.found else "nothing found"
    say(f"{stage.output} through '{stage.lead}': {judged} judged, {told}")
    for line in stage.lines:
        if line.passed is not True:
            say(f"  {'found' if line.passed is False else 'not judged'}: {line.what}: {line.why}")


def _say_record(record: BenchProofRecord, path: Path, kept: Path | None) -> None:
    from railwright.report.proof_page import entry_of

    say(f"{record.number}: {'passed' if record.passed else f'{len(record.found)} found'}: {path}")
    if kept is not None:
        say(f"what was proved of the dialects is kept in {kept}")
    if entry := entry_of(record):
        say(f"for the bench document: {entry}")
