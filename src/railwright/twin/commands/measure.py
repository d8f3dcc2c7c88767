"""MEASure and FETCh.

Readings are taken all the time, one every update interval. MEASure answers from the newest that is complete,
and keeps it; FETCh answers from the reading that the last MEASure of that output kept (SCPI-1999 vol. 2,
chapter 3: FETCh? gives data of an acquisition already made), so that `MEAS:VOLT? (@1);:FETC:CURR? (@1)` is a
pair from one aperture.

Not in SCPI-1999: MEASure:ALL?, voltage and current of one reading in one answer.
"""

from __future__ import annotations

from collections.abc import Callable

from railwright.scpi.errors import ScpiError
from railwright.scpi.numbers import format_nr3
from railwright.twin.commands.tree import Call, of_outputs
from railwright.twin.readings import ReadingWindow
from railwright.twin.supply import TwinSupply


def _measure(quantity: Callable[[ReadingWindow], float]) -> Callable[[TwinSupply, int, Call], str]:
    def answer(supply: TwinSupply, channel: int, call: Call) -> str:
        name = supply.panels[channel].name
        reading = supply.plant.reading(name)
        if reading is None:
            raise ScpiError(-230, f"{name} has not taken a reading yet")
        supply.latched[channel] = reading
        return format_nr3(quantity(reading))

    return answer


def _fetch(quantity: Callable[[ReadingWindow], float]) -> Callable[[TwinSupply, int, Call], str]:
    def answer(supply: TwinSupply, channel: int, call: Call) -> str:
        reading = supply.latched[channel]
        if reading is None:
            raise ScpiError(-230, f"nothing of {supply.panels[channel].name} has been measured yet")
        return format_nr3(quantity(reading))

    return answer


def _both(supply: TwinSupply, channel: int, call: Call) -> str:
    """Of one reading."""
    return f"{_measure(_voltage)(supply, channel, call)},{_fetch(_current)(supply, channel, call)}"


def _voltage(reading: ReadingWindow) -> float:
    return reading.voltage


def _current(reading: ReadingWindow) -> float:
    return reading.current


of_outputs("MEASure[:SCALar]:VOLTage[:DC]?", _measure(_voltage), units=("V",))
of_outputs("MEASure[:SCALar]:CURRent[:DC]?", _measure(_current), units=("A",))
of_outputs("MEASure[:SCALar]:ALL?", _both, units=("V", "A"))
of_outputs("FETCh[:SCALar]:VOLTage[:DC]?", _fetch(_voltage), units=("V",))
of_outputs("FETCh[:SCALar]:CURRent[:DC]?", _fetch(_current), units=("A",))
