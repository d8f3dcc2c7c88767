"""What a standard's test is: its choices, the pieces that it plays, and what it permits of the generator."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from railwright.quantities import parse_value, quoted, show
from railwright.waveforms.shapes import Hold, Jump, Off, Piece
from railwright.waveforms.standards.figures import OPEN, StandardFigures


class NoSuchChoice(ValueError):
    """A choice that a standard does not have. at: the key that it is written under. instead: a key, and a
    choice that there is, with which it can be told whether more is missing; None: nothing can.
    """

    def __init__(self, message: str, at: str, instead: tuple[str, str | float] | None = None) -> None:
        super().__init__(message)
        self.at = at
        self.instead = instead


class Choice(NamedTuple):
    """What is chosen of a test: nominal and lowest operating voltage of the input [V], and the procedure's
    keys; None: left out.
    """

    nominal: float
    lowest: float
    level: str | None = None
    duration: float | None = None
    impedance: str | None = None

    @property
    def system(self) -> str:
        """'12 V' or '24 V': the vehicle's system that the nominal voltage belongs to."""
        return "12 V" if self.nominal < 18.0 else "24 V"


class Permitted(NamedTuple):
    """What a standard permits of the generator's output; None: it says nothing.

    edge: shortest and longest transition duration, 10 to 90 % [s]. overshoot: in parts of the change. level:
    ± in parts of the level. load: resistance [Ω] at which edges and overshoot are meant; None: any. cited:
    where that stands.
    """

    cited: str
    edge: tuple[float, float] | None = None
    overshoot: float | None = None
    level: float | None = None
    load: float | None = None


class NotPlayed(NamedTuple):
    """What a test that an ordinary supply cannot play puts on an input, and what such a supply lacks.

    voltage: the highest across the input [V], negative where it is reversed. duration: how long [s]. lacks:
    what the test has and the supply has not, for people.
    """

    voltage: float
    duration: float
    lacks: str


@dataclass(frozen=True)
class Test:
    """One test of a standard. name: as a procedure writes it, 'IEC 61000-4-29 dip'.

    standard: its key among the figures. uses: the keys that it knows beside 'standard'. pieces: what is
    played; raises NoSuchChoice. cites: its figures. permitted: what is asked of the generator; None: nothing.
    levels, durations: those of its figures that list the levels and durations to choose from; None: it has no
    such list. repetitions, interval: the figures that say how often it is played at least, and the shortest
    time between two; None: none says so. system: nominal voltage of the systems that its voltages are meant
    for [V]; None: they are parts of the input's own. not_played: it cannot be played, but what it would put
    on the input can be checked; `pieces` then gives none.
    """

    __test__ = False  # no class of tests, whatever pytest makes of its name

    name: str
    standard: str
    what: str
    uses: tuple[str, ...]
    pieces: Callable[[StandardFigures, Choice], tuple[Piece, ...]]
    cites: tuple[str, ...]
    permitted: Callable[[StandardFigures], Permitted] | None = None
    levels: str | None = None
    durations: str | None = None
    repetitions: str | None = None
    interval: str | None = None
    system: Callable[[StandardFigures, Choice], float] | None = None
    not_played: Callable[[StandardFigures, Choice], NotPlayed] | None = None


class OpenChoice(NamedTuple):
    """The key of a procedure by which something is chosen that a standard leaves open, and what is chosen."""

    key: Literal["level", "duration"]
    chosen: str

    def __str__(self) -> str:
        return f"{self.key} {OPEN}, chosen: {self.chosen}"


def open_choices(figures: StandardFigures, test: Test, choice: Choice) -> tuple[OpenChoice, ...]:
    """What is chosen where the standard's own list leaves it open: 'level x, chosen: 75 %'."""
    found = []
    level, duration = choice.level, choice.duration
    if test.levels and level and _left_open(figures.texts(test.levels), parse_value(level, "1"), "1"):
        found.append(OpenChoice("level", level))
    if test.durations and duration and _left_open(figures.texts(test.durations), duration, "s"):
        found.append(OpenChoice("duration", show(duration, "s")))
    return tuple(found)


