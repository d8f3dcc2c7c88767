"""ISO 16750-2:2012: electrical loads of road vehicles' equipment, 12 V and 24 V systems.

All figures stand in figures.yaml, from memory. U_Smin is the input's lowest operating voltage, or that of the
code letter that is chosen as 'level'; U_B is its nominal voltage.
"""

from __future__ import annotations

from railwright.quantities import parse_value, state
from railwright.waveforms.shapes import Hold, Jump, Line, Piece, Ripple
from railwright.waveforms.standards.figures import StandardFigures
from railwright.waveforms.standards.kinds import Choice, NoSuchChoice, NotPlayed, Permitted, Test, chosen_name


def _lowest(figures: StandardFigures, choice: Choice) -> float:
    """U_Smin [V]."""
    if choice.level is None:
        return choice.lowest
    prefix = f"{choice.system} lowest voltage "
    return figures.value(prefix + chosen_name(figures, prefix, choice), "V")


def slow_decrease(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """From U_Smin to 0 V and back at 0.5 V/min."""
    lowest = _lowest(figures, choice)
    over = lowest / figures.value("slow change", "V") * figures.value("slow change time", "s")
    return Jump(lowest), Line(0.0, over), Line(lowest, over)


def momentary_drop(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """From U_Smin to the drop's level for 100 ms, edges of 10 ms."""
    lowest, edge = _lowest(figures, choice), figures.value("momentary drop edge", "s")
    level = figures.value(f"{choice.system} momentary drop", "V")
    hold = Hold(figures.value("momentary drop duration", "s"))
    return Jump(lowest), Line(level, edge), hold, Line(lowest, edge)


def reset(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """From U_Smin down by 5 %, 10 %, … of it to 0 V, each for 5 s, with 10 s at U_Smin before each."""
    lowest, step = _lowest(figures, choice), figures.value("reset step", "1")
    down, up = Hold(figures.value("reset hold", "s")), Hold(figures.value("reset recovery", "s"))
    pieces: list[Piece] = [Jump(lowest), up]
    for number in range(1, round(1.0 / step) + 1):
        pieces += [Jump(lowest * max(0.0, 1.0 - number * step)), down, Jump(lowest), up]
    return tuple(pieces)


def starting(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """Starting profile: dip of the engaging starter, plateau with the ripple of the turning engine,
    recovery.
    """
    prefix = f"{choice.system} starting "
    texts = figures.texts(prefix + chosen_name(figures, prefix, choice))
    low, plateau = (parse_value(text, "V") for text in texts[:2])
    fall, dip, rise, crank, recovery = (parse_value(text, "s") for text in texts[2:])
    ripple = Ripple(
        "sine",
        figures.value("starting ripple", "V"),
        figures.value("starting ripple frequency", "Hz"),
        crank,
    )
    return (
        Jump(choice.nominal),
        Line(low, fall),
        Hold(dip),
        Line(plateau, rise),
        ripple,
        Line(choice.nominal, recovery),
    )


def over_voltage(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """Long-term over-voltage: a failed regulator of the alternator."""
    return _held(figures, choice, f"{choice.system} over-voltage")


def jump_start(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """Jump start of a 12 V system from a 24 V one; for 24 V systems there is no such test."""
    if choice.system != "12 V":
        raise NoSuchChoice("expected a 12 V system for a jump start, got one of 24 V", "standard")
    return _held(figures, choice, "12 V jump start")


def _held(figures: StandardFigures, choice: Choice, name: str) -> tuple[Piece, ...]:
    hold = Hold(choice.duration or figures.value(f"{name} duration", "s"))
    return Jump(choice.nominal), Jump(figures.value(name, "V")), hold, Jump(choice.nominal)


def drop_permitted(figures: StandardFigures) -> Permitted:
    """Edges of the momentary drop."""
    return Permitted(
        figures.cited("momentary drop edge"), edge=(0.0, figures.value("momentary drop edge", "s"))
    )


def system(figures: StandardFigures, choice: Choice) -> float:
    """Nominal voltage of the vehicle's system [V]."""
    return parse_value(choice.system, "V")


def nothing(figures: StandardFigures, choice: Choice) -> tuple[Piece, ...]:
    """What an ordinary supply plays of a test that it cannot play."""
    return ()


def load_dump(figures: StandardFigures, choice: Choice) -> NotPlayed:
    """The alternator's battery falls off: test A without, test B with central suppression."""
    prefix = f"{choice.system} load dump "
    texts = figures.texts(prefix + chosen_name(figures, prefix, choice))
    lowest, highest = (parse_value(text, "ohm") for text in texts[1:3])
    lacks = state(
        "a pulse behind a source resistance of {lowest} to {highest}, by which the device's own clamp limits "
        "the voltage and takes the pulse's energy",
        lowest=(lowest, "ohm"),
        highest=(highest, "ohm"),
    )
    return NotPlayed(parse_value(texts[0], "V"), parse_value(texts[3], "s"), lacks)


def reversed_voltage(figures: StandardFigures, choice: Choice) -> NotPlayed:
    """The battery connected the wrong way round."""
    voltage = figures.value(f"{choice.system} reversed voltage", "V")
    lacks = (
        "a voltage below zero, and a source that drives a battery's current through a device that conducts"
    )
    return NotPlayed(-voltage, figures.value("reversed voltage duration", "s"), lacks)


TESTS = (
    Test(
        "ISO 16750-2 slow decrease",
        "ISO 16750-2",
        "from the lowest operating voltage to 0 V and back, slowly",
        ("level",),
        slow_decrease,
        ("slow change", "slow change time"),
        system=system,
    ),
    Test(
        "ISO 16750-2 momentary drop",
        "ISO 16750-2",
        "a fuse of another circuit blows",
        ("level",),
        momentary_drop,
        ("12 V momentary drop", "momentary drop duration", "momentary drop edge"),
        drop_permitted,
        system=system,
    ),
    Test(
        "ISO 16750-2 reset",
        "ISO 16750-2",
        "drops that grow in steps: does it reset as it should?",
        ("level",),
        reset,
        ("reset step", "reset hold", "reset recovery"),
        system=system,
    ),
    Test(
        "ISO 16750-2 starting",
        "ISO 16750-2",
        "starting profile, by its level",
        ("level",),
        starting,
        ("12 V starting I", "24 V starting I", "starting ripple"),
        repetitions="starting repetitions",
        interval="starting interval",
        system=system,
    ),
    Test(
        "ISO 16750-2 over-voltage",
        "ISO 16750-2",
        "long-term over-voltage; a shorter duration can be chosen",
        ("duration",),
        over_voltage,
        ("12 V over-voltage", "24 V over-voltage"),
        system=system,
    ),
    Test(
        "ISO 16750-2 jump start",
        "ISO 16750-2",
        "a 12 V system at 24 V; a shorter duration can be chosen",
        ("duration",),
        jump_start,
        ("12 V jump start", "12 V jump start duration"),
        system=system,
    ),
    Test(
        "ISO 16750-2 load dump",
        "ISO 16750-2",
        "A or B, without or with central suppression: checked by its voltage, not played",
        ("level",),
        nothing,
        ("12 V load dump A", "12 V load dump B", "24 V load dump A", "24 V load dump B"),
        system=system,
        not_played=load_dump,
    ),
    Test(
        "ISO 16750-2 reversed voltage",
        "ISO 16750-2",
        "polarity the wrong way round: checked by its voltage, not played",
        (),
        nothing,
        ("12 V reversed voltage", "24 V reversed voltage", "reversed voltage duration"),
        system=system,
        not_played=reversed_voltage,
    ),
)
