"""Dialects: how a kind of supply is spoken to, one data file each, checked when it is read.

A dialect names headers; this module makes commands of them. What a header's query answers verifies the
command, and both come from the one header in the file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from railwright.dialects.files import dialect_names, dialect_text
from railwright.dialects.units import unit_of
from railwright.dialects.words import check_words, forms, off_answers
from railwright.frozen import frozen_values
from railwright.scpi.channels import format_channels
from railwright.scpi.data import Expression, parse_channels
from railwright.scpi.errors import ScpiError
from railwright.scpi.grammar import parse_message

Setting = Literal[
    "output",
    "voltage",
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
Value = float | bool | str
"""A number in SI units, on or off, or a word of the dialect's `words`."""

SWITCHES = frozenset({"output", "ovp_on", "opp_on", "ocp_on", "trip_at_limit"})
CHOICES = frozenset({"sense", "voltage_mode"})
NEEDED = ("output", "voltage", "current_limit")
HIGHEST_CHANNEL = 99_999
"""Highest number of a channel that an answer may name."""


def _header(text: str) -> str:
    """A header, checked by SCPI's own grammar."""
    try:
        units = tuple(parse_message(text.replace("{channel}", "1").encode("latin-1", "replace")))
    except ScpiError as error:
        raise ValueError(f"expected a header such as 'SOURce:VOLTage', got '{text}': {error}") from None
    if len(units) != 1 or units[0].parameters:
        raise ValueError(f"expected one header and nothing else, got '{text}'")
    return text


def _query(text: str) -> str:
    if not _header(text).endswith("?"):
        raise ValueError(f"expected a query, its header ending in '?', got '{text}'")
    return text


def _command(text: str) -> str:
    if _header(text).endswith("?"):
        raise ValueError(f"expected a command's header without '?', got '{text}'")
    return text


Command = Annotated[str, AfterValidator(_command)]
Query = Annotated[str, AfterValidator(_query)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, defer_build=True)

    def model_post_init(self, context: Any, /) -> None:
        """Keep the mappings from changes: all benches of a process share a dialect."""
        self.__dict__.update(frozen_values(self.__dict__))


class InstrumentCommands(_Part):
    """Commands of the whole instrument."""

    identify: Query
    clear: Command
    next_error: Query
    select: Command | None = None


class Actions(_Part):
    """Commands of one output that leave nothing to ask back."""

    clear_trips: Command


class Readings(_Part):
    """Queries of one output's own measurement."""

    voltage: Query
    current: Query


class Bits(_Part):
    """A condition register of one output, and what its bits say."""

    query: Query
    bits: dict[str, Annotated[int, Field(ge=0, le=15)]]

    def names(self, value: int) -> tuple[str, ...]:
        """Names of the bits that are set, lowest bit first."""
        return tuple(
            name for name, bit in sorted(self.bits.items(), key=lambda item: item[1]) if value >> bit & 1
        )


class ModeBits(Bits):
    bits: dict[Literal["CV", "CC", "CP"], Annotated[int, Field(ge=0, le=15)]]  # type: ignore[assignment]


class TripBits(Bits):
    bits: dict[  # type: ignore[assignment]
        Literal["OVP", "current limit", "linked", "OPP", "OCP", "OTP"], Annotated[int, Field(ge=0, le=15)]
    ]


class StatusCommands(_Part):
    """Where an output says whether it tripped, and what regulates it; `mode` left out: it does not say."""

    mode: ModeBits | None = None
    trips: TripBits


class PointListCommands(_Part):
    """Headers of the output's own point list; the setting `voltage_mode` says whether it rules."""

    voltages: Command
    dwells: Command
    count: Command
    between: Command | None = None
    start: Command
    stop: Command


class WatchdogCommands(_Part):
    """Headers of the communication watchdog: its time [s], and whether it is on; each has a query.

    While it is on, the instrument switches its outputs off by itself when no message came for that time.
    """

    time: Command
    state: Command


