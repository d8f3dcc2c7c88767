"""Everything that a finding can be: the rules of the documents, of the rehearsal, and of settling itself."""

from __future__ import annotations

from railwright.settings.engine_rules import ENGINE_RULES
from railwright.settings.rule import RuleFacts
from railwright.settings.rules import RULES


def all_rules() -> tuple[RuleFacts, ...]:
    """What is known of each id that a finding can carry."""
    from railwright.settings.rehearsed import REHEARSED_RULES

    return (*ENGINE_RULES.values(), *RULES, *REHEARSED_RULES)
