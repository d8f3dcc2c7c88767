"""The driver's sessions through a guard, which owns the connections."""

from __future__ import annotations

from collections.abc import Sequence

from railwright.guard.link import Answerless, GuardLink
from railwright.guard.session_settings import USUAL, SessionSettings, questions
from railwright.instruments.errors import Fenced, InstrumentError, NotReached
from railwright.instruments.session import TIMEOUT, Answer, InstrumentSession, OpenSession, Trace


class GuardedSession:
    """One session of the guard's, as the driver sees it."""

    # Many: what a session is opened with.
    def __init__(
        self,
        link: GuardLink,
        name: str,
        address: str,
        timeout: float,
        trace: Trace | None,
        identify: str = "*IDN?",
        session_settings: SessionSettings = USUAL,
    ) -> None:
        self.name = name
        self._link, self._trace = link, trace
        self._timeout = max(timeout, session_settings.patience)
        self._identify = identify
        try:
            answer = link.open(name, address, self._identify, self._timeout, session_settings)
        except Answerless as error:
            if error.fenced:
                raise Fenced(name, self._identify, str(error), lost=True) from None
            if error.locked:
                raise InstrumentError(name, "", str(error), lost=True) from None
            raise NotReached(name, _silence(address, str(error))) from None
        for text, got, sent, received in answer.get("opening", ()):
            self._show(text, sent, got, received)
        self.identity = str(answer["answer"])
        self._show(self._identify, answer["sent"], answer["answer"], answer["received"])

    def tell(self, message: str, at: float | None = None) -> float:
        return self._exchange(message, answers=False, at=at).sent

    def ask(self, message: str, at: float | None = None) -> Answer:
        return self._exchange(message, answers=True, at=at)

    def together(self, messages: Sequence[str], at: float | None = None) -> Answer:
        """The guard holds back its own questions until all of them are through."""
        answers = any(map(questions, messages))
        return self._exchange(*messages, answers=answers, at=at)

    def _exchange(self, message: str, *more: str, answers: bool, at: float | None = None) -> Answer:
        if self._trace:
            # Told before they leave: what was sent last is known whatever happens then.
            for each in (message, *more):
                self._trace(self._link.now() if at is None else at, self.name, "sent", each)
        try:
            got = self._link.exchange(self.name, message, self._timeout, answers=answers, at=at, more=more)
        except Answerless as error:
            if error.fenced:
                raise Fenced(self.name, message, str(error), lost=True) from None
            raise InstrumentError(self.name, message, str(error), lost=True) from None
        if self._trace and answers:
            self._trace(got["received"], self.name, "received", got["answer"])
        return Answer(got["answer"], got["sent"], got["received"])

    def _show(self, message: str, sent: float, answer: str, received: float) -> None:
        if self._trace:
            self._trace(sent, self.name, "sent", message)
            if answer:
                self._trace(received, self.name, "received", answer)

    def close(self) -> None:
        """The connection is the guard's, which keeps it to switch off over it."""


def _silence(address: str, what: str) -> str:
    return what if address in what else f"no answer from {address}: {what}"


def open_guarded(link: GuardLink, trace: Trace | None = None, timeout: float = TIMEOUT) -> OpenSession:
    """An opener of sessions through this guard; lines go to `trace`."""

    def open_session(
        name: str, address: str, identify: str, session_settings: SessionSettings
    ) -> InstrumentSession:
        return GuardedSession(link, name, address, timeout, trace, identify, session_settings)

    return open_session
