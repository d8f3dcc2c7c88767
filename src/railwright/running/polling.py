"""What the guard asks on its own schedule, and what the answers say: readings, and settings in rotation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from railwright.guard.link import GuardLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import TIMEOUT, Answer, Trace
from railwright.instruments.supply import Change, Reading
from railwright.running.outcome import InputReading
from railwright.running.rig import Rig

SHARE = 0.1
"""Part of a session's time that asking for settings may take."""

LEAST = 0.02
"""Shortest interval between two questions for settings [s]."""

KNOWN_EVERY = 1.0
"""How often a question is asked whose answer is known [s]: an answer too many shifts all that follow."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What one answer showed. readings: (position in the schedule, reading). differences: settings that are
    not as they were set, in words.
    """

    readings: tuple[tuple[int, InputReading], ...] = ()
    differences: tuple[str, ...] = ()


@dataclass
class _Rotation:
    """Questions for the settings of one supply: the output and the settings of each."""

    questions: list[tuple[str, tuple[Change, ...]]]
    begun: float | None = None
    period: float | None = None


@dataclass
class Polling:
    """Has the guard ask, and understands what comes. Failures are InstrumentErrors."""

    rig: Rig
    link: GuardLink
    trace: Trace | None = None
    deadline: float = TIMEOUT
    periods: dict[str, float] = field(default_factory=dict)
    """Supply -> how long it takes until every setting has been asked for again [s]."""
    _newest: dict[str, tuple[int, Reading]] = field(default_factory=dict)
    _fresh: dict[str, set[str]] = field(default_factory=dict)
    _rotations: dict[str, _Rotation] = field(default_factory=dict)

    def begin(self, start: float, every: float) -> None:
        """Read every `every` [s] from `start` [s] on; ask for settings in the time between."""
        self._fresh = {name: set() for name in self.rig.set_points}
        for name, supply in self.rig.supplies.items():
            used = self.rig.used(name)
            common = {"every": every, "deadline": self.deadline}
            self.link.poll(name, "readings", supply.look(used), start=start, **common)
            questions = [(own, self.rig.settings.of(f"{name}.{own}")) for own in used]
            self._rotations[name] = _Rotation([(own, changes) for own, changes in questions if changes])
            asked = [
                supply.setting_queries(own, [change.setting for change in changes])
                for own, changes in self._rotations[name].questions
            ]
            identify = [supply.dialect.instrument.identify]
            fields = {"known": identify, "known_every": KNOWN_EVERY, "share": SHARE, "least": LEAST}
            self.link.poll(name, "settings", asked, **fields, **common)

    def end(self) -> None:
        """Ask for nothing more."""
        for name in self.rig.supplies:
            self.link.poll(name, "readings", [])
            self.link.poll(name, "settings", [])

    def understand(self, message: dict[str, Any]) -> Seen:
        """What a `poll` message of the guard says."""
        name, supply = message["name"], self.rig.supplies[message["name"]]
        asks_settings = message["tag"] == "settings"
        if "error" in message:
            supply.lost = True
            raise InstrumentError(name, "", message["error"], lost=True)
        answer = Answer(message["answer"], message["sent"], message["received"])
        if self.trace is not None:
            self._show(name, message, answer)
        if asks_settings:
            return self._settings(name, message["turn"], answer)
        return self.looked(name, message["turn"], answer)

    def looked(self, name: str, turn: int, answer: Answer) -> Seen:
        """What the look of a supply says: the inputs of which every output has now been read anew."""
        for own, reading in self.rig.supplies[name].understood_look(self.rig.used(name), answer).items():
            self._newest[f"{name}.{own}"] = turn, reading
        whole = []
        for each, feed in self.rig.set_points.items():
            mine = {output.output for output in feed.outputs}
            self._fresh.setdefault(each, set()).update(o for o in mine if o.partition(".")[0] == name)
            if self._fresh[each] != mine:
                continue
            self._fresh[each].clear()
            readings = {output: self._newest[output][1] for output in mine}
            whole.append((turn, self.rig.together(each, readings)))
        return Seen(readings=tuple(whole))

    def _settings(self, name: str, turn: int, answer: Answer) -> Seen:
        supply, rotation = self.rig.supplies[name], self._rotations[name]
        if turn < 0:
            assert supply.identity is not None
            if answer.text != supply.identity.answer:
                told = f"expected its identification, got {answer.text[:60]!r}: its answers are out of step"
                raise InstrumentError(name, supply.dialect.instrument.identify, told, lost=True)
            return Seen()
        own, questions = rotation.questions[turn]
        if turn == 0:
            if rotation.begun is not None:
                self.periods[name] = answer.sent - rotation.begun
            rotation.begun = answer.sent
        output = f"{name}.{own}"
        if not self.rig.settings.stood(output, answer.sent):
            return Seen()  # it was asked before, or while, the program itself changed something
        expected = {change.setting: change for change in self.rig.settings.of(output)}
        differences = supply.differences(
            [expected.get(change.setting, change) for change in questions],
            answer.text,
            ignored=tuple(change.setting for change in questions if change.setting not in expected),
        )
        return Seen(differences=tuple(differences))

    def _show(self, name: str, message: dict[str, Any], answer: Answer) -> None:
        assert self.trace is not None
        supply = self.rig.supplies[name]
        asked: Sequence[str]
        if message["tag"] == "readings":
            asked = supply.look(self.rig.used(name))
        elif message["turn"] < 0:
            asked = [supply.dialect.instrument.identify]
        else:
            own, changes = self._rotations[name].questions[message["turn"]]
            asked = supply.setting_queries(own, [change.setting for change in changes])
        self.trace(answer.sent, name, "sent", ";".join(asked))
        self.trace(answer.received, name, "received", answer.text)
