"""Dialects: how a kind of supply is spoken to, one data file each, checked when it is read.

A dialect names headers; this module makes commands of them. What a header's query answers verifies the
command, and both come from the one header in the file.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field, PrivateAttr, ValidationError, WithJsonSchema, field_validator, model_validator

from railwright.dialects.files import dialect_names, dialect_text
from railwright.dialects.harmless import why_more_than_clearing
from railwright.dialects.operation import (
    CANNOT,
    CHOICES,
    SWITCHES,
    UNIT_OF,
    Command,
    DialectPart,
    Operation,
    OutputField,
    Query,
    Setting,
    WireCode,
    as_list_tuple,
    check_for_all,
    field_at,
    field_of,
)
from railwright.dialects.session_commands import SessionEntry, as_commands, check_harmless, listed
from railwright.dialects.status import ModeStatus, PowerStatus, TripStatus, set_bits
from railwright.dialects.units import CHANNEL, FACTORS, VALUE, Spoken, query_of_header, with_value
from railwright.dialects.words import ONE_OR_MORE, check_whole, check_words, forms, off_answers
from railwright.guard.answers import Code, names, parted
from railwright.guard.session_settings import SessionSettings, is_query
from railwright.scpi.channels import format_channels
from railwright.scpi.errors import ErrorForm, parse_entry
from railwright.scpi.numbers import parse_response

Value = float | bool | str
"""A number in SI units, on or off, or a word of the dialect's `words`."""

NEEDED = ("output", "voltage", "current_limit")
HIGHEST_CHANNEL = 99_999
"""Highest number of a channel that an answer may name."""

BLOCK_BEGINS = 12
"""Characters before a block of definite length, at most (IEEE 488.2, 7.7.6), with the comma before it."""

Addressing = Literal["none", "channel-list", "selected-output", "numbered-header", "prefixed", "parameter"]

EVENT_ERRORS = {"a query error": 2, "a device error": 3, "an execution error": 4, "a command error": 5}
"""Bits of the standard event status register that tell of an error (IEEE 488.2, 11.5.1.1)."""

_PREFIX = re.compile(
    r":?[A-Za-z][A-Za-z0-9_]*(\{channel\})?(:[A-Za-z][A-Za-z0-9_]*(\{channel\})?)*:?", re.ASCII
)

POWER_ON = 7
"""Its bit that tells that the power came on (IEEE 488.2, 11.5.1.1.2)."""


FieldName = Literal["maker", "model", "serial", "version", "other"]
FIELDS: tuple[FieldName, ...] = ("maker", "model", "serial", "version")
"""What *IDN? answers (IEEE 488.2, 10.14)."""


def check_own_words(operation: Operation) -> None:
    """ValueError where a switch has one word of its own only, or words that mean the other."""
    if (operation.on is None) != (operation.off is None):
        raise ValueError("expected 'on' and 'off' of a switch together, got one of them; add the other")
    if operation.on is not None and operation.off is not None:
        check_whole("a word", operation.on, operation.off)
        check_words({"on": operation.on, "off": operation.off})


class InstrumentCommands(DialectPart):
    """Commands of the whole instrument.

    next_error: left out where it has no error queue. error_form: how it writes an entry of that: `0,"No
    error"` (quoted), `0, No error` (text), or `0` (number). event_status: left out where it has no such
    register; it tells of errors where there is no queue, and that the power came on, so that a supply that
    restarted is noticed. Without both, commands are known to have worked by what they are asked back alone.
    power_on: what tells that the power came on, where the event status register does not.
    select: header that selects an output; selected: query of which one is, for those that take the selection
    in a message of its own.
    """

    identify: Query
    clear: Command | None = None
    next_error: Query | None = None
    error_form: ErrorForm = "quoted"
    event_status: Query | None = None
    power_on: PowerStatus | None = None
    select: Command | None = None
    selected: Query | None = None


class Identification(DialectPart):
    """What stands in the answer to who it is: names of its fields, in order, and what parts them."""

    fields: tuple[FieldName, ...] = FIELDS
    parted_by: Annotated[str, Field(min_length=1)] = ","

    _tuple = field_validator("fields", mode="before")(as_list_tuple)

    @model_validator(mode="after")
    def _whole(self) -> Identification:
        if "model" not in self.fields:
            raise ValueError(
                "expected 'model' among the fields, got none: it tells one instrument from another"
            )
        return self


LineEnd = Literal["\n", "\r\n", "\r"]


class SessionPart(DialectPart):
    """What ends a message and an answer; the time that the instrument wants before a message, since the
    last one or its own last answer, for an answer at most, and after a session is opened [s]; the query that
    it answers when everything before it is done. opening, closing: what it is told, or asked, after a session
    is opened and before it is closed. parted_by: what parts the fields of an answer, but that to a common
    query such as *IDN?; a blank stands for any number of them. longest: most bytes that a message may have,
    with what ends it; one of several commands is sent in parts.
    """

    sends: LineEnd = "\n"
    answers: LineEnd = "\n"
    pause: Annotated[float, Field(ge=0.0, le=1.0)] = 0.0
    patience: Annotated[float, Field(ge=0.0, le=10.0)] = 0.0
    boot: Annotated[float, Field(ge=0.0, le=60.0)] = 0.0
    completes: Query | None = None
    parted_by: Literal[",", ";", " "] = ","
    longest: Annotated[int, Field(ge=16)] | None = None
    opening: tuple[SessionEntry, ...] = ()
    closing: tuple[SessionEntry, ...] = ()

    _tuples = field_validator("opening", "closing", mode="before")(listed)


