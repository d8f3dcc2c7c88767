"""Groups of outputs that could feed one input together, and the couplings that they belong to."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.grouping import grouped
from railwright.settings.group import Arrangement, Group, group_of, tie_of

MOST_JOINED = 4
"""Outputs of one supply that are considered in one group (ours: a bench that needs more wants a larger
supply).
"""

MOST_ACROSS = 3
"""Outputs that are considered in one group where they belong to different supplies."""


def couplings_of(outputs: Sequence[OutputName], bench: Bench) -> tuple[tuple[str, int], ...]:
    """The coupled groups (supply, number) that outputs belong to."""
    return tuple(
        dict.fromkeys(
            (name.supply, number)
            for name in outputs
            if name.supply in bench.supplies
            for number, coupling in enumerate(bench.supplies[name.supply].coupled)
            if name.output in coupling.outputs
        )
    )


def joinings(
    names: Sequence[OutputName],
    size: int,
    voltage: float,
    current: float,
    bench: Bench,
    *,
    permitted: bool = True,
) -> Iterator[tuple[tuple[OutputName, ...], Arrangement]]:
    """Every choice of so many of these outputs, in the order of the bench document, that may be joined and
    reaches a voltage [V] and a current [A] together: in series, then in parallel.

    Within one supply up to MOST_JOINED, whether or not the bench permits it (that may be the smallest
    change); across supplies up to MOST_ACROSS, where it does, or (not permitted) whether or not.
    """
    if size == 1:
        yield from (((name,), "alone") for name in names)
        return
    rows = {name: bench.output(name) for name in names}
    own = grouped((name.supply, name) for name in names)
    place = {name: index for index, name in enumerate(names)}
    inside = {chosen for each in own.values() for chosen in itertools.combinations(each, size)}
    for arrangement in ("series", "parallel"):
        joinable = [name for name in names if not permitted or arrangement in rows[name].may_join]
        across = itertools.combinations(joinable, size) if size <= MOST_ACROSS else iter(())
        for chosen in sorted({*inside, *across}, key=lambda chosen: [place[name] for name in chosen]):
            series = arrangement == "series"
            volts = (sum if series else min)(rows[name].voltage.high for name in chosen)
            amperes = (min if series else sum)(rows[name].current.high for name in chosen)
            if volts >= voltage and amperes >= current:
                yield chosen, "series" if series else "parallel"


def orders(chosen: Sequence[OutputName], arrangement: Arrangement, bench: Bench) -> Iterator[Group]:
    """The groups of these outputs: in series each of those whose negative is tied may be the lowest; where
    none is, and in any other arrangement, there is one order.
    """
    if arrangement != "series":
        yield group_of(chosen, arrangement, bench)
        return
    tied = [name for name in chosen if tie_of(name, bench) is not None]
    for lowest in tied or [chosen[-1]]:
        yield group_of((*(name for name in chosen if name != lowest), lowest), arrangement, bench)
