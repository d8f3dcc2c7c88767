"""What can hide where a record shows nothing: between readings, and where samples are missing."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from railwright.measures.measure import Channel
from railwright.measures.outcome import CannotMeasure
from railwright.measures.wording import amount
from railwright.quantities import show

if TYPE_CHECKING:
    from railwright.measures.reading_model import HidingBound
    from railwright.measures.signal import Array, View

MISSING = 3.0
"""Samples farther apart than so many of their usual intervals have others missing between them."""

UNBROKEN = "a recording in which no samples are missing"


class Hidden(NamedTuple):
    """The largest value that can hide between readings, and why, in words. open_above: nothing but a lead's
    resistance bounds it, which is no bound that a supply would reach.
    """

    highest: float
    words: str
    open_above: bool = False


def hidden(view: View, bound: HidingBound | None, unit: str, hides: str) -> Hidden:
    """The largest value that can hide between readings; `hides` is the first of its words.

    A current limit holds a current only once it has responded; until then the output capacitor feeds the
    load, and the lead limits the current (`railwright.physics.surge`).
    """
    if bound is None:
        return Hidden(math.inf, hides)
    unseen = f"{hides}: anything up to {bound.what}, {amount(bound.value, unit)}"
    highest = bound.value + bound.tolerance
    if unit != "A":
        return Hidden(highest, unseen)
    path, level = view.model.surge, view.model.voltage_bound
    surge = path.largest(level.value + level.tolerance) if path is not None and level is not None else None
    response = path.response if path is not None else None
    when = f"until it has responded, in {amount(response, 's')}," if response else "until it has responded"
    if surge is None:
        words = f"{unseen}, and {when} what lead and output capacitor let through (unknown)"
        return Hidden(math.inf, words, True)
    return Hidden(
        max(highest, surge.current),
        f"{unseen}, and {when} up to {amount(surge.current, unit)}, which {surge.words}; the load's model "
        "is no bound, as the load is what is tested",
        surge.by_lead_alone and surge.current > highest,
    )


LEFT_OUT = 1.5
"""Readings that are farther apart than this many updates have one between them that was not handed over."""


def between_polls(view: View) -> dict[str, str]:
    """What is said where polls leave out readings, and a level that was played can fall between two."""
    update, aperture = view.model.update or 0.0, view.model.aperture or 0.0
    if not view.model.averages or not update or view.interval <= LEFT_OUT * update:
        return {}
    if view.stands >= view.interval + aperture:
        return {}
    return {
        "unseen": f"a level that is set for {amount(view.stands, 's')} can fall between readings that are "
        f"{amount(view.interval, 's')} apart",
        "would_decide": "a reading of every update",
    }


def no_whole_reading(view: View) -> CannotMeasure:
    """What is said of a window in which no reading surely lies wholly, where those around it differ."""
    return CannotMeasure(
        f"no reading surely lies wholly in {view.called}, and those around it differ",
        "a longer step, or faster readings",
    )


class Gaps(NamedTuple):
    """Where samples are missing within a step: in how many gaps, how long all together, and in the longest
    gap [s]; that in words. Falsy: nowhere.
    """

    number: int
    total: float
    longest: float
    words: str

    def __bool__(self) -> bool:
        return self.longest > 0.0


def missing(view: View, time: Array) -> Gaps:
    """Where samples of a recording are missing within the step, or may be, as far as is known when they were
    taken; nowhere in what is no recording.

    time: of the samples, shape (n,), with those beside the step.
    """
    import numpy as np

    if view.model.exact or view.model.update != 0.0 or time.size < 2:
        return Gaps(0, 0.0, 0.0, "")
    within = np.clip(time, view.begin - view.model.clock, view.end + view.model.clock)
    begin, end = within[:-1], within[1:]
    gaps = np.where(np.diff(time) > MISSING * view.interval, end - begin, 0.0)
    place = int(np.argmax(gaps))
    longest, since = float(gaps[place]), float(begin[place])
    words = f"samples are missing for {show(longest, 's', 3)} from {show(since, 's')} on"
    return Gaps(int(np.count_nonzero(gaps)), math.fsum(gaps), longest, words)


def most_missing(view: View, time: Array, channels: tuple[Channel, ...]) -> float:
    """Bound of what the integral of a channel, or of the product of two, misses where samples are missing
    [A s, V s or W s]. CannotMeasure where nothing bounds it.
    """
    gaps = missing(view, time)
    if not gaps:
        return 0.0
    own = None if view.beside is None else view.beside.model
    current, voltage = (None, None) if own is None else (own.current_bound, own.voltage_bound)
    most = gaps.total
    if "current" in channels:
        surge = math.inf if view.beside is None else hidden(view.beside, current, "A", "")[0]
        limit = math.inf if current is None else current.value + current.tolerance
        # The limit holds the current once it has responded, after each gap's own surge.
        response = own.surge.response if own is not None and own.surge is not None else None
        short = gaps.total if response is None else min(gaps.total, gaps.number * response)
        most = limit * gaps.total + (surge - limit) * short if math.isfinite(surge) else math.inf
    if "voltage" in channels:
        most *= math.inf if voltage is None else voltage.value + voltage.tolerance
    if math.isinf(most):
        raise CannotMeasure(gaps.words, UNBROKEN)
    return most
