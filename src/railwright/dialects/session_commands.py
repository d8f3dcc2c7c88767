"""Commands that a dialect has sent after a session is opened and before it is closed, such as the one that
takes a supply from its front panel; none of them may energise anything.

    session:
      opening: [SYSTem:REMote, {send: "SYSTem:REMote:STATe?", answer: "1"}]
      closing: [SYSTem:LOCal]
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any

from pydantic import AfterValidator, Discriminator, Field, Tag, model_validator

from railwright.dialects.operation import DialectPart
from railwright.dialects.units import CHANNEL, VALUE
from railwright.dialects.words import forms
from railwright.guard.session_settings import SessionCommand

MOVES_OUTPUTS = (
    "OUTPut",
    "SOURce",
    "VOLTage",
    "CURRent",
    "POWer",
    "APPLy",
    "INITiate",
    "TRIGger",
    "LIST",
    "CALibration",
)
"""Nodes of SCPI-1999's tree (APPLy: common) below which a command may change what outputs deliver."""

HARMLESS = frozenset({"CLS", "ESE", "OPC", "PSC", "SRE", "WAI"})
"""Common commands (IEEE 488.2, chapter 10) that change no output; queries: all but these two."""

CHANGING_QUERIES = frozenset({"TST", "CAL"})


def _sent(text: str) -> str:
    """A message of one command. ValueError."""
    from railwright.scpi.errors import ScpiError
    from railwright.scpi.grammar import parse_message

    try:
        units = tuple(parse_message(text.encode("latin-1", "replace")))
    except ScpiError as error:
        raise ValueError(f"expected a command such as 'SYSTem:REMote', got {text!r}: {error}") from None
    if len(units) != 1:
        raise ValueError(f"expected one command, got {text!r}; write each as an entry of its own")
    return text


Sent = Annotated[str, AfterValidator(_sent)]


class SentCommand(DialectPart):
    """A command, or a query with the answer that it has to give; left out: any will do."""

    send: Sent
    answer: Annotated[str, Field(min_length=1)] | None = None

    @model_validator(mode="after")
    def _whole(self) -> SentCommand:
        if self.answer is not None and not is_query(self.send):
            raise ValueError(
                f"expected a query with 'answer', got '{self.send}', which gives none; leave out 'answer', "
                "or have a query follow it"
            )
        return self


def _kind(given: Any) -> str:
    return "text" if isinstance(given, str) else "entry"


SessionEntry = Annotated[
    Annotated[Sent, Tag("text")] | Annotated[SentCommand, Tag("entry")], Discriminator(_kind)
]


def as_commands(entries: Iterable[str | SentCommand]) -> tuple[SessionCommand, ...]:
    """What a session is told of them."""
    return tuple(
        SessionCommand(each) if isinstance(each, str) else SessionCommand(each.send, each.answer or "")
        for each in entries
    )


def is_query(text: str) -> bool:
    """Whether it asks something."""
    return text.split(" ")[0].endswith("?")


def check_harmless(entries: Iterable[str | SentCommand], changing: Iterable[tuple[str, str]]) -> None:
    """ValueError where an entry could change what an output delivers. changing: what the dialect calls each
    of its own commands, and the command's header.
    """
    known = [(name, _nodes(header)) for name, header in changing]
    for entry in entries:
        text = entry if isinstance(entry, str) else entry.send
        nodes = _nodes(text)
        why = _common(text) if text.startswith("*") else ""
        if not why and not is_query(text):
            own = next((name for name, header in known if _alike(nodes, header)), "")
            root = next((each for each in MOVES_OUTPUTS if any(_same(node, each) for node in nodes)), "")
            why = f"the command of '{own}'" if own else f"a command of {root}" if root else ""
        if why:
            raise ValueError(
                f"expected a command that changes no output, got '{text}', {why}: it would be sent whenever "
                "a session is opened or closed, or errors are cleared; remove it"
            )


def _common(text: str) -> str:
    """Why a common command may not be sent; '' where it may."""
    name = text[1:].split(" ")[0].upper()
    allowed = name[:-1] not in CHANGING_QUERIES if name.endswith("?") else name in HARMLESS
    return "" if allowed else "which may change one"


def _nodes(header: str) -> list[str]:
    """The nodes of a header without the numbers of outputs, and without the root that may be left out."""
    bare = header.replace(CHANNEL, "").split(" ")[0].replace(VALUE, "").removesuffix("?").strip(":")
    nodes = [node.rstrip("0123456789") for node in bare.split(":")]
    return nodes[1:] if len(nodes) > 1 and _same(nodes[0], "SOURce") else nodes


def _alike(one: list[str], other: list[str]) -> bool:
    return len(one) == len(other) and all(_same(*pair) for pair in zip(one, other, strict=True))


def _same(one: str, other: str) -> bool:
    """Whether two nodes are one, each long or short."""
    return bool({*forms(one), *_short(one)} & {*forms(other), *_short(other)})


def _short(node: str) -> tuple[str, ...]:
    """The short form of a node whose letters do not tell it (SCPI-1999 vol. 1, 6.2.1): four letters, three
    where the fourth is a vowel.
    """
    text = node.upper()
    if len(text) <= 4:
        return (text,)
    return (text[:3] if text[3] in "AEIOU" else text[:4],)


def listed(given: Any) -> Any:
    """A list of the document, as its model has it. ValueError where it is none."""
    if isinstance(given, list | tuple):
        return tuple(given)
    raise ValueError(f"expected a list such as [SYSTem:REMote], got {given!r}")
