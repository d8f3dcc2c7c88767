"""The window of a trip delay: longer than normal operation is in the limit, as long as lead and fuse bear."""

from __future__ import annotations

from dataclasses import replace

from railwright.quantities import state
from railwright.settings import figures
from railwright.settings.constraints.constraint import EXACT
from railwright.settings.constraints.trip_delay import facts, range_of
from railwright.settings.context import FedInput
from railwright.settings.windows.window import DELAY_MARGIN, Window, rounded, window_of

TO_ROUND = 0.04
"""What a trip delay is lengthened by so that a round value above the least one can be found."""

DELAY_STEP = 1e-4
"""Step of trip delays [s], which a bench does not give."""


def window(source: FedInput, limit: float | None) -> Window:
    """The window of an input's trip delay [s], with a recommended value where all is known.

    limit [A]: the current limit; None: there is none yet.
    """
    window = window_of(
        source,
        "trip_delay",
        DELAY_STEP,
        facts(source, limit),
        [1.0] * source.count,
        source.limits.trip_delay,
        "the delay's own step is not given: taken",
    )
    return recommend(window, source.in_operation) if limit is not None else window


def recommend(found: Window, source: FedInput) -> Window:
    """With the recommended value: some way above the longest time in the limit, and round."""
    low, high, reach = found.low, found.high, range_of(source)
    if found.lacks or found.colliding() or low is None or high is None:
        return found
    charging = next((end for end in found.ends if end.side == "low" and end.key != "range"), None)
    if charging is None and not source.load.settled:
        # Nothing is known before the rehearsal: the longest delay lets everything settle.
        return replace(
            found,
            recommended=high.value,
            why=state(
                "a part of the load draws more until it has settled, and only a rehearsal tells for how "
                "long; until then the longest delay that is right, {high} ({high_end})",
                high=(high.value, "s"),
                high_end=high.why,
            ),
        )
    longest = charging.value if charging else 0.0
    wanted = min(max(low.value, DELAY_MARGIN * longest), high.value)
    aim = min((1.0 + TO_ROUND) * wanted, high.value)
    value = figures.tidy(aim, wanted, high.value, found.step)
    words = charging.why if charging else "nothing that is played reaches the current limit"
    if charging is None or wanted <= reach.low * (1.0 + EXACT):
        decides = state("the shortest delay of the output, {shortest}, decides", shortest=(reach.low, "s"))
    elif DELAY_MARGIN * longest > wanted * (1.0 + EXACT):
        decides = state(
            "there is no room for {ratio:g} times that below {high} ({high_end})",
            ratio=(DELAY_MARGIN, "1"),
            high=(high.value, "s"),
            high_end=high.why,
        )
    else:
        decides = state(
            "times {ratio:g} that is {with_margin}", ratio=(DELAY_MARGIN, "1"), with_margin=(wanted, "s")
        )
    return replace(
        found,
        recommended=value,
        why=state(
            "{words}; {decides}, within the range of {range_low} to {range_high}; {rounding} ({taken})",
            words=words,
            decides=decides,
            range_low=(reach.low, "s"),
            range_high=(reach.high, "s"),
            # It is never rounded down.
            rounding=rounded(value, wanted, "s", found.step, "rounded up to"),
            taken=found.taken,
        ),
    )
