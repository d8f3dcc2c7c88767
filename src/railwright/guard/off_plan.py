"""How every output of a run is switched off and read to be off, as plain strings and numbers.

Compiled from documents and dialects before anything is energised, and written to a file, so that whoever
switches off later needs neither.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from railwright.guard.answers import Code, in_si, names
from railwright.guard.off_level import DECAY
from railwright.guard.session_settings import USUAL, SessionSettings, settings_from

NO_NUMBER = 9.9e37
"""From here on a number means infinity, or none at all (SCPI-1999 vol. 1, 7.2.1)."""

Place = tuple[int, int]
"""Where a value stands in what a look answers: which answer, and which of its comma-separated parts."""


@dataclass(frozen=True, slots=True)
class OutputOff:
    """One output. off: messages that switch it off. set_voltage: messages that set its voltage, with `{}` for
    that.

    state, voltage, current: where the look says them. selected: where it says which output was selected then,
    which has to be `selected_as`; None: it does not say it. no_current: |current| that counts as none [A].
    share: of the input's voltage (series). bleeds: current [A] that it may take in while it is off, where the
    device holds a voltage. volt, ampere: what one of the look's voltage and current is [V, A], where no unit
    stands behind it. set_volt: what one of the set voltage is [V]. set_digits: digits after its point; None:
    six significant ones. least: the lowest voltage that it takes [V]. volt_code, ampere_code, set_code: of
    those that are answered, or set, as a code.
    """

    name: str
    supply: str
    off: tuple[str, ...]
    state: Place
    voltage: Place
    current: Place
    no_current: float
    off_words: tuple[str, ...] = ("0", "OFF")
    set_voltage: tuple[str, ...] = ()
    share: float = 1.0
    bleeds: float = 0.0
    volt: float = 1.0
    ampere: float = 1.0
    set_volt: float = 1.0
    set_digits: int | None = None
    least: float = 0.0
    volt_code: Code | None = None
    ampere_code: Code | None = None
    set_code: Code | None = None
    selected: Place | None = None
    selected_as: str = ""

    def setting(self, voltage: float) -> list[str]:
        """Messages that set its voltage [V], or the lowest that it takes."""
        voltage = max(voltage, self.least)
        number = voltage / self.set_volt
        written = f"{number:.6g}" if self.set_digits is None else f"{number:.{self.set_digits}f}"
        if self.set_code is not None:
            written = str(self.set_code.nearest(voltage))
        return [text.format(written) for text in self.set_voltage]


@dataclass(frozen=True, slots=True)
class InputOff:
    """One input and its outputs.

    after: inputs whose OFF goes out first; one that stays silent is waited for `OffPlan.silence` [s], no
    longer. only_after: inputs that must be confirmed off first, else this one stays on. below: voltage that
    counts as off [V]. holds: voltage [V] that the device itself may keep at the terminals; None: it holds
    none. ramp_down: time in which an orderly ending takes it to 0 V first [s]. stays_on: why it stays on.
    """

    name: str
    outputs: tuple[OutputOff, ...]
    series: bool
    below: float
    after: tuple[str, ...] = ()
    only_after: tuple[str, ...] = ()
    holds: tuple[float, float] | None = None
    ramp_down: float = 0.0
    stays_on: str = ""


@dataclass(frozen=True, slots=True)
class SupplyOff:
    """One supply. identify: its question; identity: what it answered. look: queries that read its outputs.

    master: messages that switch off the switch over all its outputs, which goes off once nothing of them is
    to stay on; empty where it has none, or where others of its outputs are left on. master_state: where the
    look says that switch, one of `master_off`; master_first: it goes off before the outputs' own.

    session_settings: how its lines end and how much time it wants. watchdog: messages that switch its
    communication watchdog off, the last of them asking for its state, one of `watchdog_off`; empty where none
    was armed. errors: query of an entry of its error queue, which is read out once all is off; '' for none.
    """

    name: str
    address: str
    identify: str
    identity: str
    look: tuple[str, ...]
    watchdog: tuple[str, ...] = ()
    watchdog_off: tuple[str, ...] = ("0", "OFF")
    session_settings: SessionSettings = USUAL
    master: tuple[str, ...] = ()
    master_state: Place | None = None
    master_off: tuple[str, ...] = ("0", "OFF")
    master_first: bool = False
    errors: str = ""


@dataclass(frozen=True, slots=True)
class ContactOff:
    """One contact of a relay, which comes to rest when the outputs are off. inputs: those that must be
    confirmed off first. rest: what moves it; query: what asks how it stands; resting: the answers of one that
    rests. stands: how it does then, `open` or `closed`. under_load: it may be moved with a current or a
    voltage. pin: of the device, that it drives: it comes to rest right behind the first OFF, and inputs are
    those that the pin enables; '' for one in a lead.
    """

    name: str
    inputs: tuple[str, ...]
    rest: str
    query: str
    resting: tuple[str, ...]
    stands: str
    under_load: bool
    pin: str = ""


@dataclass(frozen=True, slots=True)
class RelaysOff:
    """One instrument that moves contacts. identify, identity, session_settings: as of a `SupplyOff`."""

    name: str
    address: str
    identify: str
    identity: str
    contacts: tuple[ContactOff, ...]
    session_settings: SessionSettings = USUAL


@dataclass(frozen=True, slots=True)
class MeterOff:
    """One multimeter that shows the voltage of an input, and is asked once that is confirmed off. identify,
    identity, session_settings: as of a `SupplyOff`. ask: what has it take a reading; deadline: of one [s].
    of_value, offset [V]: a reading is off by no more than this part of it and that.
    """

    name: str
    input: str
    address: str
    identify: str
    identity: str
    ask: str
    deadline: float
    of_value: float = 0.0
    offset: float = 0.0
    session_settings: SessionSettings = USUAL


@dataclass(frozen=True, slots=True)
class OffPlan:
    """Everything that is to be off at the end.

    silence: how long a silent supply holds up what comes after it [s]. deadline: of one exchange [s]. decay:
    how long a voltage may take to fall [s]. lost: how long a supply that is gone is waited for [s]. relays:
    contacts that come to rest once that is over; nothing waits for them. meters: multimeters that are asked
    of each input once its supplies confirm it.
    """

    supplies: tuple[SupplyOff, ...]
    inputs: tuple[InputOff, ...]
    silence: float = 0.25
    deadline: float = 1.0
    decay: float = DECAY
    lost: float = 600.0
    every: float = 0.02
    relays: tuple[RelaysOff, ...] = ()
    meters: tuple[MeterOff, ...] = ()

    def supply(self, name: str) -> SupplyOff:
        return next(supply for supply in self.supplies if supply.name == name)

    def with_first(self, names: Collection[str]) -> OffPlan:
        """The same with inputs that go off before all others, whatever they would wait or stay on for."""
        first = (
            replace(each, after=(), only_after=(), ramp_down=0.0, stays_on="")
            for each in self.inputs
            if each.name in names
        )
        return replace(self, inputs=(*first, *(each for each in self.inputs if each.name not in names)))

    @property
    def sessions(self) -> tuple[SupplyOff | RelaysOff | MeterOff, ...]:
        """Everything that is spoken to."""
        return (*self.supplies, *self.relays, *self.meters)

    def to_json(self) -> str:
        return json.dumps(asdict(self), allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> OffPlan:
        """The plan that `to_json` wrote. ValueError, KeyError or TypeError for anything else."""
        return _plan(json.loads(text))


def _plan(data: Mapping[str, Any]) -> OffPlan:
    supplies = tuple(_supply(each) for each in data["supplies"])
    inputs = tuple(_input(each) for each in data["inputs"])
    relays = tuple(_relays(each) for each in data.get("relays", ()))
    meters = tuple(
        MeterOff(**{**each, "session_settings": settings_from(each["session_settings"])})
        for each in data.get("meters", ())
    )
    return OffPlan(**{**data, "supplies": supplies, "inputs": inputs, "relays": relays, "meters": meters})


def _relays(data: Mapping[str, Any]) -> RelaysOff:
    contacts = tuple(
        ContactOff(**{**each, "inputs": tuple(each["inputs"]), "resting": tuple(each["resting"])})
        for each in data["contacts"]
    )
    session_settings = settings_from(data["session_settings"])
    return RelaysOff(**{**data, "contacts": contacts, "session_settings": session_settings})


def _supply(data: Mapping[str, Any]) -> SupplyOff:
    keys = ("look", "watchdog", "watchdog_off", "master", "master_off")
    lists: dict[str, Any] = {key: tuple(data[key]) for key in keys if key in data}
    if data.get("master_state") is not None:
        lists["master_state"] = int(data["master_state"][0]), int(data["master_state"][1])
    session_settings = settings_from(data["session_settings"]) if "session_settings" in data else USUAL
    return SupplyOff(**{**data, **lists, "session_settings": session_settings})


def _input(data: Mapping[str, Any]) -> InputOff:
    outputs = tuple(_output(each) for each in data["outputs"])
    holds = None if data["holds"] is None else (float(data["holds"][0]), float(data["holds"][1]))
    lists = {key: tuple(data[key]) for key in ("after", "only_after")}
    return InputOff(**{**data, **lists, "outputs": outputs, "holds": holds})


def _output(data: Mapping[str, Any]) -> OutputOff:
    known = [key for key in ("state", "voltage", "current", "selected") if data.get(key) is not None]
    places = {key: (int(data[key][0]), int(data[key][1])) for key in known}
    lists = {key: tuple(data[key]) for key in ("off", "off_words", "set_voltage")}
    named = ("volt_code", "ampere_code", "set_code")
    codes = {key: Code(*data[key]) for key in named if data.get(key) is not None}
    return OutputOff(**{**data, **places, **lists, **codes})


@dataclass(frozen=True, slots=True)
class Look:
    """What an output was read to be: whether its state says off, its voltage [V] and its current [A]."""

    off: bool
    voltage: float
    current: float


def read_look(output: OutputOff, answers: list[str]) -> Look | None:
    """One output of what the look of its supply answered; None: another was selected by somebody else, and it
    is that one's. ValueError where an answer is none.
    """
    if output.selected is not None and not names(_part(answers, output.selected), output.selected_as):
        return None
    parts = [_part(answers, place) for place in (output.state, output.voltage, output.current)]
    word = parts[0].strip().upper()
    voltage = in_si(parts[1], "V", output.volt, output.volt_code)
    current = in_si(parts[2], "A", output.ampere, output.ampere_code)
    if not (abs(voltage) < NO_NUMBER and abs(current) < NO_NUMBER):
        raise ValueError(f"expected a voltage and a current, got '{parts[1]}' and '{parts[2]}'")
    return Look(word in output.off_words, voltage, current)


def read_master(supply: SupplyOff, answers: list[str]) -> bool | None:
    """Whether the look of a supply says that its master switch is off; None: it does not say it. ValueError
    where an answer is missing.
    """
    if supply.master_state is None:
        return None
    return _part(answers, supply.master_state).strip().upper() in supply.master_off


def _part(answers: list[str], place: Place) -> str:
    answer, field = place
    if answer >= len(answers):
        raise ValueError(f"expected at least {answer + 1} answers, got {len(answers)}")
    parts = answers[answer].split(",")
    if field >= len(parts):
        raise ValueError(f"expected at least {field + 1} fields, got {answers[answer][:60]!r}")
    return parts[field]
