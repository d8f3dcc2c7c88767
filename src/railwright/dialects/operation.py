"""One setting of an output as a dialect writes it: its command, its query, its unit and its words.

    voltage: SOURce:VOLTage                  # the command is the header with a value, the query with '?'
    ovp: {command: "VOLTage:PROTection:LEVel", query: "VOLTage:PROTection?", unit: mV, digits: 0}
    voltage: "VOLT={value}"                  # the value where the header says; its query is VOLT?
    voltage: {command: DAC, query: "DAC?", code: {scale: 0.01, highest: 4095}}    # DAC 1200 is 12 V
    sense: {query: "SENSe:STATe?"}           # told only: nothing sets it
    output: {command: OUTPut, query: "STATus?", field: 1}    # `1,CV,12.003,0.512,0`
    output: {command: OUTPut, query: "ALL?", field: {1: 1, 2: 4}}    # one answer has those of all outputs
    ovp: by hand                             # a person sets it at the instrument
    opp: cannot                              # the instrument does not have it

A command that has no query is none: what cannot be asked back cannot be verified.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
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

from railwright.dialects.units import BEFORE_VALUE, CHANNEL, FACTORS, VALUE, query_of_header
from railwright.dialects.words import ONE_OR_MORE, as_words, check_whole, check_words
from railwright.frozen import frozen_values
from railwright.guard.answers import Code
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


OutputField = AnswerField | Annotated[dict[int, AnswerField], Field(min_length=1)]
"""The same, or that of each output by its channel, where one answer has those of all outputs: its query then
goes out as it stands.
"""


def field_at(field: int | Mapping[int, int] | None, channel: int) -> int | None:
    """Which of the fields is that of an output. ValueError where the dialect does not say it."""
    if not isinstance(field, Mapping):
        return field
    if channel not in field:
        known = ", ".join(map(str, sorted(field)))
        raise ValueError(f"expected a channel whose field the dialect has ({known}), got {channel}")
    return field[channel]


def check_for_all(query: str | None, field: int | Mapping[int, int] | None) -> None:
    """ValueError where a query that is answered for all outputs names one."""
    if isinstance(field, Mapping) and query is not None and CHANNEL in query:
        raise ValueError(
            f"expected no {CHANNEL} in a query that is answered for all outputs, got '{query}'; or one "
            "number as 'field'"
        )


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

_AT_EDGE = 1e-9
"""Part of a number by which a computed one may lie above the end of its range."""

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
    before = text.partition(VALUE)[0]
    if before != text and before[-1:] in BEFORE_VALUE.strip():
        # So is what parts a value from its header: VOLT={value}, VSET{channel}:{value}.
        check_whole("a header", text)
        checked_header(before.rstrip(BEFORE_VALUE))
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


def as_list_tuple(given: Any) -> Any:
    """A list of the file as its model has it; what else came the model tells."""
    return tuple(given) if isinstance(given, list) else given


class DialectPart(BaseModel):
    """A part of a dialect: strict, closed, and kept from changes, as all benches of a process share it."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, defer_build=True)

    def model_post_init(self, context: Any, /) -> None:
        """Keep the mappings from changes."""
        self.__dict__.update(frozen_values(self.__dict__))


class WireCode(DialectPart):
    """A number that goes over the wire as a whole one: value = code * scale + offset, in the unit beside it.

    lowest, highest: the codes that there are. of: what is a code, where that is not the command and the
    answer alike.
    """

    scale: Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
    offset: Annotated[float, Field(allow_inf_nan=False)] = 0.0
    lowest: Annotated[int, Field(ge=-(2**31), lt=2**32)] = 0
    highest: Annotated[int, Field(ge=-(2**31), lt=2**32)]
    of: Literal["both", "command", "answer"] = "both"

    @model_validator(mode="after")
    def _whole(self) -> WireCode:
        if self.lowest >= self.highest:
            told = f"expected 'highest' above 'lowest', got {self.highest} and {self.lowest}"
            raise ValueError(told)
        return self

    def in_si(self, factor: float) -> Code:
        """The same in SI units. factor: what one of its unit is."""
        return Code(self.scale * factor, self.offset * factor, self.lowest, self.highest)


class Resolution(DialectPart):
    """The grid of numbers up to a size, in the unit of the setting; up_to left out: of all above."""

    grid: Annotated[float, Field(gt=0.0)]
    up_to: Annotated[float, Field(gt=0.0)] | None = None


