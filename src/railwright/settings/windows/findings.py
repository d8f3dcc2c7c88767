"""What windows have to say: nothing is left between two demands, or a written value lies outside."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from railwright.documents.loader import Documents
from railwright.quantities import show, state
from railwright.settings.context import locate
from railwright.settings.engine_rules import EMPTY_WINDOW, END_UNSURE, OUTSIDE_WINDOW
from railwright.settings.findings import Finding, Severity
from railwright.settings.windows.trip_delay import DELAY_MARGIN
from railwright.settings.windows.window import End, Window, collision


def window_findings(windows: Iterable[Window], documents: Documents) -> list[Finding]:
    """Empty windows (stop), and written values outside theirs (caution), unless a rule of its own tells it.

    Where a value is written, a closed form that a rehearsal settles empties no window: it is told once the
    rehearsal has settled it.
    """
    found: list[Finding] = []
    for window in (each for each in windows if each.used):
        where = locate(documents, window.path or ("procedure", "limits", window.about, window.setting))
        pair = window.colliding(settled=True) or (window.colliding() if window.asked is None else None)
        if pair is not None:
            why, remedy = collision(window, pair)
            found.append(Finding(EMPTY_WINDOW, Severity.STOP, window.about, where, why, remedy))
        if window.asked is not None:
            for why, remedy in _outside(window, window.asked, pair or ()):
                found.append(Finding(OUTSIDE_WINDOW, Severity.CAUTION, window.about, where, why, remedy))
            for why, remedy in _close(window, window.asked):
                found.append(Finding(END_UNSURE, Severity.CAUTION, window.about, where, why, remedy))
    return found


def _outside(window: Window, value: float, told: Sequence[End]) -> Iterator[tuple[str, str]]:
    """The ends that a written value lies beyond and that no rule of their own tells.

    told: ends that collide; one of them that no value is enough for has been told with that.
    """
    unit, name = window.unit, window.setting.replace("_", " ")
    for end in window.broken(value):
        if end.rule or end.bracket or (math.isinf(end.value) and end in told):
            continue
        if math.isinf(end.value):
            yield state("no {setting} is enough: {why}", setting=name, why=end.why), end.relax(value)
        else:
            yield (
                state(
                    "{setting} of {set_point} lies {beyond} {side} end of its window, {end}: {why}",
                    setting=name,
                    set_point=(value, unit),
                    beyond=(abs(value - end.value), unit, 3),
                    side="below the lower" if end.side == "low" else "above the upper",
                    end=(end.value, unit, 5),
                    why=end.why,
                ),
                _inside(window, end),
            )


def _close(window: Window, value: float) -> Iterator[tuple[str, str]]:
    """The lower end of a trip delay that a written one lies close above; no corner need be the worst."""
    low = window.low
    if low is not None and low.corners and low.value <= value < DELAY_MARGIN * low.value:
        yield (
            state(
                "{set_point} is {ratio:.3g} times the longest time in the limit found, {end} ({why}); "
                "what one tolerance does there hangs on others, such as whether a converter stops; only "
                "{corners:g} corners were played, and between them it may last longer",
                set_point=(value, window.unit),
                ratio=(value / low.value, "1"),
                end=(low.value, window.unit, 5),
                why=low.why,
                corners=(low.corners, "1"),
            ),
            f"set {show(DELAY_MARGIN * low.value, window.unit, 3)} or more, or look between the corners: "
            "railwright check --cases 1500",
        )


def _inside(window: Window, end: End) -> str:
    """What to do about it."""
    if window.recommended is not None:
        return f"set {show(window.recommended, window.unit)}, which is recommended"
    return f"set {show(end.value, window.unit, 5)} or {'more' if end.side == 'low' else 'less'}"
