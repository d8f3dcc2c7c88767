"""`railwright demo`: the whole job once, on the tide-gauge example and simulated supplies."""

from __future__ import annotations

import datetime as dt
import socket
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from railwright.cli.arguments import Quiet, Seed, Verbose, folder_to_fill
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, EndedWith, Exit, complain, expect_free, say

if TYPE_CHECKING:
    from railwright.documents.loader import Documents
    from railwright.evaluation.outcome import Evaluation
    from railwright.guard.link import GuardLink
    from railwright.twin.launcher import TwinBench
    from railwright.twin.virtual_network import VirtualNetwork

Folder = Annotated[
    Path | None,
    typer.Option(
        parser=folder_to_fill, metavar="FOLDER", help="Where; must be empty. Default: demo-run-<time>."
    ),
]
RealTime = Annotated[
    bool,
    typer.Option(
        "--real-time",
        help="Guard and supplies as processes of their own, over TCP, on the computer's clock: on a busy "
        "computer readings may be missed, and less can be decided.",
    ),
]

KNOWN = "known-outcomes.yaml"
RECORDER = "transient recorder"
TRAFFIC = "scpi.log"


def demo(
    folder: Folder = None,
    seed: Seed = 1,
    real_time: RealTime = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Do the whole job once, on simulated supplies.

    Check, rehearse, run, evaluate twice, report; then compare with what is known to come out. The supplies
    speak SCPI; the traffic is kept in scpi.log. Run, guard and supplies share a simulated clock, so that the
    outcome is the same on a fast, a slow and a busy computer.
    """
    began = time.monotonic()
    detail = Detail(quiet, verbose)
    place = folder or Path(f"demo-run-{dt.datetime.now():%Y%m%d-%H%M%S}")
    procedure = _lay_out(place)
    pdf, differences = _whole_job(place, procedure, seed, real_time, detail)
    for line in differences:
        complain(f"not as known: {line}")
    if differences and real_time:
        complain("a machine too busy to read every 10 ms leaves less to decide from: see the deviations")
    detail.say("")
    say(f"The report: {pdf}")
    detail.say(f"The whole job took {time.monotonic() - began:.0f} s.")
    return Exit.FAILED if differences else Exit.DONE


def _heading(detail: Detail, text: str) -> None:
    detail.say(f"\n== {text}\n")


def _lay_out(place: Path) -> Path:
    """Copy the example's documents, its supplies on ports that are free; the procedure's path."""
    from railwright.documents.templates import write_new
    from railwright.examples import example
    from railwright.records.manifest import write_atomically

    expect_free(place)
    write_new(place, example())
    bench = place / "quay.bench.yaml"
    text = bench.read_text(encoding="utf-8")
    for port, free in zip((5025, 5026), _free_ports(2), strict=True):
        text = text.replace(f"::{port}::SOCKET", f"::{free}::SOCKET")
    write_atomically(bench, text)
    return place / "power-input.procedure.yaml"


def _free_ports(count: int) -> list[int]:
    """Ports of the loopback interface that nothing listens on now."""
    probes = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports = [probe.getsockname()[1] for probe in probes]
    for probe in probes:
        probe.close()
    return ports


def _whole_job(
    place: Path, procedure: Path, seed: int, real_time: bool, detail: Detail
) -> tuple[Path, list[str]]:
    """Every step of the work; the PDF's path, and what did not come out as known."""
    from railwright.cli import check, rehearse
    from railwright.cli.report import write_report
    from railwright.records.names import FIGURES, JSON, JUNIT, WIRING

    _heading(detail, f"check {procedure}")
    check.check(procedure, quiet=detail.quiet, verbose=detail.verbose)
    _heading(detail, f"rehearse {procedure}")
    plot = place / "rehearsal.png"
    rehearse.rehearse(procedure, plot=plot, quiet=detail.quiet, verbose=detail.verbose)
    recording = place / "scope.csv"
    run = _run_on_twins(place, procedure, recording, seed, real_time, detail)
    known = _known(place)
    _heading(detail, f"evaluate {run}")
    first = _evaluate(run, None, detail)
    _heading(detail, f'evaluate {run} --record {recording} --recorder "{RECORDER}"')
    second = _evaluate(run, recording, detail)
    _heading(detail, f"report {run}")
    pdf, _ = write_report(run, {"customer": "Harbour of Exampleton"}, detail)
    detail.say(f"written: {pdf}, {JSON}, {JUNIT}, {WIRING}, {FIGURES}/")
    differences = [
        *_compare("by the supplies' readings", known["supply readings"], first),
        *_compare("with the recording", known["with recording"], second),
    ]
    return pdf, differences


def _run_on_twins(
    place: Path, procedure: Path, recording: Path, seed: int, real_time: bool, detail: Detail
) -> Path:
    """Start the twins, run on them, and let the twins' recorder write its capture."""
    from railwright.cli.checking import check_documents
    from railwright.cli.printer import Printer, traffic_file
    from railwright.cli.run import may_run, play, report_outcome, report_truth
    from railwright.cli.run_words import code_of_run
    from railwright.running.interruption import StopRequest, signals_ask
    from railwright.twin.recorder import Trigger

    checked = check_documents(procedure, rehearsed=True, detail=detail)
    documents = checked.documents
    _heading(detail, f"twin {documents.sources['bench'].file} --procedure {procedure} --seed {seed}")
    with _supplies(documents, seed, real_time, detail) as (twins, link):
        for name, supply in documents.bench.supplies.items():
            detail.say(f"{name}: {supply.address}")
        folder = place / "run"
        _heading(
            detail, f'run {procedure} --unit S-0007 --operator "Demonstration" --folder {folder} --trace'
        )
        if not may_run(checked, folder, detail):
            raise BadInput("the demonstration's own documents do not pass the check")
        stop = StopRequest()
        with signals_ask(stop), Printer(stop) as printer, traffic_file(place / TRAFFIC, stop) as trace:
            who = "S-0007", "Demonstration"
            given: dict[str, Any] = {"stop": stop, "trace": trace, "link": link}
            outcome = play(checked, *who, folder, printer, quiet=detail.quiet, **given)
            report_outcome(outcome, detail.quiet, checked.documents)
            report_truth(outcome, twins, detail.quiet)
        if (code := code_of_run(outcome)) is not Exit.DONE:
            raise EndedWith(code, f"the demonstration's run did not come to its end: {outcome.cause}")
        # What `railwright twin --recorder` does: the rise of the transducer's voltage starts the capture.
        trigger = Trigger("transducer", "voltage", 1.0, "rise", 0.2, 0.6)
        if not twins.record(RECORDER, trigger, recording, inputs=("main",)):
            raise BadInput("the simulated recorder was never triggered")
    _show_traffic(place / TRAFFIC, detail)
    return folder


@contextmanager
def _supplies(
    documents: Documents, seed: int, real_time: bool, detail: Detail
) -> Iterator[tuple[TwinBench | VirtualNetwork, GuardLink]]:
    """The simulated supplies of a bench, and the guard that speaks to them."""
    from railwright.guard.local_link import LocalLink
    from railwright.guard.process_link import ProcessLink
    from railwright.twin.launcher import TwinBench
    from railwright.twin.virtual_network import VirtualNetwork
    from railwright.virtual_time import VirtualLoop

    given = documents.bench, documents.device, documents.procedure
    if real_time:
        with TwinBench(*given, seed=seed, ports="bench") as twins:
            yield twins, ProcessLink()
        return
    detail.say(
        "run, guard and supplies share a simulated clock; --real-time: processes over TCP, on the computer's"
    )
    loop = VirtualLoop()
    with VirtualNetwork(loop, *given, seed=seed) as network:
        yield network, LocalLink(loop, network.connect)


def _show_traffic(path: Path, detail: Detail) -> None:
    """The first lines of the SCPI traffic, and how many there are."""
    text = path.read_text(encoding="utf-8").splitlines()
    detail.say(f"SCPI traffic: {len(text)} lines in {path}; the first:")
    for line in text[:12]:
        detail.say(f"  {line}")


def _evaluate(run: Path, recording: Path | None, detail: Detail) -> Evaluation:
    from railwright.archive.stored import ExternalRecording, evaluate_run, open_stored
    from railwright.cli.console import console
    from railwright.cli.outcomes import print_evaluation

    evaluation = evaluate_run(open_stored(run), [ExternalRecording(recording, RECORDER)] if recording else [])
    print_evaluation(console(), evaluation, detail)
    return evaluation


def _known(place: Path) -> Mapping[str, Mapping[str, str]]:
    from ruamel.yaml import YAML

    return YAML(typ="safe").load(place / KNOWN)  # type: ignore[no-any-return]


def _compare(which: str, known: Mapping[str, str], evaluation: Evaluation) -> list[str]:
    came = {result.requirement: result for result in evaluation.results}
    differences = [
        f"{name}: expected {known[name]} {which}, there is no such requirement"
        for name in known.keys() - came
    ]
    for name, result in came.items():
        if known.get(name) != result.outcome.value:
            expected = known.get(name, "nothing")
            differences.append(
                f"{name}: expected {expected} {which}, got {result.outcome.value}: {result.reason}"
            )
    return differences
