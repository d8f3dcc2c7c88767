"""What a load is: parameters as a document gives them, and equations that see only floats and arrays.

A load is one module of this package with a parameter model (a subclass of `LoadParameters`) and four plain
functions, all of them compiled by numba when a circuit is first solved:

    current(v, t, p, y, q) -> float     current into the load [A] at the connector voltage v [V], time t [s]
    derivatives(v, t, p, y, q, dy)      writes dy/dt of the load's own states into dy
    region(v, t, p, y, q) -> int        which piece of a piecewise law holds; steps end where it changes
    enter(region, t, p, q) -> int       what happens then: may change q; 0, or the number of an event + 1

p: float parameters in the order of the model's scalar fields, then the numbers of its `table`. y: the load's
states. q: its discrete values (floats), constant between changes of region. Between two changes of region
every function must be smooth, and defined for every voltage, negative ones included. What a module does not
define is taken from here: no derivatives, one region, nothing happens. It may also define

    corner(t, p, q) -> float            the next time after t at which its law has a corner (inf: none); steps
                                        end there, so that nothing short is stepped over
    at_start(p) -> sequence of floats   its states when everything is discharged and cold (plain Python)
    stored(p, y) -> float               energy in its states [J]
    heat(v, t, p, y, q) -> float        power that it turns into heat [W]
    draws(v, p) -> (float, float)       least and greatest current [A] at a steady voltage once everything
                                        has settled, for what is worked out without a rehearsal (plain Python)
    rising(ramp, p) -> Rising           its current while a voltage rises from rest, where that is not what it
                                        draws once settled (plain Python)
    follower(start, p) -> Follower      its current step by step while a voltage is driven upwards, from where
                                        it had settled on a voltage `start` [V] (plain Python)
    examples(volts, amperes) -> Examples    loads that draw about so much at a nominal voltage, for tests and
                                        benchmarks; each load of this package has it (plain Python)

A load of this package also has `KIND`, its `LoadKind`, which `loads/__init__.py` registers. The solver keeps
the error of each state below a hundred-thousandth of its value and a millionth of the outputs' largest
voltage, that number taken in the state's own SI unit (30 V: 3e-5 J, 3e-5 C): a state whose values that matter
are not far above it belongs into a larger unit, such as a share of its rated value.

These functions may call others of the same module, and read its numbers and tuples of numbers.

What flows into a load and is neither stored nor heat is delivered: to a shaft, or to what a converter feeds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType, ModuleType
from typing import Any, ClassVar, NamedTuple, Self, cast

from pydantic import BaseModel, ConfigDict, PrivateAttr, ValidationInfo, model_validator
from pydantic_core import PydanticCustomError

from railwright.quantities import Uncertain

Choose = Callable[[str, Uncertain], float]
"""Picks the value of one uncertain parameter: (field name, bounds) -> value in SI units."""

Examples = Mapping[str, Mapping[str, Any]]
"""What sets an example apart, such as 'behind a diode' (the plain one: '') -> its parameters as a document
writes them.
"""


def fault(message: str, *at: str) -> PydanticCustomError:
    """The error that a model's validator raises.

    message: one sentence that says what was expected, what came, and what to do. at: fields that it is about.
    """
    return PydanticCustomError("fault", "{message}", {"message": message, "at": at})


def expect_one(model: BaseModel, one: str, other: str) -> None:
    """Raise, at the other, where not exactly one of two fields is given."""
    absent = getattr(model, one) is None
    if absent == (getattr(model, other) is None):
        got = "none of them" if absent else "both"
        raise fault(f"expected exactly one of {one}, {other}, got {got}", other)


class FileColumns(NamedTuple):
    """Columns of a file: the name of each, and its rows in SI units, in the order of their first column."""

    names: tuple[str, ...]
    rows: tuple[tuple[float, ...], ...]


class LoadParameters(BaseModel):
    """Parameters of a load as they are written in a device document; frozen, in SI units.

    `assumed`: field -> (value, sentence) that stands in for an optional field that was left out. The sentence
    travels with every result as a declared assumption, and so do those of `declared`; an empty one says that
    nothing was assumed, as the field's description tells what is meant by leaving it out.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)
    assumed: ClassVar[Mapping[str, tuple[float, str]]] = {}
    declared: ClassVar[tuple[str, ...]] = ()
    in_table: ClassVar[tuple[str, ...]] = ()
    """Fields that are no scalars: `table` turns them into numbers."""
    in_file: ClassVar[Mapping[str, tuple[Mapping[str, str], ...]]] = {}
    """Fields that name a recording beside the document -> for each of its columns the names that it may have,
    with the SI unit of each. Loading a document reads it; `columns_of` gives what it holds.
    """
    _columns: dict[str, FileColumns] = PrivateAttr(default_factory=dict)

    @model_validator(mode="after")
    def _take_columns(self, info: ValidationInfo) -> Self:
        """Keep what was read from the files that the document names; the loader hands it over."""
        for field, wanted in self.in_file.items():
            columns = (info.context or {}).get((getattr(self, field), str(wanted)))
            if columns is not None:
                self._columns[field] = columns
        return self

    def columns_of(self, field: str) -> FileColumns:
        """What the file holds that a field names. ValueError where nobody has read it."""
        if field not in self._columns:
            raise ValueError(f"the file {getattr(self, field)!r} was not read; load the device document")
        return self._columns[field]

    @classmethod
    def scalars(cls) -> tuple[str, ...]:
        """Names of the fields that are one number each, in their order."""
        return tuple(name for name in cls.model_fields if name not in cls.in_table)

    def table(self) -> tuple[float, ...]:
        """Numbers that follow the scalars in p: the points of a curve, the samples of a file."""
        return ()

    def knees(self) -> tuple[float, ...]:
        """Voltages at which its steady current may turn or jump, beside thresholds among its fields [V]."""
        return ()

    def uncertain(self) -> dict[str, Uncertain]:
        """Every parameter that is given, with its bounds."""
        values = {name: getattr(self, name) for name in self.scalars()}
        return {name: value for name, value in values.items() if isinstance(value, Uncertain)}

    def floats(self, choose: Choose) -> tuple[dict[str, float], tuple[str, ...]]:
        """Chosen values by field name, and the assumptions made for what was left out."""
        values: dict[str, float] = {}
        assumptions = list(self.declared)
        for name in self.scalars():
            given = getattr(self, name)
            if isinstance(given, Uncertain):
                values[name] = choose(name, given)
            elif given is None:
                value, sentence = self.assumed[name]
                values[name] = value
                if sentence:
                    assumptions.append(sentence)
            else:
                values[name] = float(given)
        return values, tuple(assumptions)