class Operation(DialectPart):
    """How one setting of an output is set and asked back.

    command, query: None where there is none. unit: the unit of the number on the wire; None: the SI unit.
    digits: digits after the point that it takes; None: nine significant ones. resolution: grid of the number
    that the query answers, in its unit, where that is coarser than what was set; or several, where it depends
    on the number. lowest: the least that it takes, in its unit, where that is not 0. on, off: its own words.
    by_hand: a person sets it at the instrument. field: which of the fields of its query's answer it is,
    counted from 1, or that of each output; None: all of it. code: it goes over the wire as a whole number.
    answers_on, answers_off: all words that a switch's query answers, where those are not the words that it is
    told, such as what regulates, or tripped.
    """

    command: Command | None = None
    query: Query | None = None
    unit: str | None = None
    digits: Annotated[int, Field(ge=0, le=9)] | None = None
    resolution: Annotated[float, Field(gt=0.0)] | tuple[Resolution, ...] | None = None
    lowest: Annotated[float, Field(gt=0.0)] | None = None
    on: str | None = None
    off: str | None = None
    by_hand: bool = False
    field: OutputField | None = None
    code: WireCode | None = None
    answers_on: Annotated[tuple[str, ...], WithJsonSchema(ONE_OR_MORE)] = ()
    answers_off: Annotated[tuple[str, ...], WithJsonSchema(ONE_OR_MORE)] = ()

    _words = field_validator("answers_on", "answers_off", mode="before")(as_words)
    _grids = field_validator("resolution", mode="before")(as_list_tuple)

    @model_validator(mode="before")
    @classmethod
    def _written(cls, given: Any) -> Any:
        """A header alone, or 'by hand'."""
        if given == BY_HAND:
            return {"by_hand": True}
        if isinstance(given, str):
            ends = VALUE not in given or given.endswith(VALUE)
            return {"command": given, "query": query_of_header(given)} if ends else {"command": given}
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
        check_for_all(self.query, self.field)
        self._check_numbers()
        return self

    def _check_numbers(self) -> None:
        """ValueError where a code has digits or a lowest value beside it, or grids do not rise."""
        for key in ("digits", "lowest") if self.code is not None else ():
            if getattr(self, key) is not None:
                raise ValueError(f"expected no '{key}' beside 'code', which says it; leave it out")
        if isinstance(self.resolution, tuple):
            sizes = [math.inf if each.up_to is None else each.up_to for each in self.resolution]
            if not sizes or sorted(set(sizes)) != sizes:
                raise ValueError("expected each 'up_to' of 'resolution' above the one before it")

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

    def picked(self, answer: str, channel: int) -> str:
        """What its query's answer says of it. ValueError where that has too few fields."""
        return field_of(answer, field_at(self.field, channel))

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
        if (code := self.sent_code) is not None:
            return max(0.0, code.value(str(code.lowest)))
        return (self.lowest or 0.0) * self.factor

    @property
    def most(self) -> float:
        """The highest number that it takes, as far as the dialect says it [SI unit]."""
        code = self.sent_code
        return math.inf if code is None else code.value(str(code.highest))

    @property
    def sent_code(self) -> Code | None:
        """The code that its command takes."""
        own = self.code
        return None if own is None or own.of == "answer" else own.in_si(self.factor)

    @property
    def answered_code(self) -> Code | None:
        """The code that its query answers."""
        own = self.code
        return None if own is None or own.of == "command" else own.in_si(self.factor)

    def number(self, value: float) -> str:
        """A number of the SI unit as the instrument takes it. ValueError where there is no code for it."""
        if (code := self.sent_code) is not None:
            half = 0.5 * code.scale
            if not self.least - half <= value <= self.most + half:
                raise ValueError(
                    f"{value:g} lies beyond the codes, which end at {self.least:g} and {self.most:g}"
                )
            return str(code.nearest(value))
        on_wire = value / self.factor
        return f"{on_wire:.9g}" if self.digits is None else f"{on_wire:.{self.digits}f}"

    def sent(self, value: float) -> float:
        """What a number is once the instrument is told it [SI unit]. ValueError as `number`."""
        written, code = self.number(value), self.sent_code
        return float(written) * self.factor if code is None else code.value(written)

    def grid(self, value: float) -> float:
        """How far the number that is asked back may lie from what was set, by its digits [SI unit]."""
        steps = [0.0 if self.digits is None else 10.0**-self.digits]
        steps += [] if self.code is None else [self.code.scale]
        if isinstance(self.resolution, tuple):
            size = abs(value) / self.factor * (1.0 - _AT_EDGE)
            fits = (each.grid for each in self.resolution if each.up_to is None or size <= each.up_to)
            steps.append(next(fits, self.resolution[-1].grid))
        else:
            steps.append(self.resolution or 0.0)
        return max(steps) * self.factor
