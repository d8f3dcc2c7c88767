"""Everything that a finding can be: the rules of the documents, of the rehearsal, and of settling itself."""

from __future__ import annotations

from collections.abc import Iterable

from railwright.settings.engine_rules import ENGINE_RULES
from railwright.settings.rule import RuleFacts
from railwright.settings.rules import RULES


def all_rules() -> tuple[RuleFacts, ...]:
    """What is known of each id that a finding can carry."""
    from railwright.settings.rehearsed import REHEARSED_RULES

    return (*ENGINE_RULES.values(), *RULES, *REHEARSED_RULES)


def known_of(ids: Iterable[str]) -> dict[str, RuleFacts]:
    """What is known of each of these ids. Those of a rehearsal are loaded, with what a rehearsal needs, only
    where one is among them.
    """
    known = {each.id: each for each in (*ENGINE_RULES.values(), *RULES)}
    wanted = set(ids)
    if not wanted <= known.keys():
        known = {each.id: each for each in all_rules()}
    return {each: known[each] for each in wanted & known.keys()}