class Dialect(_Part):
    """How a kind of supply is spoken to."""

    name: str = Field(alias="dialect")
    addressing: Literal["channel-list", "selected-output"]
    compound: bool
    list_readings: bool
    words: dict[str, str]
    instrument: InstrumentCommands
    settings: dict[Setting, Command]
    actions: Actions
    readings: Readings
    status: StatusCommands
    points: PointListCommands | None = None
    link: Command | None = None
    watchdog: WatchdogCommands | None = None

    @field_validator("words")
    @classmethod
    def _words(cls, words: dict[str, str]) -> dict[str, str]:
        check_words(words)
        return words

    @model_validator(mode="after")
    def _whole(self) -> Dialect:
        for name in NEEDED:
            if name not in self.settings:
                raise ValueError(f"expected '{name}' among the settings, got none")
        needed = ["on", "off"]
        needed += ["at load", "at terminals"] if "sense" in self.settings else []
        needed += ["no link"] if self.link is not None else []
        for word in needed:
            if word not in self.words:
                raise ValueError(f"expected '{word}' among the words, got none")
        if (self.addressing == "selected-output") != (self.instrument.select is not None):
            raise ValueError("expected instrument.select with 'addressing: selected-output', and only there")
        if (self.points is None) != ("voltage_mode" not in self.settings):
            raise ValueError("expected 'voltage_mode' among the settings with 'points', and only there")
        if self.addressing == "selected-output" and not self.compound:
            # Between selecting an output and its command the guard could select another one for a reading.
            raise ValueError("expected 'compound: true' with 'addressing: selected-output', got false")
        if self.list_readings and self.addressing != "channel-list":
            raise ValueError("expected 'list_readings: false' with 'addressing: selected-output'")
        return self

    # Units are single commands; `compose` makes one message of them.

    def select(self, channel: int) -> list[str]:
        """What goes before commands to a channel: nothing where commands carry their channel themselves."""
        return [] if self.instrument.select is None else [f"{self.instrument.select} {channel}"]

    def set_unit(self, setting: Setting, channel: int, value: Value) -> str:
        """The command that sets `setting` of a channel, not selecting it."""
        return self._with(self.settings[setting], (channel,), self.written(setting, value))

    def query_unit(self, setting: Setting, channel: int) -> str:
        """The query of a setting."""
        return self._with(self.settings[setting] + "?", (channel,))

    def action_unit(self, header: str, channel: int) -> str:
        return self._with(header, (channel,))

    def command_of(self, header: str, channels: Sequence[int], *parameters: str) -> str:
        """Any command of a header, for channels, not selecting them."""
        return self._with(header, channels, *parameters)

    def query_of(self, header: str, channel: int) -> str:
        """The query of any header."""
        return self._with(header + "?", (channel,))

    def link_units(self, channel: int, sources: Sequence[int]) -> list[str]:
        """The command by which a channel goes off when one of `sources` trips, not selecting it; none of them
        undoes a link. Nothing where the dialect cannot.
        """
        if self.link is None:
            return []
        given = format_channels(tuple(sources)) if sources else self.words["no link"]
        return [self._with(self.link, (channel,), given)]

    def link_query(self, channel: int) -> str:
        """The query of the channels that a channel goes off with. ValueError where the dialect cannot."""
        if self.link is None:
            raise ValueError(f"dialect '{self.name}' has no command for linked trips")
        return self.query_of(self.link, channel)

    def understood_link(self, answer: str) -> tuple[int, ...]:
        """Channels that an answer to `link_query` names, in rising order. ValueError where it is none."""
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
            return [f"{self.watchdog.state} {self.words['off']}"]
        return [f"{self.watchdog.time} {time:.9g}", f"{self.watchdog.state} {self.words['on']}"]

    def watchdog_queries(self) -> list[str]:
        """Queries of its time and its state, in this order; nothing where the dialect has none."""
        return [] if self.watchdog is None else [f"{self.watchdog.time}?", f"{self.watchdog.state}?"]

    def understood_watchdog(self, time: str, state: str) -> float | None:
        """Time of the watchdog [s] by the answers to `watchdog_queries`; None: it is off. ValueError where an
        answer means nothing.
        """
        from railwright.scpi.numbers import parse_response

        seconds = parse_response(time)
        return seconds if self._switch(state) else None

    def word(self, answer: str) -> str:
        """The word of the dialect that an answer means. ValueError where it means none."""
        return self._word(answer)

    @property
    def off_answers(self) -> tuple[str, ...]:
        """What the query of an output's state may answer where it is off, in capitals."""
        return off_answers(self.words["off"])

    def state_units(self, channels: Sequence[int]) -> list[str]:
        """Queries of whether channels are on; one for all where the dialect reads lists."""
        return [self._with(self.settings["output"] + "?", channels)]

    def reading_units(self, channels: Sequence[int]) -> list[str]:
        """Queries of voltage and current of channels; one for all where the dialect reads lists."""
        return [self._with(header, channels) for header in (self.readings.voltage, self.readings.current)]

    def written(self, setting: Setting, value: Value) -> str:
        """A value as the instrument wants it."""
        if setting in SWITCHES:
            return self.words["on" if value else "off"]
        if setting in CHOICES:
            return self.words[str(value)]
        return f"{float(value):.9g}"

    def understood(self, setting: Setting, answer: str) -> Value:
        """The value that an answer means. ValueError where it means none."""
        if setting in SWITCHES:
            return self._switch(answer)
        if setting in CHOICES:
            return self._word(answer)
        from railwright.scpi.numbers import parse_response

        return parse_response(answer)

    def _switch(self, answer: str) -> bool:
        text = answer.strip().upper()
        if text in ("1", "ON", *forms(self.words["on"])):
            return True
        if text in ("0", "OFF", *forms(self.words["off"])):
            return False
        raise ValueError(f"expected 1 or 0, got {answer!r}")

    def _word(self, answer: str) -> str:
        """Words come back short (SCPI-1999 vol. 1, 7.1): EXT for EXTernal."""
        text = answer.strip().upper()
        for word, written in self.words.items():
            if text in forms(written):
                return word
        raise ValueError(f"expected one of {', '.join(self.words.values())}, got {answer!r}")

    def _with(self, header: str, channels: Sequence[int], *parameters: str) -> str:
        return unit_of(self.addressing, header, channels, *parameters)


