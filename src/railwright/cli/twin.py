"""`railwright twin`: the bench's supplies, simulated, at their addresses."""

from __future__ import annotations

import math
import re
import signal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import BenchPath, Quiet, Seed, Verbose
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, say

if TYPE_CHECKING:
    from railwright.documents.bench import Bench
    from railwright.twin.faults import TwinFault
    from railwright.twin.launcher import TwinBench
    from railwright.twin.mischief.script import Mischief
    from railwright.twin.recorder import Trigger

ProcedurePath = Annotated[
    Path | None,
    typer.Option(
        "--procedure", metavar="PROCEDURE", help="Connect what this procedure hooks up; else nothing is."
    ),
]
True_ = Annotated[
    list[str] | None,
    typer.Option(
        "--true",
        metavar="NAME=VALUE",
        help="A true parameter, as main.capacitor.capacitance=x1.3, or =0.0013 (SI units).",
    ),
]
Free = Annotated[
    bool, typer.Option("--free-ports", help="Listen on free ports, not on the bench's addresses.")
]
RecorderName = Annotated[
    str | None, typer.Option("--recorder", help="Also record with this recorder of the bench.")
]
To = Annotated[Path | None, typer.Option("--to", metavar="FILE", help="Where the recording goes (CSV).")]
TriggerText = Annotated[
    str | None,
    typer.Option(
        "--trigger", metavar="'INPUT voltage|current above|below VALUE'", help="What starts the recording."
    ),
]
Probes = Annotated[
    list[str] | None,
    typer.Option(
        "--probe",
        metavar="INPUT",
        help="An input that the recorder sees, repeatable; left out: the trigger's input alone.",
    ),
]
Before = Annotated[str, typer.Option(metavar="TIME", help="How much before its trigger a recording keeps.")]
Length = Annotated[str, typer.Option(metavar="TIME", help="How long a recording is.")]
Faults = Annotated[
    list[str] | None,
    typer.Option(
        "--fault",
        metavar="'KIND INPUT'",
        help="What lies wrong: 'short main', 'open main', 'reversed main', 'exchanged main aux', 'sense open "
        "main', 'sense reversed main', 'sense shorted main', 'sense crossed main aux'.",
    ),
]
MischiefLines = Annotated[
    list[str] | None,
    typer.Option(
        "--mischief",
        metavar="'SUPPLY: KIND …'",
        help="A fault at an instant: 'left: silent at message 40', 'left.1: overheats at 1.5 s for 2 s', "
        "'left: deaf at \"OUTP OFF\" for 1 time'.",
    ),
]
ShowTrue = Annotated[bool, typer.Option("--show-true", help="Print the true parameters and errors.")]
Truth = Annotated[
    Path | None, typer.Option("--truth", metavar="FILE", help="Write the true parameters and errors (JSON).")
]
Seconds = Annotated[float | None, typer.Option(help="Stop after so long; else Ctrl-C does.", min=0.0)]

BEFORE, LENGTH = "20 ms", "500 ms"
_TRIGGER = re.compile(r"\s*(.+?)\s+(voltage|current)\s+(above|below)\s+(.+?)\s*")


