"""Outputs that could feed one input together: alone, in series or in parallel, and what they give."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from railwright.documents.bench import Bench, Output
from railwright.documents.hook_up import Source as Joined
from railwright.documents.output_name import OutputName
from railwright.settings import figures

Arrangement = Literal["alone", "series", "parallel"]

MOST_JOINED = 4
"""Outputs of one supply that are considered in one group (ours: a bench that needs more wants a larger
supply).
"""

MOST_ACROSS = 3
"""Outputs that are considered in one group where they belong to different supplies."""

EARTH = "earth"


def tie_of(name: OutputName, bench: Bench) -> str | None:
    """What the negative terminal of an output is tied to: 'earth', the supply whose negatives are joined
    inside, or nothing.
    """
    supply = bench.supply_of(name)
    if bench.output(name).negative == EARTH:
        return EARTH
    if name.output in supply.common_negative and len(supply.common_negative) > 1:
        earthed = any(supply.outputs[each].negative == EARTH for each in supply.common_negative)
        return EARTH if earthed else name.supply
    return None


def couplings_of(outputs: Sequence[OutputName], bench: Bench) -> tuple[tuple[str, int], ...]:
    """The coupled groups (supply, number) that outputs belong to."""
    found = dict.fromkeys(
        (name.supply, number)
        for name in outputs
        if name.supply in bench.supplies
        for number, coupling in enumerate(bench.supplies[name.supply].coupled)
        if name.output in coupling.outputs
    )
    return tuple(found)


@dataclass(frozen=True, eq=False)
class Group:
    """Outputs that are joined, in the order in which they are written: in series the first is the top one.

    Voltages are shared by full scale in series, currents by full scale in parallel, as the set points are.
    """

    names: tuple[OutputName, ...]
    arrangement: Arrangement
    rows: tuple[Output, ...]
    isolations: tuple[float | None, ...]
    ties: tuple[str | None, ...]

    @property
    def series(self) -> bool:
        return self.arrangement == "series"

    @property
    def parallel(self) -> bool:
        return self.arrangement == "parallel"

    @cached_property
    def shares(self) -> tuple[float, ...]:
        """Part of the voltage that each output carries."""
        if not self.series:
            return (1.0,) * len(self.rows)
        full = sum(output.voltage.high for output in self.rows)
        return tuple(output.voltage.high / full for output in self.rows)

    @cached_property
    def parts(self) -> tuple[float, ...]:
        """Part of the current that each output carries."""
        if not self.parallel:
            return (1.0,) * len(self.rows)
        full = sum(output.current.high for output in self.rows)
        return tuple(output.current.high / full for output in self.rows)

    @cached_property
    def full_voltage(self) -> float:
        """Highest voltage that can be asked of the group [V]; unlike outputs in parallel: of the lowest."""
        highest = [output.voltage.high for output in self.rows]
        return sum(highest) if self.series else min(highest)

    @cached_property
    def reach(self) -> float:
        """Highest voltage that can stand at the group's terminals, whatever is set [V]."""
        highest = [output.voltage.high for output in self.rows]
        return sum(highest) if self.series else max(highest)

    @cached_property
    def full_current(self) -> float:
        """Largest current that the group can give [A]."""
        largest = [output.current.high for output in self.rows]
        return sum(largest) if self.parallel else min(largest)

    @cached_property
    def full_power(self) -> float:
        """Largest power that can be drawn while no output gives more than its own [W]."""
        each = [
            (output.power if output.power is not None else output.voltage.high * output.current.high)
            / (share * part)
            for output, share, part in zip(self.rows, self.shares, self.parts, strict=True)
        ]
        return min(each)

    def voltage_error(self, voltage: float) -> float | None:
        """Bound of the programming error at a set voltage [V]; None: unknown."""
        return figures.voltage_error(self.rows, self.shares, voltage, series=self.series)

    def limit_error(self, limit: float) -> float | None:
        """Bound of the error of a current limit set for the input [A]; None: unknown."""
        return figures.current_error(self.rows, [limit * part for part in self.parts], parallel=self.parallel)

    def reading_error_at(self, current: float) -> float | None:
        """Bound of the error of the current as the outputs read it [A]: the sum in parallel, else the first's
        own, the least of those in series.
        """
        errors = []
        for output, part in zip(self.rows, self.parts, strict=True):
            if output.reading is None:
                return None
            errors.append(figures.error(output.reading.current, current * part))
        return sum(errors) if self.parallel else min(errors)

    @cached_property
    def across(self) -> bool:
        """Whether it joins outputs of different supplies."""
        return len({name.supply for name in self.names}) > 1

    @cached_property
    def unlike(self) -> bool:
        """Whether its outputs differ in range or rise."""
        return len({(o.voltage.high, o.current.high, o.rise) for o in self.rows}) > 1

    @property
    def source(self) -> str | Joined:
        """The group as a procedure writes it."""
        if self.arrangement == "alone":
            return self.names[0]
        return Joined(series=self.names) if self.series else Joined(parallel=self.names)

    @property
    def gives(self) -> str:
        """'left.1 gives', 'left.1 and left.2 in series give'."""
        return f"{self.words} {'gives' if self.arrangement == 'alone' else 'give'}"

    @property
    def words(self) -> str:
        """'left.1', 'left.1 and left.2 in series'."""
        if self.arrangement == "alone":
            return self.names[0]
        return f"{', '.join(self.names[:-1])} and {self.names[-1]} in {self.arrangement}"


def group_of(names: Sequence[OutputName], arrangement: Arrangement, bench: Bench) -> Group:
    """The group of these outputs, in this order."""
    return Group(
        tuple(names),
        arrangement,
        tuple(bench.output(name) for name in names),
        tuple(bench.supply_of(name).isolation for name in names),
        tuple(tie_of(name, bench) for name in names),
    )


def joinings(
    names: Sequence[OutputName], size: int, voltage: float, current: float, bench: Bench
) -> Iterator[tuple[tuple[OutputName, ...], Arrangement]]:
    """Every choice of so many of these outputs, in the order of the bench document, that may be joined and
    reaches a voltage [V] and a current [A] together: in series, then in parallel.

    Within one supply up to MOST_JOINED, whether or not the bench permits it (that may be the smallest
    change); across supplies up to MOST_ACROSS, where it does.
    """
    if size == 1:
        yield from (((name,), "alone") for name in names)
        return
    rows = {name: bench.output(name) for name in names}
    own: dict[str, list[OutputName]] = {}
    for name in names:
        own.setdefault(name.supply, []).append(name)
    place = {name: index for index, name in enumerate(names)}
    inside = {chosen for each in own.values() for chosen in itertools.combinations(each, size)}
    for arrangement in ("series", "parallel"):
        joinable = [name for name in names if arrangement in rows[name].may_join]
        across = itertools.combinations(joinable, size) if size <= MOST_ACROSS else iter(())
        for chosen in sorted({*inside, *across}, key=lambda chosen: [place[name] for name in chosen]):
            highest = [rows[name].voltage.high for name in chosen]
            largest = [rows[name].current.high for name in chosen]
            series = arrangement == "series"
            reaches = (sum(highest) if series else min(highest)) >= voltage
            if reaches and (min(largest) if series else sum(largest)) >= current:
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