class DialectError(Exception):
    """A dialect file that cannot be used: one line `file:line: what is wrong` for each fault."""


@cache
def load_dialect(name: str) -> Dialect:
    """The dialect of that name. DialectError where there is none, or where its file is wrong."""
    if name not in dialect_names():
        raise DialectError(f"expected one of the dialects {', '.join(dialect_names())}, got '{name}'")
    dialect = read_dialect(dialect_text(name), f"{name}.yaml")
    if dialect.name != name:
        raise DialectError(f"{name}.yaml:1: expected 'dialect: {name}', got 'dialect: {dialect.name}'")
    return dialect


def read_dialect(text: str, file: str) -> Dialect:
    """A dialect from its text; `file` is what errors call it."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import YAMLError

    try:
        # Without lines of its own: ten times as fast, and nearly always all that is wanted.
        return Dialect.model_validate(YAML(typ="safe").load(text))
    except (YAMLError, ValidationError):
        return _with_lines(text, file)


def _with_lines(text: str, file: str) -> Dialect:
    """The same of a text in which something is wrong, which the error tells with its lines."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    try:
        tree = YAML(typ="rt").load(text)
    except MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise DialectError(f"{file}:{line}: expected YAML: {error.problem}") from None
    except YAMLError as error:
        raise DialectError(f"{file}:1: expected YAML: {error}") from None
    if not isinstance(tree, Mapping):
        raise DialectError(f"{file}:1: expected a dialect, got {type(tree).__name__}")
    try:
        return Dialect.model_validate(_plain(tree))
    except ValidationError as error:
        lines = [f"{file}:{_line(tree, fault['loc'])}: {_told(fault)}" for fault in error.errors()]
        raise DialectError("\n".join(lines)) from None


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
