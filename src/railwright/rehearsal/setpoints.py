"""What each output is told before it is switched on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class OutputSetPoints:
    """Limits of one output, SI units. `share`: the part of the input's voltage that it carries (series)."""

    output: str
    current_limit: float
    at_limit: Literal["regulate", "trip"]
    trip_delay: float
    ovp: float
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Feed:
    """What feeds one input: outputs alone, in series or in parallel, through a lead, sensed somewhere."""

    input: str
    arrangement: Literal["alone", "series", "parallel"]
    outputs: tuple[OutputSetPoints, ...]
    lead: str
    sense: Literal["at load", "at terminals"]
    trips_when: tuple[str, ...] = ()


SetPoints = Mapping[str, Feed]
"""Input name -> what feeds it."""
