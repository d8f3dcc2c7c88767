"""What lies inside a device between its connector and its load: a fuse, a diode, a filter."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from railwright.documents.fixture import AddedCapacitor, Fuse, SeriesDiode
from railwright.documents.model import Model, fault
from railwright.quantities import Dimension, PositiveVolts, Uncertain, UncertainOhms


class Choke(Model):
    """An inductance in the positive conductor, as of an input filter. It does not saturate."""

    inductance: Annotated[Uncertain, Dimension("H", "uncertain", positive=True)] = Field(
        description="henries"
    )
    resistance: UncertainOhms | None = Field(None, description="of its winding; left out: unknown")


class InnerDiode(SeriesDiode):
    """A series diode inside a device: it conducts towards the load and nothing back."""

    blocks: PositiveVolts | None = Field(
        None, description="reverse voltage that it blocks for any time; left out: unknown"
    )


class Inside(Model):
    """What a current passes from the connector to the load, in this order: a fuse, a series diode, a choke;
    and a capacitor behind them, across the load. Voltages of the input are those at its connector, before all
    of it; those of its loads (thresholds, compliance, forward voltages) are what they see behind it.
    """

    fuse: Fuse | None = Field(None, description="in the positive conductor")
    diode: InnerDiode | None = Field(None, description="in the positive conductor")
    choke: Choke | None = Field(None, description="in the positive conductor")
    capacitor: AddedCapacitor | None = Field(None, description="across the load, behind the others")

    @model_validator(mode="after")
    def _something(self) -> Self:
        if not self.parts:
            raise fault(
                "expected at least one of fuse, diode, choke, capacitor, got none of them; add one, "
                "or leave out 'inside'"
            )
        return self

    @property
    def parts(self) -> tuple[str, ...]:
        """What it consists of, in the order from the connector to the load."""
        return tuple(name for name in ("fuse", "diode", "choke", "capacitor") if getattr(self, name))

    @property
    def in_series(self) -> bool:
        """Whether anything separates the load from the connector."""
        return any(part != "capacitor" for part in self.parts)

    @property
    def _series(self) -> dict[str, Uncertain | None]:
        return {
            name: part.resistance
            for name, part in (("fuse", self.fuse), ("diode", self.diode), ("choke", self.choke))
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
    def inductance(self) -> Uncertain:
        """Of its choke [H]."""
        return self.choke.inductance if self.choke else Uncertain(0.0, 0.0, 0.0)
