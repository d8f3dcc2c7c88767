"""A simulated multimeter: what it is set to, its errors, its commands, and the server that speaks for it.

Its headers are those of SCPI-1999 (vol. 2: CONFigure, FETCh?, INITiate, MEASure?, READ?, SENSe) and of IEEE
488.2. It sees what stands at its probes in the physics of the supply that feeds its input, and nothing of the
driver's. A voltage is measured without a load, a current without a drop.
"""

from __future__ import annotations

import asyncio
import math
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from secrets import token_hex
from typing import Literal

from railwright.documents.bench import Bench, Multimeter
from railwright.documents.procedure import Probe, Procedure
from railwright.scpi.data import Datum, Text
from railwright.scpi.errors import ScpiError
from railwright.scpi.grammar import Unit
from railwright.scpi.headers import CommandTree
from railwright.scpi.numbers import format_nr3
from railwright.scpi.parameters import number_in
from railwright.twin.everyday import OF_STATUS, expect_count, identification, on_status
from railwright.twin.faults import TwinFault, has
from railwright.twin.messages import BesideServer, carried_out
from railwright.twin.readings import window_means
from railwright.twin.registers import Status
from railwright.twin.server import SupplyServer
from railwright.twin.truth import Truth

Quantity = Literal["voltage", "current"]

UNITS = {"voltage": "V", "current": "A"}
RANGES = {"voltage": (0.1, 1.0, 10.0, 100.0, 1000.0), "current": (0.01, 0.1, 1.0, 10.0)}
"""Quantity -> the ranges that there are."""
OVER = 1.2
"""A range reaches so many times as far as it is called."""
APERTURES = (1e-4, 1.0, 0.02)
"""Shortest, longest and usual aperture [s]."""

WORDS = {"VOLT": "voltage", "VOLTAGE": "voltage", "CURR": "current", "CURRENT": "current"}
NAMES = {"voltage": '"VOLT:DC"', "current": '"CURR:DC"'}


class TwinMultimeter:
    """The settings, the status and the true errors of one simulated multimeter.

    function: what it measures by its settings. last: its newest reading, None before the first. off: its
    probe has fallen off.
    """

    def __init__(self, name: str, document: Multimeter, probe: Probe | None, truth: Truth) -> None:
        import numpy as np

        self.name, self.document, self.probe = name, document, probe
        self.token, self.status, self.off = token_hex(4), Status(0), False
        self._errors = truth.multimeter(name, document)
        self._noise = np.random.default_rng([truth.seed, zlib.crc32(f"{name}.noise".encode())])
        self.reset()

    def reset(self) -> None:
        """As after *RST: volts, in its largest range."""
        self.function: Quantity = "voltage"
        self.ranges = {quantity: ranges[-1] for quantity, ranges in RANGES.items()}
        self.apertures = dict.fromkeys(RANGES, APERTURES[2])
        self.last: float | None = None

    @property
    def aperture(self) -> float:
        """Of what it measures [s]."""
        return self.apertures[self.function]

    def set_range(self, quantity: Quantity, asked: float) -> None:
        """The smallest of its ranges that holds what was asked for."""
        self.ranges[quantity] = next(each for each in RANGES[quantity] if each >= asked * (1.0 - 1e-9))

    def read(self, true: float) -> float:
        """What it reads of the true mean at its probes; infinite beyond its range."""
        if self.off or self.function != self.document.quantity:
            true = 0.0  # its terminals for the other quantity are open
        noisy = self._errors.apply(true) + self._errors.noise * float(self._noise.standard_normal())
        value = self._errors.on_grid(noisy)
        self.last = (
            value if abs(value) <= OVER * self.ranges[self.function] else math.copysign(math.inf, value)
        )
        return self.last


@dataclass(frozen=True)
class MultimeterCommand:
    """What runs under a header: its least and most parameters. before: what is done first; measures: a
    reading is taken after that, and before it runs.
    """

    run: Callable[[TwinMultimeter, tuple[Datum, ...]], str | None]
    least: int = 0
    most: int = 0
    before: Callable[[TwinMultimeter, tuple[Datum, ...]], None] | None = None
    measures: bool = False


TREE: CommandTree[MultimeterCommand] = CommandTree()


def _configure(quantity: Quantity) -> Callable[[TwinMultimeter, tuple[Datum, ...]], None]:
    def run(meter: TwinMultimeter, parameters: tuple[Datum, ...]) -> None:
        least, largest = RANGES[quantity][0], RANGES[quantity][-1]
        asked = largest
        if parameters:
            asked = number_in(parameters[0], UNITS[quantity], 0.0, largest, largest)
        meter.set_range(quantity, max(asked, least))
        meter.function = quantity
        meter.apertures[quantity] = APERTURES[2]

    return run


def _function(meter: TwinMultimeter, parameters: tuple[Datum, ...]) -> None:
    given = parameters[0]
    found = WORDS.get(given.text.upper().removesuffix(":DC")) if isinstance(given, Text) else None
    if found is None:
        raise ScpiError(-224, '"VOLTage:DC" or "CURRent:DC" is expected')
    meter.function = "voltage" if found == "voltage" else "current"


def _answer(meter: TwinMultimeter, parameters: tuple[Datum, ...]) -> str:
    if meter.last is None:
        raise ScpiError(-230, "nothing has been measured")
    return format_nr3(meter.last)


