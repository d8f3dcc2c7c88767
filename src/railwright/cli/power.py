"""`railwright power`: one input, or one output, by hand at the terminal."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import Quiet, Verbose, filled, folder_to_fill
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, complain

if TYPE_CHECKING:
    from railwright.powering.procedures import Typed

What = Annotated[
    list[str],
    typer.Argument(
        metavar="[DEVICE] BENCH NAME",
        help="The device and bench documents and an input of the device; or the bench alone and one of its "
        "outputs, as left.1.",
    ),
]
Operator = Annotated[str, typer.Option(metavar="NAME", help="Who leads it.")]
Unit = Annotated[str, typer.Option(metavar="SERIAL", help="Serial number of the specimen.")]
At = Annotated[str | None, typer.Option(metavar="V", help="Voltage to begin with; left out: nominal.")]
Between = Annotated[
    str | None,
    typer.Option(
        metavar="'V .. V'", help="Voltages that may be asked for; left out: where the device operates."
    ),
]
AtMost = Annotated[str, typer.Option(metavar="TIME", help="Off after so long, whatever is asked.")]
HookUpFrom = Annotated[
    Path | None, typer.Option("--hook-up", metavar="PROCEDURE", help="Take hook-up and limits from it.")
]
Limit = Annotated[str | None, typer.Option(metavar="A", help="Of an output: the current limit.")]
Bears = Annotated[
    str | None,
    typer.Option(metavar="V", help="Of an output: the highest voltage that what is connected bears."),
]
Lead = Annotated[str, typer.Option(metavar="LEAD", help="Of an output: its lead; left out: worked out.")]
Folder = Annotated[
    Path | None,
    typer.Option(parser=folder_to_fill, metavar="FOLDER", help="Where the run is kept. Default: runs/…"),
]
AsProcedure = Annotated[
    Path | None,
    typer.Option("--as-procedure", metavar="FILE", help="Write what was done as a procedure."),
]
Twins = Annotated[bool, typer.Option("--twins", help="On simulated supplies, started for this.")]
Consent = Annotated[bool, typer.Option("--consent", help="As of 'run'.")]


# One piece: what is asked, shown, powered and written, in this order.
# Many: each is an option of the command line.
def power(
    what: What,
    operator: Operator,
    unit: Unit = "not given",
    at: At = None,
    between: Between = None,
    at_most: AtMost = "1 h",
    hook_up: HookUpFrom = None,
    limit: Limit = None,
    bears: Bears = None,
    lead: Lead = "auto",
    folder: Folder = None,
    as_procedure: AsProcedure = None,
    twins: Twins = False,
    consent: Consent = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Power one input by hand, within what was checked.

    Says what it would set and why, from what the device document says that the input bears, or from what you
    type, and asks. Then Space, Esc or o switch off; on, and another voltage, take a second key and lie
    between the voltages that were checked; m marks an event. A run like any other: guarded, watched,
    recorded, and off at every ending.
    """
    from railwright.cli.keys import KeyPad, pressed
    from railwright.cli.power_view import PowerView
    from railwright.cli.powered import (
        Choices,
        code_of,
        made,
        range_of,
        run_power,
        show_set_points,
        value_of,
    )
    from railwright.cli.run import may_be_energised
    from railwright.job import device_beside, power_output
    from railwright.job import power as of_device

    for path in () if as_procedure is None else (as_procedure, device_beside(as_procedure)):
        if path.exists() and (path == as_procedure or len(what) == 2):
            raise BadInput(f"--as-procedure: expected no file '{path}' yet, got one; name another")
    by, unit = filled("--operator", operator), filled("--unit", unit)
    if not sys.stdin.isatty() or not sys.stdout.isatty():
        raise BadInput("power: expected a terminal with a person at it, got none; see 'railwright output'")
    detail = Detail(quiet, verbose)
    lasts, levels = value_of("--at-most", at_most, "s"), range_of("--between", between)
    if len(what) == 3:
        if limit is not None or bears is not None or lead != "auto":
            raise BadInput("--limit, --bears, --lead: expected an output alone, got a device; leave them out")
        begins = None if at is None else value_of("--at", at, "V")
        device, bench, name = what
        ready = made(
            lambda: of_device(
                device,
                bench,
                name,
                at=begins,
                between=levels,
                at_most=lasts,
                hook_up=hook_up,
                simulated=twins,
            )
        )
    elif len(what) == 2:
        if hook_up is not None:
            raise BadInput("--hook-up: expected a device beside it, got an output alone; leave it out")
        bench, name = what
        typed = _typed(name, at, limit, bears, levels)
        ready = made(lambda: power_output(bench, name, typed, lead=lead, at_most=lasts, simulated=twins))
    else:
        raise BadInput(f"expected DEVICE BENCH INPUT, or BENCH OUTPUT, got {len(what)} words")
    if not may_be_energised(ready.findings, ready.blocked, detail):
        return Exit.STOPPED
    show_set_points(ready, detail)
    print("Switch it on? Type yes: ", end="", file=sys.stderr, flush=True)
    if sys.stdin.readline().strip().lower() != "yes":
        complain("nothing was switched on")
        return Exit.STOPPED
    requests = ready.requests()
    pad = KeyPad(requests, by)
    view = PowerView(sys.stdout, ready.input, lasts, pad)
    outcome = run_power(
        ready,
        Choices(by, unit, folder, twins, consent, as_procedure),
        detail,
        requests=requests,
        display=view,
        beside=lambda: pressed(pad, sys.stdin.fileno()),
    )
    return code_of(outcome)


def _typed(
    output: str, at: str | None, limit: str | None, bears: str | None, levels: tuple[float, float] | None
) -> Typed:
    """What is connected to an output: what the options leave out is asked for."""
    from railwright.powering.procedures import Typed

    volts = _asked("--at", at, "V", f"Voltage of {output}")
    amperes = _asked("--limit", limit, "A", "Current limit")
    most = _asked("--bears", bears, "V", "Highest voltage that what is connected bears")
    low, high = (volts, volts) if levels is None else levels
    return Typed(volts, amperes, most, low, high)


def _asked(option: str, given: str | None, unit: str, question: str) -> float:
    """The value of an option, or what is typed in its place. BadInput where that is none."""
    from railwright.cli.powered import value_of

    if given is None:
        print(f"{question}: ", end="", file=sys.stderr, flush=True)
        given = sys.stdin.readline().strip()
    return value_of(option, given, unit)
