"""The device document: what is being powered, what it withstands and what it draws."""

import math
from typing import Any, Literal, Self, cast

from pydantic import Field, model_validator
from pydantic.fields import FieldInfo

from railwright.documents.conductor import Conductor
from railwright.documents.inside import InnerDiode, Inside
from railwright.documents.model import Model, Name, Text, exactly_one, fault
from railwright.physics.loads import KINDS, LOAD_MODELS, LoadParameters
from railwright.quantities import (
    AmpereRange,
    PositiveAmperes,
    PositiveSeconds,
    PositiveVolts,
    SecondRange,
    VoltRange,
    Volts,
    show,
)


class Withstand(Model):
    """A voltage that the input survives at its connector: for ever, or `for` a time; forward or reverse."""

    voltage: PositiveVolts | None = Field(None, description="forward voltage that does no harm")
    reverse: PositiveVolts | None = Field(
        None, description="reverse voltage that does no harm; leave out when unprotected"
    )
    duration: PositiveSeconds | None = Field(
        None, alias="for", description="for how long; left out: for any time"
    )

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, ("voltage", "reverse"))
        return self


class DeclaredCurrent(Model):
    """The current that the data sheet declares."""

    steady: AmpereRange | None = Field(None, description="steady current over the operating range")
    at_most: PositiveAmperes | None = Field(None, description="largest current that does the input no harm")

    @model_validator(mode="after")
    def _steady_harmless(self) -> Self:
        if self.steady is not None and self.at_most is not None and self.steady.high > self.at_most:
            raise fault(
                f"expected 'steady' not above 'at_most' ({show(self.at_most, 'A')}), "
                f"got {self.steady.text}; correct one of them",
                "steady",
            )
        return self


class LoadEntry(Model):
    """One part of an input's load; parts are in parallel. It has a field for each announced load."""

    enabled_by: Text | None = Field(
        None,
        description="pin of the device without which this part draws nothing; what is drawn in either case "
        "is a part of its own; left out: it draws whenever it is fed",
    )

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, tuple(LOAD_MODELS))
        if self.enabled_by is not None and not KINDS[self.kind].disabled:
            able = ", ".join(kind.name for kind in KINDS.values() if kind.disabled)
            raise fault(
                f"expected 'enabled_by' beside one of {able}, got it beside '{self.kind}'; remove it, or "
                "describe what the pin enables by one of those",
                "enabled_by",
            )
        return self

    @property
    def kind(self) -> str:
        """Name of the load."""
        return next(name for name in LOAD_MODELS if getattr(self, name) is not None)

    @property
    def parameters(self) -> LoadParameters:
        """Its parameters."""
        return getattr(self, self.kind)  # type: ignore[no-any-return]


def _add_loads() -> bool:
    """Give LoadEntry a field for each load announced since; whether there were any."""
    new = [name for name in LOAD_MODELS if name not in LoadEntry.model_fields]
    for name in new:
        model = LOAD_MODELS[name]
        summary = (model.__doc__ or name).strip().split("\n")[0]
        LoadEntry.model_fields[name] = FieldInfo(
            annotation=cast(Any, model | None), default=None, description=summary
        )
    if new:
        LoadEntry.model_rebuild(force=True)
    return bool(new)


_add_loads()


