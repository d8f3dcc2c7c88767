"""The driver of an electronic load: constant current, its input on and off, its own readings.

To a conversation, and to the guard, a load is an instrument with one input that is switched, set and read as
an output is; so it is driven, verified and switched off by the same code. Headers are those of SCPI-1999:
INPut:STATe, SOURce:FUNCtion:MODE, SOURce:CURRent, MEASure and FETCh.
"""

from __future__ import annotations

from functools import cache

from railwright.dialects.dialect import Dialect
from railwright.documents.bench import ElectronicLoad, Supply
from railwright.instruments.errors import InstrumentError
from railwright.instruments.session import OpenSession
from railwright.instruments.supply import OutputReading, OutputSetting, SupplyDriver

ITS_INPUT = "input"
"""What the one input of a load is called."""

CONSTANT_CURRENT, WHICH = "SOURce:FUNCtion:MODE CURRent", "SOURce:FUNCtion:MODE?"
"""Draws a constant current; which function it has, answered CURR."""


@cache
def load_dialect_of_loads() -> Dialect:
    """How a load is spoken to. Its `voltage` is that of a constant-voltage function, which is never set."""
    return Dialect.model_validate(
        {
            "dialect": "electronic-load",
            "addressing": "none",
            "compound": True,
            "words": {"on": "ON", "off": "OFF"},
            "instrument": {"identify": "*IDN?", "clear": "*CLS", "next_error": "SYSTem:ERRor?"},
            "settings": {
                "output": "INPut:STATe",
                "voltage": "SOURce:VOLTage",
                "current_limit": "SOURce:CURRent",
            },
            "readings": {"voltage": "MEASure:VOLTage?", "current": "FETCh:CURRent?"},
            "status": {"trips": {"told": False}},
        }
    )


class ElectronicLoadDriver(SupplyDriver):
    """One load over one session. Failures are InstrumentErrors; a current into its input is positive."""

    def __init__(self, name: str, load: ElectronicLoad, open_session: OpenSession) -> None:
        document = Supply.model_construct(
            address=load.address,
            line=load.line,
            visa=load.visa,
            bus=load.bus,
            dialect=load_dialect_of_loads(),
            model=load.model,
            serial=load.serial,
            outputs={ITS_INPUT: load.as_output},
        )
        super().__init__(name, document, open_session)
        self.load = load

    def prepare(self) -> None:
        """Its input off, drawing its least as a constant current. InstrumentError where it does not."""
        self.clear()
        self.take_off()
        self.do([CONSTANT_CURRENT])
        function = self.ask(WHICH).text.strip().upper()
        if function not in ("CURR", "CURRENT"):
            raise InstrumentError(
                self.name, WHICH, f"expected CURR, a constant current, got '{function[:40]}'"
            )
        self.draw(self.load.current.low)

    def draw(self, current: float) -> None:
        """Set the current that it draws while its input is on [A]; verified."""
        self.put([OutputSetting(ITS_INPUT, "current_limit", current)])

    def take_on(self) -> tuple[float, float]:
        """Switch its input on; verified. Gives when that was sent, and when it was known [s, its clock]."""
        answer = self.put_together([OutputSetting(ITS_INPUT, "output", True)])
        return answer.sent, answer.received

    def take_off(self) -> None:
        """Switch its input off; verified."""
        self.put([OutputSetting(ITS_INPUT, "output", False)])

    def measure(self) -> OutputReading:
        """Voltage at its input and current into it."""
        return self.read([ITS_INPUT])[ITS_INPUT]
