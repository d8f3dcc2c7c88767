"""Stops that the procedure accepts, and the rule ids that it may name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from railwright.documents.loader import Documents
from railwright.documents.procedure import Override
from railwright.documents.sources import DocumentErrors, Problem, hint
from railwright.settings.engine_rules import (
    AUTO_IMPOSSIBLE,
    DIALECT_UNPROVED,
    HOOK_UP_IMPOSSIBLE,
    OVERRIDE_NO_EFFECT,
)
from railwright.settings.findings import Finding, Severity
from railwright.settings.rules import all_rules

NOT_ACCEPTABLE = (AUTO_IMPOSSIBLE, HOOK_UP_IMPOSSIBLE, "standard-not-played")
"""Stops that no override accepts: there is nothing to go on with."""

LATER = (DIALECT_UNPROVED,)
"""Stops that the run may find where the check does not: an override of them may have its effect then."""


def known_rules() -> dict[str, Severity]:
    """Every rule id that a finding can carry, with its severity."""
    return {known.id: known.severity for known in all_rules()}


def check_overrides(documents: Documents) -> None:
    """Raise DocumentErrors where the procedure overrides a finding that no rule makes."""
    if not documents.procedure.overrides:
        return
    known = known_rules()
    problems = [
        Problem(
            documents.where("procedure", ("overrides", index, "finding")),
            f"expected the id of a finding, got '{override.finding}'"
            + (hint(override.finding, known) or "; take the id that the finding shows"),
        )
        for index, override in enumerate(documents.procedure.overrides)
        if override.finding not in known
    ]
    if problems:
        raise DocumentErrors(problems)


def accepted_because(documents: Documents, finding: str, about: str) -> str | None:
    """The reason for which the procedure accepts a stop that is found later than by the check; None: it does
    not.
    """
    own = (each for each in documents.procedure.overrides if each.finding == finding)
    return next((each.because for each in own if each.about in (None, about)), None)


def _accepts(wanted: Override, finding: Finding) -> bool:
    """Whether an override accepts a finding."""
    return (
        finding.rule == wanted.finding
        and wanted.about in (None, finding.about)
        and finding.severity is Severity.STOP
        and finding.rule not in NOT_ACCEPTABLE
    )


def override(findings: Sequence[Finding], documents: Documents, ids: Iterable[str]) -> list[Finding]:
    """Apply the procedure's overrides to stops; an override among `ids` that accepts nothing is noted.

    An impossible `auto`, of a limit or the hook-up, cannot be accepted: there is no value to go on with.
    """
    result = list(findings)
    for index, wanted in enumerate(documents.procedure.overrides):
        if wanted.finding not in ids:
            continue
        accepted = [_accepts(wanted, each) for each in result]
        result = [
            replace(each, overridden=wanted.because) if accepts else each
            for each, accepts in zip(result, accepted, strict=True)
        ]
        if not any(accepted) and wanted.finding not in LATER:
            severity = known_rules()[wanted.finding]
            why = (
                "there is no such stop now"
                if severity is Severity.STOP and wanted.finding not in NOT_ACCEPTABLE
                else "there is no value to go on with"
                if wanted.finding in NOT_ACCEPTABLE
                else f"it is a {severity}, which blocks nothing"
            )
            about = f" about '{wanted.about}'" if wanted.about else ""
            result.append(
                Finding(
                    OVERRIDE_NO_EFFECT,
                    Severity.NOTE,
                    wanted.about or "procedure",
                    documents.where("procedure", ("overrides", index)),
                    f"the override of '{wanted.finding}'{about} accepts nothing: {why}",
                    "remove the override",
                )
            )
    return result
