"""The run's end of the guard: ask, wait, and what is heard meanwhile.

`GuardLink` is what a run needs. `process_link.ProcessLink` has the guard in a process of its own,
`local_link.LocalLink` on an event loop of this process, whose time may be virtual. Everything that waits here
gives signs of life meanwhile.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

from railwright.guard.off_plan import OffPlan
from railwright.guard.session import CONNECT_DEADLINE
from railwright.guard.session_settings import USUAL, SessionSettings

SLACK = 0.5
"""What the guard's own deadline is given on top [s], before the guard counts as hanging."""

TURN = 10.0
"""How long an exchange may wait for its turn behind others with a slow supply [s]. Whether the guard hangs is
seen by its signs of life, long before.
"""

QUEUE = 2
"""An exchange waits for those before it, a reading and a question for settings, so many deadlines at most."""

Message = dict[str, Any]

RUN_DIED = "the run died"
"""Why a guard switches off whose run is gone."""


class GuardLost(Exception):
    """The guard died or hangs; whoever holds the plan switches off by itself."""


class Answerless(Exception):
    """An exchange failed; the text says what happened. fenced: the guard passes nothing on any more."""

    def __init__(self, what: str, *, fenced: bool = False, locked: bool = False) -> None:
        super().__init__(what)
        self.fenced = fenced
        self.locked = locked


