"""What an evaluation says of each requirement."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """inconclusive: the uncertainty, or the sampling, does not allow a decision."""

    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"


@dataclass(frozen=True, slots=True)
class Contribution:
    """One source of uncertainty: standard uncertainty in the result's unit, and its distribution.

    distribution: 'rectangular', 'triangular' or 'normal'.
    """

    source: str
    standard: float
    distribution: str


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured value with its 95 % coverage interval [low, high], in the measure's unit.

    value: best estimate. contributions: the uncertainty budget. unseen: what the reading cannot see, in words
    (empty where nothing hides from it); `high` is then the bound of what may hide, not a probability.
    how: how the value was computed, in a sentence. assumptions: what was taken where a document says nothing.
    hides: what it is that can hide, without what bounds it; empty: `unseen` says no more. would_decide: what
    would see or decide it. elsewhere: which part of the step another record judges, in words; empty: none.
    """

    value: float
    low: float
    high: float
    contributions: tuple[Contribution, ...]
    how: str
    unseen: str = ""
    would_decide: str = ""
    assumptions: tuple[str, ...] = ()
    elsewhere: str = ""
    hides: str = ""


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


@dataclass(frozen=True, slots=True)
class Evaluation:
    """All requirements judged, by which rule, from which records.

    notes: how external recordings were aligned, and where one was not used. withheld: why the whole is not a
    pass whatever its results are (the run ended early, or was not confirmed off), in words; empty: nothing.
    offsets: what was added to the times of each recording [s], in the order of `sources` after the first.
    """

    results: tuple[Result, ...]
    rule: str
    guard_band: float
    sources: tuple[str, ...]
    notes: tuple[str, ...] = ()
    withheld: str = ""
    offsets: tuple[float, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """Fail if anything failed, else inconclusive if anything is or a pass is withheld, else pass."""
        outcomes = {result.outcome for result in self.results}
        for outcome in (Outcome.FAIL, Outcome.INCONCLUSIVE):
            if outcome in outcomes:
                return outcome
        return Outcome.INCONCLUSIVE if self.withheld else Outcome.PASS
