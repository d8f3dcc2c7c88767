"""Commands that a dialect has sent after a session is opened and before it is closed, such as the one that
takes a supply from its front panel; none of them may energise anything.

    session:
      opening: [SYSTem:REMote, {send: "SYSTem:REMote:STATe?", answer: "1"}]
      closing: [SYSTem:LOCal]
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Annotated, Any

from pydantic import AfterValidator, Discriminator, Field, Tag, model_validator

from railwright.dialects.harmless import MOST, why_harmful
from railwright.dialects.operation import DialectPart
from railwright.guard.session_settings import SessionCommand, is_query

_WITH_SIGN = re.compile(r"[A-Za-z][A-Za-z0-9_:]*[=#][ -:<-~]*", re.ASCII)
"""A command whose value stands behind a sign, without a blank: REMOTE=1."""


def _sent(text: str) -> str:
    """A message of one command. ValueError."""
    from railwright.scpi.errors import ScpiError
    from railwright.scpi.grammar import parse_message

    try:
        units = tuple(parse_message(text.encode("latin-1", "replace")))
    except ScpiError as error:
        if _WITH_SIGN.fullmatch(text):
            return text
        raise ValueError(f"expected a command such as 'SYSTem:REMote', got {text!r}: {error}") from None
    if len(units) != 1 or ";" in text:
        raise ValueError(f"expected one command, got {text!r}; write each as an entry of its own")
    return text


Sent = Annotated[str, AfterValidator(_sent)]


class SentCommand(DialectPart):
    """A command, or a query with the answer that it has to give; left out: any will do. because: why it
    changes no output, where the standard does not tell.
    """

    send: Sent
    answer: Annotated[str, Field(min_length=1)] | None = None
    because: Annotated[str, Field(min_length=1)] | None = None

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


def check_harmless(
    entries: Iterable[str | SentCommand], own: Iterable[tuple[str, str]], *, vouched: bool = False
) -> None:
    """ValueError where an entry could change what an output delivers. own, vouched: see `why_harmful`."""
    known = tuple(own)
    for entry in entries:
        text, because = (entry, None) if isinstance(entry, str) else (entry.send, entry.because)
        if why := why_harmful(text, known, vouched=vouched or because is not None):
            raise ValueError(
                f"expected a command that changes no output, got '{text}', {why}: it would be sent whenever "
                "a session is opened or closed, or errors are cleared; remove it"
            )


def listed(given: Any) -> Any:
    """A list of the document, as its model has it. ValueError where it is none, or too long."""
    if isinstance(given, list | tuple):
        if len(given) > MOST:
            raise ValueError(f"expected at most {MOST} entries, got {len(given)}")
        return tuple(given)
    raise ValueError(f"expected a list such as [SYSTem:REMote], got {given!r}")
