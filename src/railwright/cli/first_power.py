"""`railwright first-power`: procedures for the first power-up of an unknown device."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path
from typing import Annotated

import typer

from railwright.cli.arguments import BenchPath, Quiet, Verbose, folder_to_fill
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, say

DevicePath = Annotated[Path, typer.Argument(metavar="DEVICE", help="The device document (YAML).")]
Folder = Annotated[
    Path | None,
    typer.Option(
        "--to",
        parser=folder_to_fill,
        metavar="FOLDER",
        help="Where to write; else beside the device document.",
    ),
]
HookUpFrom = Annotated[
    Path | None,
    typer.Option(
        "--hook-up", metavar="PROCEDURE", help="Take hook-up, order and limits from this procedure."
    ),
]
Only = Annotated[
    list[str] | None,
    typer.Option("--input", metavar="INPUT", help="Power this input only; may be given several times."),
]
UpTo = Annotated[
    list[str] | None,
    typer.Option(
        "--up-to",
        metavar="INPUT=VOLTAGE",
        help="Raise this input no higher, such as main=9V; may be given several times.",
    ),
]


# Many: each is an argument or an option of the command.
def first_power(
    device: DevicePath,
    bench: BenchPath,
    to: Folder = None,
    hook_up: HookUpFrom = None,
    only: Only = None,
    up_to: UpTo = None,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Write two procedures for the first power-up of an unknown device.

    The first checks the leads at little energy: shorts, polarity, exchanged leads, sense leads, capacitance.
    The second raises the inputs by stages. Both stop where a current leaves what is expected of it, and say
    what is likely wrong. A file that is there already is never overwritten.
    """
    from railwright.documents.loader import load_bench, load_device
    from railwright.first_power.figures import NotPossible
    from railwright.first_power.make import first_power as make
    from railwright.records.manifest import write_together

    detail = Detail(quiet, verbose)
    levels = dict(_level(each) for each in up_to or ())
    given = None
    if hook_up is not None:
        from railwright.cli.checking import hooked_up_documents

        documents = hooked_up_documents(hook_up)
        given = documents.procedure
        loaded, on = documents.device, documents.bench
        if loaded != load_device(device).model or on != load_bench(bench).model:
            raise BadInput(f"{hook_up}: expected a procedure of {device} on {bench}, got one of others")
    else:
        loaded, on = load_device(device).model, load_bench(bench).model
    detail.read([path for path in (device, bench, hook_up) if path is not None])
    folder = to if to is not None else device.parent
    stem = device.name.split(".")[0]
    paths = [folder / f"{stem}-first-power-{part}.procedure.yaml" for part in ("1-leads", "2-rise")]
    for path in paths:
        if path.exists():
            raise FileExistsError(
                f"{path}: expected a folder without it, got one that has it; name another with --to FOLDER, "
                "or remove it"
            )
    relative = tuple(Path(os.path.relpath(path, folder)).as_posix() for path in (device, bench))
    try:
        with detail.timed("procedures"):
            made = make(loaded, on, (relative[0], relative[1]), given, dt.date.today(), only or (), levels)
    except NotPossible as error:
        raise BadInput(f"{device}: {error}") from None
    write_together(dict(zip(paths, (made.leads, made.rise), strict=True)), new=True, folders=True)
    for path in paths:
        say(path)
    detail.say(f"Now read them, then: railwright check {paths[0]}")
    return Exit.DONE


def _level(text: str) -> tuple[str, float]:
    """An input and a voltage [V] of `INPUT=VOLTAGE`."""
    from railwright.quantities import parse_value

    name, sign, volts = text.rpartition("=")
    if not sign or not name:
        raise BadInput(f"--up-to: expected an input and a voltage such as 'main=9V', got '{text}'")
    try:
        return name, parse_value(volts, "V")
    except ValueError as error:
        raise BadInput(f"--up-to: {error}") from None
