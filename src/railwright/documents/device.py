"""The device document: what is being powered, what it withstands and what it draws."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, create_model, model_validator
from pydantic_core import PydanticCustomError

from railwright.documents.model import Model, Text, exactly_one
from railwright.physics.loads import LOAD_MODELS, LoadParameters
from railwright.quantities import AmpereRange, Amperes, Seconds, SecondRange, VoltRange, Volts


class Withstand(Model):
    """A voltage that the input survives at its connector: for ever, or `for` a time; forward or reverse."""

    voltage: Volts | None = Field(None, description="forward voltage that does no harm")
    reverse: Volts | None = Field(None, description="reverse voltage that does no harm; leave out when unprotected")
    duration: Seconds | None = Field(None, alias="for", description="for how long; left out: for any time")

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, ("voltage", "reverse"))
        return self


class DeclaredCurrent(Model):
    """The current that the data sheet declares."""

    steady: AmpereRange | None = Field(None, description="steady current over the operating range")
    at_most: Amperes | None = Field(None, description="largest current that does the input no harm")


class _LoadEntry(Model):
    """One part of an input's load; the parts of an input are in parallel."""

    @model_validator(mode="after")
    def _one(self) -> Self:
        exactly_one(self, tuple(LOAD_MODELS))
        return self

    @property
    def kind(self) -> str:
        return next(name for name in LOAD_MODELS if getattr(self, name) is not None)

    @property
    def parameters(self) -> LoadParameters:
        return getattr(self, self.kind)  # type: ignore[no-any-return]


_load_fields = {name: (model | None, None) for name, model in LOAD_MODELS.items()}
LoadEntry = create_model("LoadEntry", __base__=_LoadEntry, __module__=__name__, **_load_fields)  # type: ignore[call-overload]


class Input(Model):
    """One supply input of the device."""

    nominal: Volts = Field(description="nominal voltage")
    operating: VoltRange = Field(description="the range in which the input must work")
    withstands: tuple[Withstand, ...] = Field((), description="what the input survives, at its connector")
    current: DeclaredCurrent = Field(DeclaredCurrent(), description="declared current; what is left out is unknown")
    returns: Literal["isolated", "common", "earth"] = Field(
        alias="return",
        description="where its 0 V goes: isolated from everything, common to all 'common' inputs, or tied to earth",
    )
    load: tuple[LoadEntry, ...] = Field(description="what it draws: parts in parallel", min_length=1)

    @model_validator(mode="after")
    def _nominal_inside(self) -> Self:
        if self.nominal not in self.operating:
            raise PydanticCustomError("nominal", "expected 'nominal' inside 'operating'")
        return self

    @property
    def withstands_always(self) -> float | None:
        """Forward voltage survived for any time [V]; None: unknown."""
        steady = [w.voltage for w in self.withstands if w.voltage is not None and w.duration is None]
        return max(steady) if steady else None


class OrderRule(Model):
    """One input must come up after another, by a delay."""

    after: Text
    then: Text
    delay: SecondRange


class NeverRule(Model):
    """A difference of two inputs' voltages that must never leave a range."""

    voltage_of: Text
    minus: Text
    outside: VoltRange


class Device(Model):
    """What is being powered and tested."""

    device: Text = Field(description="what it is called")
    revision: Text | None = None
    inputs: dict[str, Input] = Field(min_length=1)
    order: tuple[OrderRule, ...] = ()
    never: tuple[NeverRule, ...] = ()

    @model_validator(mode="after")
    def _inputs_exist(self) -> Self:
        wanted = [name for rule in self.order for name in (rule.after, rule.then)]
        wanted += [name for rule in self.never for name in (rule.voltage_of, rule.minus)]
        for name in wanted:
            if name not in self.inputs:
                raise PydanticCustomError(
                    "no_such_input", f"expected one of the inputs {', '.join(self.inputs)}, got '{name}'"
                )
        return self