class Actions(DialectPart):
    """Commands of one output that leave nothing to ask back; left out: it has none. clear_trips: one header,
    or several that clear a protection each.
    """

    clear_trips: Annotated[tuple[Command, ...], WithJsonSchema(ONE_OR_MORE)] = ()

    @field_validator("clear_trips", mode="before")
    @classmethod
    def _tuple(cls, given: Any) -> Any:
        return () if given is None else listed([given] if isinstance(given, str) else given)

    @model_validator(mode="after")
    def _whole(self) -> Actions:
        for header in self.clear_trips:
            if VALUE in header:
                raise ValueError(f"expected a command without {VALUE}, got '{header}'; nothing stands there")
        return self


class BothReadings(DialectPart):
    """A query that answers voltage and current of an output together, with a comma between, and in which
    order.
    """

    query: Query
    fields: tuple[Literal["voltage", "current", "other"], ...] = ("voltage", "current")

    _tuple = field_validator("fields", mode="before")(as_list_tuple)

    @model_validator(mode="after")
    def _whole(self) -> BothReadings:
        if [self.fields.count(each) for each in ("voltage", "current")] != [1, 1]:
            raise ValueError(f"expected 'voltage' and 'current' once each, got {', '.join(self.fields)}")
        return self


class ReadingQuery(DialectPart):
    """A query of one quantity of an output. field: which of the fields of its answer that is, counted from 1,
    or that of each output; None: all of it. code: it is answered as a whole number.
    """

    query: Query
    field: OutputField | None = None
    code: WireCode | None = None

    @model_validator(mode="after")
    def _whole(self) -> ReadingQuery:
        check_for_all(self.query, self.field)
        if self.code is not None and self.code.of != "both":
            raise ValueError(
                "expected no 'of' with the 'code' of a reading, which is an answer; leave it out"
            )
        return self


class Readings(DialectPart):
    """Queries of one output's own measurement, one for each or one for both; their units where they are no SI
    units and none stands behind the number.
    """

    voltage: Query | ReadingQuery | None = None
    current: Query | ReadingQuery | None = None
    both: BothReadings | None = None
    voltage_unit: Literal["V", "mV", "kV"] = "V"
    current_unit: Literal["A", "mA", "uA"] = "A"

    @property
    def factors(self) -> tuple[float, float]:
        """What one of a voltage's and of a current's answer is in SI units."""
        return FACTORS[self.voltage_unit], FACTORS[self.current_unit]

    @model_validator(mode="after")
    def _whole(self) -> Readings:
        alone = [each is not None for each in (self.voltage, self.current)]
        if alone != [self.both is None] * 2:
            raise ValueError("expected either 'voltage' and 'current', or 'both'")
        return self

    @property
    def alone(self) -> tuple[ReadingQuery, ...]:
        """The queries of voltage and of current, in this order; nothing where one query is for both."""
        given = [each for each in (self.voltage, self.current) if each is not None]
        return tuple(ReadingQuery(query=each) if isinstance(each, str) else each for each in given)

    @property
    def codes(self) -> tuple[Code | None, Code | None]:
        """The codes in which a voltage and a current are answered."""
        own = [each.code for each in self.alone] or [None, None]
        voltage, current = (
            None if code is None else code.in_si(one) for code, one in zip(own, self.factors, strict=True)
        )
        return voltage, current

    @property
    def queries(self) -> tuple[str, ...]:
        """What is asked of an output, in this order."""
        return tuple(query for query, _ in self.asked)

    @property
    def asked(self) -> tuple[tuple[str, bool], ...]:
        """What is asked of an output, in this order, and whether that is answered for all outputs."""
        if self.both is not None:
            return ((self.both.query, False),)
        return tuple((each.query, isinstance(each.field, Mapping)) for each in self.alone)

    def places(self, channel: int) -> tuple[tuple[int, int], tuple[int, int]]:
        """Where the voltage and the current of an output stand: which of the answers to `queries`, and which
        of its parts.
        """
        if self.both is None:
            voltage, current = ((field_at(each.field, channel) or 1) - 1 for each in self.alone)
            return (0, voltage), (1, current)
        fields = self.both.fields
        return (0, fields.index("voltage")), (0, fields.index("current"))


class StatusCommands(DialectPart):
    """Where an output says whether it tripped, and what regulates it; `mode` left out: it does not say."""

    mode: ModeStatus | None = None
    trips: TripStatus


class ListFile(DialectPart):
    """How a point list goes into the instrument as a file: `data "NAME",#<block>`, then `load "NAME"` of an
    output. In it stand voltage and dwell of each point, one after the other, with commas between. name: of
    the file of an output.
    """

    data: Command
    load: Command
    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9_.{}]+$")] = "LIST{channel}"


