"""A small bench for the twin's tests: two supplies, a device with two inputs, and one supply at hand without
a socket.
"""

from __future__ import annotations

import asyncio
from typing import Any

from railwright.documents.bench import Bench
from railwright.documents.device import Device
from railwright.documents.procedure import Procedure
from railwright.scpi.errors import parse_entry
from railwright.twin.plant import Plant
from railwright.twin.server import CATCH_UP, SupplyServer
from railwright.twin.supply import TwinSupply
from railwright.twin.truth import Truth

OUTPUT: dict[str, Any] = {
    "voltage": "0 V .. 36 V",
    "current": "0 A .. 2.5 A",
    "power": "60 W",
    "programming": {
        "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV"},
        "current": {"of_value": "0.1 %", "offset": "4 mA", "resolution": "0.1 mA"},
    },
    "reading": {
        "voltage": {"of_value": "0.05 %", "offset": "6 mV", "resolution": "1 mV", "noise": "1 mV"},
        "current": {"of_value": "0.1 %", "offset": "3 mA", "resolution": "0.1 mA", "noise": "0.2 mA"},
        "update": "10 ms",
        "aperture": "8 ms",
        "latency": "3 ms",
    },
    "rise": "12 ms",
    "fall": {"loaded": "30 ms", "unloaded": "480 ms"},
    "slew": "1 V/s .. 2.4 V/ms",
    "recovery": {"time": "80 us", "band": "20 mV", "step": "25 % .. 75 %"},
    "limit_response": "1 ms",
    "output_capacitance": "220 uF",
    "bleeder": "1 kohm",
    "ovp": {"level": "1 V .. 38 V", "accuracy": "100 mV", "response": "200 us", "at": "terminals"},
    "trip_delay": "2 ms .. 5 s",
    "opp": {"level": "1 W .. 66 W"},
    "ocp": {"level": "0.1 A .. 2.75 A", "delay": "5 ms .. 1 s"},
    "sense": {"compensates": "1 V"},
    "points": {"at_most": 200, "dwell": "20 ms .. 300 s", "between": ["step", "line"]},
}

BENCH = Bench.model_validate(
    {
        "bench": "Test bench",
        "location": "dry",
        "ambient": "23 °C ± 3 °C",
        "supplies": {
            "left": {
                "address": "TCPIP::127.0.0.1::5025::SOCKET",
                "dialect": "channel-list",
                "model": "TS-1",
                "serial": "T-7",
                "outputs": {"1": OUTPUT, "2": OUTPUT},
            },
            "right": {
                "address": "TCPIP::127.0.0.1::5026::SOCKET",
                "dialect": "selected-output",
                "outputs": {
                    "1": {"voltage": "0 V .. 20 V", "current": "0 A .. 8 A"},
                    "2": {"voltage": "0 V .. 20 V", "current": "0 A .. 8 A"},
                },
            },
        },
        "leads": {
            "pair": {
                "conductor": "0.5 mm2 class 5",
                "one_way_length": "2 m",
                "contact_resistance_loop": "12 mohm",
            }
        },
        "recorders": {
            "scope": {
                "interval": "20 us",
                "voltage": {"of_value": "0.5 %", "offset": "20 mV", "resolution": "10 mV", "noise": "5 mV"},
                "current": {"of_value": "1 %", "offset": "0.5 mA", "resolution": "0.1 mA"},
            }
        },
    }
)

DEVICE = Device.model_validate(
    {
        "device": "Test device",
        "inputs": {
            "main": {
                "nominal": "12 V",
                "operating": "9 V .. 16 V",
                "return": "isolated",
                "load": [
                    {"capacitor": {"capacitance": "1000 uF ± 20 %", "esr": "60 mohm"}},
                    {"resistor": {"resistance": "24 ohm ± 5 %"}},
                ],
            },
            "aux": {
                "nominal": "5 V",
                "operating": "4 V .. 6 V",
                "return": "isolated",
                "load": [{"resistor": {"resistance": "50 ohm"}}],
            },
        },
    }
)


def procedure(main: Any = "left.1", aux: Any = "left.2", main_sense: str = "at load") -> Procedure:
    """A procedure with this hook-up."""
    return Procedure.model_validate(
        {
            "procedure": "Test",
            "device": "device.yaml",
            "bench": "bench.yaml",
            "hook_up": {
                "main": {"from": main, "lead": "pair", "sense": main_sense},
                "aux": {"from": aux, "lead": "pair", "sense": "at terminals"},
            },
            "limits": {"main": {"current_limit": "1 A", "at_limit": "regulate", "ovp": "18 V"}},
            "steps": [{"hold": "1 s"}],
            "record": {"every": "10 ms"},
        }
    )


PROCEDURE = procedure()


class AtHand:
    """One supply whose server is asked directly, on a clock that the test moves."""

    def __init__(
        self, supply: str = "left", plan: Procedure | None = PROCEDURE, seed: int = 1, **true: str
    ) -> None:
        self.now = 0.0
        overrides = {name.replace("__", "."): value for name, value in true.items()}
        self.truth = Truth(seed, overrides)
        self.plant = Plant(supply, BENCH, DEVICE if plan else None, plan, self.truth)
        self.supply = TwinSupply(supply, BENCH.supplies[supply], self.plant)
        self.server = SupplyServer(self.supply, clock=lambda: self.now)
        self.wait(0.1)
        self.ask("*CLS")

    def ask(self, message: str | bytes) -> str:
        """What it answers to a message."""
        data = message if isinstance(message, bytes) else message.encode("latin-1")
        return asyncio.run(self.server.answer(data))

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        end = self.now + seconds
        while self.now < end:
            self.now = min(self.now + CATCH_UP / 2, end)
            self.server.catch_up()

    def error(self) -> int:
        """Number of the oldest error, which is then gone."""
        return parse_entry(self.supply.status.errors.take())[0]

    def refuses(self, message: str | bytes) -> int:
        """Number of the one error that a message leaves; the queue is empty afterwards."""
        assert self.error() == 0
        assert self.ask(message) == ""
        number = self.error()
        assert self.error() == 0
        return number

    def does(self, message: str) -> None:
        """Carry out a message that leaves no error."""
        assert self.ask(message) == ""
        assert self.error() == 0

    def number(self, message: str) -> float:
        """A numeric answer."""
        return float(self.ask(message))
