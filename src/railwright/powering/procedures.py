"""The procedures of an input that is powered by hand: all levels that may be asked for, which is checked; on,
held and off, which is played; and what was done, which can be repeated.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import takewhile
from typing import Any, NamedTuple

from railwright.documents.hook_up import AUTO, HookUp
from railwright.plan.set_points import Feed, SetPoints
from railwright.powering.text import Tree
from railwright.quantities import parse_value, show
from railwright.traces import Event, EventKind

EVERY = "100 ms"
"""Time between two readings that are recorded."""

STAYS = "1 s"
"""How long each level is held in what is checked."""

STAYS_OFF = "20 s"
"""How long the output is off in it: capacitors empty meanwhile, so that switching on charges all of them."""

UP = 1.0
"""What it is given to come up in, part of the time that it is on [s]."""

KEPT = ("device", "bench", "hook_up", "pins", "limits", "attended", "overrides")
"""Keys of a given procedure that hold for what is powered by hand too."""

BY_HAND = "by hand"
"""The step in which it is led by hand."""

LEAST_HOLD = 5e-4
"""What is shorter than this is no hold of its own [s]: holds are written to a millisecond."""

CONNECTED = "load"
"""What the input of a device is called that no document describes."""

SPARE = 1.25
"""It is taken to draw, at the highest level that may be asked for, its limit over this."""

ALONG_THE_LEAD = 0.9
"""What of a typed level may arrive at it: nobody said at which it must still work."""

WRITTEN = {"current_limit": "A", "trip_delay": "s", "ovp": "V", "opp": "W"}
"""Limits that may be `auto`, with their units."""


def head_of(given: Tree, name: str) -> dict[str, Any]:
    """What a given procedure says of hook-up and limits, and the contacts that it moves before anything is
    on; its title says that `name` is powered by hand.
    """
    before = list(takewhile(lambda step: "power_up" not in step, given.get("steps", [])))
    kept = {key: given[key] for key in KEPT if key in given}
    return {
        "procedure": f"{name} by hand",
        **kept,
        "steps": [step for step in before if "relays" in step],
        "record": {"every": EVERY},
    }


def head_without(paths: tuple[str, str], name: str, inputs: Iterable[str], trips: bool) -> dict[str, Any]:
    """The same where no procedure is given: everything is worked out. paths: of the device and the bench
    document, as it names them. trips: whether outputs can trip at their limits; then they do.
    """
    at_limit = {"at_limit": "trip", "trip_delay": AUTO} if trips else {"at_limit": "regulate"}
    return {
        "procedure": f"{name} by hand",
        "device": paths[0],
        "bench": paths[1],
        "hook_up": dict.fromkeys(inputs, AUTO),
        "limits": {each: {"current_limit": AUTO, **at_limit, "ovp": AUTO} for each in inputs},
        "steps": [],
        "record": {"every": EVERY},
    }


class Typed(NamedTuple):
    """What a person says of what is connected to an output, where no document does.

    at: the level [V]. limit: the current limit [A]. bears: the highest voltage that it bears [V]. low, high:
    the levels that may be asked for [V].
    """

    at: float
    limit: float
    bears: float
    low: float
    high: float


def typed_device(output: str, typed: Typed) -> dict[str, Any]:
    """A device document of what was typed: it bears that voltage, and draws a little less than the limit."""
    most = typed.high / typed.limit
    return {
        "device": f"what is connected to {output}",
        "inputs": {
            CONNECTED: {
                "nominal": _exact(typed.at, "V"),
                "operating": f"{_exact(ALONG_THE_LEAD * typed.low, 'V')} .. {_exact(typed.high, 'V')}",
                "withstands": [{"voltage": _exact(typed.bears, "V")}],
                "return": "isolated",
                "load": [{"resistor": {"resistance": _exact(SPARE * most, "ohm")}}],
            }
        },
    }


def head_typed(paths: tuple[str, str], output: str, lead: str, typed: Typed) -> dict[str, Any]:
    """What a procedure says where limits were typed: the output regulates at its limit."""
    limits = {"current_limit": _exact(typed.limit, "A"), "at_limit": "regulate", "ovp": AUTO}
    return {
        "procedure": f"{output} by hand",
        "device": paths[0],
        "bench": paths[1],
        "hook_up": {CONNECTED: {"from": output, "lead": lead, "sense": "at terminals"}},
        "limits": {CONNECTED: limits},
        "steps": [],
        "record": {"every": EVERY},
    }


def all_levels(head: Tree, name: str, at: float, low: float, high: float) -> dict[str, Any]:
    """Every change that may be asked for, at its hardest: switching on at each end and at the level that is
    begun with, and from end to end both ways.
    """
    interrupted: list[Tree] = [{"off_for": STAYS_OFF}, {"hold": STAYS}]
    there = [_to(low), *interrupted, _to(high), *interrupted, _to(low), _to(high), _to(at)]
    moves = interrupted if low == high else [part for each in there for part in _held(each)]
    shape = {"input": name, "segments": [{"hold": STAYS}, *moves]}
    return _with(head, name, at, {"shape": shape, "name": "all levels by hand"})


def held(head: Tree, name: str, at: float, at_most: float) -> dict[str, Any]:
    """On for a time at most [s], then off."""
    up = min(UP, 0.5 * at_most)
    step = {"hold": _exact(at_most - up, "s"), "name": BY_HAND}
    return _with(head, name, at, step, settle=_exact(up, "s"))


def done(head: Tree, name: str, at: float, events: Iterable[Event]) -> tuple[dict[str, Any], list[str]]:
    """What was done to an input in a run, as a procedure; and the marks, one a line."""
    segments: list[Tree] = []
    marks = []
    since, level, told, off_at, first = 0.0, at, at, None, True
    for event in (each for each in events if each.subject == name):
        if event.kind is EventKind.MARKED:
            marks.append(f"{show(round(event.time, 3), 's')}: {event.detail}")
        elif event.kind is EventKind.LEVEL_SET and event.facts.voltage is not None:
            level = event.facts.voltage
            if off_at is None:
                segments += [*_hold(event.time - since), _to(level)]
                since, told = event.time, level
        elif event.kind is EventKind.ON:
            if first:
                since, first = event.time, False
            elif off_at is not None:
                segments += [*_hold(off_at - since), {"off_for": _seconds(event.time - off_at)}]
                segments += [_to(level)] if level != told else []
                since, told, off_at = event.time, level, None
        elif _goes_off(event) and off_at is None:
            off_at = event.time
    segments += [] if off_at is None else _hold(off_at - since)
    # It came up in the first hold.
    first_hold = parse_value(segments[0]["hold"], "s") if segments and "hold" in segments[0] else 0.0
    up = round(min(UP, 0.5 * first_hold), 3)
    segments = [{"hold": _seconds(first_hold - up)}, *segments[1:]] if up else segments
    step = {"shape": {"input": name, "segments": segments or [{"hold": "1 ms"}]}, "name": BY_HAND}
    return _with(head, name, at, step, settle=_exact(up, "s")), marks


def written_out(head: Tree, hook_up: Mapping[str, HookUp], set_points: SetPoints) -> dict[str, Any]:
    """With numbers in the place of what was `auto`."""
    limits = {
        name: {key: _limit(set_points[name], key, value) for key, value in given.items()}
        for name, given in head["limits"].items()
    }
    return {**head, "hook_up": {name: _hook_up(each) for name, each in hook_up.items()}, "limits": limits}


def _with(head: Tree, name: str, at: float, step: Tree, settle: str = f"{UP:g} s") -> dict[str, Any]:
    up = {"order": [name], "voltages": {name: _exact(at, "V")}, "settle": settle}
    steps = [*head["steps"], {"power_up": up, "name": "on"}, step, {"power_down": {"order": [name]}}]
    return {**head, "steps": steps}


def _held(move: Tree) -> Iterator[Tree]:
    yield move
    if "step_to" in move:
        yield {"hold": STAYS}


def _to(volts: float) -> Tree:
    return {"step_to": _exact(volts, "V")}


def _hold(seconds: float) -> list[Tree]:
    return [{"hold": _seconds(seconds)}] if seconds >= LEAST_HOLD else []


def _seconds(seconds: float) -> str:
    return _exact(max(1e-3, round(seconds, 3)), "s")


def _exact(value: float, unit: str) -> str:
    """As it is set, not rounded for people."""
    return show(value, unit, 9)


def _goes_off(event: Event) -> bool:
    return bool(event.kind.trip) or event.kind in (EventKind.OFF, EventKind.OFF_SENT, EventKind.WENT_OFF)


def _limit(feed: Feed, key: str, given: Any) -> Any:
    return _exact(feed.value(key), WRITTEN[key]) if given == AUTO and key in WRITTEN else given


def _hook_up(hook_up: HookUp) -> dict[str, Any]:
    names = list(map(str, hook_up.outputs))
    source: Any = names[0] if hook_up.arrangement == "alone" else {hook_up.arrangement: names}
    fixture = {} if hook_up.fixture is None else {"fixture": hook_up.fixture}
    return {"from": source, "lead": hook_up.lead, **fixture, "sense": hook_up.sensed}
