"""Talking with one supply: several commands a message, answers parted, the error queue emptied after each."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import NoReturn

from railwright.dialects.dialect import Dialect
from railwright.dialects.units import compose
from railwright.guard.session_settings import SessionSettings, is_query, questions
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import Answer, InstrumentSession, OpenSession
from railwright.scpi.errors import parse_entry

_ANSWER = re.compile(r'(?:^|(?<=;))(?:[^;"]|"(?:[^"]|"")*")*')

LONGEST_QUEUE = 100
"""Entries taken from an error queue before it counts as one that never empties."""


def split_answers(text: str) -> list[str]:
    """The answers of one line, parted by `;` outside quotes (IEEE 488.2, 8.4.1)."""
    return [part.strip() for part in _ANSWER.findall(text)]


def entry_told(answer: str) -> str:
    """What an entry of an error queue tells, as the standard writes one; '' for no error. ValueError."""
    number, text = parse_entry(answer)
    return f"{number}, {text}" if number else ""


def queued_errors(
    name: str, query: str, ask: Callable[[str], Answer], told: Callable[[str], str] = entry_told
) -> tuple[str, ...]:
    """All entries of an error queue, taken out, oldest first (SCPI-1999 vol. 2, 21.8). Raises
    InstrumentError. told: what an entry tells, in words; '' for no error; ValueError where it is none.
    """
    entries: list[str] = []
    for _ in range(LONGEST_QUEUE):
        try:
            entry = told(ask(query).text)
        except ValueError as error:
            raise InstrumentError(name, query, str(error)) from None
        if not entry:
            return tuple(entries)
        entries.append(entry)
    raise InstrumentError(name, query, "its error queue never empties")


class Conversation:
    """What is said to a supply and what it answers; it knows no outputs. Failures are InstrumentErrors.

    settings: of its session; None: what the dialect says. lost: it gave no answer, or its session is closed;
    what it does then is unknown.
    """

    def __init__(
        self,
        name: str,
        address: str,
        dialect: Dialect,
        open_session: OpenSession,
        settings: SessionSettings | None = None,
    ) -> None:
        self.name = name
        self.dialect = dialect
        self._settings = settings if settings is not None else dialect.session_settings
        self.lost = False
        self.watches_power = False
        """Whether its power coming on is news: its event status was cleared in this session."""
        self.took: dict[int, float] = {}
        """Answers in a message -> the shortest that such an exchange took so far [s]."""
        self._address = address
        self._open = open_session
        self._session: InstrumentSession | None = None
        self._unread = False
        """Whether its error queue may hold more of a message that was refused."""

    def connect(self) -> None:
        """Open the session, closing one that was there."""
        self.close()
        self._session = self._open(self.name, self._address, self.dialect.instrument.identify, self._settings)
        self.lost = self.watches_power = self._unread = False

    def take_over(self, other: Conversation) -> None:
        """Go on over the session of another conversation with the same instrument, which has none then. Some
        take no new connection right after one was closed.
        """
        self.close()
        self._session, other._session = other._session, None
        self.lost, self.watches_power, self._unread = other.lost, False, other._unread

    @property
    def answered(self) -> str:
        """What the instrument answered when the session was opened; '' where it was not asked."""
        return "" if self._session is None else self._session.identity

    def close(self) -> None:
        if self._session is not None:
            self._session.close()
            self._session = None

    def entries(self, answers: Sequence[str]) -> list[str]:
        """What answers to `dialect.error_query` tell of errors, in words; those that mean nothing are left
        out.
        """
        found: list[str] = []
        for each in answers:
            with suppress(ValueError):
                found += [told] if (told := self.dialect.error_told(each)) else []
        return found

    def errors(self) -> tuple[str, ...]:
        """What the instrument says of errors: all entries of its error queue, taken out, oldest first, as it
        words them; else what its event status register tells. Nothing where it has neither.
        """
        dialect = self.dialect
        if dialect.error_query is None:
            return ()
        if dialect.instrument.next_error is None:
            told = self._event(self.ask(dialect.error_query).text)
            return (told,) if told else ()
        self._unread = False
        return queued_errors(self.name, dialect.instrument.next_error, self.ask, dialect.queued_error)

    def check(self, command: str) -> None:
        """Raise what the instrument says of an error, as the doing of `command`."""
        if self.dialect.error_query is not None:
            self.no_error(command, self.ask(self.dialect.error_query).text)

    def exchange(self, units: Sequence[str], *, at: float | None = None) -> tuple[list[str], Answer]:
        """Send commands and queries, in one message where the dialect allows it: answers, exchange.

        at: when it, or the first of several messages, is to leave [s, monotonic clock].
        """
        messages = self.messages(self.dialect.checked(units))
        answer = self._ask_all(messages, at)
        asks = any(map(questions, messages))
        parts, took = split_answers(answer.text) if asks else [], answer.received - answer.sent
        self.took[len(parts)] = min(took, self.took.get(len(parts), took))
        return self.unchecked(units, parts), answer

    def unchecked(self, units: Sequence[str], answers: Sequence[str]) -> list[str]:
        """The answers to units, without those that say which output was selected. InstrumentError where it
        was another.
        """
        try:
            return self.dialect.unchecked(units, answers)
        except ValueError as error:
            raise InstrumentError(self.name, "; ".join(units), str(error)) from None

    def expected_time(self, answers: int) -> float:
        """How long a message with so many answers takes [s], by those that were exchanged so far; 0: there
        were none.
        """
        if not self.took:
            return 0.0
        few, many = min(self.took), max(self.took)
        each = max(0.0, (self.took[many] - self.took[few]) / (many - few)) if many > few else 0.0
        return self.took[few] + each * (answers - few)

    def messages(self, units: Sequence[str]) -> tuple[str, ...]:
        """Units as messages: one where the dialect allows it, else one each."""
        return self.dialect.spoken.messages(units)

    def whether_done(
        self,
        units: Sequence[str],
        *,
        at: float | None = None,
        goes_on: bool = False,
        off: bool = False,
        shown: bool | None = None,
    ) -> tuple[list[str], Answer]:
        """Commands and queries, and what the instrument says of errors: the answers to the queries, exchange.
        goes_on: what they begin goes on for long, so that it is not waited for. off: they switch off, so that
        nothing goes before them. shown: whether what is asked back, here or next, shows that they were done;
        None: where they ask something.

        The question goes along in the same message: TCP would hold back a second one until the first is
        acknowledged, which takes 40 ms where nothing is answered. Where the instrument says nothing of
        errors, what is asked back has to show that it was done.
        """
        asked, waits = self.dialect.error_query, None if goes_on else self.dialect.session.completes
        wanted = sum(is_query(unit) for unit in units)
        # Entries of what was refused before come first in the queue. They are not read out before OFF, nor
        # where this can be told from them otherwise: an output may be on.
        register = self.dialect.instrument.event_status if self._unread and not off else None
        if self._unread and register is None and not (off or (wanted if shown is None else shown)):
            self.errors()
        events = [register] if register is not None else []
        closing = [query for query in (waits, *events, asked) if query is not None]
        parts, answer = self.exchange([*events, *units, *closing], at=at)
        if not closing:
            return parts, answer
        command = compose(units)
        if not parts or len(parts) != len(events) + wanted + len(closing):
            self._tell_missing(command, parts, answer)
        if events:
            self._event(parts.pop(0))  # of what was refused before: reading cleared it
            if told := self._event(parts[-2]):
                raise InstrumentError(self.name, command, f"reports {told} ({register})")
        if self._unread:
            self._unread = bool(self.entries(parts[-1:]))
        elif asked is not None:
            self.no_error(command, parts[-1])
        return parts[:wanted], answer

    def _tell_missing(self, command: str, parts: Sequence[str], answer: Answer) -> NoReturn:
        """Raise what the instrument says of a message whose answers are not those that were asked for."""
        if not parts or self.dialect.error_query is None:
            told = []
        elif self.dialect.instrument.next_error is None:
            told = [event] if (event := self._event(parts[-1])) else []
        else:
            told, self._unread = self._entries(parts), True
        what = "reports " + "; ".join(told) if told else f"answered '{answer.text}' only"
        raise InstrumentError(self.name, command, what)

    def one_answer(self, units: Sequence[str]) -> str:
        """The answer to commands of which one is a query."""
        answers, answer = self.exchange(units)
        if len(answers) != 1:
            raise InstrumentError(self.name, compose(units), f"expected one answer, got '{answer.text}'")
        return answers[0]

    def ask(self, message: str, at: float | None = None) -> Answer:
        """One question over the session."""
        return self._ask_all([message], at)

    def _ask_all(self, messages: Sequence[str], at: float | None = None) -> Answer:
        """One message, or several with nothing in between: what was selected may not change."""
        session, longest = self._ready(messages[0]), self.dialect.session.longest
        for message in messages if longest is not None else ():
            if (length := len(message) + len(self._settings.sends)) > (longest or 0):
                told = f"a message of {length} bytes, and it takes {longest} at most (session.longest)"
                raise InstrumentError(self.name, f"{message[:60]}...", told)
        try:
            if len(messages) == 1 and questions(messages[0]):
                return session.ask(messages[0], at)
            return session.together(messages, at)
        except InstrumentError as error:
            self.lost = self.lost or error.lost
            raise

    def do(self, units: Sequence[str], *, off: bool = False, shown: bool | None = None) -> None:
        """Commands that answer nothing, and what the instrument says of errors. off, shown: as in
        `whether_done`.
        """
        answers, answer = self.whether_done(units, off=off, shown=shown)
        if answers:
            raise InstrumentError(self.name, compose(units), f"expected no answer, got '{answer.text}'")

    def _ready(self, message: str) -> InstrumentSession:
        if self._session is None:
            raise InstrumentError(self.name, message, "no session is open", lost=True)
        return self._session

    def no_error(self, command: str, entry: str) -> None:
        """Raise an entry of the error queue that is an error, or what the event status register tells. What
        follows that entry is read later: whoever hears of the error may have outputs to switch off.
        """
        if self.dialect.instrument.next_error is None:
            if told := self._event(entry):
                raise InstrumentError(self.name, command, f"reports {told}")
            return
        try:
            told = self.dialect.queued_error(entry)
        except ValueError as error:
            raise InstrumentError(self.name, self.dialect.error_query or "", str(error)) from None
        if told:
            self._unread = True
            raise InstrumentError(self.name, command, f"reports {told}")

    def _entries(self, parts: Sequence[str]) -> list[str]:
        """Those of some answers that are errors of the queue, in words; one that is a number alone could be
        any other answer.
        """
        return [] if self.dialect.instrument.error_form == "number" else self.entries(parts)

    def expect_power(self, answer: str) -> None:
        """InstrumentError where an answer to `dialect.power_query` tells that the power came on since it was
        cleared.
        """
        query = self.dialect.power_query or ""
        try:
            came_on = self.dialect.came_on(answer)
        except ValueError as error:
            raise InstrumentError(self.name, query, str(error)) from None
        if came_on and self.watches_power:
            told = "its power came on during the session: it restarted, and its outputs may have come on by "
            told += "themselves"
            raise InstrumentError(self.name, query, told)

    def _event(self, answer: str) -> str:
        if self.dialect.instrument.power_on is None:
            self.expect_power(answer)
        try:
            return self.dialect.event_error(answer)
        except ValueError as error:
            raise InstrumentError(self.name, self.dialect.error_query or "", str(error)) from None
