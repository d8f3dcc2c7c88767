"""Options of the command line that say how an instrument is reached beside its address."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.exits import BadInput

if TYPE_CHECKING:
    from railwright.documents.wires import Wires

LineText = Annotated[
    str,
    typer.Option(
        "--line",
        metavar="'{baud: 9600, …}'",
        help="Settings of a serial line, as 'line' in a bench has them; left out: 9600 Bd, 8N1.",
    ),
]
Visa = Annotated[
    str, typer.Option("--visa", help="VISA library that carries the messages, as 'visa' in a bench has it.")
]


def wires_of(address: str, line: str, visa: str) -> Wires:
    """What the options say of the wires, by the rules of a bench document. BadInput where that is none."""
    from railwright.documents.address import visa_address
    from railwright.documents.files import DocumentSource
    from railwright.documents.nodes import Unreadable, compose
    from railwright.documents.translate import check
    from railwright.documents.wires import Wires

    try:
        visa_address(address)
    except ValueError as error:
        raise BadInput(f"ADDRESS: {error}") from None
    shown = "{baud: 9600, parity: even}"
    options = {"address": address, **({"visa": visa} if visa else {})}
    text = "".join(f"{key}: {quoted(value)}\n" for key, value in options.items())
    try:
        root, problems = compose(text + (f"line: {line}\n" if line else ""), "--line")
    except Unreadable:
        raise BadInput(f"--line: expected such as '{shown}', got '{line}'") from None
    assert root is not None
    found, more = check(Wires, DocumentSource("--line", Path("--line"), text.encode(), root))
    for problem in (*problems, *more):
        raise BadInput(f"--line: {problem.message}")
    assert found is not None
    return found


def quoted(text: str) -> str:
    """As a value of a YAML document, whatever is in it."""
    from railwright.printable import printable

    return "'" + printable(text, one_line=True).replace("'", "''") + "'"
