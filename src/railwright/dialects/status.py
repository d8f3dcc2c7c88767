"""What an output says of itself: what regulates it, and which of its protections tripped.

mode:  {query: "STATus:OPERation:INSTrument:ISUMmary{channel}:CONDition?", bits: {CV: 8, CC: 9}}
mode:  {query: "SOURce{channel}:MODE?", words: {CV: CV, CC: CC, "OFF": "OFF"}}
trips: {query: "STATus:QUEStionable:INSTrument:ISUMmary{channel}:CONDition?", bits: {OVP: 9}}
trips: {each: {OVP: "VOLTage:PROTection:TRIPped?", OCP: "CURRent:PROTection:TRIPped?"}}
trips: {query: "STATe?", words: {OVP: OV, current limit: OC}, nothing: [CV, CC, "OFF"]}
trips: {query: "STATe?", field: 5, bits: {OVP: 0, current limit: 1}}      # `1,CV,12.003,0.512,0`
trips: {each: {OVP: {query: "STATe?", field: 5}, current limit: {query: "STATe?", field: 6}}}
trips: {told: false}                        # an output that is found off is all that shows a trip
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import combinations, product
from typing import Annotated, Any, Literal

from pydantic import Field, WithJsonSchema, field_validator, model_validator

from railwright.dialects.operation import (
    AnswerField,
    Command,
    DialectPart,
    OutputField,
    Query,
    check_for_all,
    field_at,
    field_of,
)
from railwright.dialects.words import ONE_OR_MORE, as_words, forms, means_on
from railwright.scpi.numbers import parse_response

Mode = Literal["CV", "CC", "CP"]
Protection = Literal["OVP", "current limit", "linked", "OPP", "OCP", "OTP"]
Bit = Annotated[int, Field(ge=0, le=15)]
Word = Annotated[str, Field(min_length=1)]

MODES: tuple[str, ...] = ("CV", "CC", "CP")


def set_bits(bits: Mapping[Any, int], answer: str) -> tuple[str, ...]:
    """Names of the bits that are set in a register's value, lowest bit first. ValueError where it is none."""
    value = parse_response(answer)
    if not math.isfinite(value) or value != int(value):  # 9.9E37 is infinity
        raise ValueError(f"expected a register's value, got '{answer}'")
    return tuple(
        name for name, bit in sorted(bits.items(), key=lambda item: item[1]) if int(value) >> bit & 1
    )


class PowerStatus(DialectPart):
    """What tells that the power came on since it was last asked, as bit 7 of the standard event status does
    (IEEE 488.2, 11.5.1.1.2): a bit of another register, or words. nothing: the words that tell that it did
    not; any other is an error. field: which of the fields of the answer tells it, counted from 1. clear: what
    clears it, where the question does not.

        power_on: {query: "WAKened?", words: "YES", nothing: "NO"}
        power_on: {query: "STATus:QUEStionable:EVENt?", bit: 13}
    """

    query: Query
    field: AnswerField | None = None
    bit: Bit | None = None
    words: Annotated[tuple[Word, ...], WithJsonSchema(ONE_OR_MORE)] = ()
    nothing: Annotated[tuple[Word, ...], WithJsonSchema(ONE_OR_MORE)] = ()
    clear: Command | None = None

    @field_validator("words", "nothing", mode="before")
    @classmethod
    def _tuple(cls, given: Any) -> Any:
        return as_words(given)

    @model_validator(mode="after")
    def _one(self) -> PowerStatus:
        if (self.bit is None) != bool(self.words) or bool(self.words) != bool(self.nothing):
            raise ValueError(
                "expected 'bit', or 'words' with 'nothing', the words that tell that no power came on"
            )
        for word, other in product(self.words, self.nothing):
            if set(forms(word)) & set(forms(other)):
                raise ValueError(f"expected other words in 'nothing' than in 'words', got '{word}' in both")
        return self

    def came_on(self, answer: str) -> bool:
        """Whether an answer tells it. ValueError where it means nothing."""
        answer = field_of(answer, self.field)
        if self.bit is not None:
            return bool(set_bits({"power": self.bit}, answer))
        text = answer.strip().strip('"').upper()
        told = any(text in forms(word) for word in self.words)
        if told or any(text in forms(word) for word in self.nothing):
            return told
        raise ValueError(f"expected one of {', '.join((*self.words, *self.nothing))}, got {answer[:60]!r}")


