"""One setting of an output as a dialect writes it: its command, its query, its unit and its words.

    voltage: SOURce:VOLTage                  # the command is the header with a value, the query with '?'
    ovp: {command: "VOLTage:PROTection:LEVel", query: "VOLTage:PROTection?", unit: mV, digits: 0}
    sense: {query: "SENSe:STATe?"}           # told only: nothing sets it
    output: {command: OUTPut, query: "STATus?", field: 1}    # `1,CV,12.003,0.512,0`
    ovp: by hand                             # a person sets it at the instrument
    opp: cannot                              # the instrument does not have it

A command that has no query is none: what cannot be asked back cannot be verified.
"""

from __future__ import annotations

import re
from itertools import product
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from railwright.dialects.units import CHANNEL, FACTORS, VALUE
from railwright.dialects.words import ONE_OR_MORE, as_words, check_whole, check_words
from railwright.frozen import frozen_values
from railwright.guard.session_settings import is_query

Setting = Literal[
    "output",
    "voltage_range",
    "voltage",
    "current_range",
    "current_limit",
    "ovp",
    "ovp_on",
    "trip_at_limit",
    "trip_delay",
    "opp",
    "opp_on",
    "ocp",
    "ocp_on",
    "ocp_delay",
    "slew_rising",
    "slew_falling",
    "sense",
    "voltage_mode",
]
SWITCHES = frozenset({"output", "ovp_on", "opp_on", "ocp_on", "trip_at_limit"})
CHOICES = frozenset({"sense", "voltage_mode"})

AnswerField = Annotated[int, Field(ge=1, le=99)]
"""Which of the fields of an answer, counted from 1."""


def field_of(answer: str, field: int | None) -> str:
    """One of the fields of an answer, None: all of it. ValueError where it has too few."""
    if field is None:
        return answer
    parts = answer.split(",")
    if len(parts) < field:
        raise ValueError(f"expected at least {field} fields, got {answer[:60]!r}")
    return parts[field - 1].strip()


UNIT_OF: dict[str, str] = {
    **dict.fromkeys(("voltage_range", "voltage", "ovp"), "V"),
    **dict.fromkeys(("current_range", "current_limit", "ocp"), "A"),
    **dict.fromkeys(("trip_delay", "ocp_delay"), "s"),
    **dict.fromkeys(("slew_rising", "slew_falling"), "V/s"),
    "opp": "W",
}
"""A number that is set -> its SI unit."""

BY_HAND, CANNOT = "by hand", "cannot"


_MNEMONIC = r"[A-Za-z][A-Za-z0-9_]{0,11}"
_PLAIN = re.compile(rf"(\*{_MNEMONIC}|{_MNEMONIC}(:{_MNEMONIC}){{0,31}})\??", re.ASCII)
"""A header that SCPI's grammar takes for certain, without loading it for each start of the program."""


def checked_header(text: str) -> str:
    """A header, checked by SCPI's own grammar and for what it leaves open. ValueError."""
    bare = text.replace(CHANNEL, "1").replace(VALUE, "1")
    if "{" in bare or "}" in bare:
        raise ValueError(f"expected {CHANNEL} or {VALUE} in braces and nothing else, got '{text}'")
    if _PLAIN.fullmatch(bare):
        return text
    header, _, given = text.partition(" ")
    if CHANNEL in given:
        # What stands behind a header that names its output there is the instrument's own.
        check_whole("a header", text)
        checked_header(header)
        return text
    from railwright.scpi.errors import ScpiError
    from railwright.scpi.grammar import parse_message

    try:
        units = tuple(parse_message(bare.encode("latin-1", "replace")))
    except ScpiError as error:
        raise ValueError(f"expected a header such as 'SOURce:VOLTage', got '{text}': {error}") from None
    if len(units) != 1 or (units[0].parameters and VALUE not in text):
        raise ValueError(f"expected one header and nothing else, got '{text}'")
    return text


def _query(text: str) -> str:
    if not is_query(checked_header(text)):
        raise ValueError(f"expected a query, its header ending in '?', got '{text}'")
    return text


def _command(text: str) -> str:
    if is_query(checked_header(text)):
        raise ValueError(f"expected a command's header without '?', got '{text}'")
    return text


Command = Annotated[str, AfterValidator(_command)]
Query = Annotated[str, AfterValidator(_query)]


