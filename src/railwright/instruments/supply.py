"""The driver of a supply: identify it, set and verify, read, switch off. It knows a dialect, not a model."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from railwright.dialects.dialect import Dialect, Value
from railwright.dialects.operation import UNIT_OF, Setting, field_at
from railwright.dialects.proofs import InstrumentModel
from railwright.dialects.units import compose
from railwright.documents.bench import Supply as SupplyDocument
from railwright.guard.session_settings import is_query
from railwright.instruments.comparison import UNKNOWN_RESOLUTION, allowed_difference
from railwright.instruments.conversation import Conversation, split_answers
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer, OpenSession
from railwright.printable import printable
from railwright.traces import Mode
from railwright.version import TWIN_MAKER

ROUNDED = 0.01
"""Part of a number by which the digits that are sent may differ from it."""


CLEARS_WITHIN, CLEAR_LOOK = 10, 0.05
"""How often it is asked whether a trip is cleared, and the time between [s]: a status may be told late."""


@dataclass(frozen=True, slots=True)
class Identity:
    """What *IDN? answers (IEEE 488.2, 10.14): its four fields, and the answer as it came."""

    maker: str
    model: str
    serial: str
    version: str
    answer: str = ""

    @property
    def simulated(self) -> bool:
        """Whether it is a simulated instrument, by what it says of itself."""
        return TWIN_MAKER in (self.maker, self.answer.split(",")[0].strip())

    @property
    def instrument(self) -> InstrumentModel:
        """What proofs are kept of: all instruments of its maker, model and version."""
        return InstrumentModel(self.maker, self.model, self.version)

    def expect(self, name: str, command: str, model: str | None, serial: str | None) -> None:
        """InstrumentError where the bench document has another model, or another serial number; None: it has
        none.
        """
        for what, wanted, got in (("model", model, self.model), ("serial number", serial, self.serial)):
            if wanted is not None and wanted != got:
                told = f"expected the {what} '{wanted}' of the bench document, got '{got}'"
                raise InstrumentError(name, command, told)

    @property
    def fields(self) -> dict[str, str]:
        """The four fields by their names."""
        return {
            "maker": self.maker,
            "model": self.model,
            "serial": self.serial,
            "version": self.version,
        }


@dataclass(frozen=True, slots=True)
class OutputSetting:
    """One setting of one output of this supply.

    slack: how far its query may lie from the value beside what the output's own grid lets pass, in the
    setting's SI unit: more than 0 where it is reckoned from what moves it.
    """

    output: str
    setting: Setting
    value: Value
    slack: float = 0.0


@dataclass(frozen=True, slots=True)
class OutputReading:
    """What one output measures [V, A], what regulates it, and why it tripped ('' where it did not).

    mode is None where the dialect does not tell it. time: middle of question and answer, monotonic clock [s].
    on: what the output's own state says, and the master switch where there is one. exchange: when that was
    asked for, and when the answer had come [s], same clock.
    """

    output: str
    time: float
    voltage: float
    current: float
    mode: Mode | None
    trip: str
    on: bool
    exchange: tuple[float, float] | None = None


class _Group(NamedTuple):
    """Outputs that are read together: which of all answers is that to each of the dialect's
    `reading_queries`, and which output is selected while they are asked; None: it does not matter.
    """

    outputs: tuple[str, ...]
    order: list[int]
    selected: int | None


class _Asked(NamedTuple):
    """What is asked of outputs in a dialect: units, how many answers they bring, what is read together."""

    dialect: Dialect
    units: list[str]
    wanted: int
    groups: list[_Group]


class SupplyDriver(Conversation):
    """One supply over one session. Failures are InstrumentErrors; outputs have the bench's names."""

    def __init__(self, name: str, document: SupplyDocument, open_session: OpenSession) -> None:
        super().__init__(name, document.address, document.dialect, open_session, document.session_settings)
        self.document = document
        self.identity: Identity | None = None
        self._channels = dict(document.channels)
        self._looks: dict[tuple[str, ...], _Asked] = {}

    @property
    def outputs(self) -> tuple[str, ...]:
        return tuple(self._channels)

    def channel(self, output: str) -> int:
        """Number of an output in this supply's commands, from 1."""
        return self._channels[output]

    def supports(self, setting: Setting) -> bool:
        """Whether a command sets it, or at least the supply, or a person, says how it stands."""
        return setting in self.dialect.settings

    def identify(self) -> Identity:
        """Ask who it is; refuse one that is not the instrument of the bench document."""
        command = self.dialect.instrument.identify
        answer = self.ask(command).text
        if (before := self._ready(command).identity) not in ("", answer):
            told = f"answered '{before}', then '{answer}': two identifications of one instrument"
            raise InstrumentError(self.name, command, told)
        try:
            fields = self.dialect.identified(answer)
        except ValueError as error:
            raise InstrumentError(self.name, command, f"{error}: an unknown instrument") from None
        identity = Identity(
            **{name: printable(text, one_line=True) for name, text in fields.items()}, answer=answer
        )
        identity.expect(self.name, command, self.document.model, self.document.serial)
        self.identity = identity
        return identity

    def clear(self) -> None:
        """Empty the error queue and the event registers; from then on, its power coming on is news."""
        self.watches_power = False
        if self.dialect.instrument.clear is not None:
            self.do([self.dialect.instrument.clear])
        else:
            self.errors()
        if self.dialect.instrument.event_status is not None:
            # Reading clears it, too; and one that does not answer is found before it is relied on.
            self._event(self.ask(self.dialect.instrument.event_status).text)
        own = self.dialect.instrument.power_on
        if own is not None:
            self.expect_power(self.ask(own.query).text)
            if own.clear is not None:
                self.do([own.clear])
        self.watches_power = True
        if own is not None:
            # One that still tells it would tell of no restart.
            self.expect_power(self.ask(own.query).text)

    # Setting

    def put(self, changes: Iterable[OutputSetting]) -> None:
        """Set one after the other, each verified: error queue empty, and the query answers what was asked."""
        for change in changes:
            channel = self._channels[change.output]
            if self._sets(change.setting):
                units, off = [*self.dialect.select(channel), self._set(change)], _is_off(change)
                self.do(units, off=off, shown=self.tells(change.setting))
            self.verify([change])

    def verify(self, changes: Iterable[OutputSetting]) -> None:
        """Query settings and compare them with what was asked."""
        for change in changes:
            channel = self._channels[change.output]
            if not self.tells(change.setting):
                continue
            units = [*self.dialect.select(channel), self.dialect.query_unit(change.setting, channel)]
            answer = self.one_answer(units)
            self._compare(change, compose(units), answer)

    def put_together(
        self,
        changes: Sequence[OutputSetting],
        at: float | None = None,
        first: Sequence[str] = (),
        moved: Sequence[OutputSetting] = (),
    ) -> Answer:
        """Set several at once, in order, and verify them, in one message where the dialect allows it.

        at: when the message is to leave [s, monotonic clock]; None: now. first: commands without an answer
        that take effect right before the settings. moved: what the settings move along in the supply, to be
        verified with them.

        Gives the exchange, whose times say when it was done. After an error the outputs' state is unknown.
        """
        units = list(first)
        # Settings of one output follow each other, then their queries: the output is selected once for each.
        for output in dict.fromkeys(change.output for change in changes):
            channel = self._channels[output]
            own = [change for change in changes if change.output == output]
            sent = [self._set(change) for change in own if self._sets(change.setting)]
            units += self.dialect.select(channel) + sent if sent else []
        asked: list[OutputSetting] = []
        for output in dict.fromkeys(change.output for change in (*changes, *moved)):
            channel = self._channels[output]
            own = [
                change
                for change in (*changes, *moved)
                if change.output == output and self.tells(change.setting)
            ]
            units += self.dialect.select(channel) if own else []
            units += [self.dialect.query_unit(change.setting, channel) for change in own]
            asked += own
        off, shown = any(map(_is_off, changes)), all(self.tells(change.setting) for change in changes)
        parts, answer = self.whether_done(units, at=at, off=off, shown=shown)
        command = compose(units)
        if len(parts) != len(asked):
            raise InstrumentError(self.name, command, f"answered '{answer.text}' only")
        for change, part in zip(asked, parts, strict=True):
            self._compare(change, command, part)
        return answer

    def told(self, changes: Sequence[OutputSetting]) -> tuple[str, ...]:
        """The messages that make these changes of one output, without asking them back."""
        channel = self._channels[changes[0].output]
        return self.messages([*self.dialect.select(channel), *(self._set(change) for change in changes)])

    def template(self, output: str, setting: Setting) -> tuple[str, ...]:
        """The messages that set a number of one output, with `{}` in its place."""
        channel = self._channels[output]
        unit = self.dialect.template_unit(setting, channel)
        return self.messages([*self.dialect.select(channel), unit])

    def clear_trips(self, output: str) -> None:
        """Let go the protections that tripped; the output stays off. Whether it worked, `cleared` asks."""
        channel = self._channels[output]
        for unit in self.dialect.clear_units(channel):
            self.do([*self.dialect.select(channel), unit])

    def cleared(self, output: str, sleep: Callable[[float], None]) -> None:
        """Ask what tripped of an output, for a while; InstrumentError where something still has. sleep: lets
        time pass [s]. An output that tells no trips is not asked.
        """
        channel = self._channels[output]
        sent = compose(self.dialect.clear_units(channel))
        units, trips = self.dialect.trip_units(channel), self.dialect.status.trips
        if not units:
            return
        standing: tuple[str, ...] = ()
        for _ in range(CLEARS_WITHIN):
            answers, answer = self.exchange([*self.dialect.select(channel), *units])
            if len(answers) != len(units):
                told = f"expected {len(units)} answers, got '{answer.text}'"
                raise InstrumentError(self.name, compose(units), told)
            try:
                standing = trips.tripped(answers, channel)
            except (ValueError, OverflowError) as error:
                raise InstrumentError(self.name, compose(units), str(error)) from None
            if not standing:
                return
            sleep(CLEAR_LOOK)
        why = f"'{sent}' did not clear it" if sent else "its dialect has no command that clears it"
        told = f"output {output} is tripped still by {' and '.join(standing)}: {why}"
        told += (
            ". What it protects from still stands, or 'actions.clear_trips' of its dialect lacks a command"
        )
        raise InstrumentError(self.name, sent, told)

    def switch_off(self, outputs: Sequence[str], at: float | None = None) -> Answer:
        """Switch outputs off, at least one, and verify that their state says so. Gives the exchange."""
        return self.put_together([OutputSetting(output, "output", False) for output in outputs], at)

    def link(self, output: str, sources: Sequence[str]) -> None:
        """Have an output switched off by the supply when one of `sources` trips, and ask it back."""
        self.link_channels(output, [self._channels[source] for source in sources])

    def link_channels(self, output: str, sources: Sequence[int]) -> None:
        """Have an output switched off by the supply when one of these channels trips, and ask it back."""
        channel, wanted = self._channels[output], sorted(sources)
        self.do([*self.dialect.select(channel), *self.dialect.link_units(channel, wanted)])
        if (got := sorted(self.linked_channels(output))) != wanted:
            told = f"output {output}: linked trips were set to channels {wanted} and read back as {got}"
            raise InstrumentError(self.name, compose(self._link_query(output)), told)

    def linked_channels(self, output: str) -> tuple[int, ...]:
        """The channels whose trip switches an output off, as the supply says."""
        units = self._link_query(output)
        try:
            return self.dialect.understood_link(self.one_answer(units))
        except ValueError as error:
            raise InstrumentError(self.name, compose(units), str(error)) from None

    def _link_query(self, output: str) -> list[str]:
        channel = self._channels[output]
        return [*self.dialect.select(channel), self.dialect.link_query(channel)]

    def state(self, output: str) -> bool:
        """Whether an output says that it is on."""
        return bool(self.value(output, "output"))

    def value(self, output: str, setting: Setting) -> Value:
        """How a setting of an output stands [SI unit]."""
        channel = self._channels[output]
        units = [*self.dialect.select(channel), self.dialect.query_unit(setting, channel)]
        return self._understood(setting, compose(units), self.one_answer(units), channel)

    def ranges(self, output: str) -> list[OutputSetting]:
        """The ranges that an output is set to: those of which the bench gives the figures."""
        document = self.document.outputs[output]
        wanted: tuple[tuple[Setting, float], ...] = (
            ("voltage_range", document.voltage.high),
            ("current_range", document.current.high),
        )
        return [OutputSetting(output, name, most) for name, most in wanted if self.dialect.can_set(name)]

    def put_ranges(self, output: str, levels: Sequence[OutputSetting]) -> None:
        """Set an output's ranges, its voltage and its limit being at their lowest.

        levels: protections that are set in any case; a level that lies beyond a lower range may hold it up,
        and one that lies beyond the range that is left needs the new one first.
        """
        beside: dict[Setting, Setting] = {"voltage_range": "ovp", "current_range": "ocp"}
        for change in self.ranges(output):
            if float(self.value(output, change.setting)) > float(change.value):
                self.put([each for each in levels if each.setting == beside[change.setting]])
            self.put([change])

    # The master switch

    @property
    def has_master(self) -> bool:
        """Whether its outputs deliver only while a switch over all of them is on, too."""
        return self.dialect.master is not None

    def master(self) -> bool:
        """Whether the master switch says that it is on. ValueError where the dialect has none."""
        (query,) = self.dialect.master_queries
        return self._understood_master(query, self.one_answer([query]))

    def switch_master(self, on: bool) -> None:
        """Switch the master, and ask it back."""
        unit = self.dialect.master_unit(on)
        self.do([unit], off=not on, shown=True)
        if self.master() != on:
            told = f"its master switch was set {_state(on)} and reads back as {_state(not on)}"
            raise InstrumentError(self.name, unit, told)

    def _understood_master(self, command: str, answer: str) -> bool:
        try:
            return self.dialect.understood_master(answer)
        except ValueError as error:
            raise InstrumentError(self.name, command, f"master switch: {error}") from None

    # Reading

    def read(self, outputs: Sequence[str]) -> dict[str, OutputReading]:
        """Voltage, current, mode and trips of outputs, in one message where the dialect allows it."""
        asked = self._asked(outputs)
        answers, answer = self.exchange(asked.units)
        if len(answers) != asked.wanted:
            self.check(compose(asked.units))
        return self.understood_look(outputs, answer)

    def look(self, outputs: Sequence[str]) -> tuple[str, ...]:
        """The messages that `read` sends, for whoever sends them on a schedule."""
        return self.messages(self.dialect.checked(self._asked(outputs).units))

    def answers_of_look(self, outputs: Sequence[str]) -> int:
        """How many answers `look` brings."""
        return sum(map(is_query, self.dialect.checked(self._asked(outputs).units)))

    def understood_look(self, outputs: Sequence[str], answer: Answer) -> dict[str, OutputReading]:
        """What the answer to `look` says of these outputs."""
        _, units, wanted, groups = self._asked(outputs)
        answers = self.unchecked(units, split_answers(answer.text))
        if len(answers) != wanted:
            told = f"expected {wanted} answers, got '{answer.text}'"
            raise InstrumentError(self.name, compose(units), told)
        time, command = answer.middle, compose(units)
        exchange = answer.sent, answer.received
        # One that is switched on, and does not deliver because the switch over all of them is off, is off.
        delivers = not self.has_master or self._understood_master(command, answers[-1])
        readings = {}
        dialect = self.dialect
        many, telling = len(dialect.readings.queries), dialect.status_answers
        for group, order, _ in groups:
            own = iter([answers[place] for place in order])
            channels = [self._channels[output] for output in group]
            state = next(own)
            parts = state.split(",") if dialect.list_readings else [state]
            if len(parts) != len(group):
                raise InstrumentError(self.name, command, f"expected {len(group)} states, got {len(parts)}")
            states = [
                self._understood("output", command, part, channel)
                for part, channel in zip(parts, channels, strict=True)
            ]
            read = self._numbers([next(own) for _ in range(many)], channels, command)
            for output, on, (voltage, current) in zip(group, states, read, strict=True):
                answered = [next(own) for _ in range(telling)]
                mode, trip = self._status(answered, command, self._channels[output])
                readings[output] = OutputReading(
                    output, time, voltage, current, mode, trip, bool(on) and delivers, exchange
                )
        return readings

    def places(self, outputs: Sequence[str]) -> dict[str, dict[str, tuple[int, int]]]:
        """Where the answer to `look` says state, voltage and current of each output, and which was selected
        where it says that: which answer, which of its comma-separated parts.
        """
        dialect, asked, found = self.dialect, self._asked(outputs), dict[str, dict[str, tuple[int, int]]]()
        at, checks = self._answered_at(asked.units)
        for group, order, selected in asked.groups:
            for position, output in enumerate(group):
                channel = self._channels[output]
                field = (field_at(dialect.settings["output"].field, channel) or 1) - 1
                voltage, current = (
                    (at[order[1 + answer]], part + position)
                    for answer, part in dialect.readings.places(channel)
                )
                state = at[order[0]], field + position
                found[output] = {"state": state, "voltage": voltage, "current": current}
                if checks and selected is not None:
                    found[output]["selected"] = (checks[selected], 0)
        return found

    def setting_queries(self, output: str, settings: Sequence[Setting]) -> tuple[str, ...]:
        """Messages that ask for settings of one output."""
        channel = self._channels[output]
        queries = [self.dialect.query_unit(setting, channel) for setting in settings]
        return self.messages(self.dialect.checked([*self.dialect.select(channel), *queries]))

    def differences(
        self, changes: Sequence[OutputSetting], answer: str, ignored: Sequence[Setting] = ()
    ) -> list[str]:
        """What of these settings, asked with `setting_queries`, is not as it was set; in words.

        ignored: settings that may be anything.
        """
        channel = self._channels[changes[0].output]
        queries = [self.dialect.query_unit(change.setting, channel) for change in changes]
        answers = self.unchecked([*self.dialect.select(channel), *queries], split_answers(answer))
        asked = f"settings of output {changes[0].output}"
        if len(answers) != len(changes):
            told = f"expected {len(changes)} answers to the {asked}, got '{answer}'"
            raise InstrumentError(self.name, "", told)
        found = []
        for change, part in zip(changes, answers, strict=True):
            got = self._understood(change.setting, asked, part, channel)
            if change.setting not in ignored and not self.same(change, got):
                found.append(
                    f"{self.name}.{change.output}: {change.setting} was set to {_shown(change.value)} "
                    f"and now reads {_shown(got)}"
                )
        return found

    def _groups(self, outputs: Sequence[str]) -> list[tuple[str, ...]]:
        """Outputs that are read by one query."""
        return [tuple(outputs)] if self.dialect.list_readings else [(output,) for output in outputs]

    def _asked(self, outputs: Sequence[str]) -> _Asked:
        """What is asked of outputs, worked out once for as long as the dialect is the same."""
        key = tuple(outputs)
        if (known := self._looks.get(key)) is not None and known.dialect is self.dialect:
            return known
        dialect, units, groups = self.dialect, list[str](), list[_Group]()
        shared, answers, selections = dict[str, int](), 0, 0
        for group in self._groups(outputs):
            channels = [self._channels[output] for output in group]
            queries = dialect.reading_queries(channels)
            once = [query for query in dict.fromkeys(queries) if query not in shared]
            own = {query: answers + number for number, query in enumerate(once)}
            answers += len(once)
            selecting = dialect.select(channels[0]) if once else []
            units += [*selecting, *once]
            groups.append(
                _Group(group, [{**shared, **own}[q] for q in queries], selections if selecting else None)
            )
            selections += len(selecting)
            shared |= {query: place for query, place in own.items() if query in dialect.for_all}
        # Last, so that the places of all others stay the same.
        master = dialect.master_queries
        self._looks[key] = _Asked(dialect, units + master, answers + len(master), groups)
        return self._looks[key]

    def _answered_at(self, units: Sequence[str]) -> tuple[list[int], list[int]]:
        """Where the answers to units stand among those to what is sent, and where those that say which output
        was selected.
        """
        queries = [unit for unit in self.dialect.checked(units) if is_query(unit)]
        check = self.dialect.instrument.selected
        return (
            [place for place, query in enumerate(queries) if query != check],
            [place for place, query in enumerate(queries) if query == check],
        )

    def master_place(self, outputs: Sequence[str]) -> tuple[int, int] | None:
        """Where the answer to `look` says the state of the master switch; None: there is none."""
        return (self._answered_at(self._asked(outputs).units)[0][-1], 0) if self.has_master else None

    def _status(self, answers: Sequence[str], command: str, channel: int) -> tuple[Mode | None, str]:
        """What regulates an output, and why it tripped."""
        try:
            regulates, tripped = self.dialect.understood_status(answers, channel)
        except (ValueError, OverflowError) as error:
            raise InstrumentError(self.name, command, str(error)) from None
        if tripped:
            return Mode.TRIPPED, tripped[0]
        if regulates is None:
            return None, ""
        return (Mode[regulates] if regulates else Mode.OFF), ""

    def _sets(self, setting: Setting) -> bool:
        """Whether a command sets it; InstrumentError where the dialect does not know it at all."""
        if not self.supports(setting):
            told = f"its dialect '{self.dialect.name}' cannot set {setting}"
            raise InstrumentError(self.name, "", told)
        return self.dialect.can_set(setting)

    def tells(self, setting: Setting) -> bool:
        """Whether the supply can be asked how it stands."""
        return setting in self.dialect.settings and self.dialect.settings[setting].query is not None

    def _set(self, change: OutputSetting) -> str:
        """The command of a change. InstrumentError where the digits that its dialect sends make another
        number of it: what is asked back cannot show that, as it is compared on that grid.
        """
        value = change.value
        if change.setting in UNIT_OF and not isinstance(value, bool | str):
            output, operation = self.document.outputs[change.output], self.dialect.settings[change.setting]
            try:
                sent = operation.sent(value)
            except ValueError as error:
                told = f"output {change.output}: {change.setting}: {error}"
                raise InstrumentError(self.name, "", told) from None
            least = {"voltage": output.voltage.high, "current_limit": output.current.high}
            allowed = allowed_difference(output, change.setting, value) + ROUNDED * abs(value)
            if abs(sent - value) > max(allowed, UNKNOWN_RESOLUTION * least.get(change.setting, 0.0)):
                told = f"output {change.output}: {change.setting} of {value:g} would be sent as {sent:g}"
                raise InstrumentError(self.name, "", f"{told}: its dialect takes too few digits of it")
        return self.dialect.set_unit(change.setting, self._channels[change.output], change.value)

    def _compare(self, change: OutputSetting, command: str, answer: str) -> None:
        got = self._understood(change.setting, command, answer, self._channels[change.output])
        if not self.same(change, got):
            raise InstrumentError(
                self.name,
                command,
                f"output {change.output}: {change.setting} was set to {_word(change.value)} and reads back "
                f"as {_word(got)}",
            )

    def stands(self, change: OutputSetting) -> bool:
        """Whether the supply says that a setting is as it should be, before anything sets it."""
        return self.same(change, self.value(change.output, change.setting))

    def same(self, change: OutputSetting, got: Value) -> bool:
        """Whether what was got is what was asked for, on the instrument's own grid."""
        if isinstance(change.value, bool | str):
            return got == change.value
        output = self.document.outputs[change.output]
        # A NaN is never within any bound.
        allowed = allowed_difference(output, change.setting, change.value) + change.slack
        return abs(float(got) - change.value) <= allowed + self.dialect.settings[change.setting].grid(
            change.value
        )

    def _understood(self, setting: Setting, command: str, answer: str, channel: int) -> Value:
        try:
            return self.dialect.understood(setting, answer, channel)
        except ValueError as error:
            raise InstrumentError(self.name, command, f"{setting}: {error}") from None

    def _numbers(
        self, answers: Sequence[str], channels: Sequence[int], command: str
    ) -> list[tuple[float, float]]:
        """Voltage and current of these channels [V, A]."""
        try:
            return self.dialect.read_numbers(answers, channels)
        except ValueError as error:
            raise InstrumentError(self.name, command, str(error)) from None


def _is_off(change: OutputSetting) -> bool:
    """Whether a change switches an output off."""
    return change.setting == "output" and not change.value


def _state(on: bool) -> str:
    return "on" if on else "off"


def _word(value: Value) -> str:
    """A setting's value as it was set or read, to its last digit."""
    return ("off", "on")[value] if isinstance(value, bool) else str(value)


def _shown(value: Value) -> str:
    """A setting's value for people, in SI units."""
    return f"{value:.6g}" if isinstance(value, float) else str(value)