class GuardLink(ABC):
    """Speaks with one guard. `inbox` holds what it told unasked: polls and how switching off goes on.

    interrupted: looked at in every wait for an answer; what it raises breaks the wait. watched: descriptors
    that end any wait when they can be read.
    """

    def __init__(self) -> None:
        self.inbox: deque[Message] = deque()
        self.plan: OffPlan | None = None
        self.interrupted: Callable[[], None] = lambda: None
        self.watched: tuple[int, ...] = ()
        self._answers: dict[int, Message] = {}
        self._holding = False
        self._held: set[int] = set()
        """Exchanges that the guard holds until it is told to go on."""
        self._number = 0
        self._off_over: Message | None = None
        self._why = ""

    # What a link is made of

    @abstractmethod
    def now(self) -> float:
        """The clock that exchanges are stamped with [s]."""

    @abstractmethod
    def _send(self, message: Message) -> None:
        """Hand a message to the guard. Raises GuardLost."""

    @abstractmethod
    def _pump(self, until: float) -> None:
        """Take in what the guard tells; return when something came, or at `until`. Raises GuardLost."""

    @abstractmethod
    def close(self) -> None:
        """Let the guard go; it ends by itself when everything is off."""

    @abstractmethod
    def take_over(self, why: str, tell: Callable[[Message], None], *, urgent: Callable[[], bool]) -> Message:
        """End a guard that does not do its work, and switch off without it. Gives what `off over` says."""

    # What a run does with it

    def wait(self, until: float) -> None:
        """Wait for something to happen, until an instant at most. Raises GuardLost."""
        if not self.inbox:
            self._pump(until)

    def sleep(self, duration: float) -> None:
        """As `sleep_until`, for so long [s]."""
        self.sleep_until(self.now() + duration)

    def sleep_until(self, instant: float) -> None:
        """Let time pass; what comes meanwhile is kept in the inbox."""
        while self.now() < instant:
            self.interrupted()
            self._pump(instant)

    def open(
        self,
        name: str,
        address: str,
        identify: str,
        deadline: float,
        session_settings: SessionSettings = USUAL,
    ) -> Message:
        """Have a session opened and the instrument asked who it is; what it answers.

        Raises Answerless, GuardLost.
        """
        return self._ask(
            "open",
            # On a serial line it may be asked twice.
            2 * (deadline * (1 + len(session_settings.opening)) + session_settings.boot + CONNECT_DEADLINE),
            name=name,
            address=address,
            identify=identify,
            session_settings=asdict(session_settings),
            deadline=deadline,
        )

    def exchange(
        self,
        name: str,
        text: str,
        deadline: float,
        *,
        answers: bool = True,
        at: float | None = None,
        more: Sequence[str] = (),
    ) -> Message:
        """One message to a supply, at an instant where one is given. Raises Answerless, GuardLost.

        more: messages that follow it, with nothing else in between; those with a question mark are answered,
        and all answers are joined by `;`. deadline: of each [s].
        """
        wait = TURN + deadline * (1 + len(more)) + max(0.0, (at or 0.0) - self.now())
        fields = {"text": text, "more": list(more), "deadline": deadline, "answers": answers, "at": at}
        return self._ask("exchange", wait, name=name, held=self._holding, **fields)

    @contextmanager
    def last_word(self) -> Iterator[None]:
        """What is exchanged in here is held by the guard at its instant, until all that it told before was
        taken in: for what switches on, and must not once a trip, or anything else, ends the run.
        """
        self._holding = True
        try:
            yield
        finally:
            self._holding = False

    def poll(self, name: str, tag: str, messages: Sequence[Any], **fields: Any) -> None:
        """Begin, replace or (without messages) end a poll; see `Guard` for the fields of each tag."""
        self._send({"kind": "poll", "name": name, "tag": tag, "messages": list(messages), **fields})

    def arm(self, plan: OffPlan | None) -> None:
        """Give the guard what is to be switched off; from then on it watches this run. Raises GuardLost;
        Answerless, and the plan from before counts, where it switches off, or has switched off, already.
        """
        before, self.plan = self.plan, plan
        try:
            self._ask("arm", 1.0, plan=None if plan is None else plan.to_json())
        except Answerless:
            self.plan = before
            raise

    def keep_journal(self, path: Path, reserve: Path) -> None:
        """Where the guard's own log goes, and what makes room for it on a disk that is full."""
        self._send({"kind": "journal", "path": str(path), "reserve": str(reserve)})

    def begin_off(
        self,
        why: str,
        *,
        orderly: bool = False,
        first: Sequence[str] = (),
        explain: str = "",
        tell: Callable[[Message], None] | None = None,
        urgent: Callable[[], bool] = lambda: False,
    ) -> None:
        """Have everything switched off; never raises, and waits only where the guard fails: then it is taken
        over from. orderly: inputs that are led down to 0 V first, are. first: inputs that go off at once,
        whatever their order says. explain: the supply that failed, whose errors are told once all is off.
        tell, urgent: as in `finish_off`; without `tell`, that one tells what happened here.
        """
        self._why = why
        if self.plan is not None:
            self.plan = self.plan.with_first(first)
        try:
            fields = {"why": why, "orderly": orderly, "first": list(first), "explain": explain}
            self._send({"kind": "off", **fields})
        except GuardLost as lost:
            self._off_over = self.take_over(f"{why}; {lost}", tell or self.inbox.append, urgent=urgent)

    def finish_off(
        self, tell: Callable[[Message], None], *, urgent: Callable[[], bool] = lambda: False
    ) -> Message:
        """Wait for the end of what `begin_off` began; never raises for a guard that fails.

        tell: told of everything on the way. urgent: where it becomes true, what is not confirmed is no longer
        waited for. Gives what `off over` says: `why` and, for each input, what became of it.
        """
        hurried = False
        try:
            while self._off_over is None:
                while self.inbox:
                    tell(self.inbox.popleft())
                if urgent() and not hurried:
                    hurried = True
                    self._send({"kind": "hurry"})
                self._pump(self.now() + 0.1)
        except GuardLost as lost:
            self._off_over = self.take_over(f"{self._why}; {lost}", tell, urgent=urgent)
        while self.inbox:
            tell(self.inbox.popleft())
        return self._off_over

    def _ask(self, kind: str, patience: float, **fields: Any) -> Message:
        self._number += 1
        number = self._number
        self._send({"kind": kind, "id": number, **fields})
        last = self.now() + patience + SLACK
        while number not in self._answers:
            self.interrupted()
            if number in self._held:
                self._held.discard(number)
                self._send({"kind": "go on", "id": number})
            if self.now() > last:
                raise GuardLost(f"the guard gave no answer within {patience + SLACK:g} s")
            self._pump(last)
        answer = self._answers.pop(number)
        if "error" in answer:
            raise Answerless(
                answer["error"], fenced=answer.get("fenced", False), locked=answer.get("locked", False)
            )
        return answer

    def _take(self, message: Message) -> None:
        """Sort what the guard told."""
        match message["kind"]:
            case "answer":
                self._answers[message["id"]] = message
            case "beat":
                return
            case "held":
                self._held.add(message["id"])
            case "off over":
                self._off_over = message
            case _:
                self.inbox.append(message)
