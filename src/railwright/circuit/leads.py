"""What lies between the terminals of an output and the connector of an input: lead, contacts, fixture."""

from __future__ import annotations

from typing import NamedTuple

from railwright.documents.bench import Bench, Lead
from railwright.documents.conductor import Conductor
from railwright.documents.fixture import Fixture
from railwright.physics import conductors
from railwright.quantities import Uncertain

SPACING = 2.0
"""Distance between the axes of a lead's conductors in diameters, where the bench does not give its
inductance.
"""


class Resistance(NamedTuple):
    """Loop resistance of a lead with its contacts and a fixture's parts in series.

    value: nominal and bounds [Ω]. missing: what of it is not given, and counts nothing. ambient: the highest
    [°C]. per_kelvin: by how much the upper bound grows while the conductors get warmer than that [Ω/K].
    """

    value: Uncertain
    contacts: bool
    missing: tuple[str, ...] = ()
    ambient: float = 20.0
    per_kelvin: float = 0.0

    @property
    def low(self) -> float:
        return self.value.low

    @property
    def high(self) -> float:
        return self.value.high

    def warmed(self, rise: float) -> Resistance:
        """The same with conductors that may be so much warmer than the highest ambient [K]."""
        high = self.value.high + self.per_kelvin * rise
        return self._replace(value=Uncertain(self.value.nominal, self.value.low, high))


def lead_resistance(lead: Lead, bench: Bench, fixture: Fixture | None = None) -> Resistance:
    """Loop resistance of a lead and its fixture. Heating by the current is left out: see `warmed`.

    Nominal and least are geometric, most is the maximum of IEC 60228 where the conductor has a class; each
    at the ambient temperature's nominal, lowest and highest value. A fixture's bounds add to them: the whole
    is one quantity, taken as equally likely between its bounds.
    """
    given = lead.contact_resistance_loop
    contacts = Uncertain(0.0, 0.0, 0.0) if given is None else given
    missing = [] if given is not None else ["contact resistance"]
    area, length, ambient = lead.conductor.section, lead.one_way_length, bench.ambient
    low = conductors.loop_resistance(area, length, ambient.low, contacts.low)
    nominal = conductors.loop_resistance(area, length, ambient.nominal, contacts.nominal)
    high = most_resistance(lead, lead.conductor, ambient.high)
    # It grows in proportion.
    per_kelvin = most_resistance(lead, lead.conductor, ambient.high + 1.0) - high
    whole = Uncertain(nominal, low, max(high, nominal))
    if fixture is not None:
        own = fixture.resistance
        whole = Uncertain(whole.nominal + own.nominal, whole.low + own.low, whole.high + own.high)
        missing += [f"resistance of the {part}" for part in fixture.unknown]
    return Resistance(whole, given is not None, tuple(missing), ambient.high, per_kelvin)


def most_resistance(lead: Lead, conductor: Conductor, temperature: float) -> float:
    """Largest loop resistance of a lead, with its contacts, where it is made of a conductor [Ω], at a
    temperature [°C]: the maximum of IEC 60228 where the conductor has a class.
    """
    contacts = lead.contact_resistance_loop.high if lead.contact_resistance_loop else 0.0
    return conductors.loop_resistance(
        conductor.section, lead.one_way_length, temperature, contacts, conductor.iec_class, "maximum"
    )


def lead_inductance(lead: Lead) -> float:
    """Inductance of a lead [H]; where the bench does not give it, that of two wires `SPACING` apart."""
    per_metre = lead.inductance
    if per_metre is None:
        diameter = conductors.diameter_of_area(lead.conductor.section)
        per_metre = conductors.pair_inductance_per_metre(diameter, SPACING * diameter)
    return per_metre * lead.one_way_length