# One piece: its docstring is the help.
# Many: each is an option of the command line.
def twin(
    bench: BenchPath,
    procedure: ProcedurePath = None,
    seed: Seed = 1,
    true: True_ = None,
    fault: Faults = None,
    mischief: MischiefLines = None,
    show_true: ShowTrue = False,
    truth: Truth = None,
    free_ports: Free = False,
    recorder: RecorderName = None,
    to: To = None,
    trigger: TriggerText = None,
    probe: Probes = None,
    before: Before = BEFORE,
    length: Length = LENGTH,
    seconds: Seconds = None,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Simulate the bench's supplies over TCP, HiSLIP or a serial line, until Ctrl-C.

    Each supply is a process of its own, or shares one with those behind the same relays, with the physics
    behind it in real time. What the seed has drawn, no evaluation is told; --show-true and --truth tell you,
    to compare.
    """
    from railwright.cli.targets import as_target
    from railwright.documents.loader import load_bench
    from railwright.twin.launcher import TwinBench, serve_bench

    detail = Detail(quiet, verbose)
    device = plan = None
    loaded = load_bench(bench).model
    if procedure is not None:
        from railwright.cli.checking import hooked_up_documents

        with detail.timed("reading and hook-up"):
            documents = hooked_up_documents(procedure)
        detail.read(documents.paths.values())
        device, plan = documents.device, documents.procedure
        if documents.bench != loaded:
            raise BadInput(
                f"{procedure}: expected a procedure on the bench {bench}, got one on another bench"
            )
    else:
        detail.read([bench])
    for option, path in (("--truth", truth), ("--to", to)):
        as_target(option, path, (bench, *documents.files) if procedure is not None else (bench,))
    recording = None
    if recorder is not None or to is not None:
        if recorder is None or to is None:
            raise BadInput("--recorder and --to go together: which recorder of the bench, and where to write")
        if plan is None:
            raise BadInput("--recorder needs --procedure: with nothing connected there is nothing to record")
        moment = _trigger(trigger, before, length, tuple(plan.hook_up))
        recording = (_known_recorder(loaded, recorder), moment, to, _probed(probe or [], tuple(plan.hook_up)))
    elif probe or trigger is not None or (before, length) != (BEFORE, LENGTH):
        raise BadInput(
            "--probe, --trigger, --before and --length go with --recorder: which one of the bench records"
        )
    twins = TwinBench(
        loaded,
        device,
        plan,
        seed=seed,
        overrides=overrides_of(true or []),
        faults=faults_of(fault or [], tuple(device.inputs) if device is not None else ()),
        mischief=mischief_of(mischief or [], loaded),
        ports="free" if free_ports else "bench",
    )
    # A shell that starts a command in the background has it ignore this signal.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    serve_bench(
        twins,
        recording=recording,
        say=say,
        ready=lambda twins: _ready(twins, quiet=quiet, show_true=show_true, truth=truth),
        seconds=seconds,
    )
    return Exit.DONE


def _ready(twins: TwinBench, *, quiet: bool, show_true: bool, truth: Path | None) -> None:
    """What was assumed (quiet: is not said) and, where it is asked for, what is true."""
    from railwright.cli.assumptions import print_assumptions
    from railwright.cli.console import console
    from railwright.cli.truth import print_truth, write_truth

    out = console()
    if not quiet:
        print_assumptions(out, twins.assumptions)
    if show_true:
        print_truth(out, twins)
    if truth is not None:
        write_truth(truth, twins)
        say(f"true parameters and errors: {truth}")


def _known_recorder(bench: Bench, name: str) -> str:
    if name not in bench.recorders:
        known = ", ".join(f"'{each}'" for each in bench.recorders) or "none"
        raise BadInput(f"--recorder: expected a recorder of the bench ({known}), got '{name}'")
    return name


def _probed(given: list[str], inputs: tuple[str, ...]) -> tuple[str, ...]:
    for name in given:
        if name not in inputs:
            raise BadInput(f"--probe: expected one of the inputs {', '.join(inputs)}, got '{name}'")
    return tuple(dict.fromkeys(given))


def faults_of(given: list[str], inputs: tuple[str, ...]) -> tuple[TwinFault, ...]:
    """What `--fault` names, of a device with these inputs."""
    from railwright.twin.faults import FaultError, parse_faults

    try:
        return parse_faults(given, inputs)
    except FaultError as error:
        raise BadInput(f"--fault: {error}") from None


def mischief_of(given: list[str], bench: Bench) -> tuple[Mischief, ...]:
    """What `--mischief` names, on this bench."""
    from railwright.twin.mischief.script import MischiefError, parse_mischief

    try:
        return parse_mischief(given, bench.supplies)
    except MischiefError as error:
        raise BadInput(f"--mischief: {error}") from None


def overrides_of(given: list[str]) -> dict[str, str]:
    """`NAME=x1.3` scales the nominal value, `NAME=1.3e-3` is the value itself in SI units."""
    overrides = {}
    for text in given:
        name, equals, value = text.partition("=")
        if not equals or not name.strip() or not value.strip():
            raise BadInput(f"--true: expected NAME=x1.3 or NAME=VALUE in SI units, got '{text}'")
        value = value.strip()
        factor = value.startswith("x")
        try:
            usable = math.isfinite(float(value.removeprefix("x")))
        except ValueError:
            usable = False
        if not usable:
            raise BadInput(f"--true: expected a factor such as x1.3, or a number in SI units, got '{text}'")
        overrides[name.strip()] = value if factor else f"={value}"
    return overrides


def _trigger(text: str | None, before: str, length: str, inputs: tuple[str, ...]) -> Trigger:
    """What starts a recording; left out: the first input's voltage passing 1 V upwards."""
    from railwright.quantities import parse_value
    from railwright.twin.recorder import Trigger

    found = _TRIGGER.fullmatch(text if text is not None else f"{inputs[0]} voltage above 1 V")
    if found is None:
        raise BadInput(f"--trigger: expected such as 'main current above 50 mA', got '{text}'")
    name, channel, side, level = found.groups()
    if name not in inputs:
        raise BadInput(f"--trigger: expected one of the inputs {', '.join(inputs)}, got '{name}'")
    try:
        return Trigger(
            name,
            "voltage" if channel == "voltage" else "current",
            parse_value(level, "V" if channel == "voltage" else "A"),
            "rise" if side == "above" else "fall",
            parse_value(before, "s"),
            parse_value(length, "s"),
        )
    except ValueError as error:
        raise BadInput(f"--trigger, --before, --length: {error}") from None