class PointListCommands(DialectPart):
    """Headers of the output's own point list; the setting `voltage_mode` says whether it rules.

    written: as numbers, one after the other; as a block of definite length (IEEE 488.2, 7.7.6) that has them
    as text, which queries answer too; or by a file, of which `file` says how, and queries answer numbers.
    """

    written: Literal["points", "block", "file"] = "points"
    file: ListFile | None = None
    voltages: Command
    dwells: Command
    count: Command
    between: Command | None = None
    start: Command
    stop: Command

    @model_validator(mode="after")
    def _whole(self) -> PointListCommands:
        if (self.file is None) != (self.written != "file"):
            raise ValueError("expected 'file' with 'written: file', and only there")
        return self


class MasterSwitch(DialectPart):
    """A switch over all outputs, beside their own: an output delivers only while both are on.

    switch: its command and its query, sent as they stand. goes_off: after all outputs that feed something; or
    first, where it is what takes all of them off at once.
    """

    switch: Operation
    goes_off: Literal["last", "first"] = "last"

    @model_validator(mode="after")
    def _whole(self) -> MasterSwitch:
        switch = self.switch
        if switch.command is None or switch.query is None:
            raise ValueError("expected a master switch with a command and a query; leave 'master' out else")
        for header in (switch.command, switch.query):
            if CHANNEL in header:
                raise ValueError(f"expected no {CHANNEL} in the header of the master switch, got '{header}'")
        if any(getattr(switch, key) is not None for key in ("unit", "digits", "resolution", "field", "code")):
            told = "expected a master switch without 'unit', 'digits', 'resolution', 'code' and 'field'"
            raise ValueError(told)
        check_own_words(switch)
        return self


class WatchdogCommands(DialectPart):
    """Headers of the communication watchdog: its time [s], and whether it is on; each has a query.

    While it is on, the instrument switches its outputs off by itself when no message came for that time.
    """

    time: Command
    state: Command


