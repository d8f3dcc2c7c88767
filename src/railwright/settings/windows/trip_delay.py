"""The window of a trip delay: longer than normal operation is in the limit, as long as lead and fuse bear."""

from __future__ import annotations

from dataclasses import replace

from railwright.quantities import show
from railwright.settings import figures
from railwright.settings.constraints.constraint import EXACT
from railwright.settings.constraints.trip_delay import facts, range_of
from railwright.settings.context import Source
from railwright.settings.windows.window import Window, rounded, window_of

DELAY_MARGIN = 1.5
"""Ratio of a trip delay to the longest time in the current limit that normal operation causes."""

TO_ROUND = 0.04
"""What a trip delay is lengthened by so that a round value above the least one can be found."""

DELAY_STEP = 1e-4
"""Step of trip delays [s], which a bench does not give."""


def window(source: Source, limit: float | None) -> Window:
    """The window of an input's trip delay [s], with a recommended value where all is known.

    limit [A]: the current limit; None: there is none yet.
    """
    asked, taken = (
        source.limits.trip_delay if source.limits else "auto",
        "the delay's own step is not given: taken",
    )
    window = window_of(
        source, "trip_delay", DELAY_STEP, facts(source, limit), [1.0] * source.count, asked, taken
    )
    return recommend(window, source) if limit is not None else window


def recommend(found: Window, source: Source) -> Window:
    """With the recommended value: some way above the longest time in the limit, and round."""
    low, high, reach = found.low, found.high, range_of(source)
    if found.lacks or found.colliding() or low is None or high is None:
        return found
    charging = next((end for end in found.ends if end.side == "low" and end.key != "range"), None)
    if charging is None and not source.load.settled:
        # Nothing is known before the rehearsal: the longest delay lets everything settle.
        why = (
            f"a part of the load draws more until it has settled, and only a rehearsal tells for how long; "
            f"until then the longest delay that is right, {show(high.value, 's')} ({high.why})"
        )
        return replace(found, recommended=high.value, why=why)
    longest = charging.value if charging else 0.0
    wanted = min(max(low.value, DELAY_MARGIN * longest), high.value)
    aim = min((1.0 + TO_ROUND) * wanted, high.value)
    value = figures.tidy(aim, wanted, high.value, found.step)
    words = charging.why if charging else "nothing that is played reaches the current limit"
    if charging is None or wanted <= reach.low * (1.0 + EXACT):
        decides = f"the shortest delay of the output, {show(reach.low, 's')}, decides"
    elif DELAY_MARGIN * longest > wanted * (1.0 + EXACT):
        decides = (
            f"there is no room for {DELAY_MARGIN:g} times that below {show(high.value, 's')} ({high.why})"
        )
    else:
        decides = f"times {DELAY_MARGIN:g} that is {show(wanted, 's')}"
    # It is never rounded down.
    words_of_rounding = rounded(value, wanted, "s", found.step).replace(" rounded to ", " rounded up to ")
    why = (
        f"{words}; {decides}, within the range of "
        f"{show(reach.low, 's')} to {show(reach.high, 's')}; {words_of_rounding} "
        f"({found.taken})"
    )
    return replace(found, recommended=value, why=why)
