"""The largest current through a lead before a current limit has taken charge.

A supply holds its voltage by a regulator with a capacitor across its terminals. Whatever hangs on the other
end of the lead (at 0 V or more), the current is bounded by Ohm's law, and by the energy that the capacitor
can put into the lead's inductance. Each bound needs its own figures; of those that are known the least holds.

References
----------
.. [1] Energy: with i_reg <= I and j = i - I, C v' = -j and L j' <= v - R j. Hence C v² + L j² never grows
   while j > 0, and in the plane of (v, j) the path from (U, 0) without a load bounds every other one. That
   path is the discharge of a series R-L-C circuit (textbook): with ζ = R/2 √(C/L) its current peaks at
   U √(C/L) exp(-ζ acos(ζ) / √(1 - ζ²)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from railwright.quantities import state


@dataclass(frozen=True, slots=True)
class Surge:
    """A current that is not exceeded [A], and what it is bounded by, in words. by_lead_alone: nothing but the
    lead's resistance is known, so that it is what would flow if the supply gave all that it lets through.
    """

    current: float
    words: str
    by_lead_alone: bool = False


@dataclass(frozen=True, slots=True)
class SurgePath:
    """What a surge goes through. SI units; None: unknown.

    resistance, inductance: least ones of the lead's loop. capacitance: across the supply's terminals. limit:
    current that the regulator gives once its limit has responded, in `response` seconds. first: what the
    regulator alone gives at most until then.
    """

    limit: float
    resistance: float | None = None
    inductance: float | None = None
    capacitance: float | None = None
    first: float | None = None
    response: float | None = None

    def largest(self, voltage: float) -> Surge | None:
        """Bound of the current where the terminals never exceed `voltage` [V]; None: no figure bounds it."""
        bounds = [each for each in (self._ohm(voltage), self._late(voltage), self._energy(voltage)) if each]
        return min(bounds, key=lambda each: each.current, default=None)

    def _ohm(self, voltage: float) -> Surge | None:
        """Steady current of a voltage source through the lead alone."""
        if not self.resistance:
            return None
        unknown = [
            word
            for word, figure in (
                ("the lead's inductance", self.inductance),
                ("the output's capacitance", self.capacitance),
            )
            if figure is None
        ]
        words = state(
            "the lead's {resistance} let through at {voltage}",
            resistance=(self.resistance, "ohm"),
            voltage=(voltage, "V"),
        )
        if unknown:
            lowers = " and ".join(unknown)
            words = state("{words}; {lowers}, where given, may lower that", words=words, lowers=lowers)
        return Surge(max(self.limit, voltage / self.resistance), words, bool(unknown))

    def _late(self, voltage: float) -> Surge | None:
        """A voltage source until the limit responds, then the limit and the capacitor's energy [1]_."""
        if self.inductance is None or self.capacitance is None or self.response is None:
            return None
        if self.resistance:
            time = self.inductance / self.resistance
            grown = voltage / self.resistance * -math.expm1(-self.response / time)
        else:
            grown = voltage * self.response / self.inductance
        energy = voltage * math.sqrt(self.capacitance / self.inductance)
        words = state(
            "the lead's {inductance} let through in {response} and from the output's {capacitance} after it, "
            "at {voltage}",
            inductance=(self.inductance, "H"),
            response=(self.response, "s"),
            capacitance=(self.capacitance, "F"),
            voltage=(voltage, "V"),
        )
        return Surge(self.limit + math.hypot(grown, energy), words)

    def _energy(self, voltage: float) -> Surge | None:
        """The capacitor's discharge into the lead, beside what the regulator gives [1]_."""
        if self.inductance is None or self.capacitance is None or self.first is None:
            return None
        peak = voltage * math.sqrt(self.capacitance / self.inductance)
        damping = (self.resistance or 0.0) / 2.0 * math.sqrt(self.capacitance / self.inductance)
        words = state(
            "the output's {capacitance} at {voltage} discharge through the lead's {inductance}, beside "
            "{regulator} from the regulator",
            capacitance=(self.capacitance, "F"),
            voltage=(voltage, "V"),
            inductance=(self.inductance, "H"),
            regulator=(self.first, "A"),
        )
        return Surge(self.first + peak * _damped(damping), words)


def _damped(damping: float) -> float:
    """Peak of a series R-L-C discharge in parts of U √(C/L): 1 without damping, 1/e when critical [1]_."""
    if abs(damping - 1.0) < 1e-6:
        return math.exp(-1.0)
    if damping < 1.0:
        return math.exp(-damping * math.acos(damping) / math.sqrt(1.0 - damping**2))
    return math.exp(-damping * math.acosh(damping) / math.sqrt(damping**2 - 1.0))
