"""What is lost between an input's connector and its loads, where something lies inside."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from railwright.documents.device import Input
from railwright.physics.loads import KINDS, LoadParameters, high, low
from railwright.quantities import Uncertain

NOTHING = Uncertain(0.0, 0.0, 0.0)


def lost_inside(wanted: Input) -> Uncertain:
    """Voltage between the connector of an input and its loads [V], at any current that they draw: the diode's
    threshold alone at least, with the drop over all resistances that are given at most.
    """
    between = wanted.inside
    if between is None or not between.in_series:
        return NOTHING
    drop, ohms = between.drop, between.resistance
    amperes = _most(wanted)
    most = drop.high + ohms.high * amperes
    return Uncertain(min(drop.nominal + ohms.nominal * amperes, most), drop.low, most)


def at_connector(behind: Uncertain, lost: Uncertain) -> Uncertain:
    """A voltage behind what lies inside, as it is at the connector [V]."""
    if lost == NOTHING:
        return behind
    return Uncertain(behind.nominal + lost.nominal, behind.low + lost.low, behind.high + lost.high)


def _most(wanted: Input) -> float:
    """The largest steady current of an input's loads [A], as declared or by their models; 0: unknown."""
    steady = wanted.current.steady
    declared = steady.high if steady is not None else wanted.current.at_most or 0.0
    return max(declared, *(_drawn(wanted, volts) for volts in _looks(wanted)))


def _looks(wanted: Input) -> Iterator[float]:
    """Voltages behind at which loads may draw most: the ends of the range, and where they stop."""
    yield from (wanted.operating.low, wanted.operating.high)
    for part in wanted.load:
        if "stops_at" in (given := part.parameters.uncertain()):
            yield given["stops_at"].low * (1.0 + 1e-9)


def _drawn(wanted: Input, volts: float) -> float:
    return sum(_greatest(part.kind, part.parameters, volts) for part in wanted.load)


def _greatest(kind: str, parameters: LoadParameters, volts: float) -> float:
    """Of one part, at the ends of its tolerances; 0: its module does not say."""
    draws = getattr(KINDS[kind].equations, "draws", None)
    if draws is None:
        return 0.0
    names = KINDS[kind].parameters
    ends = [parameters.floats(choose)[0] for choose in (low, high)]
    corners = itertools.product(*({end[name] for end in ends} for name in names))
    return max(float(draws(volts, [*corner, *parameters.table()])[1]) for corner in corners)