class Dialect(DialectPart):
    """How a kind of supply is spoken to.

    addressing: none (one output), channel-list (`VOLT 5,(@1)`), selected-output (`INST:NSEL 1;:VOLT 5`),
    numbered-header (`SOURce1:VOLT 5`), prefixed (`prefix` before every command of an output), parameter
    (`VOLT 1,5`; a header that has {channel} itself says where it stands). called: what the instrument calls
    its outputs, where that is not their number. impossible: settings that the instrument is known not to
    have.
    """

    name: str = Field(alias="dialect")
    addressing: Addressing
    prefix: str = ""
    called: str | dict[int, str] = CHANNEL
    compound: bool
    list_readings: bool = False
    words: dict[str, str]
    instrument: InstrumentCommands
    session: SessionPart = SessionPart()
    identification: Identification = Identification()
    settings: dict[Setting, Operation]
    impossible: tuple[Setting, ...] = ()
    actions: Actions = Actions()
    readings: Readings
    status: StatusCommands
    points: PointListCommands | None = None
    link: Command | None = None
    watchdog: WatchdogCommands | None = None
    master: MasterSwitch | None = None
    _digest: str = PrivateAttr("")

    @property
    def digest(self) -> str:
        """SHA-256 of its file, in hexadecimal; '' where it was not read from one."""
        return self._digest

    @model_validator(mode="before")
    @classmethod
    def _apart(cls, given: Any) -> Any:
        """What cannot be set is kept apart from what can."""
        settings = given.get("settings") if isinstance(given, Mapping) else None
        if not isinstance(settings, Mapping):
            return given
        lacks = tuple(name for name, written in settings.items() if written == CANNOT)
        can = {name: written for name, written in settings.items() if written != CANNOT}
        return {**given, "settings": can, "impossible": lacks} if lacks else given

    @field_validator("words")
    @classmethod
    def _words(cls, words: dict[str, str]) -> dict[str, str]:
        check_words(words)
        check_whole("a word", *words.values())
        return words

    @field_validator("prefix")
    @classmethod
    def _prefix(cls, prefix: str) -> str:
        """As a header is, it may leave the channel open, and nothing else."""
        check_whole("a prefix", prefix)
        if prefix and not _PREFIX.fullmatch(prefix):
            told = f"expected the beginning of a header such as 'INSTrument{CHANNEL}:'"
            raise ValueError(f"{told}, got {prefix!r}")
        return prefix

    @field_validator("called")
    @classmethod
    def _called(cls, called: str | dict[int, str]) -> str | dict[int, str]:
        names = [called] if isinstance(called, str) else list(called.values())
        check_whole("a name of an output", *names)
        if any("?" in name for name in names):
            raise ValueError(f"expected a name of an output without '?', got {', '.join(names)}")
        if isinstance(called, dict) and len(set(names)) < len(names):
            raise ValueError(f"expected another name for each output, got {', '.join(names)}")
        return called

    @model_validator(mode="after")
    def _whole(self) -> Dialect:
        for name in NEEDED:
            if name not in self.settings or not self.settings[name].settable:
                raise ValueError(f"expected '{name}' among the settings with a command, got none")
        needed = ["on", "off"]
        needed += ["at load", "at terminals"] if "sense" in self.settings else []
        needed += ["no link"] if self.link is not None else []
        for word in needed:
            if word not in self.words:
                raise ValueError(f"expected '{word}' among the words, got none")
        for name, operation in self.settings.items():
            self._check_setting(name, operation)
        if (self.addressing == "selected-output") != (self.instrument.select is not None):
            raise ValueError("expected instrument.select with 'addressing: selected-output', and only there")
        if (self.addressing == "prefixed") != (CHANNEL in self.prefix):
            raise ValueError(
                f"expected 'prefix' with {CHANNEL} in it with 'addressing: prefixed', and only there"
            )
        if (self.points is None) != ("voltage_mode" not in self.settings):
            raise ValueError("expected 'voltage_mode' among the settings with 'points', and only there")
        if self.instrument.selected is not None and not self.selects_apart:
            raise ValueError(
                "expected instrument.selected with 'addressing: selected-output' and 'compound: false', and "
                "only there"
            )
        if self.list_readings and self.readings.both is not None:
            raise ValueError("expected 'list_readings: false' with 'both' readings in one answer")
        if self.list_readings and (
            self.settings["output"].field is not None
            or any(each.field is not None for each in self.readings.alone)
        ):
            raise ValueError("expected 'list_readings: false' with a 'field' of 'output' or of a reading")
        if self.compound and self.session.parted_by == ";":
            told = "a message of several queries could not be told from an answer of several fields"
            raise ValueError(f"expected 'compound: false' with 'parted_by: \";\"': {told}")
        if self.list_readings and self.addressing != "channel-list":
            raise ValueError(f"expected 'list_readings: false' with 'addressing: {self.addressing}'")
        return self

    @model_validator(mode="after")
    def _one_meaning(self) -> Dialect:
        """What is asked for all outputs is nowhere asked of one."""
        asked = self._queries()
        for query in self.for_all & {query for query, for_all in asked if not for_all}:
            raise ValueError(
                f"expected 'field' by output wherever '{query}' stands, as it is asked for all outputs in "
                "one place; write field: {1: …, 2: …} in each"
            )
        return self

    def _queries(self) -> list[tuple[str, bool]]:
        """What is asked of outputs, and whether that is answered for all of them."""
        mode = self.status.mode
        told = [(mode.query, isinstance(mode.field, Mapping))] if mode is not None else []
        own = [(each.query, isinstance(each.field, Mapping)) for each in self.settings.values() if each.query]
        return [
            *((query or "", all_) for query, all_ in own),
            *self.readings.asked,
            *told,
            *self.status.trips.asked,
        ]

    @property
    def for_all(self) -> frozenset[str]:
        """The queries that are answered for all outputs."""
        return frozenset(query for query, for_all in self._queries() if for_all)

    def check_channel(self, channel: int) -> None:
        """ValueError where an output is not one that a name or a field of an answer is given for."""
        self.spoken.name(channel)
        mode, trips = self.status.mode, self.status.trips
        fields = [trips.field, *([] if mode is None else [mode.field])]
        fields += [each.field for each in self.settings.values()]
        fields += [each.field for each in self.readings.alone]
        fields += [each.field for each in (trips.each or {}).values() if not isinstance(each, str)]
        for field in fields:
            field_at(field, channel)

    @model_validator(mode="after")
    def _harmless(self) -> Dialect:
        """What is sent whenever a session is opened or closed, or to empty the queue of errors, may change no
        output.
        """
        power_on = self.instrument.power_on
        clears = (self.instrument.clear, None if power_on is None else power_on.clear)
        own = tuple(self._changing())
        check_harmless((*self.session.opening, *self.session.closing), own)
        check_harmless([each for each in clears if each is not None], own, vouched=True)
        others = [each for each in own if each[0] != "actions.clear_trips"]
        for header in self.actions.clear_trips:
            if why := why_more_than_clearing(header, others):
                raise ValueError(
                    f"expected a command that clears trips of one output, got '{header}', {why}; name those "
                    "that clear its protections, such as OUTPut:PROTection:CLEar, or leave 'clear_trips' out"
                )
        return self

    def _changing(self) -> Iterator[tuple[str, str]]:
        """Each command that changes an output or the instrument: what it is called here, and its header."""
        for name, operation in self.settings.items():
            if operation.command is not None:
                yield name, operation.command
        if self.master is not None and self.master.switch.command is not None:
            yield "master", self.master.switch.command
        parts = {"actions": self.actions, "points": self.points, "watchdog": self.watchdog}
        for part, commands in parts.items():
            for key, given in commands or ():
                headers = given if isinstance(given, tuple) else (given,)
                for header in headers if key != "written" else ():
                    if isinstance(header, str):
                        yield f"{part}.{key}", header
        if self.link is not None:
            yield "link", self.link
        if self.instrument.select is not None:
            yield "instrument.select", self.instrument.select

    def _check_setting(self, name: Setting, operation: Operation) -> None:
        """A unit and words of its own fit what is set, and its headers name their output."""
        if operation.unit is not None:
            si = UNIT_OF.get(name)
            fits = si is not None and (
                operation.unit.removeprefix("m").removeprefix("k").removeprefix("u") == si
            )
            if not fits and not (si == "V/s" and operation.unit in ("V/ms", "V/us")):
                raise ValueError(f"expected a unit of {si or 'none'} for '{name}', got '{operation.unit}'")
        if (operation.on or operation.answers_on) and name not in SWITCHES:
            raise ValueError(f"expected no words for on and off for '{name}', which is no switch")
        if operation.code is not None and name not in UNIT_OF:
            raise ValueError(f"expected no 'code' for '{name}', which is no number; say its words")
        if operation.code is not None and name == "voltage" and self.points is not None:
            raise ValueError(
                "expected no 'points' beside a 'code' of 'voltage', as lists have none; leave it out"
            )
        check_own_words(operation)
        for_all = isinstance(operation.field, Mapping)
        for header in (operation.command, None if for_all else operation.query):
            if header is None or CHANNEL in header:
                continue
            if self.addressing == "parameter" and VALUE in header:
                raise ValueError(
                    f"expected {CHANNEL} beside {VALUE} in the header of '{name}' with 'addressing: "
                    f"parameter', got '{header}'"
                )
            if self.addressing == "numbered-header":
                raise ValueError(
                    f"expected {CHANNEL} in the header of '{name}' with 'addressing: numbered-header', "
                    f"got '{header}'"
                )

    # Units are single commands; `compose` makes one message of them.

    @property
    def spoken(self) -> Spoken:
        """How commands name their output."""
        select, session = self.instrument.select or "", self.session
        longest = 0 if session.longest is None else session.longest - len(session.sends)
        return Spoken(self.addressing, self.compound, select, self.prefix, self.called, longest)

    @property
    def selects_apart(self) -> bool:
        """Whether an output is selected in a message of its own."""
        return self.addressing == "selected-output" and not self.compound

    @property
    def session_settings(self) -> SessionSettings:
        """How its lines end, how much time it wants, and what a session with it begins and ends with."""
        session = self.session
        return SessionSettings(
            session.sends,
            session.answers,
            session.pause,
            session.patience,
            boot=session.boot,
            parted_by=session.parted_by,
            opening=as_commands(session.opening),
            closing=as_commands(session.closing),
        )

    @property
    def error_query(self) -> str | None:
        """What is asked after a command to know whether it worked: the error queue, else the event status."""
        return self.instrument.next_error or self.instrument.event_status

    def select(self, channel: int) -> list[str]:
        """What goes before commands to a channel: nothing where commands carry their channel themselves."""
        return self.spoken.selecting(channel)

    def can_set(self, setting: Setting) -> bool:
        """Whether a command sets it."""
        return setting in self.settings and self.settings[setting].settable

    def by_hand(self, setting: Setting) -> bool:
        """Whether a person sets it at the instrument."""
        return setting in self.settings and self.settings[setting].by_hand

    def set_unit(self, setting: Setting, channel: int, value: Value) -> str:
        """The command that sets `setting` of a channel, not selecting it. ValueError where none does."""
        return self.command_of(self._command(setting), (channel,), self.written(setting, value))

    def template_unit(self, setting: Setting, channel: int) -> str:
        """The command that sets a number of a channel, with `{}` for what `Operation.number` gives."""
        return self.command_of(self._command(setting), (channel,), "{}")

    def query_unit(self, setting: Setting, channel: int) -> str:
        """The query of a setting. ValueError where it has none."""
        operation = self.settings[setting]
        if operation.query is None:
            raise ValueError(f"dialect '{self.name}' has no query of {setting}")
        return self._asked(operation.query, isinstance(operation.field, Mapping), (channel,))

    def _asked(self, query: str, for_all: bool, channels: Sequence[int]) -> str:
        """A query of channels, not selecting them; as it stands where it is answered for all outputs."""
        return query if for_all else self.command_of(query, channels)

    def _command(self, setting: Setting) -> str:
        command = self.settings[setting].command
        if command is None:
            raise ValueError(f"dialect '{self.name}' has no command for {setting}")
        return command

    def clear_units(self, channel: int) -> list[str]:
        """The commands that clear what tripped of a channel, not selecting it; none: the dialect has none. A
        common command names no output.
        """
        return [
            header if header.startswith("*") else self.command_of(header, (channel,))
            for header in self.actions.clear_trips
        ]

    def command_of(self, header: str, channels: Sequence[int], *parameters: str) -> str:
        """Any command of a header, for channels, not selecting them."""
        return self.spoken.unit(header, channels, *parameters)

    def query_of(self, header: str, channel: int) -> str:
        """The query of any header."""
        return self.command_of(query_of_header(header), (channel,))

    def most_points(self, channel: int, width: int) -> int | None:
        """How many points a list of a channel may have, by the longest message, where each number takes so
        many characters with the comma behind it; None: any.
        """
        points, longest = self.points, self.spoken.longest
        if points is None or not longest:
            return None
        if points.file is not None:
            header = f'{points.file.data} "{points.file.name.replace(CHANNEL, str(channel))}"'
            return max(0, longest - len(header) - BLOCK_BEGINS) // (2 * width)
        headers = (self.command_of(each, (channel,), "") for each in (points.voltages, points.dwells))
        begins = BLOCK_BEGINS if points.written == "block" else 0
        return max(0, longest - max(map(len, headers)) - begins) // width

    def link_units(self, channel: int, sources: Sequence[int]) -> list[str]:
        """The command by which a channel goes off when one of `sources` trips, not selecting it; none of them
        undoes a link. Nothing where the dialect cannot.
        """
        if self.link is None:
            return []
        given = format_channels(tuple(sources)) if sources else self.words["no link"]
        return [self.command_of(self.link, (channel,), given)]

    def link_query(self, channel: int) -> str:
        """The query of the channels that a channel goes off with. ValueError where the dialect cannot."""
        if self.link is None:
            raise ValueError(f"dialect '{self.name}' has no command for linked trips")
        return self.query_of(self.link, channel)

    def understood_link(self, answer: str) -> tuple[int, ...]:
        """Channels that an answer to `link_query` names, in rising order. ValueError where it is none."""
        from railwright.scpi.data import Expression, parse_channels
        from railwright.scpi.errors import ScpiError

        text = answer.strip()
        if text.upper() in forms(self.words.get("no link", "")):
            return ()
        try:
            return tuple(sorted(set(parse_channels(Expression(text), range(1, HIGHEST_CHANNEL + 1)))))
        except ScpiError:
            expected = f"a channel list such as (@1,2), or {self.words.get('no link', '')}"
            raise ValueError(f"expected {expected}, got {answer[:60]!r}") from None

    def watchdog_units(self, time: float | None) -> list[str]:
        """Commands that set the watchdog to a time [s] and switch it on, in this order; None: switch it off.
        Nothing where the dialect has none.
        """
        if self.watchdog is None:
            return []
        if time is None:
            return [with_value(self.watchdog.state, self.words["off"])]
        return [
            with_value(self.watchdog.time, f"{time:.9g}"),
            with_value(self.watchdog.state, self.words["on"]),
        ]

    def watchdog_queries(self) -> list[str]:
        """Queries of its time and its state, in this order; nothing where the dialect has none."""
        own = self.watchdog
        return [] if own is None else [query_of_header(own.time), query_of_header(own.state)]

    def understood_watchdog(self, time: str, state: str) -> float | None:
        """Time of the watchdog [s] by the answers to `watchdog_queries`; None: it is off. ValueError where an
        answer means nothing.
        """
        seconds = _number(time, "s", 1.0)
        return seconds if self._switch(state) else None

    def master_unit(self, on: bool) -> str:
        """The command of the master switch. ValueError where the dialect has none."""
        if self.master is None or self.master.switch.command is None:
            raise ValueError(f"dialect '{self.name}' has no master switch")
        switch, command = self.master.switch, self.master.switch.command
        word = (switch.on if on else switch.off) or self.words["on" if on else "off"]
        return with_value(command, word)

    @property
    def master_queries(self) -> list[str]:
        """The query of the master switch; nothing where the dialect has none."""
        query = None if self.master is None else self.master.switch.query
        return [] if query is None else [query]

    def understood_master(self, answer: str) -> bool:
        """Whether the master switch is on, by the answer to its query. ValueError where it means neither."""
        return self._switch(answer, None if self.master is None else self.master.switch)

    @property
    def master_off_answers(self) -> tuple[str, ...]:
        """What the query of the master switch may answer where it is off, in capitals."""
        switch = self.settings["output"] if self.master is None else self.master.switch
        return off_answers(switch.off or self.words["off"], switch.answers_off)

    @property
    def off_answers(self) -> tuple[str, ...]:
        """What the query of an output's state may answer where it is off, in capitals."""
        switch = self.settings["output"]
        return off_answers(switch.off or self.words["off"], switch.answers_off)

    def state_units(self, channels: Sequence[int]) -> list[str]:
        """Queries of whether channels are on; one for all where the dialect reads lists."""
        switch = self.settings["output"]
        assert switch.query is not None, "an operation with a command has a query"
        return [self._asked(switch.query, isinstance(switch.field, Mapping), channels)]

    def reading_units(self, channels: Sequence[int]) -> list[str]:
        """Queries of voltage and current of channels; one for all where the dialect reads lists."""
        return [self._asked(query, for_all, channels) for query, for_all in self.readings.asked]

    def read_numbers(self, answers: Sequence[str], channels: Sequence[int]) -> list[tuple[float, float]]:
        """Voltage and current [V, A] of channels, by the answers to `reading_units`. ValueError where one is
        none, or there are more or fewer.
        """
        parts = [answer.split(",") for answer in answers]
        readings = self.readings
        wanted = len(channels) if readings.both is None else len(readings.both.fields)
        fields = [None] if readings.both is not None else [each.field for each in readings.alone]
        for answer, own, field in zip(answers, parts, fields, strict=True):
            if field is None and len(own) != wanted:
                raise ValueError(f"expected {wanted} finite numbers, got '{answer}'")
        found = []
        for position, channel in enumerate(channels):
            pair = [
                _number(field_of(answers[number], part + position + 1), unit, one, code)
                for (number, part), unit, one, code in zip(
                    readings.places(channel), "VA", readings.factors, readings.codes, strict=True
                )
            ]
            if not all(math.isfinite(each) for each in pair):
                raise ValueError(f"expected {wanted} finite numbers, got '{'; '.join(answers)}'")
            found.append((pair[0], pair[1]))
        return found

    def checked(self, units: Sequence[str]) -> list[str]:
        """Units with the question of which output is selected, after what is told to and asked of each that
        was; as they are where that cannot be asked.
        """
        query = self.instrument.selected
        if query is None:
            return [*units]
        found: list[str] = []
        selects = False
        for unit in units:
            again = self.spoken.selects(unit)
            found += [query] if again and selects else []
            found.append(unit)
            selects = selects or again
        return [*found, query] if selects else found

    def unchecked(self, units: Sequence[str], answers: Sequence[str]) -> list[str]:
        """The answers to units, from those to `checked` of them. ValueError where another output was selected
        than should be; as they are where some are missing.
        """
        query = self.instrument.selected
        asked = self.checked(units)
        if query is None or len(answers) != sum(map(is_query, asked)):
            return [*answers]
        left, found, wanted = iter(answers), list[str](), ""
        for unit in asked:
            if self.spoken.selects(unit):
                wanted = self.spoken.selected_by(unit)
            elif unit != query:
                found += [next(left)] if is_query(unit) else []
            elif not names(got := next(left), wanted):
                raise ValueError(
                    f"output {got[:20]} is selected where {wanted} was: somebody else selects outputs of it; "
                    "nobody else may while it is used"
                )
        return found

    def reading_queries(self, channels: Sequence[int]) -> list[str]:
        """What is asked of channels that are read together: state, voltage and current, status of each. One
        that answers several of them stands there several times, and is asked once.
        """
        told = [unit for channel in channels for unit in self.status_units(channel)]
        return self.state_units(channels) + self.reading_units(channels) + told

    @property
    def status_answers(self) -> int:
        """How many answers `status_units` bring."""
        return (self.status.mode is not None) + len(self.status.trips.asked)

    def status_units(self, channel: int) -> list[str]:
        """Queries of what regulates an output, and of its trips."""
        own = self.status.mode
        mode = [] if own is None else [self._with_number(own.query, isinstance(own.field, Mapping), channel)]
        return mode + self.trip_units(channel)

    def trip_units(self, channel: int) -> list[str]:
        """Queries of an output's trips; nothing where it does not tell them."""
        return [self._with_number(query, for_all, channel) for query, for_all in self.status.trips.asked]

    def understood_status(self, answers: Sequence[str], channel: int) -> tuple[str | None, tuple[str, ...]]:
        """What regulates an output ('': nothing does; None: the dialect does not tell) and the protections
        that tripped, by the answers to `status_units`. ValueError where an answer means nothing.
        """
        left = [*answers]
        mode = None if self.status.mode is None else self.status.mode.named(left.pop(0), channel)
        return mode, self.status.trips.tripped(left, channel)

    def identified(self, answer: str) -> dict[str, str]:
        """The fields of an identification. ValueError where it has others, or no model."""
        named, apart = self.identification.fields, self.identification.parted_by
        if apart == self.session.parted_by and not self.instrument.identify.startswith("*"):
            apart = ","  # as the session has it
        parts = [part.strip() for part in answer.split(apart)]
        found = dict(zip(named, parts, strict=False))
        if len(parts) != len(named) or not all(found[name] for name in ("maker", "model") if name in found):
            raise ValueError(f"expected '{apart.join(named)}', got '{answer}'")
        return {name: found.get(name, "") for name in FIELDS}

    def queued_error(self, answer: str) -> str:
        """What an entry of the error queue tells, in words; '' where it tells of none. ValueError."""
        number, text = parse_entry(answer, self.instrument.error_form)
        return ", ".join(each for each in (str(number), text) if each) if number else ""

    def event_error(self, answer: str) -> str:
        """What an event status register tells of an error, in words; '' where it tells none. ValueError."""
        return ", ".join(set_bits(EVENT_ERRORS, answer))

    def error_told(self, answer: str) -> str:
        """What an answer to `error_query` tells of an error, in words; '' for none. ValueError."""
        return (self.event_error if self.instrument.next_error is None else self.queued_error)(answer)

    @property
    def power_query(self) -> str | None:
        """What is asked to know whether the power came on; None: nothing tells it."""
        own = self.instrument.power_on
        return self.instrument.event_status if own is None else own.query

    def came_on(self, answer: str) -> bool:
        """Whether an answer to `power_query` tells that the power came on since it was asked. ValueError."""
        if self.instrument.power_on is not None:
            return self.instrument.power_on.came_on(answer)
        return bool(set_bits({"power": POWER_ON}, answer))

    def written(self, setting: Setting, value: Value) -> str:
        """A value as the instrument wants it."""
        operation = self.settings[setting]
        if setting in SWITCHES:
            own = operation.on if value else operation.off
            return own or self.words["on" if value else "off"]
        return self.words[str(value)] if setting in CHOICES else operation.number(float(value))

    def understood(self, setting: Setting, answer: str, channel: int) -> Value:
        """The value of a channel that an answer means [SI unit]. ValueError where it means none."""
        operation = self.settings[setting]
        answer = operation.picked(answer, channel)
        if setting in SWITCHES:
            return self._switch(answer, operation)
        if setting in CHOICES:
            return self.word(answer)
        return _number(answer, UNIT_OF[setting], operation.factor, operation.answered_code)

    def _switch(self, answer: str, operation: Operation | None = None) -> bool:
        text = answer.strip().upper()
        on, off = (operation.on, operation.off) if operation is not None else (None, None)
        if operation is not None and operation.answers_on:
            if text in off_answers("", operation.answers_on):
                return True
            if text in off_answers("", operation.answers_off):
                return False
            known = ", ".join((*operation.answers_on, *operation.answers_off))
            raise ValueError(f"expected one of {known}, got {answer!r}")
        if text in ("1", "ON", *forms(on or self.words["on"])):
            return True
        if text in ("0", "OFF", *forms(off or self.words["off"])):
            return False
        raise ValueError(f"expected 1 or 0, got {answer!r}")

    def word(self, answer: str) -> str:
        """The word of the dialect that an answer means. ValueError where it means none. Words come back short
        (SCPI-1999 vol. 1, 7.1): EXT for EXTernal.
        """
        text = answer.strip().upper()
        for word, written in self.words.items():
            if text in forms(written):
                return word
        raise ValueError(f"expected one of {', '.join(self.words.values())}, got {answer!r}")

    def _with_number(self, query: str, for_all: bool, channel: int) -> str:
        """A query that names its output in the header, whatever the addressing; else as any."""
        if for_all:
            return query
        return self.spoken.named(query, channel) if CHANNEL in query else self.command_of(query, (channel,))


