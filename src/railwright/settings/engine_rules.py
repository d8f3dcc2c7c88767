"""What is known of the findings that no rule function makes: settling and the rules' engine do."""

from __future__ import annotations

from railwright.settings.findings import Severity
from railwright.settings.rule import RuleFacts

AUTO_IMPOSSIBLE = "auto-impossible"
HOOK_UP_IMPOSSIBLE = "hook-up-impossible"
"""The finding where no hook-up feeds every input. It cannot be accepted: there is nothing to go on with."""
UNKNOWN_FIGURE = "unknown-figure"
OVERRIDE_NO_EFFECT = "override-no-effect"
EMPTY_WINDOW = "empty-window"
DIALECT_UNPROVED = "dialect-unproved"
OUTSIDE_WINDOW = "outside-window"
END_UNSURE = "window-end-unsure"
ENGINE_RULES = {
    known.id: known
    for known in (
        RuleFacts(AUTO_IMPOSSIBLE, Severity.STOP, "No value fits where the procedure says 'auto'."),
        RuleFacts(
            HOOK_UP_IMPOSSIBLE, Severity.STOP, "No hook-up feeds every input where the procedure says 'auto'."
        ),
        RuleFacts(
            UNKNOWN_FIGURE, Severity.NOTE, "A figure without which something cannot be checked is not given."
        ),
        RuleFacts(
            OVERRIDE_NO_EFFECT,
            Severity.NOTE,
            "The procedure accepts a finding that is not there, blocks nothing, or cannot be accepted.",
        ),
        RuleFacts(
            DIALECT_UNPROVED,
            Severity.STOP,
            "Nobody has seen that a supply of this model and version means by the dialect's words, units, "
            "bits and channels what the dialect says; the run looks again when the supply said who it is.",
            on_sheet=False,
        ),
        RuleFacts(
            EMPTY_WINDOW,
            Severity.STOP,
            "No value of a setting is right: the lower end of its window lies above the upper end.",
        ),
        RuleFacts(
            OUTSIDE_WINDOW,
            Severity.CAUTION,
            "A value that the procedure gives lies outside the window in which it is right.",
            on_sheet=False,
        ),
        RuleFacts(
            END_UNSURE,
            Severity.CAUTION,
            "A trip delay lies close above the longest time in the limit that was rehearsed, and the worst "
            "of the tolerances need not be among the corners that were played.",
            on_sheet=False,
        ),
    )
}
"""By their ids."""
