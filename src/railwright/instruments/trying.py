"""A dialect tried on an instrument: what each question is answered, and what that means.

Questions come first: none of them energises anything. Settings follow only where somebody agrees, on an
output that says it is off, at its lowest voltage and limit; nothing is ever switched on here.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial

from railwright.dialects.dialect import Dialect, Value
from railwright.dialects.operation import CHOICES, SWITCHES, Setting, field_at, field_of
from railwright.guard.answers import Code, in_si
from railwright.guard.off_supply import RETRY
from railwright.guard.session_settings import SessionSettings
from railwright.instruments.conversation import Conversation
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import OpenSession

NEAR = 0.1
"""How far a set point that was set to 0 may read from it [V or A]: its grid, or its offset."""


ABOVE_LOWEST: tuple[tuple[Setting, float], ...] = (("voltage", 1.0), ("current_limit", 0.2))
"""Set points that are changed [V, A], and by how much those go up first that stand at their lowest: little,
as nothing is connected and the output is off, and more than `NEAR`.
"""


@dataclass(frozen=True, slots=True)
class Tried:
    """One operation that was tried: what was sent, what came back, and what it means; wrong: why it is not
    understood, '' where it is. stood_so: what was set stood there before, so that it shows nothing of the
    command.
    """

    operation: str
    sent: str
    answer: str
    means: str
    wrong: str = ""
    stood_so: bool = False


def _named_fields(dialect: Dialect) -> Callable[[str], str]:
    """What says the fields of an identification, for people."""

    def told(answer: str) -> str:
        return ", ".join(f"{name} {text}" for name, text in dialect.identified(answer).items() if text)

    return told


def _number(unit: str, one: float, code: Code | None, field: int | None, answer: str) -> str:
    """A reading in SI units, for people. ValueError where it is none."""
    return f"{in_si(field_of(answer, field), unit, one, code):.6g}"


def _alike(setting: Setting, got: Value, value: Value) -> bool:
    """Whether a setting stands as it was set."""
    number = setting not in SWITCHES | CHOICES
    return abs(float(got) - float(value)) < NEAR if number else got == value


class DialectTrial:
    """Tries a dialect on one output of the instrument at an address."""

    def __init__(
        self,
        dialect: Dialect,
        address: str,
        channel: int,
        open_session: OpenSession,
        settings: SessionSettings | None = None,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self.dialect, self.channel, self._sleep = dialect, channel, sleep
        self.conversation = Conversation("instrument", address, dialect, open_session, settings)
        """For whoever goes on with the instrument over the same session."""
        self._gone = False
        """Whether no new session could be had after one was lost."""

    def connect(self) -> None:
        """Open the session. InstrumentError where nobody answers."""
        self.conversation.connect()

    def close(self) -> None:
        self.conversation.close()

    @property
    def identity(self) -> str:
        """What it answered when the session was opened."""
        return self.conversation.answered

    def settings(self) -> Iterator[Tried]:
        """How the settings of the output stand: queries of settings alone, no measurement."""
        for setting, operation in self.dialect.settings.items():
            if operation.query is not None:
                yield self._ask_setting(setting)

    def questions(self) -> Iterator[Tried]:
        """Everything that is only asked, in turn. InstrumentError where the instrument is lost."""
        dialect, channel = self.dialect, self.channel
        yield self._ask("identify", [], dialect.instrument.identify, _named_fields(dialect))
        if dialect.error_query is not None:
            told = dialect.error_told
            yield self._ask("errors", [], dialect.error_query, lambda answer: told(answer) or "no error")
        if (own := dialect.instrument.power_on) is not None:
            came = {True: "it came on", False: "it did not come on"}
            yield self._ask("power", [], own.query, lambda answer: came[own.came_on(answer)])
        yield from self.settings()
        for query in dialect.master_queries:
            yield self._ask("master switch", [], query, self._master)
        yield from self._readings()
        queries = dialect.status_units(channel)
        if dialect.status.mode is not None:
            named = dialect.status.mode.named
            yield self._ask(
                "what regulates",
                self._select,
                queries.pop(0),
                lambda answer: named(answer, channel) or "nothing",
            )
        if queries:
            yield self._ask_trips(queries)
        if dialect.link is not None:
            yield self._ask("linked trips", self._select, dialect.link_query(channel), self._links)

    def changes(self) -> Iterator[Tried]:
        """Settings that are changed and asked back, on an output that is off, and last set to what they were.

        InstrumentError where the output does not say that it is off: then nothing is changed.
        """
        state = self._ask_setting("output")
        if state.wrong or state.means != "off":
            told = f"expected an output that is off, got '{state.answer}'; nothing was changed"
            raise InstrumentError("instrument", state.sent, told)
        switches: tuple[Setting, ...] = ("ovp_on", "trip_at_limit")
        senses: tuple[Value, ...] = ("at load", "at terminals")
        values: list[tuple[Setting, Value]] = [
            (name, value) for name in switches if self.dialect.can_set(name) for value in (False, True)
        ]
        values += [("sense", value) for value in senses if self.dialect.can_set("sense")]
        before = self._stood(
            dict.fromkeys((*(name for name, _ in ABOVE_LOWEST), *(name for name, _ in values)))
        )
        stands = {**before, "output": False}
        for setting, more in ABOVE_LOWEST:
            least = self.dialect.settings[setting].least
            if setting in before and _alike(setting, before[setting], least):
                raised = self._change(setting, least + more)
                if raised.answer:
                    stands[setting] = least + more
                else:
                    raised = replace(raised, wrong="", means=f"shows nothing: {raised.wrong}")
                yield raised
            yield self._changed(setting, least, stands)
        for setting, value in (("output", False), *values):
            yield self._changed(setting, value, stands)
        # The voltage last: what limits it stands by then.
        for setting, value in sorted(before.items(), key=lambda each: each[0] == "voltage"):
            yield replace(self._change(setting, value), operation=f"restore {setting}")

    def _changed(self, setting: Setting, value: Value, stands: dict[Setting, Value]) -> Tried:
        """As `_change`, with whether it stood so before, by what is known of how settings stand."""
        changed = self._change(setting, value)
        stood_so = not changed.wrong and setting in stands and _alike(setting, stands[setting], value)
        stands[setting] = value
        return replace(changed, stood_so=stood_so)

    def _stood(self, settings: Iterable[Setting]) -> dict[Setting, Value]:
        """How these settings stand now; without what is not understood."""
        asked = {setting: self._ask_setting(setting) for setting in settings if self.dialect.can_set(setting)}
        return {
            name: self.dialect.understood(name, each.answer, self.channel)
            for name, each in asked.items()
            if not each.wrong
        }

    def _readings(self) -> Iterator[Tried]:
        readings, queries = self.dialect.readings, self.dialect.reading_units([self.channel])
        fields = [field_at(each.field, self.channel) for each in readings.alone]
        if readings.both is not None:
            yield self._ask("read voltage and current", self._select, queries[0], self._pair)
            return
        names, units = ("read voltage", "read current"), ("V", "A")
        forms = zip(units, readings.factors, readings.codes, fields, strict=True)
        for name, query, form in zip(names, queries, forms, strict=True):
            yield self._ask(name, self._select, query, partial(_number, *form))

    def _pair(self, answer: str) -> str:
        ((voltage, current),) = self.dialect.read_numbers([answer], [self.channel])
        return f"{voltage:.6g} V, {current:.6g} A"

    def _master(self, answer: str) -> str:
        return "on" if self.dialect.understood_master(answer) else "off"

    @property
    def _select(self) -> list[str]:
        return self.dialect.select(self.channel)

    def _ask_setting(self, setting: Setting) -> Tried:
        def means(answer: str) -> str:
            value = self.dialect.understood(setting, answer, self.channel)
            return ("on" if value else "off") if isinstance(value, bool) else str(value)

        return self._ask(setting, self._select, self.dialect.query_unit(setting, self.channel), means)

    def _change(self, setting: Setting, value: Value) -> Tried:
        unit = self.dialect.set_unit(setting, self.channel, value)
        try:
            self.conversation.do([*self._select, unit])
        except InstrumentError as error:
            return Tried(f"set {setting}", unit, "", "", self._explained(error, unit).what)
        back = self._ask_setting(setting)
        wrong = back.wrong
        if not wrong:
            got = self.dialect.understood(setting, back.answer, self.channel)
            wrong = "" if _alike(setting, got, value) else f"reads back as {back.means}"
        return Tried(f"set {setting}", unit, back.answer, back.means, wrong)

    def _ask_trips(self, queries: list[str]) -> Tried:
        answers = [self._ask("", self._select, query, str) for query in queries]
        wrong = next((each.wrong for each in answers if each.wrong), "")
        means = ""
        if not wrong:
            try:
                trips = self.dialect.status.trips.tripped([each.answer for each in answers], self.channel)
                means = ", ".join(trips) or "nothing"
            except ValueError as error:
                wrong = str(error)
        return Tried("what tripped", "; ".join(queries), "; ".join(a.answer for a in answers), means, wrong)

    def _links(self, answer: str) -> str:
        return str(self.dialect.understood_link(answer)) if self.dialect.understood_link(answer) else "none"

    def _ask(self, name: str, select: list[str], query: str, means: Callable[[str], str]) -> Tried:
        try:
            answers = self._answers([*select, query])
        except InstrumentError as error:
            if self._gone:
                raise
            return Tried(name, query, "", "", error.what)
        if len(answers) != 1:
            return Tried(name, query, ";".join(answers), "", f"expected one answer, got {len(answers)}")
        try:
            return Tried(name, query, answers[0], means(answers[0]))
        except ValueError as error:
            return Tried(name, query, answers[0], "", str(error))

    def _answers(self, units: list[str]) -> list[str]:
        """The answers to a question. InstrumentError with what the instrument says of it; where it says
        nothing the session is opened anew: a late answer would be taken for that to the next question.
        """
        ask_errors = self.dialect.compound and self.dialect.error_query is not None
        try:
            return (self.conversation.whether_done if ask_errors else self.conversation.exchange)(units)[0]
        except InstrumentError as error:
            raise self._explained(error, units[-1]) from None

    def _explained(self, error: InstrumentError, unit: str) -> InstrumentError:
        """A failure with all that the instrument says of it; over a new session where one was lost. Nothing
        is on here that would have to go off first.
        """
        if error.lost:
            self._connect_anew()
        told = "; ".join(self.conversation.errors())
        if not error.lost:
            return InstrumentError("instrument", unit, "; ".join(filter(None, (error.what, told))))
        return InstrumentError("instrument", unit, f"reports {told}" if told else error.what)

    def _connect_anew(self) -> None:
        """After a session that was lost, with the guard's pauses: some instruments take no other one right
        after it. InstrumentError where none comes.
        """
        self.conversation.close()
        for pause in RETRY:
            self._sleep(pause)
            try:
                self.conversation.connect()
            except InstrumentError as error:
                failed = error
            else:
                return
        self._gone = True
        raise failed
