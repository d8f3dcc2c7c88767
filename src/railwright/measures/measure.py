"""What is known of a measure: one decorated function says all of it, and `railwright.measures` lists it.

    @measure("V", "ripple", records=("voltage",))
    def ripple(view: View) -> Measured:
        \"\"\"Peak-to-peak voltage over the step, ...\"\"\"

The function is the computation, for readings, recordings and rehearsals alike: what a rehearsal predicts is
what it makes of the rehearsal's exact traces. It returns a `Measured` with its uncertainty budget, or raises
`CannotMeasure` where the record does not allow it, or `Beyond` where what it looks for did not happen up to a
bound. Its docstring is its definition in docs/measures.md. What the check, the report and the document reader
have to know beside that is a field of `Measure`; none of them knows a measure by its name.

A measure's module loads no numpy before it computes: documents are read without it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from railwright.measures.outcome import Measured
    from railwright.measures.signal import View

Channel = Literal["voltage", "current"]


@dataclass(frozen=True, slots=True)
class Measure:
    """A measure, to be called with a `View`.

    name: as requirements write it. unit: SI unit of its result and of its limits; '1': a count. words: what a
    report calls it. records: the channels that it tells of; also: those without which it cannot, so that a
    recording that decides it has both. compute: the computation.

    level_of: the channel of whose level it is a value, so that a reading's error bounds it, a limit is
    drawn across that channel's panel, and (unless it `turns`) the current limit or the OVP bounds it; None:
    another quantity. turns: of a voltage that is taken where the input's current falls or rises on a ramp.
    momentary: a single short event decides it, which readings that are means can hide. mean: a surge raises
    it by no more than the surge's own integral, divided by the length of the window (an r.m.s. value is
    neither of the two). only_grows: nothing later in its step makes it smaller. after_switching_on: it is a
    time that begins when the input is switched on. sampling: from the update interval of the readings, the
    time between two that are recorded, and their aperture, to the longest time between two samples of a
    recording that sees enough where the readings do not [all in s]; None: how often a recording samples is
    not what decides. trip: it is the time of a trip, or their count, and a requirement may name the
    protection with `by`; None: neither. of_supply: it is told by what regulates the outputs. inrush: its
    window is the time `within` from the switching-on, which a requirement has to state. accumulates: all that
    flows in its step counts, at any time.
    """

    name: str
    unit: str
    words: str
    records: tuple[Channel, ...]
    compute: Callable[[View], Measured]
    level_of: Channel | None = None
    turns: Literal["fall", "rise"] | None = None
    momentary: bool = False
    mean: bool = False
    only_grows: bool = False
    also: tuple[Channel, ...] = ()
    after_switching_on: bool = False
    sampling: Callable[[float, float, float], float] | None = None
    trip: Literal["time", "count"] | None = None
    of_supply: bool = False
    accumulates: bool = False
    inrush: bool = False

    def __call__(self, view: View) -> Measured:
        return self.compute(view)

    @property
    def bounded(self) -> Channel | None:
        """The channel whose protection bounds it from above: 'current' by its limit, 'voltage' by the OVP."""
        return self.level_of if self.turns is None else None


# Many: each is a fact that stands beside the function and nowhere else.
def measure(
    unit: str,
    words: str,
    records: tuple[Channel, ...],
    *,
    level_of: Channel | None = None,
    turns: Literal["fall", "rise"] | None = None,
    momentary: bool = False,
    mean: bool = False,
    only_grows: bool = False,
    also: tuple[Channel, ...] = (),
    after_switching_on: bool = False,
    sampling: Callable[[float, float, float], float] | None = None,
    trip: Literal["time", "count"] | None = None,
    of_supply: bool = False,
    accumulates: bool = False,
    inrush: bool = False,
) -> Callable[[Callable[[View], Measured]], Measure]:
    """The `Measure` of a function, called as the function is; its fields as there."""

    def made(compute: Callable[[View], Measured]) -> Measure:
        return Measure(
            compute.__name__,
            unit,
            words,
            records,
            compute,
            level_of=level_of,
            turns=turns,
            momentary=momentary,
            mean=mean,
            only_grows=only_grows,
            also=also,
            after_switching_on=after_switching_on,
            sampling=sampling,
            trip=trip,
            of_supply=of_supply,
            accumulates=accumulates,
            inrush=inrush,
        )

    return made
