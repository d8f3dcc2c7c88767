"""What the guard asks on its own schedule, and what the answers say: readings, and settings in rotation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from railwright.documents.output_name import OutputName
from railwright.guard.link import GuardLink
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import TIMEOUT, Answer, Trace
from railwright.instruments.supply import OutputReading, OutputSetting
from railwright.running.outcome import InputReading
from railwright.running.rig import Rig

SHARE = 0.095
"""Part of a session's time that asking for settings may take: a tenth, less what a question may wait."""

SHORTEST_PERIOD = 1.0
"""Settings of a supply that answers fast are asked for again after so long [s]; more would be of no use."""

LONGEST_QUESTION = 0.02
"""What a question for settings may take, so that it holds up no reading [s]; one that takes more, and more
than twice what the shortest takes, is parted.
"""

KNOWN_EVERY = 1.0
"""How often a question is asked whose answer is known [s]: an answer too many shifts all that follow."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What one answer showed. readings: (position in the schedule, reading). differences: settings that are
    not as they were set, in words.
    """

    readings: tuple[tuple[int, InputReading], ...] = ()
    differences: tuple[str, ...] = ()


Question = tuple[str, tuple[OutputSetting, ...]]
"""What is asked of a supply at once: settings of one of its outputs."""

POWER: Question = ("", ())
"""Whether its power came on: one that restarted and is as it was before shows it by nothing else."""


@dataclass
class _Rotation:
    """Questions for the settings of one supply: the output and the settings of each."""

    questions: list[Question]
    begun: float | None = None


@dataclass
class Polling:
    """Has the guard ask, and understands what comes. Failures are InstrumentErrors."""

    rig: Rig
    link: GuardLink
    trace: Trace | None = None
    deadline: float = TIMEOUT
    periods: dict[str, float] = field(default_factory=dict)
    """Supply -> how long it takes until every setting has been asked for again [s]: as expected by what its
    exchanges take, or as measured, where that is longer.
    """
    _newest: dict[OutputName, tuple[int, OutputReading]] = field(default_factory=dict)
    _fresh: dict[str, set[OutputName]] = field(default_factory=dict)
    _rotations: dict[str, _Rotation] = field(default_factory=dict)

    def begin(self, start: float, every: float) -> None:
        """Read every `every` [s] from `start` [s] on; ask for settings in the time between."""
        self._fresh = {name: set() for name in self.rig.set_points}
        for name, supply in self.rig.supplies.items():
            used = self.rig.used(name)
            patience = supply.dialect.session_settings.patience
            common = {"every": every, "deadline": max(self.deadline, patience)}
            # `outputs`: for who looks on.
            self.link.poll(name, "readings", supply.look(used), start=start, outputs=list(used), **common)
            questions = self._questions(name, used)
            if supply.dialect.power_query is not None:
                questions.append(POWER)
            if not questions:
                continue
            self._rotations[name] = _Rotation(questions)
            asked = [self._asked(name, question) for question in questions]
            least = SHORTEST_PERIOD / len(questions)
            took = [supply.expected_time(max(1, len(changes))) for _, changes in questions]
            # On top: a question waits until a look, and the one with the known answer, are over.
            waits = supply.expected_time(supply.answers_of_look(used)) + supply.expected_time(1)
            self.periods[name] = sum(max(each / SHARE, least) for each in took) + waits
            identify = [supply.dialect.instrument.identify]
            fields = {"known": identify, "known_every": KNOWN_EVERY, "share": SHARE, "least": least}
            self.link.poll(name, "settings", asked, **fields, **common)

    def _asked(self, name: str, question: Question) -> tuple[str, ...]:
        """The messages of a question."""
        supply, (own, changes) = self.rig.supplies[name], question
        if question == POWER:
            return (supply.dialect.power_query or "",)
        return supply.setting_queries(own, [change.setting for change in changes])

    def _questions(self, name: str, outputs: Sequence[str]) -> list[Question]:
        """Settings of outputs as they were set, parted so that no question takes too long."""
        supply = self.rig.supplies[name]
        found = []
        for own in outputs:
            known = self.rig.settings.of(OutputName.of(name, own))
            changes = tuple(change for change in known if supply.tells(change.setting))
            size, longest = len(changes), max(LONGEST_QUESTION, 2 * supply.expected_time(1))
            while size > 1 and supply.expected_time(size) > longest:
                size -= 1
            found += [(own, changes[first : first + size]) for first in range(0, len(changes), max(1, size))]
        return found

    def end(self) -> None:
        """Ask for nothing more."""
        for name in self.rig.supplies:
            self.link.poll(name, "readings", [])
            if name in self._rotations:
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
            self._newest[OutputName.of(name, own)] = turn, reading
        whole = []
        for each, feed in self.rig.set_points.items():
            mine = {output.output for output in feed.outputs}
            self._fresh.setdefault(each, set()).update(o for o in mine if o.supply == name)
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
                self.periods[name] = max(self.periods[name], answer.sent - rotation.begun)
            rotation.begun = answer.sent
        if (own, questions) == POWER:
            supply.expect_power(answer.text)
            return Seen()
        output, settings = OutputName.of(name, own), self.rig.settings
        # One that was asked before, or while, the program itself changed it tells nothing of anybody else.
        expected = {
            change.setting: change
            for change in settings.of(output)
            if settings.stood(output, change.setting, answer.sent)
        }
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
            asked = self._asked(name, self._rotations[name].questions[message["turn"]])
        self.trace(answer.sent, name, "sent", ";".join(asked))
        self.trace(answer.received, name, "received", answer.text)
