"""A simulated electronic load: its commands, written by hand, and its server in memory.

It hangs at the far end of a lead, as an input of the device does: what it draws is a load of that input's
circuit, and what it reads is true there, with its own errors. It shares the SCPI grammar with the driver, and
nothing else. Headers are those of SCPI-1999.
"""

from __future__ import annotations

from collections.abc import Callable
from secrets import token_hex
from typing import TYPE_CHECKING

from railwright.documents.bench import ElectronicLoad
from railwright.scpi.data import Datum
from railwright.scpi.headers import CommandTree
from railwright.scpi.numbers import format_nr3
from railwright.scpi.parameters import boolean, choice, number_in
from railwright.twin.everyday import identification
from railwright.twin.messages import TreeServer
from railwright.twin.registers import ErrorQueue
from railwright.twin.truth import Truth

if TYPE_CHECKING:
    from railwright.twin.plant import Plant

Do = Callable[["TwinElectronicLoad", tuple[Datum, ...]], str | None]

COMPLIANCE = 1.0
"""Voltage below which its current fades, where the bench does not say [V]."""


class TwinElectronicLoad:
    """One load. `at`: the plant and the input where it is connected; None: it lies beside the bench."""

    def __init__(self, name: str, document: ElectronicLoad, truth: Truth) -> None:
        self.name, self.document = name, document
        self.truth = truth.output(name, document.as_output)
        self.on = False
        self.current = document.current.low
        self.errors = ErrorQueue()
        self.token = token_hex(4)
        self.at: tuple[Plant, str] | None = None
        self._kept: tuple[float, float] = (0.0, 0.0)

    def connect_to(self, plant: Plant, name: str) -> None:
        """Hang it at an input of a plant, whose only load it is."""
        self.at = plant, name
        self.apply()

    def apply(self) -> None:
        """Draw what is set, with the error of its set point. Reversed, it controls nothing: the diode of its
        transistors conducts, on or off.
        """
        if self.at is None:
            return
        plant, name = self.at
        if name in plant.wiring.reversed:
            return
        error = self.truth.set_current
        drawn = max(error.apply(error.on_grid(self.current)), 0.0) if self.on else 0.0
        plant.draw(name, drawn)

    def read(self) -> tuple[float, float]:
        """Voltage and current as it reads them now [V, A]."""
        true = (0.0, 0.0)
        if self.at is not None:
            plant, name = self.at
            voltage, current = plant.at_input(name)
            sign = -1.0 if name in plant.wiring.reversed else 1.0
            true = sign * voltage, sign * current
        of_voltage, of_current = self.truth.read_voltage, self.truth.read_current
        return (
            of_voltage.on_grid(of_voltage.apply(true[0])),
            of_current.on_grid(of_current.apply(true[1])),
        )


def _switch(load: TwinElectronicLoad, given: tuple[Datum, ...]) -> None:
    load.on = boolean(given[0])
    load.apply()


def _set_current(load: TwinElectronicLoad, given: tuple[Datum, ...]) -> None:
    low, high = load.document.current.low, load.document.current.high
    load.current = load.truth.set_current.on_grid(number_in(given[0], "A", low, high, low))
    load.apply()


def _function(load: TwinElectronicLoad, given: tuple[Datum, ...]) -> None:
    choice(given[0], "CURRent")


def _measure(place: int) -> Do:
    """Reads both: what it keeps of the same instant, FETCh gives."""

    def answer(load: TwinElectronicLoad, given: tuple[Datum, ...]) -> str:
        load._kept = load.read()
        return format_nr3(load._kept[place])

    return answer


TREE: CommandTree[tuple[Do, int]] = CommandTree()
TREE.add_all(
    {
        "*IDN?": (lambda load, _: identification(load.document, "Simulated load", load.token), 0),
        "*CLS": (lambda load, _: load.errors.clear(), 0),
        "*OPC?": (lambda load, _: "1", 0),
        "SYSTem:ERRor[:NEXT]?": (lambda load, _: load.errors.take(), 0),
        "INPut[:STATe]": (_switch, 1),
        "INPut[:STATe]?": (lambda load, _: str(int(load.on)), 0),
        "[SOURce]:FUNCtion:MODE": (_function, 1),
        "[SOURce]:FUNCtion:MODE?": (lambda load, _: "CURR", 0),
        "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]": (_set_current, 1),
        "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]?": (lambda load, _: format_nr3(load.current), 0),
        "MEASure[:SCALar]:VOLTage[:DC]?": (_measure(0), 0),
        "MEASure[:SCALar]:CURRent[:DC]?": (_measure(1), 0),
        "FETCh[:SCALar]:VOLTage[:DC]?": (lambda load, _: format_nr3(load._kept[0]), 0),
        "FETCh[:SCALar]:CURRent[:DC]?": (lambda load, _: format_nr3(load._kept[1]), 0),
    }
)


class ElectronicLoadServer(TreeServer[TwinElectronicLoad]):
    """Serves one load."""

    def __init__(self, load: TwinElectronicLoad, catch_up: Callable[[], None]) -> None:
        super().__init__(load, TREE, catch_up)
        self.load = load
