"""A dialect in which one thing is wrong: the proof finds it, or ends before a voltage is there. The load is a
witness that does not speak the dialect, so that units which are wrong alike are found, too.
"""

from __future__ import annotations

from typing import Any

import pytest
from tests.proving.bench import bench_with_load
from tests.proving.test_prove import LEFT, SILICONE, found, prove

from railwright.dialects.dialect import Dialect, load_dialect
from railwright.dialects.files import dialect_text
from railwright.documents.dialect_files import read_dialect

BASE = load_dialect("channel-list")


def written(old: str, new: str) -> Dialect:
    text = dialect_text("channel-list")
    assert text.count(old) == 1, old
    return read_dialect(text.replace(old, new), "mine.yaml")


def set_as(name: Any, **changed: Any) -> Dialect:
    """One setting otherwise."""
    operation = BASE.settings[name].model_copy(update=changed)
    return BASE.model_copy(update={"settings": {**BASE.settings, name: operation}})


def of_the_voltage(name: Any) -> Dialect:
    """One setting under the voltage's header. A file that says so is refused where another has that already;
    those of an instrument are not.
    """
    own = BASE.settings[name]
    command, query = (each.replace("SOURce:CURRent", "SOURce:VOLTage") for each in (own.command, own.query))
    assert (command, query) != (own.command, own.query)
    return set_as(name, command=command, query=query)


def read_as(dialect: Dialect = BASE, **changed: Any) -> Dialect:
    return dialect.model_copy(update={"readings": dialect.readings.model_copy(update=changed)})


def exchanged() -> Dialect:
    """Each output called as the other is."""
    return load_dialect("numbered-header").model_copy(update={"called": {1: "2", 2: "1"}})


def sensed_otherwise() -> Dialect:
    """Its words for where the voltage is sensed exchanged. As SCPI-1999's own they are refused in a file;
    those of an instrument are not.
    """
    words = {**BASE.words, "at load": "INTernal", "at terminals": "EXTernal"}
    return BASE.model_copy(update={"words": words})


LOW, ALL = 3.5, 36.0


@pytest.mark.parametrize(
    ("dialect", "what", "highest"),
    [
        (written("{CV: 10, CC: 11, CP: 12}", "{CV: 11, CC: 10, CP: 12}"), "provoked: CV", LOW),
        (written("OVP: 12, current limit: 9,", "OVP: 9, current limit: 12,"), "provoked: OVP", ALL),
        (of_the_voltage("trip_at_limit"), "trip delay", ALL),
        (sensed_otherwise(), "remote sense", ALL),
        (of_the_voltage("current_limit"), "to the end", 0.1),
        (set_as("voltage", unit="kV"), "lead to the load", 0.1),
        (set_as("voltage", unit="mV"), "to the end", 0.1),
        (read_as(set_as("voltage", unit="kV"), voltage_unit="kV"), "lead to the load", 0.1),
        (set_as("current_limit", unit="mA"), "to the end", 0.1),
        (set_as("ovp", unit="kV"), "to the end", 0.1),
        (set_as("trip_delay", unit="ms"), "to the end", ALL),
        (read_as(voltage_unit="kV"), "provoked: CV", LOW),
        (read_as(current_unit="mA"), "current limit", ALL),
        (read_as(voltage="MEASure:CURRent?", current="FETCh:VOLTage?"), "nothing else connected", LOW),
        (exchanged(), "lead to the load", LOW),
    ],
)
def test_what_is_wrong_is_found(dialect: Dialect, what: str, highest: float) -> None:
    bench = bench_with_load()
    left = bench.supplies["left"].model_copy(update={"dialect": dialect})
    proved = prove(
        (LEFT, SILICONE), bench=bench.model_copy(update={"supplies": {**bench.supplies, "left": left}})
    )
    lines = found(proved)
    assert what in {line.what for line in lines}, lines
    assert proved.highest[LEFT] <= highest
    assert proved.on == []
