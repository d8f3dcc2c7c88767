"""Rules that look at one input by itself, and a rule's view of a constraint: does it hold for the value that
is set, and what is said if not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps

from railwright.settings.constraints.constraint import Constraint, Facts, Missing, broken
from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Hit, Outcome, Path, Rule, Unknown, rule


def input_rule(
    identity: str, severity: Severity, *, on_sheet: bool = True, worst: Ranking | None = None
) -> Callable[[Callable[[FedInput], Outcome]], Rule[Context]]:
    """Make a function of an input a rule, as `rule` does with one of everything that is known: it is asked of
    every input that is hooked up.
    """

    def made(look: Callable[[FedInput], Outcome]) -> Rule[Context]:
        @wraps(look)
        def each(context: Context) -> Outcome:
            for source in context.sources.values():
                yield from look(source)

        return rule(identity, severity, on_sheet=on_sheet, worst=worst)(each)

    return made


def judged(
    source: FedInput, facts: Iterable[Constraint | Missing], *values: tuple[float, Path], once: bool = False
) -> Outcome:
    """What is said of values that break one of these facts, each at its place, and of figures that lack;
    once: of the first of them alone.
    """
    found = list(facts)
    lacks = [fact for fact in found if isinstance(fact, Missing) and fact.check]
    yield from (Unknown(each.about or source.name, each.path, each.figure, each.check) for each in lacks)
    worst = [(path, value, broken(found, value)) for value, path in values]
    hits = [Hit(source.name, path, *each.breach(value)) for path, value, each in worst if each is not None]
    yield from hits[:1] if once else hits


def settings_judged(
    context: Context, setting: str, facts: Callable[[FedInput, float | None], Facts]
) -> Outcome:
    """The same of a setting of every input that has it. facts: of an input and its current limit [A], None
    where that is not settled.
    """
    for name, draft in context.drafts.items():
        source, feed = context.sources[name], draft.feed
        value = source.set_to(feed, setting) if setting in draft.known else None
        if value is not None:
            limit = feed.limit if "current_limit" in draft.known else None
            yield from judged(source, facts(source, limit), (value, (*source.at_limits, setting)))