class Input(Model):
    """One supply input of the device."""

    nominal: Volts = Field(description="nominal voltage")
    operating: VoltRange = Field(description="the range in which the input must work")
    withstands: tuple[Withstand, ...] = Field((), description="what the input survives, at its connector")
    current: DeclaredCurrent = Field(
        DeclaredCurrent(), description="declared current; what is left out is unknown"
    )
    returns: Literal["isolated", "common", "earth"] = Field(
        alias="return",
        description="where its 0 V goes: isolated from all, shared by the 'common' inputs, or tied to earth",
    )
    rail: Literal["positive", "negative"] = Field(
        "positive",
        description="negative: the input lies below its 0 V, to which the output's positive terminal is "
        "joined; its voltages and currents are written as amounts, without a sign",
    )
    takes: Conductor | None = Field(
        None, description="thickest conductor that its connector takes; left out: unknown, 16 mm² is taken"
    )
    inside: Inside | None = Field(
        None,
        description="what lies in the device between this input's connector and its load; left out: nothing",
    )
    never_under: PositiveVolts | None = Field(
        None,
        description="of a source behind it, such as a cell: below this voltage nothing is fed into it; left "
        "out: unknown",
    )
    load: tuple[LoadEntry, ...] = Field(description="what it draws: parts in parallel", min_length=1)

    @model_validator(mode="after")
    def _nominal_inside(self) -> Self:
        if self.nominal == 0.0:
            raise fault("expected a voltage other than zero, got 0 V; write what it is fed with", "nominal")
        if self.nominal not in self.operating:
            raise fault(
                f"expected 'nominal' inside 'operating' ({self.operating.text}), "
                f"got {show(self.nominal, 'V')}",
                "nominal",
            )
        if self.rail == "negative" and self.operating.low < 0:
            raise fault(
                "expected amounts, without a sign, beside 'rail: negative', got "
                f"{self.operating.text}; remove the minus signs and write the range from low to high",
                "operating",
            )
        return self

    @property
    def sign(self) -> float:
        """What its voltage against its 0 V has to be multiplied by: -1 for a negative rail, else 1."""
        return -1.0 if self.rail == "negative" else 1.0

    @property
    def withstands_always(self) -> float | None:
        """Forward voltage survived for any time [V]; None: unknown."""
        return max((volts for volts, lasts in self.withstood if lasts == math.inf), default=None)

    @property
    def withstood(self) -> list[tuple[float, float]]:
        """Each forward voltage that is given as survived [V], and for how long [s]; inf: for any time."""
        return [(w.voltage, w.duration or math.inf) for w in self.withstands if w.voltage is not None]

    @property
    def withstood_reversed(self) -> list[tuple[float, float]]:
        """The same of reverse voltages, with what a diode inside blocks."""
        given = [(w.reverse, w.duration or math.inf) for w in self.withstands if w.reverse is not None]
        diode = self.diode_inside
        return given if diode is None or diode.blocks is None else [*given, (diode.blocks, math.inf)]

    @property
    def blocks_reversed(self) -> bool:
        """Whether something blocks a reversed voltage: a diode inside, or what a reverse voltage that it
        withstands speaks of.
        """
        return bool(self.withstood_reversed) or self.diode_inside is not None

    @property
    def diode_inside(self) -> InnerDiode | None:
        """The series diode between connector and load; None: there is none, as far as the document says."""
        return self.inside.diode if self.inside is not None else None

    @property
    def draws_either_way(self) -> bool:
        """Whether it draws the same with its polarity reversed: it has nothing but loads that do
        (`LoadKind.either_way`), and nothing blocks. A capacitor counts as one without polarity (assumed).
        """
        return not self.blocks_reversed and all(KINDS[each.kind].either_way for each in self.load)


class OrderRule(Model):
    """One input must come up after another, by a delay."""

    after: Text = Field(description="the input that comes first")
    then: Text = Field(description="the input that follows")
    delay: SecondRange = Field(description="from the first input's switching on to the other's")


class NeverRule(Model):
    """A difference of two inputs' voltages that must never leave a range."""

    voltage_of: Text = Field(description="an input; a negative rail counts with its sign")
    minus: Text = Field(description="the input whose voltage is subtracted")
    outside: VoltRange = Field(description="the range that the difference must not leave, at any time")


class EnablePin(Model):
    """A pin by whose level the device runs or stands still."""

    active: Literal["high", "low"] = Field(description="level at which it enables")
    undriven: Literal["high", "low"] | None = Field(
        None, description="level that it takes where nothing drives it, by a resistor; left out: unknown"
    )


class Device(Model):
    """What is being powered and tested."""

    device: Text = Field(description="what it is called")
    revision: Text | None = Field(None, description="its revision, as the report shows it")
    inputs: dict[Name, Input] = Field(min_length=1, description="its supply inputs, each under its name")
    pins: dict[Name, EnablePin] = Field(
        {}, description="pins that enable parts of its load (`enabled_by`), each under its name"
    )
    order: tuple[OrderRule, ...] = Field((), description="which input must come up after which")
    never: tuple[NeverRule, ...] = Field((), description="what must never be between two inputs")


def enabled_inputs(device: Device, pin: str) -> tuple[str, ...]:
    """Inputs that have a part which a pin enables."""
    return tuple(
        name for name, each in device.inputs.items() if any(entry.enabled_by == pin for entry in each.load)
    )


def accept_announced_loads() -> None:
    """Let device documents use loads that were announced (physics.loads.register) since this was imported."""
    if _add_loads():
        Input.model_rebuild(force=True)
        Device.model_rebuild(force=True)
