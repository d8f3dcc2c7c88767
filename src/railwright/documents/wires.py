"""What carries the messages to an instrument, as a bench document has it."""

import re
from dataclasses import replace

from pydantic import Field, ValidationInfo, field_validator

from railwright.documents.model import Address, Model, Text
from railwright.documents.serial_line import SerialLine
from railwright.guard.session_settings import LineSettings, SessionSettings
from railwright.quantities import quoted

SERIAL = re.compile("ASRL", re.IGNORECASE)
"""How the address of a serial line begins."""


class Wires(Model):
    """Address of an instrument, and how its messages are carried there."""

    address: Address = Field(description="VISA resource name, such as TCPIP::192.0.2.10::5025::SOCKET")
    line: SerialLine | None = Field(
        None,
        description="settings of its serial line (address ASRL…); left out: 9600 Bd, 8 data bits, no parity, "
        "1 stop bit, no flow control",
    )
    visa: Text | None = Field(
        None,
        description="VISA library that carries its messages: '@ivi', '@py', or the path of one; left out: "
        "sockets, HiSLIP and serial lines are the guard's own, anything else is pyvisa-py's",
    )
    bus: Text | None = Field(
        None,
        description="name of a bus that it shares with other supplies, such as an RS-485 line behind a "
        "gateway; left out: none, or the GPIB of its address",
    )

    @field_validator("line", mode="after")
    @classmethod
    def _is_serial(cls, line: SerialLine | None, info: ValidationInfo) -> SerialLine | None:
        address = info.data.get("address")
        if line is not None and address is not None and not SERIAL.match(address):
            raise ValueError(
                "expected 'line' with a serial address such as ASRL/dev/ttyUSB0::INSTR, got it with "
                f"{quoted(address)}; remove it, or correct the address"
            )
        return line

    def carried(self, spoken: SessionSettings) -> SessionSettings:
        """Settings of a session that is spoken so, over this line and by this VISA library."""
        line = self.line.settings if self.line is not None else LineSettings()
        return replace(spoken, line=line, visa=self.visa or "")