def _complete(meter: TwinMultimeter, parameters: tuple[Datum, ...]) -> None:
    meter.status.standard_event |= 1


def _of(quantity: Quantity, header: str) -> None:
    """The commands that there are of each quantity; header: its words."""

    def set_range(meter: TwinMultimeter, parameters: tuple[Datum, ...]) -> None:
        largest = RANGES[quantity][-1]
        meter.set_range(quantity, number_in(parameters[0], UNITS[quantity], 0.0, largest, largest))

    def set_aperture(meter: TwinMultimeter, parameters: tuple[Datum, ...]) -> None:
        meter.apertures[quantity] = number_in(parameters[0], "S", *APERTURES)

    def measured(meter: TwinMultimeter, parameters: tuple[Datum, ...]) -> str:
        return _answer(meter, ())

    configure = _configure(quantity)
    TREE.add_all(
        {
            f"CONFigure[:SCALar]:{header}": MultimeterCommand(configure, most=2),
            f"MEASure[:SCALar]:{header}?": MultimeterCommand(
                measured, most=2, before=configure, measures=True
            ),
            f"[SENSe]:{header}:RANGe[:UPPer]": MultimeterCommand(set_range, least=1, most=1),
            f"[SENSe]:{header}:RANGe[:UPPer]?": MultimeterCommand(
                lambda meter, _: format_nr3(meter.ranges[quantity])
            ),
            f"[SENSe]:{header}:APERture": MultimeterCommand(set_aperture, least=1, most=1),
            f"[SENSe]:{header}:APERture?": MultimeterCommand(
                lambda meter, _: format_nr3(meter.apertures[quantity])
            ),
        }
    )


_of("voltage", "VOLTage[:DC]")
_of("current", "CURRent[:DC]")
TREE.add_all(
    {
        "*IDN?": MultimeterCommand(
            lambda meter, _: identification(meter.document, "Simulated multimeter", meter.token)
        ),
        "*RST": MultimeterCommand(lambda meter, _: meter.reset()),
        "*CLS": MultimeterCommand(lambda meter, _: meter.status.clear()),
        "*OPC": MultimeterCommand(_complete),
        **{
            header: MultimeterCommand(on_status(run, tuple), least=count, most=count)
            for header, (run, count) in OF_STATUS.items()
        },
        "[SENSe]:FUNCtion[:ON]": MultimeterCommand(_function, least=1, most=1),
        "[SENSe]:FUNCtion[:ON]?": MultimeterCommand(lambda meter, _: NAMES[meter.function]),
        "CONFigure?": MultimeterCommand(
            lambda meter, _: f'"{NAMES[meter.function][1:-1]} {format_nr3(meter.ranges[meter.function])}"'
        ),
        "INITiate[:IMMediate]": MultimeterCommand(lambda meter, _: None, measures=True),
        "ABORt": MultimeterCommand(lambda meter, _: None),
        "FETCh?": MultimeterCommand(_answer),
        "READ?": MultimeterCommand(_answer, measures=True),
    }
)


class MultimeterServer(BesideServer):
    """Serves one multimeter beside the supply whose physics its probes are in."""

    def __init__(self, meter: TwinMultimeter, supply: SupplyServer) -> None:
        super().__init__()
        self.meter, self._supply = meter, supply
        self._busy = asyncio.Lock()

    def report(self, error: ScpiError) -> None:
        self.meter.status.report(error)

    async def answer(self, message: bytes) -> str:
        async with self._busy:
            return await carried_out(message, self._execute, self.report)

    async def _execute(self, unit: Unit, _: bool) -> str | None:
        command, _numbers = TREE.find(unit.nodes, unit.query)
        expect_count(unit.parameters, command.least, command.most, unit.header)
        if command.before is not None:
            command.before(self.meter, unit.parameters)
        if command.measures:
            await self._measure()
        return command.run(self.meter, unit.parameters)

    async def _measure(self) -> None:
        """One reading: the mean at its probes over the aperture that begins now."""
        plant = self._supply.supply.plant
        self._supply.catch_up()
        start = plant.time
        await asyncio.sleep(self.meter.aperture)
        self._supply.catch_up()
        self.meter.read(self._mean(start, min(start + self.meter.aperture, plant.time)))

    def _mean(self, start: float, end: float) -> float:
        probe = self.meter.probe
        history = None if probe is None else self._supply.supply.plant.input_history.get(probe.of)
        if probe is None or history is None:
            return 0.0
        time, voltage, terminal_voltage, current, _ = history.between(start, end)
        if not time.size:
            return 0.0
        values = voltage if probe.at == "connector" else terminal_voltage
        read = current if self.meter.document.quantity == "current" else values
        return window_means(time, (read,), start, end)[0]


# Many: what a simulated multimeter is made of.
def simulated(
    name: str,
    bench: Bench,
    procedure: Procedure | None,
    truth: Truth,
    faults: Sequence[TwinFault],
    beside: SupplyServer,
) -> MultimeterServer:
    """A multimeter of the bench, simulated beside a supply."""
    probe = procedure.multimeters.get(name) if procedure else None
    meter = TwinMultimeter(name, bench.multimeters[name], probe, truth)
    meter.off = probe is not None and has(faults, "probe off", probe.of)
    return MultimeterServer(meter, beside)
