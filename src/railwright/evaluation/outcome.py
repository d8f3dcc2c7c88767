"""What an evaluation says of each requirement."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from railwright.measures.outcome import Measured


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


@dataclass(frozen=True, slots=True)
class Evaluation:
    """All requirements judged, by which rule, from which records.

    notes: how external recordings were aligned, and where one was not used. withheld: why the whole is not a
    pass whatever its results are (the run ended early, was not confirmed off, or its folder is not whole and
    unchanged), in words; empty: nothing. offsets: what was added to the times of each recording [s], in the
    order of `sources` after the first. unsound: what of the run's folder was not as the run left it, one line
    each; `withheld` says these too.
    """

    results: tuple[Result, ...]
    rule: str
    guard_band: float
    sources: tuple[str, ...]
    notes: tuple[str, ...] = ()
    withheld: str = ""
    offsets: tuple[float, ...] = ()
    unsound: tuple[str, ...] = ()

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
