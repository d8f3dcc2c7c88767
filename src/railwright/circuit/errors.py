"""How far an output is off what it is told: errors of set points and protections, as quantities of a case."""

from __future__ import annotations

from dataclasses import dataclass

from railwright.circuit.case import Case, QuantityName
from railwright.documents.bench import CurrentAccuracy, Output, VoltageAccuracy
from railwright.quantities import Uncertain

QUANTITIES = ("voltage_gain", "voltage_offset", "limit_gain", "limit_offset", "ovp_error")
"""Names of the errors of one output, after its own: `left.1.voltage_gain`."""

VOLTAGE_QUANTITIES = ("voltage_gain", "voltage_offset")
"""Those of them that decide what voltage it sets."""


@dataclass(frozen=True, slots=True)
class SetErrors:
    """What an output does when told a value: value · (1 + gain) + offset, in V or A.

    ovp_error: how far the level of its OVP is off [V].
    """

    voltage_gain: float = 0.0
    voltage_offset: float = 0.0
    limit_gain: float = 0.0
    limit_offset: float = 0.0
    ovp_error: float = 0.0

    def voltage(self, told: float) -> float:
        """The voltage that it regulates to [V]; zero stays zero."""
        return told * (1.0 + self.voltage_gain) + self.voltage_offset if told else 0.0

    def limit(self, told: float) -> float:
        """The current that it limits to [A]."""
        return max(0.0, told * (1.0 + self.limit_gain) + self.limit_offset)


def set_errors(name: str, output: Output, case: Case) -> tuple[SetErrors, tuple[str, ...]]:
    """The errors of the output called 'supply.output' in a case, and what was assumed of them."""
    assumed: list[str] = []
    programming = output.programming
    if programming is None:
        assumed.append("accuracy of its set points is not given: exact set points assumed")
    voltage: VoltageAccuracy | None = programming.voltage if programming else None
    current: CurrentAccuracy | None = programming.current if programming else None
    if output.ovp is not None and output.ovp.accuracy is None:
        assumed.append("accuracy of its OVP is not given: an exact level assumed")
    bounds = (
        voltage.of_value if voltage else 0.0,
        voltage.offset if voltage else 0.0,
        current.of_value if current else 0.0,
        current.offset if current else 0.0,
        (output.ovp.accuracy if output.ovp else None) or 0.0,
    )
    values = (
        case(QuantityName(name, quantity), Uncertain(0.0, -bound, bound))
        for quantity, bound in zip(QUANTITIES, bounds, strict=True)
    )
    return SetErrors(*values), tuple(assumed)
