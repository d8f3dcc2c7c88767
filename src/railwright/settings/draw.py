"""What an input's load model draws from a steady voltage, as bounds over its tolerances."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterator, Sequence
from functools import partial
from typing import NamedTuple

from railwright.circuit.inside import NOTHING, at_connector, lost_inside
from railwright.documents.device import Input
from railwright.documents.fixture import AddedCapacitor, Fixture
from railwright.frozen import kept
from railwright.physics import halving
from railwright.physics.driven import ChargingPiece, charging, charging_behind, charging_pieces
from railwright.physics.loads import KINDS, LoadKind, LoadParameters
from railwright.physics.loads.capacitor import Capacitor
from railwright.physics.loads.converter import Converter
from railwright.physics.loads.law import Ascent, Follower, Ramp, Rising
from railwright.quantities import Uncertain

GATE = ("starts_at", "stops_at")
THRESHOLDS = (*GATE, "compliance")
_LOOKS = 48
_NEAR = 1e-6
"""Relative distance of two voltages whose currents give a slope."""
_NEAR_ZERO = 1e-3
"""Least voltage that the distance is taken of [V]."""
_FINER = 40
"""Halvings of the interval between two looks in the search for a voltage."""
COUNTS = 0.01
"""Part of the rise from which on the drop in a capacitor's series resistance counts in a charging time."""
_AS_MUCH = 1e-9
"""Relative difference up to which two currents count as equal (chosen)."""


class Bounds(NamedTuple):
    """Least and greatest of a figure, in SI units."""

    low: float
    high: float


NOTHING_LOST = Bounds(0.0, 0.0)


def _corners(parameters: LoadParameters) -> Iterator[list[float]]:
    """Every combination of the ends of the parameters' tolerances, in the order of the model's fields."""
    choices: list[tuple[float, ...]] = []
    for name in parameters.scalars():
        given = getattr(parameters, name)
        if isinstance(given, Uncertain):
            choices.append((given.low,) if given.certain else (given.low, given.high))
        elif given is None:
            choices.append((parameters.assumed[name][0],))
        else:
            choices.append((float(given),))
    return ([*corner, *parameters.table()] for corner in itertools.product(*choices))


class _Part(NamedTuple):
    """One part of a load that draws a steady current, at every corner of its tolerances.

    starts, stops [V]: the lowest voltages at which it may start and stop; -inf: it draws at any voltage.
    started [V]: the highest at which it may start: from there on it surely has.
    between: corners among which are those of the least and of the greatest settled current; least, most:
    those among which is that of the least current just after a rise, and of the greatest on a ramp. seldom: a
    pin enables it at some times only.
    """

    kind: LoadKind
    corners: tuple[list[float], ...]
    starts: float
    started: float
    stops: float
    between: Sequence[list[float]]
    least: Sequence[list[float]]
    most: Sequence[list[float]]
    seldom: bool = False
    lost: Bounds = NOTHING_LOST

    def _behind(self, voltage: float) -> list[float]:
        """Voltages that it may see at a voltage of the connector [V], with that of its greatest current: just
        above where it may stop.
        """
        if self.lost == NOTHING_LOST:
            return [voltage]
        lowest, highest = voltage - self.lost.high, voltage - self.lost.low
        stops = (self.stops - self.lost.low) * (1.0 + 1e-9)
        return [lowest, highest, *([stops] if lowest < stops < highest else [])]

    def current(self, voltage: float) -> Bounds:
        """Current [A] once it has settled; 0 A lies within the bounds where it is not always enabled."""
        each = [self._enabled(behind) for behind in self._behind(voltage)]
        found = Bounds(min(one.low for one in each), max(one.high for one in each))
        return Bounds(min(0.0, found.low), max(0.0, found.high)) if self.seldom else found

    def _enabled(self, voltage: float) -> Bounds:
        """Settled current while it is enabled [A]: by `draws` of its module, else by its law."""
        draws = getattr(self.kind.equations, "draws", None)
        if draws is not None:
            found = [draws(voltage, corner) for corner in self.between]
            return Bounds(min(low for low, _ in found), max(high for _, high in found))
        law, flags = self.kind.equations.current, list(self.kind.flags_at_start)
        states = [0.0] * len(self.kind.states)  # no part of its current, or it would have `draws`
        currents = [float(law(voltage, 0.0, corner, states, flags)) for corner in self.corners]
        return Bounds(min(currents), max(currents))

    def at_least(self, voltage: float, risen: Ascent) -> float:
        """Least current at a voltage to which it has just risen [A]."""
        least = getattr(self.kind.equations, "at_least", None)
        if self.seldom or (least is not None and self.lost != NOTHING_LOST):
            return 0.0
        if least is None:
            return max(0.0, self.current(voltage).low)
        return max(0.0, min(float(least(voltage, risen, corner)) for corner in self.least))

    @property
    def follows(self) -> bool:
        """Whether it has a course of its own while a voltage is driven upwards."""
        return hasattr(self.kind.equations, "follower")

    def followers(self, start: float) -> list[Follower]:
        """That course, at the corners of which one draws least."""
        if self.lost != NOTHING_LOST:
            # The least of all: how it starts behind what lies inside is not known.
            return [lambda v, lasts: 0.0]
        return [self.kind.equations.follower(start, corner) for corner in self.least]

    def rising(self, ramp: Ramp) -> Rising:
        """What it draws at most on a ramp: nothing before the lowest voltage at which it may start."""
        rising = getattr(self.kind.equations, "rising", None)
        if rising is None:
            return Rising(lambda v, t: 0.0 if v < self.starts else self.current(v).high)
        each: list[Rising] = [rising(ramp, corner) for corner in self.most]
        if len(each) == 1 and self.lost == NOTHING_LOST:
            return each[0]
        marks = tuple(mark for found in each for mark in found.marks)
        return Rising(
            lambda v, t: max(found.current(seen, t) for found in each for seen in self._behind(v)),
            marks,
            each[0].winds,
        )

    @property
    def inertia(self) -> float:
        """See `LoadModel.inertia` [F]."""
        return self._most("inertia")

    @property
    def turning(self) -> float:
        """See `LoadModel.turning` [F]."""
        return self._most("turning")

    def _most(self, figure: str) -> float:
        """The largest of a figure that its module works out of its parameters; 0 where it has none."""
        of = getattr(self.kind.equations, figure, None)
        return 0.0 if of is None else max(float(of(corner)) for corner in self.corners)


