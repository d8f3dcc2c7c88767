"""A rule that looks at one input by itself: it is asked of every input that is hooked up."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from railwright.settings.context import Context, FedInput
from railwright.settings.findings import Ranking, Severity
from railwright.settings.rule import Outcome, Rule, rule


def input_rule(
    identity: str, severity: Severity, *, on_sheet: bool = True, worst: Ranking | None = None
) -> Callable[[Callable[[FedInput], Outcome]], Rule[Context]]:
    """Make a function of an input a rule, as `rule` does with one of everything that is known."""

    def made(look: Callable[[FedInput], Outcome]) -> Rule[Context]:
        @wraps(look)
        def each(context: Context) -> Outcome:
            for source in context.sources.values():
                yield from look(source)

        return rule(identity, severity, on_sheet=on_sheet, worst=worst)(each)

    return made
