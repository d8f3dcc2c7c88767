"""What an evaluation says of each requirement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from railwright.measures.measure import Channel
from railwright.measures.outcome import Measured
from railwright.measures.wording import amount
from railwright.quantities import show
from railwright.traces import UNITS

Widenings = Mapping[tuple[str, str, int], tuple[float, float]]
"""(requirement, source, point of a sweep or 0) -> how far its interval has to reach further below and above
[the measure's unit].
"""

NONE_KNOWN: Widenings = {}


class Outcome(StrEnum):
    """inconclusive: the uncertainty, or the sampling, allows no decision. not judged: a whole that has no
    requirement, or a requirement of a step that a required trip came before.
    """

    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class Unmeasured:
    """Why a record allows no measurement, and what would; empty: nothing that is known."""

    why: str
    would_decide: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """One requirement judged. `measured` is None where the record holds nothing to measure; `unmeasured` says
    why, where a measure itself told.

    at: where a voltage is meant, 'connector' or 'terminals'. source: the record that decided.
    """

    requirement: str
    measure: str
    of: str
    during: str
    unit: str
    lower: float | None
    upper: float | None
    measured: Measured | None
    outcome: Outcome
    reason: str
    source: str
    at: str = "connector"
    unmeasured: Unmeasured | None = None


SET_POINT = "its set point"
"""What stands in the place of a second record where a record is held against what its input was told."""

DOCUMENT = "its device document"
"""What stands there where a record shows far less current than the input's loads draw."""


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two records of one quantity that cannot both be right; or one, and the set point (`SET_POINT`) at which
    its input stood in CV: then nothing that it says of that input counts; or one, and what the loads draw by
    the device document (`DOCUMENT`): then nothing shows that the lead conducts.

    of: the input. quantity: 'voltage' or 'current'. sources: names of both records, shown: what each shows
    where they differ most, bound: what both may be off together there [V, A]. at: when that is, first, last:
    from when to when they contradict each other [s of the run].
    """

    of: str
    quantity: Channel
    sources: tuple[str, str]
    shown: tuple[float, float]
    bound: float
    at: float
    first: float
    last: float

    @property
    def words(self) -> str:
        """All of it, for people."""
        unit = UNITS[self.quantity]
        told = [
            f"{source} shows {amount(value, unit)}"
            for source, value in zip(self.sources, self.shown, strict=True)
        ]
        if SET_POINT in self.sources:
            return (
                f"{self.of} does not stand where it was told to: from {show(self.first, 's')} to "
                f"{show(self.last, 's')} {told[0]} in CV, as at {show(self.at, 's')}, and {told[1]}, "
                f"but both may differ by {amount(self.bound, unit)}: it does not do it, or is read wrongly"
            )
        if DOCUMENT in self.sources:
            return (
                f"{self.of} draws far less than its loads do: from {show(self.first, 's')} to "
                f"{show(self.last, 's')} {told[0]}, give or take {amount(self.bound, unit)}, and by "
                f"{self.sources[1]} it is at least {amount(self.shown[1], unit)}: its lead is open, or the "
                "device does not run, and the voltage read at the terminals need not be that of the connector"
            )
        return (
            f"the records of the {self.quantity} of {self.of} contradict each other: at {show(self.at, 's')} "
            f"{' and '.join(told)}, but both may be off by {amount(self.bound, unit)} together"
        )

    def concerns(self, of: str, source: str, quantities: Sequence[str], *, carried: bool) -> bool:
        """Whether what this source says of an input hangs on it. quantities: what it was worked out from;
        carried: a voltage among them was measured at the lead's other end.
        """
        if DOCUMENT in self.sources:
            return of == self.of and source in self.sources and carried
        rests_on = self.quantity in quantities or (SET_POINT in self.sources and bool(quantities))
        return of == self.of and source in self.sources and rests_on


@dataclass(frozen=True, slots=True)
class LeadDrop:
    """What a lead drops, between a voltage that the supply reads and one that a multimeter reads.

    of: the input. multimeter: which of them. drop [V], current [A]: means over the readings at which the
    current was largest and nothing moved. low, high: bounds of the loop resistance that follows [Ω], what a
    diode in the lead drops taken off. least, most: as the documents have it [Ω]; None: its contacts are
    unknown.
    """

    of: str
    multimeter: str
    drop: float
    current: float
    low: float
    high: float
    least: float | None = None
    most: float | None = None

    @property
    def as_documented(self) -> bool | None:
        """Whether it may be what the documents say; None: they do not say it."""
        if self.least is None or self.most is None:
            return None
        return self.low <= self.most and self.least <= self.high

    @property
    def words(self) -> str:
        """All of it, for people."""
        told = (
            f"the lead of {self.of} drops {amount(self.drop, 'V')} at {amount(self.current, 'A')} "
            f"({self.multimeter}): {amount(self.low, 'ohm')} to {amount(self.high, 'ohm')}"
        )
        if self.least is None or self.most is None:
            return f"{told}; the documents do not say what its contacts have"
        documented = f"{amount(self.least, 'ohm')} to {amount(self.most, 'ohm')}"
        if self.as_documented:
            return f"{told}, as documented ({documented})"
        remedy = "look at its contacts, or correct the figures of the lead"
        return f"{told}, but the documents say {documented}: {remedy}"


@dataclass(frozen=True, slots=True)
class Evaluation:
    """All requirements judged, by which rule, from which records.

    notes: how external recordings were aligned, and where one was not used. withheld: why the whole is not a
    pass whatever its results are (the run ended early, was not confirmed off, or its folder is not whole and
    unchanged), in words; empty: nothing. offsets: what was added to the times of each recording [s], in the
    order of `sources` after the first. given: of each of these the bound that a person gave [s]; None: it was
    found. contradictions: where two of the records cannot both be right.
    unsound: what of the run's folder was not as the run left it, one line each; `withheld` says these too.
    lead_drops: what leads drop, where a multimeter tells.
    """

    results: tuple[Result, ...]
    rule: str
    guard_band: float
    sources: tuple[str, ...]
    notes: tuple[str, ...] = ()
    withheld: str = ""
    offsets: tuple[float, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    unsound: tuple[str, ...] = ()
    lead_drops: tuple[LeadDrop, ...] = ()
    given: tuple[float | None, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """Not judged without requirements that are; fail if anything failed, else inconclusive if anything is
        or a pass is withheld, else pass.
        """
        outcomes = {result.outcome for result in self.results} - {Outcome.NOT_JUDGED}
        if not outcomes:
            return Outcome.NOT_JUDGED
        for outcome in (Outcome.FAIL, Outcome.INCONCLUSIVE):
            if outcome in outcomes:
                return outcome
        return Outcome.INCONCLUSIVE if self.withheld else Outcome.PASS