def _number(answer: str, unit: str, one: float, code: Code | None = None) -> float:
    """The value of an answer in that SI unit; one: what one of it is where no unit stands behind it, and it
    is no code.
    """
    if code is not None:
        return code.value(answer)
    number, factor = parted(answer, unit, one)
    return parse_response(number) * factor


class DialectFault(NamedTuple):
    """What is wrong with a dialect's file, and the line where it stands."""

    file: str
    line: int
    what: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.what}"


class DialectError(Exception):
    """A dialect file that cannot be used: one line `file:line: what is wrong` for each fault."""

    def __init__(self, told: str | Sequence[DialectFault]) -> None:
        self.faults = () if isinstance(told, str) else tuple(told)
        super().__init__(told if isinstance(told, str) else "\n".join(map(str, told)))


@cache
def load_dialect(name: str) -> Dialect:
    """The package's dialect of that name. DialectError where there is none, or where its file is wrong."""
    if name not in dialect_names():
        raise DialectError(f"expected one of the dialects {', '.join(dialect_names())}, got '{name}'")
    dialect = read_dialect(dialect_text(name), f"{name}.yaml")
    if dialect.name != name:
        told = f"expected 'dialect: {name}', got 'dialect: {dialect.name}'"
        raise DialectError([DialectFault(f"{name}.yaml", 1, told)])
    return dialect


