"""`railwright evaluate`: the record of a run compared with what the procedure requires."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import Json, Quiet, RunFolder, Verbose
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, complain

if TYPE_CHECKING:
    from railwright.archive.stored import ExternalRecording
    from railwright.documents.bench import Bench

RecordFiles = Annotated[
    list[Path] | None,
    typer.Option(
        "--record",
        metavar="FILE",
        help="An external recording of the run (CSV, Parquet, HDF5 or WAV): time_s, main_voltage_V, ...",
    ),
]
Recorders = Annotated[
    list[str] | None,
    typer.Option(
        "--recorder", metavar="NAME", help="The recorder of the bench that made it, in the same order."
    ),
]
Keys = Annotated[
    list[str] | None,
    typer.Option(
        "--keys",
        metavar="KEYS",
        help="What its columns leave open, in the same order, as in a document: "
        "'{interval: 20 us, channels: {main_voltage: {column: 2, unit: mV}}}'.",
    ),
]


def evaluate(
    run: RunFolder,
    record: RecordFiles = None,
    recorder: Recorders = None,
    keys: Keys = None,
    json: Json = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Judge every requirement of a run, with its uncertainty.

    Value, 95 % interval, outcome and reason are kept in the run's folder. With --record the recording is
    aligned in time, and decides what the supply's own readings could not.

    --keys says what the recording's columns leave open: time, interval, begin, end, and of each channel its
    column, unit and full_scale; with 'offset: 3.7 ms ± 1 ms' also when its time 0 was in the run.
    """
    from railwright.archive.stored import evaluate_run, open_stored
    from railwright.cli.outcomes import code_of_outcome, print_evaluation
    from railwright.evaluation.data import as_data

    detail = Detail(quiet, verbose)
    with detail.timed("reading"):
        stored = open_stored(run)
    detail.read([*stored.documents.paths.values(), *(record or [])])
    for remark in stored.remarks:
        complain(f"caution: {remark}")
    recordings = _recordings(record or [], recorder or [], keys or [], stored.documents.bench)
    with detail.timed("evaluation"):
        evaluation = evaluate_run(stored, recordings)
    from railwright.cli.console import console, print_json

    if json:
        print_json(
            {"run": stored.data.about.get("run"), "remarks": list(stored.remarks), **as_data(evaluation)}
        )
    else:
        print_evaluation(console(), evaluation, detail)
    return code_of_outcome(evaluation.outcome)


def _recordings(
    files: list[Path], recorders: list[str], keys: list[str], bench: Bench
) -> list[ExternalRecording]:
    """Each file with its recorder, which may be left out where the bench has only one, and its keys."""
    from railwright.archive.stored import ExternalRecording
    from railwright.documents.evaluated_keys import evaluated_keys
    from railwright.quantities import quoted
    from railwright.recordings.errors import RecordingError
    from railwright.recordings.file import find_file

    known = ", ".join(f"'{name}'" for name in bench.recorders) or "none"
    if files and not recorders and len(bench.recorders) == 1:
        recorders = list(bench.recorders) * len(files)
    if len(files) != len(recorders):
        raise BadInput(
            f"--record, --recorder: expected a recorder of the bench ({known}) for each recording, "
            f"got {len(files)} recordings and {len(recorders)} recorders"
        )
    for name in recorders:
        if name not in bench.recorders:
            raise BadInput(f"--recorder: expected a recorder of the bench ({known}), got '{name}'")
    if len(keys) > len(files):
        raise BadInput(
            f"--keys: expected keys once for each recording at most, got {len(files)} recordings and "
            f"{len(keys)} keys"
        )
    for text in keys:
        evaluated_keys(text, "--keys")
    keys = [*keys, *[""] * (len(files) - len(keys))]
    for file in files:
        try:
            find_file(file, called=f"recording in {quoted(str(file))}")
        except RecordingError as error:
            raise BadInput(f"--record: {error.told}") from None
    return [ExternalRecording(*each) for each in zip(files, recorders, keys, strict=True)]
