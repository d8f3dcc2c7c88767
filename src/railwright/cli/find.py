"""`railwright find`: which instruments there are to be reached."""

from __future__ import annotations

from typing import Annotated

import typer

from railwright.cli.arguments import Json, Quiet
from railwright.cli.exits import Exit, complain, say

Visa = Annotated[
    str, typer.Option("--visa", help="VISA library to ask: '@py' (left out), '@ivi', or the path of one.")
]


def find(visa: Visa = "", json: Json = False, quiet: Quiet = False) -> Exit:
    """List what VISA and the standard discovery broadcasts show: addresses for 'railwright probe'.

    Asks the VISA library, multicast DNS (LXI), the port mapper's broadcast (VXI-11) and this computer's
    serial devices. It opens nothing, tells no instrument anything, and scans neither ports nor addresses.
    """
    from railwright.guard.locks import holder_of, runtime_folder
    from railwright.instruments.finding import find_instruments
    from railwright.printable import printable

    found, missing = find_instruments(visa)
    folder = runtime_folder()
    used = {each.address: holder_of(each.address, folder) is not None for each in found}
    if json:
        from dataclasses import asdict

        from railwright.cli.console import print_json

        instruments = [{**asdict(each), "in_use": used[each.address]} for each in found]
        print_json({"instruments": instruments, "not_looked_for": missing})
    else:
        for each in found:
            told = "; ".join(
                filter(None, (each.says, each.by, "in use by a run" if used[each.address] else ""))
            )
            say(printable(f"{each.address}: {told}", one_line=True))
        if not found and not quiet:
            say("nothing was found; an address can be given to 'railwright probe' all the same")
    if not quiet:
        for line in missing:
            complain(line)
    return Exit.DONE