def _seen_at_connector(converter: Converter, lost: Uncertain) -> Converter:
    """A converter with its thresholds as they are at the connector."""
    if lost == NOTHING:
        return converter
    given = converter.uncertain()
    return converter.model_copy(
        update={name: at_connector(given[name], lost) for name in GATE if name in given}
    )


class LoadModel:
    """The load of one input, with what lies inside before it, and a capacitor that a fixture adds to it.

    banks: the capacitors beside it. known: False where only a rehearsal tells a part's steady draw. settled:
    False where a part draws another current until it has settled (a lamp, a motor), so that only a rehearsal
    tells how long an input takes to charge. surges: True where it may draw more until then. waits: True where
    a part draws another current just after a rise than once it has settled. follows: True where one has a
    course of its own; see `followers`. moves: True where the draw at a voltage changes with the charge that
    has flowed (a cell). series_resistance, least_resistance: the largest and the smallest of its capacitors
    [Ω]. behind: of each capacitor its least capacitance [F] and its largest series resistance [Ω].
    behind_choke: the capacitors behind a choke inside the device.
    """

    # One piece: all that is worked out of an input's load once.
    def __init__(
        self,
        wanted: Input,
        fixture: Fixture | None = None,
        without: Collection[int] = (),
        at_times: Collection[int] = (),
    ) -> None:
        kept_on = [each for number, each in enumerate(wanted.load) if number not in without]
        entries = [(entry.parameters, KINDS[entry.kind]) for entry in kept_on]
        gated = [entry.parameters for number, entry in enumerate(wanted.load) if number in at_times]
        lost, inside = lost_inside(wanted), wanted.inside
        ohms = inside.resistance if inside is not None else NOTHING
        self.converters = [
            _seen_at_connector(each, lost) for each, _ in entries if isinstance(each, Converter)
        ]
        behind: list[Capacitor | AddedCapacitor] = [
            *(each for each, _ in entries if isinstance(each, Capacitor)),
            *([inside.capacitor] if inside and inside.capacitor else []),
        ]
        self.behind_choke = behind if inside is not None and inside.choke is not None else []
        self.banks = [
            *behind,
            *([fixture.capacitor] if fixture and fixture.capacitor else []),
        ]
        drawing = [(each, kind) for each, kind in entries if not isinstance(each, Capacitor)]
        steady = [each for each in drawing if not each[1].settles or hasattr(each[1].equations, "draws")]
        self.settled = not any(kind.settles for _, kind in drawing)
        self.surges = any(kind.settles and not kind.rises for _, kind in drawing)
        self.known = len(steady) == len(drawing)
        self.waits = any(hasattr(kind.equations, "at_least") for _, kind in steady)
        self.follows = any(hasattr(kind.equations, "follower") for _, kind in steady)
        self.moves = any("charge" in kind.states for _, kind in entries)
        self.monotonic = all(kind.monotonic for _, kind in steady)
        self._parts: list[_Part] = []
        self._marks: list[float] = []
        self._seen: dict[tuple[float, int], Bounds] = {}
        for parameters, kind in steady:
            given = parameters.uncertain()
            starts, stops = (given[name].low + lost.low if name in given else -math.inf for name in GATE)
            started = given["starts_at"].high + lost.high if "starts_at" in given else -math.inf
            corners = tuple(_corners(parameters))
            between = getattr(kind.equations, "drawing_between", tuple)(corners)
            least = getattr(kind.equations, "drawing_least", tuple)(corners)
            most = getattr(kind.equations, "rising_most", tuple)(corners)
            seldom = any(parameters is each for each in gated)
            way = Bounds(lost.low, lost.high)
            part = _Part(kind, corners, starts, started, stops, between, least, most, seldom, way)
            self._parts.append(part)
            thresholds = (value for name, value in given.items() if name in THRESHOLDS)
            ends = (end for value in thresholds for end in (value.low, value.high))
            self._marks += [starts * (1 - 1e-9), starts] if starts > 0.0 else []
            seen = {v + side for v in (*parameters.knees(), *ends) for side in (lost.low, lost.high)}
            self._marks += [mark for v in sorted(seen) for mark in (v, v * (1 + 1e-9))]
        capacities = [bank.capacitance for bank in self.banks]
        ways = [ohms] * len(behind) + [NOTHING] * (len(self.banks) - len(behind))
        resistances = [
            (bank.esr.high if bank.esr else Capacitor.assumed["esr"][0]) + way.high
            for bank, way in zip(self.banks, ways, strict=True)
        ]
        self.series_resistance = max(resistances, default=0.0)
        self.least_resistance = min(
            (
                (bank.esr.low if bank.esr else 0.0) + way.low
                for bank, way in zip(self.banks, ways, strict=True)
            ),
            default=0.0,
        )
        self.capacitance = Bounds(sum(each.low for each in capacities), sum(each.high for each in capacities))
        self.behind = tuple(
            (each.low, ohms) for each, ohms in zip(capacities, resistances, strict=True) if each.low > 0.0
        )

    def current(self, voltage: float, came_from: float = math.inf) -> Bounds | None:
        """Current at the connector at a steady voltage [V], every part running as long as it can.

        came_from: a voltage at which everything that stops there had stopped [V]: it draws nothing before it
        starts.
        """
        if not self.known:
            return None
        parts = self._parts
        if came_from < math.inf:
            parts = [part for part in parts if not (came_from < part.stops and voltage < part.starts)]
        key = voltage, len(parts)  # at one voltage fewer parts wait the higher it came from: one set a number
        seen = self._seen.get(key)
        if seen is None:
            currents = [part.current(voltage) for part in parts]
            seen = Bounds(sum(each.low for each in currents), sum(each.high for each in currents))
            self._seen[key] = seen
        return seen

    def least(self, voltage: float) -> float:
        """Least current that it draws at a steady voltage [A]; 0: none, or it is not known."""
        drawn = self.current(voltage)
        return 0.0 if drawn is None else max(0.0, drawn.low)

    def least_from(self, began: float, voltage: float) -> float:
        """Least current at a voltage on the way down from another one, from which on it is no longer fed [A]:
        a part that may not have started there draws nothing; 0: none, or it is not known.
        """
        if not self.known or all(part.started <= began for part in self._parts):
            return self.least(voltage)
        drawn = (part.current(voltage).low for part in self._parts if part.started <= began)
        return max(0.0, sum(drawn))

    @property
    def starts_by(self) -> list[float]:
        """Voltages, above 0 V, from which on each part that waits for one has surely started [V]."""
        return sorted({part.started for part in self._parts if part.started > 0.0})

    @property
    def just_above_stopping(self) -> list[tuple[float, float]]:
        """Of each converter the lowest voltage at which it may stop [V], and the greatest current that the
        whole load draws just above it [A].
        """
        return [
            (each.stops_at.low, drawn.high)
            for each in self.converters
            if (drawn := self.current(each.stops_at.low * (1 + 1e-9)))
        ]

    def at_least(self, voltage: float, risen: Ascent) -> float:
        """The least current at the connector [A] at a voltage to which it has just risen [V]: a converter may
        not have started yet, a winding carries no more than before, and a cell draws by the difference to its
        own voltage.
        """
        return sum(part.at_least(voltage, risen) for part in self._parts if not part.follows)

    def followers(self, start: float) -> Follower:
        """Least current of the parts that have a course of their own, such as a rotor that speeds up, while a
        voltage is driven upwards from `start` [V], at which they had settled.
        """
        each = [part.followers(start) for part in self._parts if part.follows]
        return lambda v, lasts: sum(max(0.0, min(step(v, lasts) for step in steps)) for steps in each)

    def rising(self, ramp: Ramp) -> Rising:
        """The greatest current on a ramp, without what charges its capacitance, and the times near which it
        may jump or peak.
        """
        each = [part.rising(ramp) for part in self._parts]
        levels = tuple(mark / ramp.rate for mark in self._marks if 0.0 < mark < ramp.stop)
        marks = (*levels, *(mark for found in each for mark in found.marks))
        winds = all(found.winds for found in each)
        return Rising(lambda v, t: sum(found.current(v, t) for found in each), marks, winds)

    def turns_at(self, stop: float) -> list[float]:
        """Rates of a rise to a voltage [V/s] at which a soft start ends together with it: the current may
        grow with the rate up to there, and fall beyond.
        """
        return [
            (stop - each.starts_at.low) / each.soft_start.low
            for each in self.converters
            if each.soft_start and each.soft_start.low > 0.0 and each.starts_at.low < stop
        ]

    @property
    def inertia(self) -> float:
        """Largest capacitance that stands for what its parts draw in addition while the voltage rises [F];
        inf: none does, and only a rehearsal tells.
        """
        return sum(part.inertia for part in self._parts)

    @property
    def turning(self) -> float:
        """Largest capacitance that stands for what turns in its parts, and feeds the input on its way down
        [F].
        """
        return sum(part.turning for part in self._parts)

    def looks(self, low: float, high: float, parts: int = _LOOKS) -> list[float]:
        """Voltages between two ends at which to look: a grid, and both sides of every threshold."""
        grid = {low + (high - low) * index / parts for index in range(parts + 1)}
        return sorted(grid | {mark for mark in self._marks if low <= mark <= high})

    @kept
    def over(self, low: float, high: float, came_from: float = math.inf) -> tuple[Bounds, float] | None:
        """Least and greatest steady current over a range of voltages [V], and the voltage of the greatest:
        the highest one where many draw as much.

        came_from: as `current` has it.
        """
        found = [(bounds, v) for v in self.looks(low, high) if (bounds := self.current(v, came_from))]
        if not found:
            return None
        greatest = max(bounds.high for bounds, _ in found)
        where = max(v for bounds, v in found if bounds.high >= greatest - _AS_MUCH * abs(greatest))
        return Bounds(min(bounds.low for bounds, _ in found), greatest), where

    def highest_with(self, current: float, below: float) -> float:
        """The highest voltage, up to one [V], at which it may draw no more than a current [A]; that voltage
        where its draw changes with the charge (a cell), or is not known.
        """
        if self.moves or not self.known:
            return below

        def asks_for_more(voltage: float) -> bool:
            bounds = self.current(voltage)
            return bounds is None or bounds.low > current

        looks = self.looks(min(1e-3, below), below)
        low = max((voltage for voltage in looks if not asks_for_more(voltage)), default=0.0)
        high = min((voltage for voltage in looks if voltage > low), default=below)
        return halving.least(asks_for_more, low, high, _FINER)

    def falls(self, low: float, high: float) -> tuple[float, float] | None:
        """How steeply its greatest current falls at most between two voltages [V]: -di/dv [S], and where.

        Zero or less where it never falls; None where it is not known.
        """
        steepest, where = float("-inf"), high
        for voltage in self.looks(low, high):
            step = _NEAR * max(abs(voltage), _NEAR_ZERO)
            here, above = self.current(voltage), self.current(voltage + step)
            if here is None or above is None:
                return None
            slope = (here.high - above.high) / step
            if slope > steepest:
                steepest, where = slope, voltage
        return steepest, where

    @kept
    def charging_time(
        self,
        extra: float,
        limit: float,
        start: float,
        stop: float,
        *,
        from_off: bool = False,
        ahead: float = 0.0,
        rate: float | None = None,
    ) -> float | None:
        """Longest time in a current limit while the input rises from `start` to `stop` [V], in s.

        ∫ C dv / (I_limit - I_load(v)), with the largest capacitance (`extra` is the supply's own, which the
        same limit charges [F]) and the greatest draw of the load; for a load that draws I all the way it is
        C·V / (I_limit - I). from_off: a converter that has stopped at `start` draws nothing before its lowest
        starting voltage; else it may still run, as a dip can be too short to stop it, and is counted from its
        lowest stopping voltage on. ahead: part of the remaining rise that other outputs in series may have
        done already while one is still charging; the greatest draw up to there counts. Infinite
        where the limit cannot carry the load; None where the load's draw is not known, or not while it
        settles. rate: it rises no faster than that [V/s], and the time of the whole rise is worked out, in
        the limit or not.
        """
        if not self.settled or not self.known:
            return None
        came_from = start if from_off else math.inf
        left = limit - self._most_drawn(start, stop, ahead, came_from)
        if not left > 0.0:
            return math.inf
        whole = self.capacitance.high + extra
        course = self._course(start, stop, ahead, came_from)
        # The rate bounds the charging current, as if the load drew the rest of the limit.
        least = -math.inf if rate is None else limit - whole * rate

        def drawn(voltage: float) -> float:
            return max(least, self._drawn(stop, ahead, came_from, voltage))

        lifted = ([(voltage, max(least, amperes)) for voltage, amperes in piece] for piece in course)
        time = whole * sum(charging(limit, drawn, (low, middle, high)) for low, middle, high in lifted)
        counted = self.counted_behind(limit, start, stop, from_off=from_off, ahead=ahead)
        behind = (
            charging_behind(farads, ohms, whole - farads, left, stop - start) for farads, ohms in counted
        )
        return min([time, *(each + (0.0 if rate is None else (stop - start) / rate) for each in behind)])

    def counted_behind(
        self, limit: float, start: float, stop: float, *, from_off: bool = False, ahead: float = 0.0
    ) -> list[tuple[float, float]]:
        """Of each capacitor whose series resistance counts in a charging time its largest capacitance [F],
        and the least of that resistance [Ω]: it counts where the current that the load leaves of the limit
        drops a part of `COUNTS` of the rise there, or more. Parameters as of `charging_time`.
        """
        left = limit - self._most_drawn(start, stop, ahead, start if from_off else math.inf)
        return [
            (bank.capacitance.high, bank.esr.low)
            for bank in self.banks
            if bank.esr and bank.esr.low * left > COUNTS * (stop - start)
        ]

    @kept
    def _most_drawn(self, start: float, stop: float, ahead: float, came_from: float) -> float:
        """The greatest draw on a rise [A], as `charging_time` has it."""
        return max(look[1] for piece in self._course(start, stop, ahead, came_from) for look in piece)

    def charging_current(self, rate: float, swing: float, after: float = 0.0) -> float:
        """The most that charges its capacitors at the end of a rise of so much [V] at a rate [V/s], or a time
        after it [s], in A: C r (1 - e^(-t/RC)) of each behind its series resistance R, C r where that may be
        none.
        """
        total = 0.0
        for bank in self.banks if rate > 0.0 else ():
            farads, least = bank.capacitance.high, bank.esr.low if bank.esr else 0.0
            constant = least * farads
            if constant > 0.0 and math.isinf(rate):
                current = swing / least
            elif constant > 0.0:
                current = farads * rate * -math.expm1(-swing / (rate * constant))
            else:
                current = farads * rate
            if after > 0.0:
                fades = farads * (bank.esr.high if bank.esr else 0.0)
                current *= math.exp(-after / fades) if fades > 0.0 else 0.0
            total += current
        return total

    def at_once(self, within: float) -> float:
        """Largest of its capacitance that follows a voltage within a time [s], in F."""
        return sum(
            bank.capacitance.high
            for bank in self.banks
            if not bank.esr or bank.esr.low * bank.capacitance.high <= within
        )

    @kept
    def _course(self, start: float, stop: float, ahead: float, came_from: float) -> list[ChargingPiece]:
        """What the load draws on a rise, as `charging_time` has it."""
        drawn = partial(self._drawn, stop, ahead, came_from)
        return list(
            charging_pieces([(voltage, drawn(voltage)) for voltage in self.looks(start, stop)], drawn)
        )

    def _drawn(self, stop: float, ahead: float, came_from: float, voltage: float) -> float:
        """The greatest draw on a rise at a voltage, and as far ahead as it may be there already [A]."""
        if ahead <= 0.0:
            bounds = self.current(voltage, came_from)
        else:
            over = self.over(voltage, voltage + ahead * (stop - voltage), came_from)
            bounds = None if over is None else over[0]
        return math.inf if bounds is None else bounds.high
