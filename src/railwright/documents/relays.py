"""Instruments that move contacts or set digital outputs, as a bench document has them, and the step of a
procedure that moves them. A contact is the switch of a fixture in a lead, or it drives a pin of the device.
"""

from typing import Literal, Self

from pydantic import Field, model_validator

from railwright.documents.channel import Channel
from railwright.documents.ending import YesNo
from railwright.documents.model import Model, Name, Text, exactly_one, fault
from railwright.documents.wires import Wires
from railwright.quantities import PositiveAmperes, PositiveSeconds, PositiveVolts, quoted

USUAL_MOVE = 50e-3
"""How long a contact is given to move and to stop bouncing, where the bench does not say [s] (chosen)."""


Level = Literal["high", "low"]
"""Of a logic signal against the device's 0 V."""


class Contact(Model):
    """One contact, or one digital output, which counts as closed while it is set: the switch of a fixture, or
    what drives a pin of the device. What is left out is unknown.
    """

    channel: Channel = Field(description="number by which the instrument knows it, in its channel lists")
    fixture: Text | None = Field(
        None,
        description="the fixture whose switch it is; its resistance, closed, is that of the switch; left "
        "out: it drives a pin",
    )
    closed: Level | None = Field(
        None, description="level that it drives a pin to while it is closed; left out: it drives no pin"
    )
    open: Level | None = Field(
        None,
        description="level that it drives a pin to while it is open; left out: none, the pin takes its own "
        "(`undriven`)",
    )
    without_power: Literal["open", "closed"] = Field(
        description="how it stands while its instrument has no power; the end of a run brings it there"
    )
    voltage: PositiveVolts | None = Field(None, description="largest d.c. voltage across it")
    current: PositiveAmperes | None = Field(None, description="largest d.c. current through it")
    under_load: YesNo = Field(
        False,
        description="whether it is rated to switch that voltage and current, d.c.; no: it is moved only "
        "while its input is off",
    )
    suppressed: YesNo = Field(
        False,
        description="whether a part beside it or at the load takes over the current of an inductive load",
    )
    operate: PositiveSeconds | None = Field(
        None, description="from its coil's power on until it has stopped bouncing; left out: 50 ms is taken"
    )
    release: PositiveSeconds | None = Field(
        None, description="from its coil's power off until it has stopped bouncing; left out: 50 ms is taken"
    )

    @model_validator(mode="after")
    def _one_purpose(self) -> Self:
        exactly_one(self, ("fixture", "closed"))
        if self.open is not None and self.closed is None:
            raise fault(
                "expected 'open' beside 'closed', which a contact in a lead has not; remove it", "open"
            )
        if self.open is not None and self.open == self.closed:
            raise fault(
                f"expected two levels under 'closed' and 'open', got {quoted(self.open)} twice; correct one",
                "open",
            )
        return self

    def level(self, closed: bool) -> Level | None:
        """Level that it drives a pin to; None: it drives none."""
        return self.closed if closed else self.open

    def takes(self, closed: bool) -> float:
        """How long it takes to close, or to open [s]."""
        powered = closed == (self.without_power == "open")
        given = self.operate if powered else self.release
        return USUAL_MOVE if given is None else given


class Relays(Wires):
    """One instrument that moves contacts or sets digital outputs, spoken to in SCPI-1999's own tree (ROUTe),
    over a network or a serial line. An open contact is no safe isolation.
    """

    model: Text | None = Field(None, description="model as *IDN? gives it")
    serial: Text | None = Field(None, description="serial number as *IDN? gives it")
    contacts: dict[Name, Contact] = Field(
        min_length=1, description="its contacts that are used, each under a name of its own on the bench"
    )


class MoveContacts(Model):
    """Contacts that are moved, one after the other, and time for them to be still."""

    close: tuple[Text, ...] = Field((), description="contacts of the bench that are closed")
    open: tuple[Text, ...] = Field((), description="contacts of the bench that are opened")
    settle: PositiveSeconds = Field(
        description="length of the step; all its contacts move one after the other and stop bouncing "
        "within it"
    )

    @model_validator(mode="after")
    def _something(self) -> Self:
        if not (self.close or self.open):
            raise fault("expected a contact in 'close' or 'open', got none; name one")
        both = next((name for name in self.open if name in self.close), None)
        if both is not None:
            raise fault(f"expected each contact once, got {quoted(both)} in 'close' too; remove it", "open")
        return self

    @property
    def moves(self) -> tuple[tuple[str, bool], ...]:
        """Each contact, and whether it is closed; what opens comes first."""
        return (*((name, False) for name in self.open), *((name, True) for name in self.close))
