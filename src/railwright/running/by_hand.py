"""Settings that no command makes: a person makes them at the instrument, before anything is energised.

What the supply can be asked is asked: nobody is troubled where it stands as it should. What it cannot be
asked, the person enters as it was set, and it is compared like an answer of the supply.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from dataclasses import dataclass

from railwright.dialects.dialect import Value
from railwright.dialects.operation import UNIT_OF, Setting
from railwright.documents.output_name import OutputName
from railwright.instruments.supply import OutputSetting, SupplyDriver
from railwright.quantities import show

NAMES: dict[Setting, str] = {
    "ovp": "OVP level",
    "ovp_on": "OVP",
    "trip_at_limit": "trip at the current limit",
    "trip_delay": "trip delay",
    "opp": "OPP level",
    "opp_on": "OPP",
    "ocp": "OCP level",
    "ocp_on": "OCP",
    "ocp_delay": "delay of the OCP",
    "slew_rising": "rising slew",
    "slew_falling": "falling slew",
    "sense": "voltage sensing",
}
"""What the settings are called at the bench."""


@dataclass(frozen=True, slots=True)
class ByHand:
    """One setting of one output that a person makes: its value [SI unit], on or off, or where it senses."""

    output: OutputName
    setting: Setting
    value: Value

    @property
    def shown(self) -> str:
        """The value for people."""
        if isinstance(self.value, bool):
            return "on" if self.value else "off"
        return self.value if isinstance(self.value, str) else show(self.value, UNIT_OF.get(self.setting, ""))

    def __str__(self) -> str:
        return f"{NAMES.get(self.setting, self.setting)} of {self.output}: {self.shown}"


Turn = Callable[[OutputName, str, Value], bool]
"""Turns a knob of an output at its panel; whether it goes there."""

Hands = Callable[[ByHand], Value | None]
"""Asks a person to make a setting; gives what was set, as the person reads it. None: nobody did."""


@dataclass(frozen=True, slots=True)
class SimulatedHands:
    """Turns the knobs of simulated supplies, at once, and sees that they stand where they were turned to."""

    turn: Turn

    def __call__(self, asked: ByHand) -> Value | None:
        return asked.value if self.turn(asked.output, asked.setting, asked.value) else None


def waited_for(hands: Hands | None, pause: Callable[[], None]) -> Hands | None:
    """The same hands, asked in a thread of their own, for a person takes their time: `pause` is called
    meanwhile, again and again, and may raise to end the waiting. What the hands raise is raised here.
    """
    if hands is None or isinstance(hands, SimulatedHands):
        return hands  # these share the clock that a pause would move

    def ask(asked: ByHand) -> Value | None:
        answer: Future[Value | None] = Future()

        def work() -> None:
            try:
                answer.set_result(hands(asked))
            except BaseException as error:  # noqa: BLE001 - it is raised where the answer is waited for
                answer.set_exception(error)

        # A daemon: a person who never answers holds up no end of the program.
        threading.Thread(target=work, name="by hand", daemon=True).start()
        while not answer.done():
            pause()
        return answer.result()

    return ask


class NotSetByHand(Exception):
    """A setting that a person has to make was not made, or not as it should be; one line for people."""


def settings_by_hand(
    supply: SupplyDriver, changes: Iterable[OutputSetting], hands: Hands | None
) -> list[ByHand]:
    """Have a person make those of the changes that no command makes. Gives what was entered, not asked back.

    Raises NotSetByHand where nobody makes one, or where what was entered is another value; InstrumentError
    where the supply says another.
    """
    entered = []
    for change in changes:
        if not supply.supports(change.setting) or supply.dialect.can_set(change.setting):
            continue
        asked = ByHand(OutputName.of(supply.name, change.output), change.setting, change.value)
        tells = supply.tells(change.setting)
        if tells and supply.stands(change):
            continue
        answer = None if hands is None else hands(asked)
        if answer is None:
            raise NotSetByHand(f"{asked}, to be set at the instrument: nobody has said that it is")
        if tells:
            supply.verify([change])
        elif not supply.same(change, answer):
            got = ByHand(asked.output, asked.setting, answer)
            raise NotSetByHand(f"{asked}, to be set at the instrument: {got.shown} was entered")
        else:
            entered.append(ByHand(asked.output, asked.setting, answer))
    return entered
