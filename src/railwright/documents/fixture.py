"""What lies between a lead and an input: a fuse, a series diode, a switch, an added capacitor."""

import math
from itertools import pairwise
from typing import Literal, Self

from pydantic import Field, model_validator

from railwright.documents.model import Model, fault
from railwright.quantities import (
    PositiveAmperes,
    PositiveSeconds,
    Uncertain,
    UncertainFarads,
    UncertainOhms,
    UncertainPositiveOhms,
    UncertainPositiveVolts,
    show,
)


class FusePoint(Model):
    """One point of a fuse's time-current curve."""

    current: PositiveAmperes = Field(description="steady current")
    time: PositiveSeconds = Field(description="after which it opens")


class Fuse(Model):
    """A fuse by its time-current curve; straight lines between its points on logarithmic scales.

    Below the least current it never opens; above the greatest the last line goes on.
    """

    curve: tuple[FusePoint, ...] = Field(min_length=2, description="rising currents with falling times")
    resistance: UncertainOhms | None = Field(None, description="cold; left out: unknown, none assumed")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        for number, (one, two) in enumerate(pairwise(self.curve), start=2):
            for what, unit, wrong in (
                ("rising currents", "A", two.current <= one.current),
                ("falling times", "s", two.time >= one.time),
            ):
                if wrong:
                    key = "current" if unit == "A" else "time"
                    raise fault(
                        f"expected {what} in 'curve', got point {number} at {show(getattr(two, key), unit)} "
                        f"after {show(getattr(one, key), unit)}; put them in order",
                        "curve",
                    )
        return self

    def opens_after(self, current: float) -> float:
        """Time after which it opens at a steady current [s]; inf at the curve's least current and below."""
        points = self.curve
        if current <= points[0].current:
            return math.inf
        one, two = next(((one, two) for one, two in pairwise(points) if current <= two.current), points[-2:])
        slope = math.log(two.time / one.time) / math.log(two.current / one.current)
        return one.time * math.exp(slope * math.log(current / one.current))


class SeriesDiode(Model):
    """A diode in the positive conductor: conducts towards the device and nothing back."""

    drop: UncertainPositiveVolts = Field(description="forward drop")
    at: PositiveAmperes | None = Field(
        None,
        description="current at which it drops so much; left out: where it begins to conduct",
    )
    resistance: UncertainOhms | None = Field(
        None, description="slope of its forward voltage over its current; left out: unknown, none assumed"
    )

    @property
    def threshold(self) -> Uncertain:
        """Forward voltage at which it begins to conduct [V]: the drop less what its nominal resistance takes
        of it.
        """
        slope = self.resistance.nominal * self.at if self.resistance and self.at else 0.0
        if slope == 0.0:
            return self.drop
        given = self.drop
        return Uncertain(
            given.nominal - slope, given.low - slope, given.high - slope, "", given.distribution, given.k
        )

    @model_validator(mode="after")
    def _forward(self) -> Self:
        if self.threshold.low <= 0.0:
            raise fault(
                "expected a 'drop' above what the resistance alone drops at the current 'at', got "
                f"{show(self.drop.low, 'V')}; correct one of them",
                "drop",
            )
        return self


class Switch(Model):
    """A switch, or a relay's contact: nothing in a procedure moves it, unless a contact under the bench's
    `relays` does.
    """

    starts: Literal["closed", "open"] = Field(
        "closed", description="how it stands as the procedure begins, and during it where nothing moves it"
    )
    resistance: UncertainOhms | None = Field(None, description="closed; left out: unknown, none assumed")


class AddedCapacitor(Model):
    """A capacitor across the input, on the device's side of the fixture's other parts."""

    capacitance: UncertainFarads = Field(description="farads")
    esr: UncertainPositiveOhms | None = Field(
        None, description="equivalent series resistance; left out: unknown, and assumed as the result says"
    )


class Fixture(Model):
    """What stands between a lead and an input: any of a fuse, a series diode, a switch, a capacitor."""

    fuse: Fuse | None = Field(None, description="in the positive conductor")
    diode: SeriesDiode | None = Field(None, description="in the positive conductor")
    switch: Switch | None = Field(None, description="in the positive conductor")
    capacitor: AddedCapacitor | None = Field(None, description="across the input")

    @model_validator(mode="after")
    def _something(self) -> Self:
        if not self.parts:
            raise fault("expected at least one of fuse, diode, switch, capacitor, got none of them; add one")
        return self

    @property
    def parts(self) -> tuple[str, ...]:
        """What it consists of, in the order from the lead to the input."""
        return tuple(name for name in ("fuse", "switch", "diode", "capacitor") if getattr(self, name))

    @property
    def _series(self) -> dict[str, Uncertain | None]:
        return {
            name: part.resistance
            for name, part in (("fuse", self.fuse), ("switch", self.switch), ("diode", self.diode))
            if part is not None
        }

    @property
    def resistance(self) -> Uncertain:
        """Of everything in series [Ω]: the sum of what is given, and of its bounds."""
        given = [each for each in self._series.values() if each is not None]
        return Uncertain(
            sum(each.nominal for each in given),
            sum(each.low for each in given),
            sum(each.high for each in given),
        )

    @property
    def unknown(self) -> tuple[str, ...]:
        """Parts in series whose resistance is not given."""
        return tuple(name for name, resistance in self._series.items() if resistance is None)

    @property
    def drop(self) -> Uncertain:
        """Voltage that is lost in it before any current flows [V]: the diode's threshold."""
        return self.diode.threshold if self.diode else Uncertain(0.0, 0.0, 0.0)

    @property
    def opened(self) -> bool:
        """Whether its switch is open."""
        return self.switch is not None and self.switch.starts == "open"
