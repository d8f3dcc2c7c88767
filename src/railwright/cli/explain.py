"""`railwright explain`: what a finding's rule looks for, and what its severity means."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

import typer

from railwright.cli.arguments import Json, Quiet
from railwright.cli.detail import Detail
from railwright.cli.exits import BadInput, Exit, say

if TYPE_CHECKING:
    from railwright.settings.rule import RuleFacts

RuleId = Annotated[
    str | None,
    typer.Argument(metavar="RULE", help="A rule's id, as the finding shows it; left out: all of them."),
]

FOLLOWS = {
    "stop": "keeps a run from starting, until the documents change or 'overrides' accepts it",
    "caution": "blocks nothing; act on it before energising",
    "note": "blocks nothing; good to know",
}
"""What follows from a finding of each severity."""
NOT_ACCEPTED = "keeps a run from starting, until the documents change; it cannot be accepted"
LOOKS_AT = {
    "documents": "looks at the documents and the set points",
    "rehearsal": "looks at the rehearsal; not with check --static",
    "settling": "found while set points are settled and findings are put together",
}
"""Where the rules of each group find what they say."""


def explain(rule: RuleId = None, json: Json = False, quiet: Quiet = False) -> Exit:
    """Explain a finding: what its rule looks for, and what follows.

    Without RULE: every rule with its severity, in the order in which check asks them. Reads no documents.
    """
    known = _rules()
    if rule is not None and rule not in known:
        from railwright.near_words import hint

        advice = hint(rule, known) or "; railwright explain lists them"
        raise BadInput(f"RULE: expected the id of a rule, got '{rule}'{advice}")
    chosen = known if rule is None else {rule: known[rule]}
    if json:
        from railwright.cli.console import print_json

        print_json({"rules": [_row(facts, group) for facts, group in chosen.values()]})
        return Exit.DONE
    if rule is None:
        from railwright.cli.console import SEVERITY_MARKS, console, table

        lines = [
            (SEVERITY_MARKS[facts.severity], f"{facts.id}\n{facts.title}") for facts, _ in known.values()
        ]
        console().print(table("Rules", ("Severity", "Rule"), lines))
        return Exit.DONE
    facts, group = known[rule]
    severity = facts.severity.value
    refused = severity == "stop" and not _acceptable(facts)
    say(f"{rule}: {facts.title}")
    detail = Detail(quiet)
    detail.say(f"{severity}: {NOT_ACCEPTED if refused else FOLLOWS[severity]}")
    detail.say(LOOKS_AT[group])
    return Exit.DONE


def _rules() -> dict[str, tuple[RuleFacts, str]]:
    """Every rule in the order of asking, by its id, with its group."""
    from railwright.settings.engine_rules import ENGINE_RULES
    from railwright.settings.rehearsed import REHEARSED_RULES
    from railwright.settings.rules import RULES

    groups: dict[str, Iterable[RuleFacts]] = {
        "documents": RULES,
        "rehearsal": REHEARSED_RULES,
        "settling": ENGINE_RULES.values(),
    }
    return {facts.id: (facts, group) for group, those in groups.items() for facts in those}


def _acceptable(facts: RuleFacts) -> bool:
    """Whether the procedure can accept its finding; nothing but a stop needs it."""
    from railwright.settings.overrides import NOT_ACCEPTABLE

    return facts.severity.value == "stop" and facts.id not in NOT_ACCEPTABLE


def _row(facts: RuleFacts, group: str) -> dict[str, object]:
    return {
        "rule": facts.id,
        "severity": facts.severity.value,
        "meaning": facts.title,
        "looks_at": group,
        "acceptable": _acceptable(facts),
    }
