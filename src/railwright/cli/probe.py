"""`railwright probe`: who is at an address, and what a bench document can say of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import Json, Quiet
from railwright.cli.exits import BadInput, Exit, say
from railwright.cli.wires import LineText, Visa, quoted, wires_of

if TYPE_CHECKING:
    from railwright.instruments.trying import Tried

Address = Annotated[
    str,
    typer.Argument(metavar="ADDRESS", help="VISA resource name, such as TCPIP::192.0.2.10::5025::SOCKET."),
]
Named = Annotated[
    str | None,
    typer.Option(
        "--dialect",
        help="Name or file of its dialect: how its settings stand is asked too. Left out: only who it is.",
    ),
]
Channel = Annotated[int, typer.Option("--channel", min=1, max=99_999, help="The output's number.")]
To = Annotated[
    Path | None, typer.Option("--to", help="Write the bench entry to this file, which must be new.")
]

BLANKS = (
    ("voltage", "0 V .. ", "programmable range"),
    ("current", "0 A .. ", "programmable range of the current limit"),
    ("power", "", "largest output power; leave out where it has no limit of its own"),
    ("limit_response", "", "time in which the current limit takes over"),
    ("output_capacitance", "", "behind its terminals"),
    ("ovp", "{level: , accuracy: , response: }", "over-voltage protection"),
    ("trip_delay", "", "range of the delay at the current limit"),
    ("reading", "{update: , aperture: }", "interval and aperture of its readings"),
)
"""What only the data sheet says of an output: key, how a value begins, what it is."""


# Many: each is an option of the command line.
def probe(
    address: Address,
    dialect: Named = None,
    channel: Channel = 1,
    line: LineText = "",
    visa: Visa = "",
    to: To = None,
    json: Json = False,
    quiet: Quiet = False,
) -> Exit:
    """Ask who is at an address, and write a bench entry with blanks for what only the data sheet says.

    Sends *IDN?, and with --dialect the queries of an output's settings: no reset, no self-test, no
    calibration, no measurement and nothing that changes a setting. Refuses an address that a run is using.
    """
    from railwright.cli.dialect import read_named
    from railwright.guard.process_link import ProcessLink
    from railwright.instruments.guarded import open_guarded
    from railwright.instruments.trying import DialectTrial

    if to is not None and to.exists():
        raise BadInput(f"--to: expected a file that is not there yet, got '{to}'; name another")
    made = read_named(dialect or "channel-list")
    wires = wires_of(address, line, visa)
    settings = wires.carried(made.session_settings)
    link = ProcessLink()
    try:
        trial = DialectTrial(made, address, channel, open_guarded(link), settings)
        trial.connect()
        who = trial.identity
        asked = [*trial.settings()] if dialect is not None else []
        trial.close()
    finally:
        link.close()
    fields = [field.strip() for field in who.split(",")]
    told = (f"line: {line}" if line else "", f'visa: "{visa}"' if visa else "")
    entry = bench_entry(address, fields, dialect, channel, asked, told)
    if json:
        from dataclasses import asdict

        from railwright.cli.console import print_json

        print_json({"address": address, "identification": who, "settings": [asdict(each) for each in asked]})
    elif not quiet:
        say(f"{address}: {who}")
        say(entry)
    if to is not None:
        from railwright.records.manifest import write_atomically

        write_atomically(to, entry + "\n")
        say(f"{to}: written; fill in what the data sheet says")
    return Exit.DONE


def bench_entry(
    address: str,
    fields: list[str],
    dialect: str | None,
    channel: int,
    asked: list[Tried],
    wires: tuple[str, ...] = (),
) -> str:
    """A supply of a bench document, with what was read as comments and blanks for what was not. wires: keys
    of what carries its messages.
    """
    model, serial = (fields[1], fields[2]) if len(fields) == 4 else ("", "")
    lines = [
        "supplies:",
        f"  {_name(model)}:",
        f"    address: {address}",
        f"    dialect: {dialect or ''}"
        + ("" if dialect else "   # how it is spoken to: railwright dialect list"),
    ]
    lines += [f"    {each}" for each in wires if each]
    lines += [f"    model: {quoted(model)}"] if model else []
    lines += [f"    serial: {quoted(serial)}"] if serial not in ("", "0") else []
    lines += ["    outputs:", f"      {channel}:"]
    lines += [f"        {key}: {begin}   # data sheet: {what}" for key, begin, what in BLANKS]
    lines += [f"        # read: {each.operation} {each.means or each.wrong}" for each in asked]
    return "\n".join(lines)


def _name(model: str) -> str:
    """A name for a supply: its model's letters and digits."""
    return "".join(sign if sign.isalnum() else "-" for sign in model.lower()).strip("-") or "supply"
