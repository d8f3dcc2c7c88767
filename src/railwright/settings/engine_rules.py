"""Ids and severities of the findings that no rule function makes: settling and the rules' engine do."""

from __future__ import annotations

from railwright.settings.findings import Severity

AUTO_IMPOSSIBLE = "auto-impossible"
HOOK_UP_IMPOSSIBLE = "hook-up-impossible"
"""The finding where no hook-up feeds every input. It cannot be accepted: there is nothing to go on with."""
UNKNOWN_FIGURE = "unknown-figure"
OVERRIDE_NO_EFFECT = "override-no-effect"
EMPTY_WINDOW = "empty-window"
OUTSIDE_WINDOW = "outside-window"
ENGINE_RULES = {
    AUTO_IMPOSSIBLE: Severity.STOP,
    HOOK_UP_IMPOSSIBLE: Severity.STOP,
    UNKNOWN_FIGURE: Severity.NOTE,
    OVERRIDE_NO_EFFECT: Severity.NOTE,
    EMPTY_WINDOW: Severity.STOP,
    OUTSIDE_WINDOW: Severity.CAUTION,
}
