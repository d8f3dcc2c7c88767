"""The driver of a supply: identify it, set and verify, read, switch off. It knows a dialect, not a model."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from railwright.documents.bench import Supply as SupplyDocument
from railwright.instruments.comparison import allowed_difference
from railwright.instruments.conversation import Conversation
from railwright.instruments.dialect import Setting, Value, compose, load_dialect
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer, OpenSession
from railwright.scpi.numbers import parse_response
from railwright.traces import Mode


@dataclass(frozen=True, slots=True)
class Identity:
    """What *IDN? answers (IEEE 488.2, 10.14)."""

    maker: str
    model: str
    serial: str
    version: str


@dataclass(frozen=True, slots=True)
class Change:
    """One setting of one output of this supply."""

    output: str
    setting: Setting
    value: Value


@dataclass(frozen=True, slots=True)
class Reading:
    """What one output measures [V, A], what regulates it, and why it tripped ('' where it did not).

    mode is None where the dialect does not tell it. time: middle of question and answer, monotonic clock [s].
    """

    output: str
    time: float
    voltage: float
    current: float
    mode: Mode | None
    trip: str


class Supply(Conversation):
    """One supply over one session. Failures are InstrumentErrors; outputs have the bench's names."""

    def __init__(self, name: str, document: SupplyDocument, open_session: OpenSession) -> None:
        super().__init__(name, document.address, load_dialect(document.dialect), open_session)
        self.document = document
        self.identity: Identity | None = None
        self._channels = {output: number for number, output in enumerate(document.outputs, start=1)}

    @property
    def outputs(self) -> tuple[str, ...]:
        return tuple(self._channels)

    def channel(self, output: str) -> int:
        """Number of an output in this supply's commands, from 1."""
        return self._channels[output]

    def supports(self, setting: Setting) -> bool:
        return setting in self.dialect.settings

    def identify(self) -> Identity:
        """Ask who it is; refuse one that is not the instrument of the bench document."""
        command = self.dialect.instrument.identify
        answer = self.ask(command).text
        fields = [field.strip() for field in answer.split(",")]
        if len(fields) != 4 or not all(fields[:2]):
            raise InstrumentError(
                self.name,
                command,
                f"expected 'maker,model,serial,version', got '{answer}': an unknown instrument",
            )
        identity = Identity(*fields)
        for what, wanted, got in (
            ("model", self.document.model, identity.model),
            ("serial number", self.document.serial, identity.serial),
        ):
            if wanted is not None and wanted != got:
                raise InstrumentError(
                    self.name, command, f"expected the {what} '{wanted}' of the bench document, got '{got}'"
                )
        self.identity = identity
        return identity

    def clear(self) -> None:
        """Empty the error queue and the event registers."""
        self.do([self.dialect.instrument.clear])

    # Setting

    def put(self, changes: Iterable[Change]) -> None:
        """Set one after the other, each verified: error queue empty, and the query answers what was asked."""
        for change in changes:
            channel = self._channels[change.output]
            self.do([*self.dialect.select(channel), self._set(change)])
            self.verify([change])

    def verify(self, changes: Iterable[Change]) -> None:
        """Query settings and compare them with what was asked."""
        for change in changes:
            channel = self._channels[change.output]
            units = [*self.dialect.select(channel), self.dialect.query_unit(change.setting, channel)]
            answer = self.one_answer(units)
            self._compare(change, compose(units), answer)

    def put_together(self, changes: Sequence[Change]) -> Answer:
        """Set several at once, in order, and verify them, in one message where the dialect allows it.

        Gives the exchange, whose times say when it was done. After an error the outputs' state is unknown.
        """
        units: list[str] = []
        # Settings of one output follow each other, then their queries: the output is selected once for each.
        for output in dict.fromkeys(change.output for change in changes):
            channel = self._channels[output]
            own = [change for change in changes if change.output == output]
            units += self.dialect.select(channel) + [self._set(change) for change in own]
        asked: list[Change] = []
        for output in dict.fromkeys(change.output for change in changes):
            channel = self._channels[output]
            own = [change for change in changes if change.output == output]
            units += self.dialect.select(channel)
            units += [self.dialect.query_unit(change.setting, channel) for change in own]
            asked += own
        parts, answer = self.exchange([*units, self.dialect.instrument.next_error])
        command = compose(units)
        if len(parts) != len(asked) + 1:
            entries = [part for part in parts if '"' in part and not part.startswith(("0", "+0"))]
            what = (
                "reports " + "; ".join([*entries, *self.errors()])
                if entries
                else f"answered '{answer.text}' only"
            )
            raise InstrumentError(self.name, command, what)
        *parts, entry = parts
        self.no_error(command, entry)
        for change, part in zip(asked, parts, strict=True):
            self._compare(change, command, part)
        return answer

    def clear_trips(self, output: str) -> None:
        """Let go a protection that tripped; the output stays off."""
        channel = self._channels[output]
        unit = self.dialect.action_unit(self.dialect.actions.clear_trips, channel)
        self.do([*self.dialect.select(channel), unit])

    def switch_off(self, outputs: Sequence[str]) -> Answer:
        """Switch outputs off, at least one, and verify that their state says so. Gives the exchange."""
        return self.put_together([Change(output, "output", False) for output in outputs])

    def state(self, output: str) -> bool:
        """Whether an output says that it is on."""
        channel = self._channels[output]
        units = [*self.dialect.select(channel), self.dialect.query_unit("output", channel)]
        answer = self.one_answer(units)
        return bool(self._understood("output", compose(units), answer))

    # Reading

    def read(self, outputs: Sequence[str], *, explain: bool = False) -> dict[str, Reading]:
        """Voltage, current, mode and trips of outputs, in one message where the dialect allows it.

        explain: where no answer comes, take time to ask the error queue why.
        """
        groups = [tuple(outputs)] if self.dialect.list_readings else [(output,) for output in outputs]
        units, wanted = [], 0
        for group in groups:
            channels = [self._channels[output] for output in group]
            queries = self.dialect.reading_units(channels)
            queries += [unit for channel in channels for unit in self._status_units(channel)]
            units += self.dialect.select(channels[0]) + queries
            wanted += len(queries)
        answers, answer = self.exchange(units, explain=explain)
        if len(answers) != wanted:
            self.check(compose(units))
            raise InstrumentError(
                self.name, compose(units), f"expected {wanted} answers, got '{answer.text}'"
            )
        return self._readings(groups, answers, answer.middle, compose(units))

    def _readings(
        self, groups: Sequence[Sequence[str]], answers: Sequence[str], time: float, command: str
    ) -> dict[str, Reading]:
        left = iter(answers)
        readings = {}
        status = self.dialect.status
        for group in groups:
            voltages = self._numbers(next(left), len(group), command)
            currents = self._numbers(next(left), len(group), command)
            for output, voltage, current in zip(group, voltages, currents, strict=True):
                mode: Mode | None = None
                trip = ""
                if status.mode is not None:
                    names = status.mode.names(self._whole(next(left), command))
                    mode = Mode[names[-1]] if names else Mode.OFF
                if names := status.trips.names(self._whole(next(left), command)):
                    mode, trip = Mode.TRIPPED, names[0]
                readings[output] = Reading(output, time, voltage, current, mode, trip)
        return readings

    def _status_units(self, channel: int) -> list[str]:
        registers = (self.dialect.status.mode, self.dialect.status.trips)
        return [register.query.format(channel=channel) for register in registers if register is not None]

    def _set(self, change: Change) -> str:
        if not self.supports(change.setting):
            raise InstrumentError(
                self.name, "", f"its dialect '{self.dialect.dialect}' cannot set {change.setting}"
            )
        return self.dialect.set_unit(change.setting, self._channels[change.output], change.value)

    def _compare(self, change: Change, command: str, answer: str) -> None:
        got = self._understood(change.setting, command, answer)
        if isinstance(change.value, bool | str):
            same = got == change.value
        else:
            output = self.document.outputs[change.output]
            # A NaN is never within any bound.
            same = abs(float(got) - change.value) <= allowed_difference(output, change.setting, change.value)
        if not same:
            raise InstrumentError(
                self.name,
                command,
                f"output {change.output}: {change.setting} was set to {change.value} and reads back as {got}",
            )

    def _understood(self, setting: Setting, command: str, answer: str) -> Value:
        try:
            return self.dialect.understood(setting, answer)
        except ValueError as error:
            raise InstrumentError(self.name, command, f"{setting}: {error}") from None

    def _numbers(self, answer: str, count: int, command: str) -> list[float]:
        try:
            numbers = [parse_response(part) for part in answer.split(",")]
        except ValueError as error:
            raise InstrumentError(self.name, command, str(error)) from None
        if len(numbers) != count or any(
            abs(number) == float("inf") or number != number for number in numbers
        ):
            raise InstrumentError(self.name, command, f"expected {count} finite numbers, got '{answer}'")
        return numbers

    def _whole(self, answer: str, command: str) -> int:
        try:
            return int(parse_response(answer))
        except (ValueError, OverflowError):
            raise InstrumentError(
                self.name, command, f"expected a register's value, got '{answer}'"
            ) from None
