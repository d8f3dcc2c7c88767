"""The settings of a serial line, as a bench document has them."""

from typing import Literal

from pydantic import Field, field_validator

from railwright.documents.model import Model
from railwright.guard.session_settings import BAUDS, LineSettings

SLOWEST = 1200
"""A slower line [Bd] does not carry OFF and what reads it within the guard's deadlines."""


class SerialLine(Model):
    """How a serial line is set; what ends a line on it, the dialect says."""

    baud: int = Field(9600, description="bits a second [Bd], such as 9600")
    data_bits: int = Field(8, ge=7, le=8, description="data bits of a byte")
    parity: Literal["none", "even", "odd"] = Field("none", description="parity bit")
    stop_bits: int = Field(1, ge=1, le=2, description="stop bits")
    flow_control: Literal["none", "hardware", "software"] = Field(
        "none", description="hardware: RTS and CTS; software: XON and XOFF"
    )

    @field_validator("baud", mode="after")
    @classmethod
    def _can_be_set(cls, baud: int) -> int:
        if baud not in BAUDS or baud < SLOWEST:
            rates = [rate for rate in BAUDS if rate >= SLOWEST]
            nearest = min(rates, key=lambda rate: abs(rate - baud))
            slow = f"; below {SLOWEST} Bd a supply is not switched off in time" if baud < SLOWEST else ""
            raise ValueError(f"expected a rate such as {nearest} [Bd], got {baud}{slow}")
        return baud

    @property
    def settings(self) -> LineSettings:
        """As the guard takes them."""
        return LineSettings(self.baud, self.data_bits, self.parity, self.stop_bits, self.flow_control)
