"""Mended faults, put back one at a time where each was mended: the hunt must find every one of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from importlib import import_module
from typing import Any
from unittest.mock import patch

import numpy as np
from benchmarks.disagreement_hunt import playing

from railwright.circuit.errors import SetErrors
from railwright.instruments import lists
from railwright.measures import integral, peak, state_level
from railwright.measures.signal import Signal, View
from railwright.physics.player import Player
from railwright.plan import moves, plan, stairs
from railwright.rehearsal import circuit, rehearse
from railwright.running import rig

restarts = import_module("railwright.measures.restarts")  # the package has its measure by this name


@dataclass(frozen=True)
class Fault:
    """What puts a fault back: `owner.name` is replaced, by a value, or by a function that is given the true
    one before its arguments.

    matters: of the arguments of a call, whether it may come out otherwise. None: the replacement is pure, and
    asked beside the true one. used_in: of a value, the function beside it that goes by it.
    """

    owner: Any
    name: str
    instead: Any
    matters: Callable[..., bool] | None = None
    used_in: str = ""

    @contextmanager
    def put_back(self) -> Iterator[None]:
        """The program with this fault."""
        with patch.object(self.owner, self.name, self._bound(getattr(self.owner, self.name))):
            yield

    def _bound(self, true: Any) -> Any:
        if not callable(self.instead):
            return self.instead
        # A function, not a partial: it may stand for a method.
        return lambda *given, **more: self.instead(true, *given, **more)

    @contextmanager
    def seen(self) -> Iterator[list[bool]]:
        """The program as it is; what is yielded holds True once a call would have come out otherwise."""
        found: list[bool] = []
        name = self.used_in or self.name
        true = getattr(self.owner, name)

        def watched(*given: Any, **more: Any) -> Any:
            if not found and self._differs(true, given, more):
                found.append(True)
            return true(*given, **more)

        with patch.object(self.owner, name, watched):
            yield found

    def _differs(self, true: Any, given: Any, more: Any) -> bool:
        if self.matters is not None:
            return self.matters(*given, **more)
        result = _outcome(true, given, more)
        if self.used_in:
            with self.put_back():
                return not _same(_outcome(true, given, more), result)
        return not _same(_outcome(self._bound(true), given, more), result)


def _outcome(function: Any, given: Any, more: Any) -> Any:
    """What a call returns, or what it raises, in words."""
    try:
        return function(*given, **more)
    except Exception as error:  # noqa: BLE001 - whatever it is, it is compared
        return f"{type(error).__name__}: {error}"


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, Signal) and isinstance(other, Signal):
        one, other = one.values, other.values
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        return bool(np.array_equal(one, other))
    try:
        return bool(one == other)
    except ValueError:  # of what holds arrays
        return False


FAULTS: dict[str, Fault] = {}
"""What is said of the fault -> what puts it back."""


def fault(
    words: str, owner: Any, name: str, matters: Callable[..., bool] | None = None
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Register a function that puts a fault back."""

    def keep(instead: Callable[..., Any]) -> Callable[..., Any]:
        FAULTS[words] = Fault(owner, name, instead, matters)
        return instead

    return keep


@contextmanager
def put_back(words: str) -> Iterator[None]:
    """The program with this fault, which a rehearsal that is read as the run was may not make up for."""
    with FAULTS[words].put_back(), playing.by_readings_alone():
        yield


@contextmanager
def watched() -> Iterator[dict[str, list[bool]]]:
    """The program as it is, and for each fault whether it would have come out otherwise at any call."""
    with ExitStack() as stack:
        yield {words: stack.enter_context(each.seen()) for words, each in FAULTS.items()}


def always(*_given: Any, **_more: Any) -> bool:
    """Whenever it is called."""
    return True


def _trips(_simulation: Any, _bench: Any, set_points: Any, *_given: Any) -> bool:
    return any(each.at_limit == "trip" for feed in set_points.values() for each in feed.outputs)


def _has_limits(_simulation: Any, _bench: Any, _set_points: Any, timeline: Any, _errors: Any) -> bool:
    return bool(timeline.limits)


def _has_battery(documents: Any, *_given: Any) -> bool:
    return any(part.kind == "battery" for own in documents.device.inputs.values() for part in own.load)


@fault("a jump is rehearsed faster than the slew that is programmed", rehearse, "slew_range")
def _no_slew(_true: Any, _feed: Any, _bench: Any) -> None:
    return None


@fault("a point list starts when its message is handed over", rig.Rig, "play", always)
def _early_list(true: Any, self: Any, listing: Any, at: Any = None) -> Any:
    return true(self, listing)


@fault("a peak is what the next step does", peak, "_surely_reached")
def _foreign_peak(_true: Any, _view: Any, near: Any, _inside: Any) -> float:
    return float(near.values.max())


@fault("a voltage that was held before counts in a power-up's mean", integral, "before_step")
def _held_counts(true: Any, *given: Any) -> Any:
    return true(*given)._replace(level=0.0)


@fault("lines that are told in stairs are rehearsed as lines", plan, "in_stairs")
def _no_stairs(_true: Any, timeline: Any, *_given: Any) -> Any:
    return timeline