class Ascent(NamedTuple):
    """How a voltage has got to where it is, for what a load draws at once.

    start [V]: on which it had settled. fed [V], charge [C]: the highest voltage that it was ever charged
    with, and the most that it was ever given. since: (voltage) -> the least time since it was passed on the
    way up [s]; inf: it began above it.
    """

    start: float
    fed: float
    charge: float
    since: Callable[[float], float]


Follower = Callable[[float, float], float]
"""(voltage [V], duration of the step that ends there [s]) -> current then [A]; it keeps its own states."""


class Ramp(NamedTuple):
    """A voltage that rises from 0 V at a rate [V/s] to where it stays [V]; everything was at rest before.

    ohms: of what lies between it and the load [Ω].
    """

    rate: float
    stop: float
    ohms: float = 0.0

    @property
    def over(self) -> float:
        """When it has risen [s]."""
        return self.stop / self.rate

    def at(self, time: float) -> float:
        """The voltage so long after it began [V]."""
        return min(self.stop, self.rate * time)

    def through(self, ohms: float, henries: float) -> Callable[[float], float]:
        """Time since it began [s] -> current of a winding on it [A]: r / R (t - τ (1 - exp(-t / τ))) with
        τ = L / R while it rises, which then settles (textbook).
        """
        lag = henries / ohms
        risen = self.rate / ohms * (self.over + lag * math.expm1(-self.over / lag))
        stays = self.stop / ohms

        def current(time: float) -> float:
            if time <= self.over:
                return self.rate / ohms * (time + lag * math.expm1(-time / lag))
            return stays + (risen - stays) * math.exp((self.over - time) / lag)

        return current


