"""What each output is told before it is switched on."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from railwright.documents.output_name import OutputName


@dataclass(frozen=True, slots=True)
class OutputSetPoints:
    """Limits of one output, SI units. `share`: the part of the input's voltage that it carries (series).

    opp [W], ocp [A]: levels of its over-power and over-current protection, inf: not used. ocp_delay [s]: how
    long the latter is exceeded before it acts.
    """

    output: OutputName
    current_limit: float
    at_limit: Literal["regulate", "trip"]
    trip_delay: float
    ovp: float
    share: float = 1.0
    opp: float = math.inf
    ocp: float = math.inf
    ocp_delay: float = 0.0


@dataclass(frozen=True, slots=True)
class Feed:
    """What feeds one input: outputs alone, in series or in parallel; lead and fixture; where it is sensed."""

    input: str
    arrangement: Literal["alone", "series", "parallel"]
    outputs: tuple[OutputSetPoints, ...]
    lead: str
    sense: Literal["at load", "at terminals"]
    trips_when: tuple[str, ...] = ()
    fixture: str | None = None

    @property
    def names(self) -> tuple[OutputName, ...]:
        """Its outputs."""
        return tuple(output.output for output in self.outputs)

    @property
    def limit(self) -> float:
        """Current limit of the input [A]: of outputs in parallel the sum, in series the least."""
        return (sum if self.arrangement == "parallel" else min)(each.current_limit for each in self.outputs)

    @property
    def ovp(self) -> float:
        """OVP level of the input [V]."""
        return (sum if self.arrangement == "series" else min)(each.ovp for each in self.outputs)

    @property
    def ocp(self) -> float:
        """Level of the input's over-current protection [A]; inf: it is not used."""
        return (sum if self.arrangement == "parallel" else min)(each.ocp for each in self.outputs)

    @property
    def opp(self) -> float:
        """Power at which the input's over-power protection acts [W]; inf: it is not used."""
        return sum(each.opp for each in self.outputs)

    def value(self, setting: str) -> float:
        """What a setting of the input is, in SI units; inf: it is not used; nan: there is no value yet."""
        first = self.outputs[0]
        return {
            "current_limit": self.limit,
            "trip_delay": first.trip_delay if first.at_limit == "trip" else math.inf,
            "ovp": self.ovp,
            "opp": self.opp,
            "ocp": self.ocp,
            "ocp_delay": first.ocp_delay if math.isfinite(first.ocp) else math.inf,
        }[setting]

    def has(self, *settings: str) -> bool:
        """Whether each of these settings has a value, or is not used."""
        return not any(math.isnan(self.value(each)) for each in settings)


SetPoints = Mapping[str, Feed]
"""Input name -> what feeds it."""
