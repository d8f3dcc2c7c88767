"""A trip is said to be cleared where the supply says so, and by no command that was sent."""

from __future__ import annotations

import pytest
from tests.instruments.fake_supply import FakeSupply
from tests.instruments.test_provoking import changed, tried
from tests.instruments.test_supply import connect

from railwright.dialects.dialect import Dialect, load_dialect
from railwright.dialects.files import dialect_names, dialect_text
from railwright.instruments.errors import InstrumentError
from railwright.instruments.provoking import Connected


def clearing(name: str, *commands: str) -> Dialect:
    """One of the package's with these as what clears its trips; none: it has none."""
    (line,) = (each for each in dialect_text(name).splitlines() if each.startswith("  clear_trips:"))
    written = commands[0] if len(commands) == 1 else f"[{', '.join(commands)}]"
    return changed(name, f"{line}\n", f"  clear_trips: {written}\n" if commands else "  clear_trips: null\n")


TELL = [name for name in dialect_names() if load_dialect(name).status.trips.told is not False]


@pytest.mark.parametrize(
    ("name", "connected", "commands"),
    [
        *((name, "open", ("'*CLS'",)) for name in TELL),
        ("channel-list", "overloaded", ("'*CLS'",)),
        ("prefixed", "overloaded", ("'*CLS'",)),
        ("selected-apart", "overloaded", ()),
        ("named-output", "open", ()),
    ],
)
def test_a_trip_that_the_dialect_does_not_clear_is_not_proved(
    name: str, connected: Connected, commands: tuple[str, ...]
) -> None:
    """At each of them an OVP, and a trip at the limit, are latched until OUTPut:PROTection:CLEar."""
    with pytest.raises(InstrumentError) as raised:
        tried(clearing(name, *commands), name, connected)
    by = "OVP" if connected == "open" else "current limit"
    assert by in str(raised.value)
    assert ("*CLS" in str(raised.value)) == bool(commands)


@pytest.mark.parametrize("dialect", ["channel-list", "selected-output"])
@pytest.mark.parametrize(
    ("bit", "protection", "cleared_by"), [(12, "OVP", "VOLT"), (9, "current limit", "CURR")]
)
def test_each_of_several_commands_clears_its_own(
    dialect: str, bit: int, protection: str, cleared_by: str
) -> None:
    with FakeSupply(channels=2, selected=dialect == "selected-output") as fake:
        both = clearing(dialect, "VOLTage:PROTection:CLEar", "CURRent:PROTection:CLEar")
        fake.answers |= {f"{each}:PROTECTION:CLEAR": None for each in ("VOLT", "CURR")}  # type: ignore[dict-item]
        works = [True]

        def clear(unit: str) -> None:
            if works[0] and unit.upper().startswith(cleared_by) and "CLE" in unit.upper():
                fake.outputs[1].trip_bits = 0

        fake.on_unit = clear
        supply = connect(fake, dialect)
        supply.dialect = both
        fake.trip(1, bit=bit)
        waited: list[float] = []
        supply.clear_trips("1")
        supply.cleared("1", waited.append)
        assert (supply.read(["1"])["1"].trip, waited) == ("", [])
        sent = [unit for unit in fake.units if "CLEar" in unit]
        assert [unit.split(" ")[0].split(":")[0] for unit in sent] == ["VOLTage", "CURRent"]
        works[0] = False
        fake.trip(1, bit=bit)
        supply.clear_trips("1")
        with pytest.raises(InstrumentError) as raised:
            supply.cleared("1", waited.append)
        for told in ("output 1", protection, *sent):
            assert told in str(raised.value)
        assert sum(waited) == pytest.approx(0.5)


def test_a_status_that_tells_it_late_is_waited_for() -> None:
    with FakeSupply(channels=1) as fake:
        supply = connect(fake, "channel-list")
        fake.outputs[1].trip_bits = 1 << 12
        asked: list[float] = []

        def later(duration: float) -> None:
            asked.append(duration)
            if len(asked) == 3:
                fake.outputs[1].trip_bits = 0

        supply.cleared("1", later)
        assert len(asked) == 3