class Rising(NamedTuple):
    """What a load draws on a ramp. current: (voltage at the load [V], time since the ramp began [s]) -> [A].

    marks: times at which it may turn [s]. winds: a winding holds it: of the voltage it sees no more than is
    in the ramp.
    """

    current: Callable[[float, float], float]
    marks: tuple[float, ...] = ()
    winds: bool = False


NO_VALUES: Mapping[str, float] = MappingProxyType({})


class LoadKind(NamedTuple):
    """A load as the solver knows it: its name in documents, its model, and the module with its equations.

    states, flags: names of its continuous states and of its discrete values (which start at
    `flags_at_start`). events: what can happen to it, for people and for evaluation. either_way: it draws the
    same whichever way round it is fed. states_in_current: its current depends on its states; False where it
    does not (a warmth that nothing but an overload follows from), and it needs no `draws` then.
    stores: what it takes as the voltage changes it gives back as it changes back, and nothing else (a
    capacitor). varies: its current changes by itself at a steady voltage.
    rises: at a steady voltage its current grows until it has settled, and never exceeds that (a winding).
    monotonic: at a higher voltage it never draws less.
    bears_reverse: reversed it takes no more harm than the right way round, as nothing in it has a polarity.
    disabled: parameters that it has, so that it draws nothing, while the pin that enables it is inactive; as
    it gets its own back it starts anew; empty: no pin can enable it.
    clamp: fields of the diode that takes up what drives the load below 0 V; one that a document leaves out is
    assumed.
    """

    name: str
    model: type[LoadParameters]
    equations: ModuleType
    states: tuple[str, ...] = ()
    flags_at_start: tuple[float, ...] = ()
    events: tuple[str, ...] = ()
    either_way: bool = False
    states_in_current: bool = True
    stores: bool = False
    varies: bool = False
    rises: bool = False
    monotonic: bool = False
    bears_reverse: bool = False
    clamp: tuple[str, ...] = ()
    disabled: Mapping[str, float] = NO_VALUES

    @property
    def settles(self) -> bool:
        """Whether its current at a steady voltage changes until it has settled."""
        return bool(self.states) and self.states_in_current

    @property
    def follows(self) -> bool:
        """Whether its current follows the voltage at once while it runs, beside what it stores."""
        return self.stores or not (self.settles or self.varies)

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of the float parameters, in the order in which the equations find them in p."""
        return self.model.scalars()

    def equation(self, name: str) -> Callable[..., Any]:
        """One function of its law; where its module does not define it, the one that does nothing."""
        return cast(Callable[..., Any], getattr(self.equations, name, None) or DEFAULTS[name])

    def heat(self, v: float, t: float, p: Sequence[float], y: Sequence[float], q: Sequence[float]) -> float:
        """Power that turns into heat [W]; everything that flows in, where its module does not say."""
        own = getattr(self.equations, "heat", None)
        return float(own(v, t, p, y, q) if own else v * self.equations.current(v, t, p, y, q))


def nominal(name: str, value: Uncertain) -> float:
    """The choice of every nominal value."""
    return value.nominal


def low(name: str, value: Uncertain) -> float:
    """The choice of every lower bound."""
    return value.low


def high(name: str, value: Uncertain) -> float:
    """The choice of every upper bound."""
    return value.high


def no_states(v, t, p, y, q, dy):  # type: ignore[no-untyped-def]
    """Derivatives of a load without states."""


def one_region(v, t, p, y, q):  # type: ignore[no-untyped-def]
    """Region of a law without pieces."""
    return 0


def nothing_happens(region, t, p, q):  # type: ignore[no-untyped-def]
    """Change of region without consequence."""
    return 0


def no_corner(t, p, q):  # type: ignore[no-untyped-def]
    """A law that time alone never changes."""
    return math.inf


def nothing_at_start(p: Sequence[float]) -> Sequence[float]:
    """States that start at zero, or no states; the player fills them up."""
    return ()


def nothing_stored(p: Sequence[float], y: Sequence[float]) -> float:
    """A load without states."""
    return 0.0


DEFAULTS: dict[str, Callable[..., Any]] = {
    "derivatives": no_states,
    "region": one_region,
    "enter": nothing_happens,
    "corner": no_corner,
    "at_start": nothing_at_start,
    "stored": nothing_stored,
}
"""What a load does where its module does not say."""