class DialectPart(BaseModel):
    """A part of a dialect: strict, closed, and kept from changes, as all benches of a process share it."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, defer_build=True)

    def model_post_init(self, context: Any, /) -> None:
        """Keep the mappings from changes."""
        self.__dict__.update(frozen_values(self.__dict__))


class Operation(DialectPart):
    """How one setting of an output is set and asked back.

    command, query: None where there is none. unit: the unit of the number on the wire; None: the SI unit.
    digits: digits after the point that it takes; None: nine significant ones. resolution: grid of the number
    that the query answers, in its unit, where that is coarser than what was set. lowest: the least that it
    takes, in its unit, where that is not 0. on, off: its own words. by_hand: a person sets it at the
    instrument. field: which of the fields of its query's answer it is, counted from 1; None: all of it.
    answers_on, answers_off: all words that a switch's query answers, where those are not the words that it is
    told, such as what regulates, or tripped.
    """

    command: Command | None = None
    query: Query | None = None
    unit: str | None = None
    digits: Annotated[int, Field(ge=0, le=9)] | None = None
    resolution: Annotated[float, Field(gt=0.0)] | None = None
    lowest: Annotated[float, Field(gt=0.0)] | None = None
    on: str | None = None
    off: str | None = None
    by_hand: bool = False
    field: AnswerField | None = None
    answers_on: Annotated[tuple[str, ...], WithJsonSchema(ONE_OR_MORE)] = ()
    answers_off: Annotated[tuple[str, ...], WithJsonSchema(ONE_OR_MORE)] = ()

    _words = field_validator("answers_on", "answers_off", mode="before")(as_words)

    @model_validator(mode="before")
    @classmethod
    def _written(cls, given: Any) -> Any:
        """A header alone, or 'by hand'."""
        if given == BY_HAND:
            return {"by_hand": True}
        if isinstance(given, str):
            return {"command": given, "query": given + "?"} if VALUE not in given else {"command": given}
        return given

    @model_validator(mode="after")
    def _whole(self) -> Operation:
        if self.by_hand:
            if self.command is not None:
                raise ValueError("expected no 'command' of what is set by hand; leave out 'by_hand'")
        elif self.query is None:
            what = "a command that has no query cannot be verified" if self.command else "it has neither"
            raise ValueError(f"expected a 'query', got none: {what}; write '{BY_HAND}' or '{CANNOT}'")
        if self.unit is not None and self.unit not in FACTORS:
            raise ValueError(f"expected a unit ({', '.join(FACTORS)}), got '{self.unit}'")
        return self

    @model_validator(mode="after")
    def _answers(self) -> Operation:
        """What a switch answers is told whole, and no word of it means both."""
        if bool(self.answers_on) != bool(self.answers_off):
            raise ValueError(
                "expected 'answers_on' and 'answers_off' together, got one of them; add the other"
            )
        for on, off in product(self.answers_on, self.answers_off):
            check_words({"on": on, "off": off})
        return self

    def picked(self, answer: str) -> str:
        """What its query's answer says of it. ValueError where that has too few fields."""
        return field_of(answer, self.field)

    @classmethod
    def __get_pydantic_json_schema__(cls, core_schema: Any, handler: Any) -> dict[str, Any]:
        """What the file may have: a header alone, 'by hand' or 'cannot', too."""
        header = {"type": "string", "description": f"a header alone, '{BY_HAND}', or '{CANNOT}'"}
        return {"anyOf": [header, handler(core_schema)]}

    @property
    def settable(self) -> bool:
        """Whether a command sets it."""
        return self.command is not None

    @property
    def factor(self) -> float:
        """What one on the wire is in SI units."""
        return 1.0 if self.unit is None else FACTORS[self.unit]

    @property
    def least(self) -> float:
        """The least number that it takes [SI unit]."""
        return (self.lowest or 0.0) * self.factor

    def number(self, value: float) -> str:
        """A number of the SI unit as the instrument takes it."""
        on_wire = value / self.factor
        return f"{on_wire:.9g}" if self.digits is None else f"{on_wire:.{self.digits}f}"

    @property
    def grid(self) -> float:
        """How far the number that is asked back may lie from what was set, by its digits [SI unit]."""
        steps = [0.0 if self.digits is None else 10.0**-self.digits, self.resolution or 0.0]
        return max(steps) * self.factor
