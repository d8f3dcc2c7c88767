"""Outputs that feed one input together: alone, in series or in parallel, and what they give as a whole."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from railwright.documents.bench import Bench, Output, Reading
from railwright.documents.figures import error_bound
from railwright.documents.hook_up import HookUp
from railwright.documents.hook_up import Source as Joined
from railwright.documents.output_name import OutputName
from railwright.settings.rule import Path

Quantity = Literal["voltage", "current"]
Arrangement = Literal["alone", "series", "parallel"]

EARTH = "earth"


def output_path(name: OutputName) -> Path:
    """Place of an output in the bench document."""
    return ("bench", "supplies", name.supply, "outputs", name.output)


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


@dataclass(frozen=True, eq=False)
class Group:
    """Outputs that are joined, in the order in which they are written: in series the first is the top one.

    Voltages are shared by full scale in series, currents by full scale in parallel, as the set points are.
    outputs: name -> figures. isolations: of their supplies from earth [V]; None: unknown.
    ties: see `tie_of`. SI units; what hangs on a figure that the bench does not give comes back as None.
    """

    outputs: Mapping[OutputName, Output]
    arrangement: Arrangement
    isolations: tuple[float | None, ...]
    ties: tuple[str | None, ...]

    @property
    def names(self) -> tuple[OutputName, ...]:
        return tuple(self.outputs)

    @cached_property
    def rows(self) -> tuple[Output, ...]:
        return tuple(self.outputs.values())

    @property
    def count(self) -> int:
        return len(self.outputs)

    @property
    def series(self) -> bool:
        return self.arrangement == "series"

    @property
    def parallel(self) -> bool:
        return self.arrangement == "parallel"

    @property
    def words(self) -> str:
        """'left.1', 'left.1 and left.2 in series'."""
        *others, last = self.names
        return f"{', '.join(others)} and {last} in {self.arrangement}" if others else last

    @property
    def gives(self) -> str:
        """'left.1 gives', 'left.1 and left.2 in series give'."""
        return f"{self.words} {'gives' if self.count == 1 else 'give'}"

    @cached_property
    def shares(self) -> tuple[float, ...]:
        """Part of the voltage that each output carries."""
        highest = [output.voltage.high for output in self.rows]
        return tuple(each / sum(highest) if self.series else 1.0 for each in highest)

    @cached_property
    def parts(self) -> tuple[float, ...]:
        """Part of the current that each output carries."""
        largest = [output.current.high for output in self.rows]
        return tuple(each / sum(largest) if self.parallel else 1.0 for each in largest)

    @cached_property
    def power_parts(self) -> tuple[float, ...]:
        """Part of the power that each output gives."""
        return tuple(share * part for share, part in zip(self.shares, self.parts, strict=True))

    @cached_property
    def full_voltage(self) -> float:
        """Highest voltage that can be asked of the group [V]; unlike outputs in parallel: of the lowest."""
        return (sum if self.series else min)(output.voltage.high for output in self.rows)

    @cached_property
    def reach(self) -> float:
        """Highest voltage that can stand at the group's terminals, whatever is set [V]."""
        return (sum if self.series else max)(output.voltage.high for output in self.rows)

    @cached_property
    def farthest(self) -> float:
        """Highest voltage of either polarity that can stand at the group's terminals, whatever is set [V]."""
        return (sum if self.series else max)(
            max(abs(output.voltage.low), abs(output.voltage.high)) for output in self.rows
        )

    @cached_property
    def full_current(self) -> float:
        """Largest current that the group can give [A]."""
        return (sum if self.parallel else min)(output.current.high for output in self.rows)

    @cached_property
    def full_power(self) -> float:
        """Largest power that can be drawn while no output gives more than its own [W]; of an output without a
        rating the product of its full voltage and current counts.
        """
        return min(
            (output.power if output.power is not None else output.voltage.high * output.current.high) / part
            for output, part in zip(self.rows, self.power_parts, strict=True)
        )

    def together(self, stands: Mapping[OutputName, float]) -> float:
        """Set point of the group [V] by where those of its outputs stand."""
        return (sum if self.series else max)(stands[output] for output in self.names)

    def whole(self, each: Iterable[float | None], comes_to: Callable[[list[float]], float]) -> float | None:
        """One figure for the group, such as the sum of the outputs' or the largest."""
        known = [figure for figure in each if figure is not None]
        return None if len(known) < self.count else comes_to(known)

    def _across(self, each: Iterable[float | None], adds: bool) -> float | None:
        """What the outputs' figures come to across the group's terminals: they add up, or their inverses."""
        whole = self.whole(each if adds else map(_inverse, each), sum)
        return whole if adds or whole is None else 1.0 / whole

    def _errors(self, quantity: Quantity, value: float) -> list[float | None]:
        """Bound of the programming error of each output at a set voltage or current of the group [V or A]."""
        portions = self.shares if quantity == "voltage" else self.parts
        return [
            error_bound(getattr(output.programming, quantity), value * portion)
            if output.programming
            else None
            for output, portion in zip(self.rows, portions, strict=True)
        ]

    def voltage_error(self, voltage: float) -> float | None:
        """Bound of the programming error at a set voltage [V]."""
        return self.whole(self._errors("voltage", voltage), sum if self.series else max)

    def voltage_with_error(self, voltage: float) -> float:
        """What a set voltage may come to: with its error, as far as it is known [V]."""
        return voltage + (self.voltage_error(voltage) or 0.0)

    @property
    def voltage_gain(self) -> float:
        """Bound of the part by which a set voltage, and so the rate at which it is moved, is too high."""
        return max((o.programming.voltage.of_value for o in self.rows if o.programming), default=0.0)

    def limit_error(self, limit: float) -> float | None:
        """Bound of the error of a current limit set for the input [A]."""
        return self.whole(self._errors("current", limit), sum if self.parallel else max)

    def surely(self, limit: float) -> float:
        """What a current limit carries for sure: less its error, as far as it is known [A]."""
        return limit - (self.limit_error(limit) or 0.0)

    def at_most(self, limit: float) -> float:
        """What a current limit lets through at most: with its error, as far as it is known [A]."""
        return limit + (self.limit_error(limit) or 0.0)

    def read_together(
        self, quantity: Quantity, value: float, bound: Callable[[Output, float], float]
    ) -> float:
        """Bound of the error of the group's reading of a voltage or current [V or A]: the sum where the
        outputs share it, else the mean, as a run takes the mean of readings that are each of the whole. Which
        of outputs in parallel carries how much is not known: those count first whose error grows the most.

        bound: (output, what it reads) -> bound of the error of its own.
        """
        adds, portions = (self.series, self.shares) if quantity == "voltage" else (self.parallel, self.parts)
        if quantity == "current" and self.parallel:
            left, errors = abs(value), []
            for output in sorted(self.rows, key=lambda each: bound(each, 0.0) - bound(each, 1.0)):
                own = min(left, output.current.high)
                errors.append(bound(output, own))
                left -= own
            return sum(errors)
        each = zip(self.rows, portions, strict=True)
        return sum(bound(output, value * portion) for output, portion in each) / (1 if adds else self.count)

    def reading_error(self, quantity: Quantity, value: float) -> float | None:
        """The same by the readings' accuracy."""
        if None in self.readings:
            return None
        return self.read_together(
            quantity, value, lambda output, own: error_bound(getattr(output.reading, quantity), own)
        )

    @property
    def ovp_error(self) -> float | None:
        """Bound by which the voltage may exceed the group's OVP level [V]."""
        errors = [output.ovp.accuracy if output.ovp else None for output in self.rows]
        return self.whole(errors, sum if self.series else max)

    def ovp_with_error(self, level: float) -> float:
        """The most that an OVP of this level of the group lets stand: with its error, as far as it is known
        [V].
        """
        return level + (self.ovp_error or 0.0)

    def ovp_early(self, voltage: float) -> float:
        """How far the group's OVP level must lie above the highest voltage that a set one [V] may come to, so
        that no output acts [V]; as far as it is known. In series each output acts on its own share, which its
        own errors put off: where the shares are unlike, the smallest one mostly decides.
        """
        together = self.voltage_error(voltage) or 0.0
        errors = self._errors("voltage", voltage) if self.series else [together] * self.count
        early = [output.ovp.accuracy if output.ovp else None for output in self.rows]
        each = zip(errors, early, self.shares, strict=True)
        return max(((error or 0.0) + (acts or 0.0)) / share for error, acts, share in each) - together

    @property
    def ovp_response(self) -> float | None:
        """Slowest response of the group's OVP [s]."""
        return self.whole([output.ovp.response if output.ovp else None for output in self.rows], max)

    @property
    def output_capacitance(self) -> float | None:
        """Capacitance of the group's own outputs at its terminals [F]."""
        return self._across([output.output_capacitance for output in self.rows], not self.series)

    @cached_property
    def charged(self) -> float | None:
        """Capacitance of the group's own outputs that a current limit charges as fast as the group rises [F]:
        in series each charges its own at its share of the rate, and the one with the most to charge decides.
        """
        return self.whole(self._charged, max) if self.series else self.output_capacitance

    @cached_property
    def _charged(self) -> list[float | None]:
        """Of each output in series its capacitance times its share of the voltage [F]."""
        return [
            None if output.output_capacitance is None else output.output_capacitance * share
            for output, share in zip(self.rows, self.shares, strict=True)
        ]

    @property
    def ahead(self) -> float:
        """Part of the voltage that the others may hold already while the output in series with the most to
        charge is still charging; 0 where all of them charge alike.
        """
        known = [farads for farads in self._charged if farads is not None] if self.series else []
        if len(known) < self.count or max(known) <= min(known) * (1.0 + 1e-9):
            return 0.0
        return 1.0 - self.shares[known.index(max(known))]

    @property
    def stored(self) -> float:
        """Capacitance that holds as much energy at the group's voltage as its outputs do [F], as far as it is
        known: Σ C·share².
        """
        return sum((o.output_capacitance or 0.0) * s**2 for o, s in zip(self.rows, self.shares, strict=True))

    @property
    def bleeder(self) -> float | None:
        """Resistance of the outputs' bleeders across the group's terminals [Ω]."""
        return self._across([output.bleeder for output in self.rows], self.series)

    @property
    def leak(self) -> float:
        """Conductance across the group's terminals by which its outputs' bleeders empty them, as far as it is
        known [S]. In series each bleeder empties its own capacitor, so that those of small ones count most.
        """
        each = [
            share / o.bleeder if o.bleeder else 0.0 for o, share in zip(self.rows, self.shares, strict=True)
        ]
        if not self.series:
            return sum(each)
        own = self.output_capacitance
        if not own:
            return min(each)
        parts = [own / o.output_capacitance if o.output_capacitance else 0.0 for o in self.rows]
        return sum(part * leak for part, leak in zip(parts, each, strict=True))

    def fastest(self, each: Iterable[float | None]) -> float | None:
        """Rate that every output keeps up with, of the rates that they reach by themselves [V/s]."""
        rates = zip(each, self.shares, strict=True)
        return self.whole((None if rate is None else rate / share for rate, share in rates), min)

    @property
    def readings(self) -> list[Reading | None]:
        return [output.reading for output in self.rows]

    @property
    def updates(self) -> list[float]:
        """Update intervals of the outputs' readings, those that are known [s]."""
        return [each.update for each in self.readings if each is not None and each.update]

    @property
    def apertures(self) -> list[float | None]:
        """Over what time each output's readings average [s]."""
        return [each.aperture if each is not None else None for each in self.readings]

    def reading_times(self, every: float) -> tuple[float, float]:
        """Longest update interval and longest averaging time of the outputs' readings [s]: where the bench
        does not give the one, `every`, and where it does not give the other, the one.
        """
        update = self.whole([each.update if each else None for each in self.readings], max) or every
        return update, self.whole(self.apertures, max) or update

    def without(self, protection: str) -> list[OutputName]:
        """Outputs of which the bench names no such protection ('ovp', 'opp', 'ocp')."""
        return [name for name, output in self.outputs.items() if getattr(output, protection) is None]

    @property
    def unlike(self) -> list[OutputName]:
        """Outputs that differ from the first in range or rise."""
        kinds = {name: (o.voltage.high, o.current.high, o.rise) for name, o in self.outputs.items()}
        return [name for name, kind in kinds.items() if kind != kinds[self.names[0]]]

    @property
    def at_output(self) -> Path:
        """The first output's place in the bench document."""
        return output_path(self.names[0])


def _inverse(value: float | None) -> float | None:
    return None if value is None else 1.0 / value if value else math.inf


def group_of(names: Sequence[OutputName], arrangement: Arrangement, bench: Bench) -> Group:
    """The group of these outputs, in this order."""
    return Group(
        {name: bench.output(name) for name in names},
        arrangement,
        tuple(bench.supply_of(name).isolation for name in names),
        tuple(tie_of(name, bench) for name in names),
    )


def hook_up_of(
    names: Sequence[str],
    arrangement: str,
    lead: str,
    fixture: str | None,
    sense: Literal["at load", "at terminals"],
) -> HookUp:
    """What feeds an input, as a procedure writes it: these outputs in this arrangement."""
    source = names[0] if arrangement == "alone" else Joined.model_validate({arrangement: names})
    return HookUp(source=source, lead=lead, fixture=fixture, sense=sense)
