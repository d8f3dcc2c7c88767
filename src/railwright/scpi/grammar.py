"""Program messages of IEEE 488.2 and SCPI-1999: units, headers with their path, parameters.

`;` parts the units of a message. A header that begins with `:` starts at the root; any other starts where the
last header of the message had its last node, so that `VOLT:PROT 5;PROT:STAT ON` means `VOLT:PROT
5;:VOLT:PROT:STAT ON`. Common commands (`*CLS`) leave the path as it is.

Sources: IEEE 488.2-1992, 7.3 to 7.6; SCPI-1999 vol. 1, 6.2.4 (traversal of the header tree).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from railwright.scpi.data import LONGEST_WORD, WHITE, Datum, read_datum
from railwright.scpi.errors import ScpiError

_HEADER = re.compile(r"(\*[A-Za-z][A-Za-z0-9_]*|:?[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)(\??)")

SHORT = 200
"""A message of so many characters is one of those that come again and again, and is kept as it was read."""


@dataclass(frozen=True)
class Unit:
    """One command or query: the nodes of its header from the root as they were written, and its
    parameters.
    """

    nodes: tuple[str, ...]
    query: bool
    parameters: tuple[Datum, ...] = ()

    @property
    def common(self) -> bool:
        """Whether this is a common command, `*IDN?`."""
        return self.nodes[0].startswith("*")

    @property
    def header(self) -> str:
        """The header from the root: `VOLT:PROT?`."""
        return ":".join(self.nodes) + ("?" if self.query else "")


def parse_message(message: bytes) -> Iterator[Unit]:
    """The units of one program message (terminator taken off), one by one.

    The first fault raises ScpiError and ends the message; what came before it has been given out by then, as
    an instrument executes a message up to its first syntax error. An empty message has no units.
    """
    text = message.decode("latin-1")
    if "\n" in text:
        raise ScpiError(-102, "a newline inside a message")
    here, path = _skip_white(text, 0), ()  # type: int, tuple[str, ...]
    if here == len(text):
        return
    read = _read_again if len(text) <= SHORT else _read_unit
    while True:
        unit, path, here = read(text, here, path)
        yield unit
        if here == len(text):
            return
        here = _skip_white(text, here + 1)


def _read_unit(text: str, here: int, path: tuple[str, ...]) -> tuple[Unit, tuple[str, ...], int]:
    """One unit that begins at `here`; gives the path for the next unit, and the index of `;` or the end."""
    found = _HEADER.match(text, here)
    if found is None:
        rest = text[here : here + 1]
        raise ScpiError(-101 if rest and not 32 < ord(rest) < 127 else -102, "a command header is expected")
    written, here = found.group(1), found.end()
    nodes = tuple(written.lstrip(":").split(":"))
    for node in nodes:
        if len(node.lstrip("*")) > LONGEST_WORD:
            raise ScpiError(-112, node[:40])
    if here < len(text) and text[here] not in WHITE and text[here] != ";":
        raise ScpiError(-101 if ord(text[here]) > 126 else -111, f"{text[here]} after {written}")
    if not written.startswith("*"):
        nodes = nodes if written.startswith(":") else path + nodes
        path = nodes[:-1]
        if len(nodes) > 32:
            raise ScpiError(-110, "more than 32 nodes")
    parameters, here = _read_parameters(text, _skip_white(text, here))
    return Unit(nodes, bool(found.group(2)), parameters), path, here


_read_again = lru_cache(4096)(_read_unit)


def _read_parameters(text: str, here: int) -> tuple[tuple[Datum, ...], int]:
    if here == len(text) or text[here] == ";":
        return (), here
    parameters: list[Datum] = []
    while True:
        if here == len(text) or text[here] in ",;":
            raise ScpiError(-102, "a parameter is expected after the comma" if parameters else "a lone comma")
        datum, here = read_datum(text, here)
        parameters.append(datum)
        here = _skip_white(text, here)
        if here == len(text) or text[here] == ";":
            return tuple(parameters), here
        if text[here] != ",":
            raise ScpiError(-101 if ord(text[here]) > 126 else -103, f"{text[here]} where , or ; is expected")
        here = _skip_white(text, here + 1)


def _skip_white(text: str, here: int) -> int:
    while here < len(text) and text[here] in WHITE:
        here += 1
    return here


def split_responses(answer: str) -> list[str]:
    """The responses of one response message, parted at `;` outside of quotes."""
    return _split(answer, ";")


def split_data(response: str) -> list[str]:
    """The data of one response, parted at `,` outside of quotes and parentheses."""
    return _split(response, ",")


def _split(text: str, separator: str) -> list[str]:
    parts, begin, quote, depth = [], 0, "", 0
    for here, letter in enumerate(text):
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter in "()":
            depth += 1 if letter == "(" else -1
        elif letter == separator and depth == 0:
            parts.append(text[begin:here])
            begin = here + 1
    return [*parts, text[begin:]]
