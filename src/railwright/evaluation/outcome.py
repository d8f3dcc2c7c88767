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
    """One source of uncertainty: standard uncertainty in the result's unit, and its distribution."""

    source: str
    standard: float
    distribution: str


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured value with its 95 % coverage interval [low, high], in the measure's unit.

    value: best estimate. contributions: the uncertainty budget. unseen: what the reading cannot see, in words
    (empty where nothing hides from it). how: how the value was computed, in a sentence.
    """

    value: float
    low: float
    high: float
    contributions: tuple[Contribution, ...]
    how: str
    unseen: str = ""
    would_decide: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """One requirement judged. `measured` is None where the record holds nothing to measure (then inconclusive)."""

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


@dataclass(frozen=True, slots=True)
class Evaluation:
    """All requirements judged, by which rule, from which records."""

    results: tuple[Result, ...]
    rule: str
    guard_band: float
    sources: tuple[str, ...]

    @property
    def outcome(self) -> Outcome:
        """Fail if anything failed, else inconclusive if anything is, else pass."""
        outcomes = {result.outcome for result in self.results}
        for outcome in (Outcome.FAIL, Outcome.INCONCLUSIVE):
            if outcome in outcomes:
                return outcome
        return Outcome.PASS
