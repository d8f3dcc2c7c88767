"""Cases: one value for each uncertain quantity of the documents, picked by its name.

Names read `input.load.field`, such as `main.capacitor.capacitance` (`capacitor_2` for a second one), or
`main.lead.resistance` (a fixture's in it), or `main.fixture.drop`, or `left.1.limit_overshoot` for what a
data sheet leaves open.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from railwright.circuit import CASE_NAMES
from railwright.physics.loads.law import high, low, nominal
from railwright.quantities import Uncertain


class QuantityName(str):
    """The name of an uncertain quantity, as cases and overrides write it, with its parts as fields.

    of: the input or output that it is of. field: what of that, or of a load there, such as 'capacitance'.
    """

    __slots__ = ("field", "of")

    of: str
    field: str

    def __new__(cls, of: str, *parts: str) -> QuantityName:
        name = super().__new__(cls, ".".join((of, *parts)))
        name.of, name.field = of, parts[-1]
        return name

    def __reduce__(self) -> tuple[type[QuantityName], tuple[str, ...]]:
        """What makes it again, in a copy or another process."""
        middle = str(self)[len(self.of) + 1 : -len(self.field) - 1]
        return QuantityName, (self.of, middle, self.field) if middle else (self.of, self.field)


Case = Callable[[QuantityName, Uncertain], float]
"""(name, bounds) -> value, all in SI units."""


NOMINAL: Case = nominal
LOW: Case = low
HIGH: Case = high
NAMED: Mapping[str, Case] = dict(zip(CASE_NAMES, (NOMINAL, LOW, HIGH), strict=True))


def fixed(values: Mapping[str, float], otherwise: Case = NOMINAL) -> Case:
    """The case with these values, and another case's for what is not named. The values may lie outside the
    bounds.
    """

    def choose(name: QuantityName, value: Uncertain) -> float:
        return values[name] if name in values else otherwise(name, value)

    return choose