def _left_open(texts: Sequence[str], value: float, unit: str) -> bool:
    """Whether a list leaves others open, and the value is one that it does not name."""
    listed = [text for text in texts if text != OPEN]
    return len(listed) < len(texts) and not _listed(value, listed, unit)


def chosen_ratio(figures: StandardFigures, name: str, choice: Choice) -> float:
    """The level that is chosen, in parts of the nominal voltage."""
    texts = figures.texts(name)
    listed = [text for text in texts if text != OPEN]
    if choice.level is None:
        raise _missing("level", listed, texts)
    try:
        ratio = parse_value(choice.level, "1")
    except ValueError as error:
        raise NoSuchChoice(str(error), "level") from None
    if not 0.0 <= ratio <= 2.0:
        raise NoSuchChoice(f"expected a level of 0 % to 200 %, got {quoted(choice.level)}", "level")
    if OPEN not in texts and not _listed(ratio, listed, "1"):
        raise _unknown("level", choice.level, listed)
    return ratio


def chosen_duration(figures: StandardFigures, name: str, choice: Choice) -> float:
    """The duration that is chosen [s]."""
    texts = figures.texts(name)
    listed = [text for text in texts if text != OPEN]
    if choice.duration is None:
        raise _missing("duration", listed, texts)
    if OPEN not in texts and not _listed(choice.duration, listed, "s"):
        raise _unknown("duration", show(choice.duration, "s"), listed)
    return choice.duration


def there_and_back(choice: Choice, ratio: float, duration: float) -> tuple[Piece, ...]:
    """At once to a part of the nominal voltage, and at once back after a time [s]."""
    return Jump(choice.nominal), Jump(ratio * choice.nominal), Hold(duration), Jump(choice.nominal)


def interrupted(choice: Choice, duration: float) -> tuple[Piece, ...]:
    """Disconnected for a time [s]; at low impedance at 0 V, where the output takes in what the input gives
    back.
    """
    if choice.impedance == "low":
        return there_and_back(choice, 0.0, duration)
    return Jump(choice.nominal), Off(duration)


def chosen_name(figures: StandardFigures, prefix: str, choice: Choice) -> str:
    """The level that is chosen by a name, such as I to IV."""
    names = figures.names(prefix)
    if choice.level is None:
        raise _missing("level", names, names)
    if choice.level not in names:
        raise _unknown("level", choice.level, names)
    return choice.level


def named_interruption(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """Disconnected (or, impedance: low, at 0 V) for the time of the class or category that is chosen."""
    name = chosen_name(figures, "interruption ", choice)
    return interrupted(choice, figures.value(f"interruption {name}", "s"))


def nominal_voltage(figures: StandardFigures, choice: Choice) -> float:
    """Nominal voltage of the one system that the standard is about [V]."""
    return figures.value("nominal voltage", "V")


def no_such_level(wanted: str, choice: Choice) -> NoSuchChoice:
    """What is said of a level that is none of those wanted, or of none."""
    got, at = ("none", "standard") if choice.level is None else (f"'{choice.level}'", "level")
    return NoSuchChoice(f"expected a 'level' of {wanted} beside 'standard', got {got}", at)


def _listed(value: float, texts: Sequence[str], unit: str) -> bool:
    return any(abs(value - parse_value(text, unit)) < 1e-9 for text in texts)


def _missing(key: str, listed: Sequence[str], texts: Sequence[str]) -> NoSuchChoice:
    more = ", or another" if OPEN in texts else ""
    message = f"expected a '{key}' beside 'standard', got none; add one of {', '.join(listed)}{more}"
    return NoSuchChoice(message, "standard", _instead(key, listed))


def _instead(key: str, listed: Sequence[str]) -> tuple[str, str | float] | None:
    """A key with the first of what is listed for it, as a `Choice` has it."""
    if not listed:
        return None
    return key, parse_value(listed[0], "s") if key == "duration" else listed[0]


def _unknown(key: str, given: str, listed: Sequence[str]) -> NoSuchChoice:
    message = f"expected one of {', '.join(listed)}, got {quoted(given)}"
    return NoSuchChoice(message, key, _instead(key, listed))