@fault("a point list is rehearsed as what was asked", plan, "as_played")
def _no_lists(_true: Any, timeline: Any, _listings: Any) -> Any:
    return timeline


@fault("a line steeper than the slew is rehearsed as steep", stairs, "too_steep")
def _too_steep(_true: Any, _action: Any, _level: float, _slews: Any) -> bool:
    return False


@fault("a limit that a shape changes is not rehearsed", rehearse, "program_outputs", _has_limits)
def _no_limits(true: Any, simulation: Any, bench: Any, set_points: Any, timeline: Any, errors: Any) -> None:
    true(simulation, bench, set_points, replace(timeline, limits=()), errors)


@fault("the voltage is rehearsed at the terminals where it is sensed at the load", circuit, "_branch")
def _at_terminals(true: Any, documents: Any, feed: Any, parts: Any) -> Any:
    return replace(true(documents, feed, parts), sense="terminals")


@fault("a lead is rehearsed without its fixture", circuit, "_branch")
def _no_fixture(true: Any, documents: Any, feed: Any, parts: Any) -> Any:
    return true(documents, replace(feed, fixture=None), parts)


@fault("a trip is rehearsed after half its delay", rehearse, "program_outputs", _trips)
def _no_delay(true: Any, simulation: Any, *given: Any) -> None:
    tell = simulation.set
    simulation.set = lambda output, **given: tell(output, **{**given, **_halved(given)})
    true(simulation, *given)


def _halved(given: dict[str, Any]) -> dict[str, Any]:
    return {"trip_delay": 0.5 * given["trip_delay"]} if "trip_delay" in given else {}


@fault("an output that trips at its limit is rehearsed as regulating", rehearse, "program_outputs", _trips)
def _regulates(true: Any, simulation: Any, bench: Any, set_points: Any, *given: Any) -> None:
    regulating = {
        name: replace(feed, outputs=tuple(replace(each, at_limit="regulate") for each in feed.outputs))
        for name, feed in set_points.items()
    }
    true(simulation, bench, regulating, *given)


@fault("set points are rehearsed as exact", SetErrors, "voltage")
def _exact(_true: Any, _self: Any, told: float) -> float:
    return told


@fault("readings are taken to be of the instant at which they were asked for", View, "shift")
def _no_shift(_true: Any, _self: Any) -> tuple[float, float]:
    return 0.0, 0.0


@fault(
    "outputs are rehearsed with four times the slew that they can be programmed to", rehearse, "slew_range"
)
def _wrong_slew(true: Any, feed: Any, bench: Any) -> Any:
    found = true(feed, bench)
    return None if found is None else (found[0], 4.0 * found[1])


@fault("a battery is rehearsed as if it were connected with the power-up", playing, "rehearse", _has_battery)
def _connected(true: Any, *given: Any) -> Any:
    with patch.object(Player, "rest", lambda self: None):
        return true(*given)


@fault("the low stage of a load that varies is a drop-out", restarts, "surely_away")
def _low_stage(_true: Any, _view: Any, _time: Any, amps: Any, _volts: Any, _error: float) -> Any:
    return np.ones(amps.size, dtype=bool)


@fault("a dip that the input's capacitor makes up for is a drop-out", restarts, "_explained")
def _counted_dip(_true: Any, *_given: Any) -> bool:
    return False


@fault("a drop-out that reaches over an edge of its step is counted in neither step", restarts, "_reaches")
def _straddles(
    _true: Any,
    time: Any,
    dip: tuple[int, int],
    begin: float,
    end: float,
    _margin: float,
    _earlier: float = 0.0,
) -> bool:
    return bool(begin < time[dip[0]] and time[dip[1] - 1] < end)


@fault("the sum of several outputs' readings of different times is a peak", peak, "_reached_together")
def _sum(_true: Any, view: Any, near: Any, reach: float, _what: str) -> tuple[float, float]:
    return peak._surely_reached(view, near, peak._surely_inside(view, near, reach)), np.inf


@fault("a state level is where the voltage only passes", state_level, "_stays")
def _passes(_true: Any, *_given: Any, **_more: Any) -> float:
    return 0.0


@fault("a point list is ended when the set point after it is handed over", rig.Rig, "_may_play", always)
def _ended_early(true: Any, self: Any, name: str) -> bool:
    if true(self, name):
        for supply in self.outputs_by_supply(name):
            lists.stop(self.supplies[supply])
    return False


@fault("a line that follows a jump begins where the input stood before it", plan, "after_jumps")
def _no_jump(_true: Any, timeline: Any, _feeds: Any, _bench: Any, _listed: Any) -> Any:
    return timeline


@fault("a set point is sent that stands for one exchange only", moves, "_superseded")
def _superseded(_true: Any, *_given: Any) -> bool:
    return False


FAULTS["one reading that is asked often is a level"] = Fault(
    state_level, "LEAST_VALUES", 1, used_in="_of_the_step"
)
FAULTS["a level on a crest is known as if the voltage stayed there"] = Fault(
    state_level, "STEADY", 0.0, used_in="_beside"
)
