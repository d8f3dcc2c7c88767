"""Mended faults, put back one at a time where each was mended: the hunt must find every one of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from importlib import import_module
from typing import Any
from unittest.mock import patch

from benchmarks.disagreement_hunt import playing

from railwright.circuit.errors import SetErrors
from railwright.instruments import lists
from railwright.measures import integral, peak, state_level
from railwright.measures.signal import View
from railwright.physics.player import Player
from railwright.plan import moves, plan, stairs
from railwright.rehearsal import circuit, rehearse
from railwright.running import rig

restarts = import_module("railwright.measures.restarts")  # the package has its measure by this name

FAULTS: dict[str, Callable[[], Any]] = {}
"""What is said of the fault -> what puts it back while it is entered."""


def fault(words: str) -> Callable[[Callable[[], Any]], Callable[[], Any]]:
    """Register what puts a fault back."""

    def keep(make: Callable[[], Any]) -> Callable[[], Any]:
        FAULTS[words] = make
        return make

    return keep


@contextmanager
def put_back(words: str) -> Iterator[None]:
    """The program with this fault."""
    with FAULTS[words]():
        yield


@fault("a jump is rehearsed faster than the slew that is programmed")
def _no_slew() -> Any:
    return patch.object(rehearse, "slew_range", lambda feed, bench: None)


@fault("a point list starts when its message is handed over")
def _early_list() -> Any:
    play = rig.Rig.play
    return patch.object(rig.Rig, "play", lambda self, listing, at=None: play(self, listing))


@fault("a peak is what the next step does")
def _foreign_peak() -> Any:
    return patch.object(peak, "_surely_reached", lambda view, near, reach: float(near.values.max()))


@fault("a voltage that was held before counts in a power-up's mean")
def _held() -> Any:
    return patch.object(integral, "HELD", math.inf)


@fault("lines that are told in stairs are rehearsed as lines")
def _no_stairs() -> Any:
    return patch.object(plan, "in_stairs", lambda timeline, feeds, bench: timeline)


@fault("a point list is rehearsed as what was asked")
def _no_lists() -> Any:
    return patch.object(plan, "as_played", lambda timeline, listings: timeline)


@fault("a line steeper than the slew is rehearsed as steep")
def _too_steep() -> Any:
    return patch.object(stairs, "too_steep", lambda action, level, slews: False)


@fault("a limit that a shape changes is not rehearsed")
def _no_limits() -> Any:
    tell = rehearse.tell

    def told(simulation: Any, bench: Any, set_points: Any, timeline: Any, errors: Any) -> None:
        tell(simulation, bench, set_points, replace(timeline, limits=()), errors)

    return patch.object(rehearse, "tell", told)


@fault("the voltage is rehearsed at the terminals where it is sensed at the load")
def _at_terminals() -> Any:
    branch = circuit._branch

    def built(documents: Any, feed: Any, parts: Any) -> Any:
        return replace(branch(documents, feed, parts), sense="terminals")

    return patch.object(circuit, "_branch", built)


@fault("a lead is rehearsed without its fixture")
def _no_fixture() -> Any:
    branch = circuit._branch
    return patch.object(
        circuit,
        "_branch",
        lambda documents, feed, parts: branch(documents, replace(feed, fixture=None), parts),
    )


@fault("a trip is rehearsed after half its delay")
def _no_delay() -> Any:
    tell = rehearse.tell

    def told(simulation: Any, bench: Any, set_points: Any, timeline: Any, errors: Any) -> None:
        true = simulation.set
        simulation.set = lambda output, **given: true(output, **{**given, **_halved(given)})
        tell(simulation, bench, set_points, timeline, errors)

    return patch.object(rehearse, "tell", told)


def _halved(given: dict[str, Any]) -> dict[str, Any]:
    return {"trip_delay": 0.5 * given["trip_delay"]} if "trip_delay" in given else {}


@fault("an output that trips at its limit is rehearsed as regulating")
def _regulates() -> Any:
    tell = rehearse.tell

    def told(simulation: Any, bench: Any, set_points: Any, timeline: Any, errors: Any) -> None:
        regulating = {
            name: replace(feed, outputs=tuple(replace(each, at_limit="regulate") for each in feed.outputs))
            for name, feed in set_points.items()
        }
        tell(simulation, bench, regulating, timeline, errors)

    return patch.object(rehearse, "tell", told)


@fault("set points are rehearsed as exact")
def _exact() -> Any:
    return patch.object(SetErrors, "voltage", lambda self, told: told)


@fault("readings are taken to be of the instant at which they were asked for")
def _no_shift() -> Any:
    return patch.object(View, "shift", lambda self: (0.0, 0.0))


@fault("outputs are rehearsed with four times the slew that they can be programmed to")
def _wrong_slew() -> Any:
    share = stairs.slew_range

    def whole(feed: Any, bench: Any) -> Any:
        found = share(feed, bench)
        return None if found is None else (found[0], 4.0 * found[1])

    return patch.object(rehearse, "slew_range", whole)


@fault("a battery is rehearsed as if it were connected with the power-up")
def _connected() -> Any:
    true = rehearse.rehearse

    def rehearsed(*given: Any) -> Any:
        with patch.object(Player, "rest", lambda self: None):
            return true(*given)

    return patch.object(playing, "rehearse", rehearsed)


@fault("the low stage of a load that varies is a drop-out")
def _low_stage() -> Any:
    return patch.object(restarts, "_may_run", lambda *given: False)


@fault("a dip that the input's capacitor makes up for is a drop-out")
def _counted_dip() -> Any:
    return patch.object(restarts, "_explained", lambda *given: False)


@fault("a drop-out that reaches over an edge of its step is counted in neither step")
def _straddles() -> Any:
    def reaches(time: Any, dip: tuple[int, int], begin: float, end: float, margin: float) -> bool:
        return bool(begin < time[dip[0]] and time[dip[1] - 1] < end)

    return patch.object(restarts, "_reaches", reaches)


@fault("the sum of several outputs' readings of different times is a peak")
def _sum() -> Any:
    return patch.object(peak, "_stood", lambda view, near, what: near)


@fault("a state level is where the voltage only passes")
def _passes() -> Any:
    return patch.object(state_level, "_stays", lambda *given, **more: 0.0)


@fault("a point list is ended when the set point after it is handed over")
def _ended_early() -> Any:
    may_play = rig.Rig._may_play

    def ended(self: Any, name: str) -> bool:
        if may_play(self, name):
            for supply in self.outputs_by_supply(name):
                lists.stop(self.supplies[supply])
        return False

    return patch.object(rig.Rig, "_may_play", ended)


@fault("a line that follows a jump begins where the input stood before it")
def _no_jump() -> Any:
    return patch.object(plan, "after_jumps", lambda timeline, feeds, bench, listed: timeline)


@fault("a set point is sent that stands for one exchange only")
def _superseded() -> Any:
    return patch.object(moves, "_superseded", lambda number, told, ended: False)


@fault("one reading that is asked often is a level")
def _one_reading() -> Any:
    return patch.object(state_level, "LEAST_VALUES", 1)


@fault("a level on a crest is known as if the voltage stayed there")
def _crest() -> Any:
    return patch.object(state_level, "STEADY", 0.0)