def read_dialect(text: str, file: str) -> Dialect:
    """A dialect from its text; `file` is what errors call it."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import YAMLError

    try:
        # Without lines of its own: ten times as fast, and nearly always all that is wanted.
        made = Dialect.model_validate(YAML(typ="safe").load(text))
    except (YAMLError, ValidationError):
        made = _with_lines(text, file)
    made._digest = hashlib.sha256(text.encode()).hexdigest()
    return made


def _with_lines(text: str, file: str) -> Dialect:
    """The same of a text in which something is wrong, which the error tells with its lines."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    try:
        tree = YAML(typ="rt").load(text)
    except MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise DialectError([DialectFault(file, line, f"expected YAML: {error.problem}")]) from None
    except YAMLError as error:
        told = str(error).splitlines()[0]
        raise DialectError([DialectFault(file, 1, f"expected YAML: {told}")]) from None
    if not isinstance(tree, Mapping):
        raise DialectError([DialectFault(file, 1, f"expected a dialect, got {type(tree).__name__}")])
    try:
        return Dialect.model_validate(_plain(tree))
    except ValidationError as error:
        faults = [DialectFault(file, _line(tree, each["loc"]), _told(each)) for each in error.errors()]
        raise DialectError(faults) from None


def _plain(node: Any) -> Any:
    if isinstance(node, Mapping):
        return {key: _plain(value) for key, value in node.items()}
    return [_plain(item) for item in node] if isinstance(node, list) else node


def _told(fault: Any) -> str:
    where = ".".join(str(part) for part in fault["loc"] if part != "[key]")
    return f"{where + ': ' if where else ''}{fault['msg'].removeprefix('Value error, ')}"


def _line(tree: Any, path: Sequence[Any]) -> int:
    """Line of the deepest part of `path` that stands in the file."""
    line, node = 1, tree
    for part in path:
        if not isinstance(node, Mapping) or part not in node:
            break
        line = node.lc.key(part)[0] + 1  # type: ignore[attr-defined]
        node = node[part]
    return line
