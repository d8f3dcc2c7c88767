"""`railwright output`: one output of a bench, for scripts."""

from __future__ import annotations

import getpass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import BenchPath, Json, Quiet, Verbose, filled, folder_to_fill
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, say

if TYPE_CHECKING:
    from railwright.cli.powered import Choices
    from railwright.powering.outputs import Standing
    from railwright.powering.procedures import Typed

OutputOf = Annotated[str, typer.Argument(metavar="OUTPUT", help="An output of the bench, as left.1.")]
Read = Annotated[bool, typer.Option("--read", help="Ask how it stands; tell it nothing.")]
Set = Annotated[
    str | None, typer.Option("--set", metavar="V", help="The voltage; alone, the output must be off.")
]
On = Annotated[bool, typer.Option("--on", help="Switch it on, with --set, --limit, --bears and --for.")]
For = Annotated[str | None, typer.Option("--for", metavar="TIME", help="How long it is on.")]
Off = Annotated[bool, typer.Option("--off", help="Switch it off at once, as 'railwright off' does.")]
Limit = Annotated[str | None, typer.Option("--limit", metavar="A", help="Current limit.")]
Bears = Annotated[
    str | None, typer.Option("--bears", metavar="V", help="Highest voltage that what is connected bears.")
]
Lead = Annotated[str, typer.Option(metavar="LEAD", help="The lead of the bench; left out: worked out.")]
Operator = Annotated[
    str | None, typer.Option(metavar="NAME", help="Who switches it on; left out: the name of the login.")
]
Folder = Annotated[
    Path | None,
    typer.Option(parser=folder_to_fill, metavar="FOLDER", help="Where the run is kept. Default: runs/…"),
]
Twins = Annotated[bool, typer.Option("--twins", help="On simulated supplies, started for this.")]
Consent = Annotated[bool, typer.Option("--consent", help="As of 'run'.")]


# One piece: one of four is done, and each says what it needs.
# Many: each is an option of the command line.
def output(
    bench: BenchPath,
    name: OutputOf,
    read: Read = False,
    level: Set = None,
    on: On = False,
    duration: For = None,
    off: Off = False,
    limit: Limit = None,
    bears: Bears = None,
    lead: Lead = "auto",
    operator: Operator = None,
    folder: Folder = None,
    twins: Twins = False,
    consent: Consent = False,
    json: Json = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> Exit:
    """Read, set, or switch one output, for scripts.

    --on --for TIME is a run like any other: checked, with its limits verified first, watched, recorded, and
    off at the end of TIME. A guard holds what is on, and switches off when this command ends, however it
    does: nothing is left on by a command that has ended.
    """
    from railwright.cli.powered import value_of

    asked = [word for word, given in (("--read", read), ("--on", on), ("--off", off)) if given]
    if (
        len(asked) > 1
        or (not asked and level is None)
        or (level is not None and asked in (["--read"], ["--off"]))
    ):
        got = " ".join([*asked, *(["--set"] if level is not None else [])]) or "none"
        raise BadInput(f"expected one of --read, --set, --on and --off, or --set with --on; got {got}")
    needed = {"--set": level, "--limit": limit, "--bears": bears, "--for": duration}
    if on and (missing := [option for option, given in needed.items() if given is None]):
        raise BadInput(f"--on: expected {', '.join(missing)} beside it; write what is connected bears")
    if not on and (more := [o for o, given in needed.items() if o != "--set" and given is not None]):
        raise BadInput(f"{', '.join(more)}: expected --on beside it; remove it")
    if off:
        from railwright.cli.off_now import off_now

        return off_now(str(bench), [name])
    operator = None if operator is None else filled("--operator", operator)
    detail = Detail(quiet, verbose)
    volts = None if level is None else value_of("--set", level, "V")
    if on and volts is not None:
        from railwright.cli.powered import Choices
        from railwright.powering.procedures import Typed

        amperes, most = value_of("--limit", limit or "", "A"), value_of("--bears", bears or "", "V")
        typed = Typed(volts, amperes, most, volts, volts)
        choices = Choices(operator or getpass.getuser(), name, folder, twins, consent)
        return _energise(bench, name, typed, value_of("--for", duration or "", "s"), lead, choices, detail)
    from railwright.job import read_output, set_output

    try:
        found = read_output(bench, name) if volts is None else set_output(bench, name, volts)
    except ValueError as error:
        raise BadInput(str(error)) from None
    _say_standing(found, json)
    return Exit.DONE


# Many: what is energised, by what was typed and chosen.
def _energise(
    bench: Path, name: str, typed: Typed, duration: float, lead: str, choices: Choices, detail: Detail
) -> Exit:
    """On for a time, as a run; off at its end."""
    from railwright.cli.powered import code_of, made, run_power, show_set_points
    from railwright.cli.run import may_be_energised
    from railwright.job import power_output

    power = made(
        lambda: power_output(bench, name, typed, lead=lead, at_most=duration, simulated=choices.twins)
    )
    if not may_be_energised(power.findings, power.blocked, detail):
        return Exit.STOPPED
    show_set_points(power, detail)
    return code_of(run_power(power, choices, detail))


def _say_standing(found: Standing, json: bool) -> None:
    """How an output stands."""
    from railwright.quantities import show

    reading = found.reading
    if json:
        from railwright.cli.console import print_json

        print_json(
            {
                "output": str(found.output),
                "on": reading.on,
                "voltage": reading.voltage,
                "current": reading.current,
                "mode": None if reading.mode is None else reading.mode.word,
                "trip": reading.trip,
                "set_voltage": found.voltage,
                "current_limit": found.current_limit,
            }
        )
        return
    state = "on" if reading.on else f"off{f', tripped: {reading.trip}' if reading.trip else ''}"
    mode = "" if reading.mode is None or not reading.on else f", {reading.mode.word}"
    say(f"{found.output} is {state}: {show(reading.voltage, 'V')}, {show(reading.current, 'A')}{mode}")
    say(f"set to {show(found.voltage, 'V')}, current limit {show(found.current_limit, 'A')}")