class ModeStatus(DialectPart):
    """Where an output says what regulates it: by bits of a condition register, or by a word. field: which of
    the fields of the answer that is, counted from 1, or that of each output; None: all of it.
    """

    query: Query
    field: OutputField | None = None
    bits: dict[Mode, Bit] | None = None
    words: dict[Mode, str] | None = None

    @model_validator(mode="after")
    def _one(self) -> ModeStatus:
        if (self.bits is None) == (self.words is None):
            raise ValueError(
                "expected either 'bits' or 'words', got " + ("none" if self.bits is None else "both")
            )
        check_for_all(self.query, self.field)
        return self

    def named(self, answer: str, channel: int) -> str:
        """'CV', 'CC', 'CP', or '' where nothing regulates an output. ValueError where the answer is none."""
        answer = field_of(answer, field_at(self.field, channel))
        if self.bits is not None:
            names = set_bits(self.bits, answer)
            return names[-1] if names else ""
        text = answer.strip().strip('"').upper()
        assert self.words is not None
        return next((mode for mode, written in self.words.items() if text in forms(written)), "")


class TripFlag(DialectPart):
    """A query of one protection's trip, answered 1 or 0 in one of its fields, counted from 1, or in that of
    each output.
    """

    query: Query
    field: OutputField

    @model_validator(mode="after")
    def _whole(self) -> TripFlag:
        check_for_all(self.query, self.field)
        return self


class TripStatus(DialectPart):
    """Where an output says which of its protections tripped: by bits of a condition register, by a word, by a
    query for each, or not at all. nothing: the words that tell of no trip; any other is an error, as it could
    tell of one. field: which of the fields of the answer tells it, counted from 1, or that of each output;
    None: all of it.
    """

    query: Query | None = None
    field: OutputField | None = None
    bits: dict[Protection, Bit] | None = None
    words: dict[Protection, Word] | None = None
    nothing: Annotated[tuple[Word, ...], WithJsonSchema(ONE_OR_MORE)] = ()
    each: dict[Protection, Query | TripFlag] | None = None
    told: Literal[False] | None = None

    @field_validator("nothing", mode="before")
    @classmethod
    def _tuple(cls, given: Any) -> Any:
        return as_words(given)

    @model_validator(mode="after")
    def _one(self) -> TripStatus:
        ways = [each is not None for each in (self.bits, self.words, self.each, self.told)]
        if sum(ways) != 1:
            raise ValueError("expected one of 'query' with 'bits' or 'words', 'each', or 'told: false'")
        if (self.bits is None and self.words is None) != (self.query is None):
            raise ValueError("expected 'query' with 'bits' or 'words', and only there")
        if self.field is not None and self.query is None:
            raise ValueError("expected 'field' with 'query'; with 'each', write {query: …, field: …} of each")
        if (self.words is None) != (not self.nothing):
            raise ValueError(
                "expected 'nothing', the words that tell of no trip, with 'words', and only there"
            )
        check_for_all(self.query, self.field)
        self._check_words()
        for by in (self.bits, self.words, self.each):
            for (one, own), (other, its) in combinations((by or {}).items(), 2):
                if own == its:
                    raise ValueError(
                        f"expected something of its own for each trip, got {own!r} for '{one}' and for "
                        f"'{other}': which of them it was could not be told; leave one of them out"
                    )
        return self

    def _check_words(self) -> None:
        """ValueError where a word tells of a trip and of none."""
        for name, word in (self.words or {}).items():
            for other in self.nothing:
                if set(forms(word)) & set(forms(other)):
                    raise ValueError(
                        f"expected other words for '{name}' and for no trip, got '{word}' and '{other}'"
                    )

    @property
    def queries(self) -> tuple[str, ...]:
        """What is asked of an output, in this order."""
        return tuple(query for query, _ in self.asked)

    @property
    def asked(self) -> tuple[tuple[str, bool], ...]:
        """What is asked of an output, in this order, and whether that is answered for all outputs."""
        if self.query is not None:
            return ((self.query, isinstance(self.field, Mapping)),)
        flags = self.each.values() if self.each else ()
        return tuple(
            (each, False) if isinstance(each, str) else (each.query, isinstance(each.field, Mapping))
            for each in flags
        )

    @property
    def names(self) -> tuple[str, ...]:
        """The protections that it can name."""
        return tuple(self.bits or self.words or self.each or ())

    def tripped(self, answers: Sequence[str], channel: int) -> tuple[str, ...]:
        """Protections of an output that tripped, by the answers to `queries`. ValueError for none."""
        field = field_at(self.field, channel)
        if self.bits is not None:
            return set_bits(self.bits, field_of(answers[0], field))
        if self.words is not None:
            text = field_of(answers[0], field).strip().strip('"').upper()
            told = tuple(name for name, word in self.words.items() if text in forms(word))
            if told or any(text in forms(word) for word in self.nothing):
                return told
            known = ", ".join([*self.words.values(), *self.nothing])
            raise ValueError(f"expected one of {known}, got {answers[0][:60]!r}")
        found = []
        for (name, flag), answer in zip((self.each or {}).items(), answers, strict=True):
            own = None if isinstance(flag, str) else field_at(flag.field, channel)
            on = means_on(field_of(answer, own))
            if on is None:
                raise ValueError(f"expected 1 or 0, got {answer!r}")
            found += [name] if on else []
        return tuple(found)
