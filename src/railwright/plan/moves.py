"""From the procedure's timeline to what is told to the outputs, and when: programmed slew, or stairs by
the host.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Literal, NamedTuple

from railwright.documents.bench import Bench
from railwright.grouping import grouped
from railwright.plan.listing import Listing, shape_actions
from railwright.plan.set_points import SetPoints
from railwright.plan.stairs import AT_ONCE, exchange_of, set_error, slew_range, stairs_of, too_fast
from railwright.plan.timeline import Action, ContactChange, Timeline, Waiting
from railwright.quantities import show


@dataclass(frozen=True, slots=True)
class Move:
    """One thing told to the outputs of one input at `time` [s].

    voltage: the input's set point [V]. slew: of the input's voltage [V/s]; None: not programmable.
    step: the position of the procedure's step that it belongs to. load, arm, play: of the outputs' own point
    list `listing`, which is loaded and verified, then rules the voltage, then runs. limit: the current limit
    of the input to `current` [A]; None: to the one that was settled. wait: everything stays until what `wait`
    says has come. turn: of a shape's turns the one that it belongs to; None: to none. behind: so long after
    the set point before it of its input was told, at the earliest [s]. contact: the contact that is told to
    close or to open.
    """

    time: float
    step: int
    input: str
    kind: Literal["on", "set", "off", "load", "arm", "play", "limit", "wait", "contact"]
    voltage: float
    slew: float | None
    listing: Listing | None = None
    current: float | None = None
    wait: Waiting | None = None
    turn: int | None = None
    behind: float = 0.0
    contact: ContactChange | None = None


class Moves(NamedTuple):
    """All moves in order of time; notes say where the bench cannot do exactly what the procedure asks."""

    moves: tuple[Move, ...]
    notes: tuple[str, ...]


ARM = 0.05
"""So long before a list starts it is armed, if nothing else is told to its outputs until then [s]."""

BEFORE = -1.0
"""When the first list of an input is loaded: before anything is energised [s]."""


def moves_of(
    timeline: Timeline, set_points: SetPoints, bench: Bench, listings: Sequence[Listing] = ()
) -> Moves:
    """The moves that play a timeline on these outputs, of which point lists play these parts. Pure."""
    moves: list[Move] = []
    own = shape_actions(timeline) if listings else {}
    # What a list plays, and the level that it ends with, which need not be the one that was asked.
    by_list = {
        id(action): float(each.points.voltages[-1])
        for each in listings
        for action in own[each.step, each.input].actions
    }
    notes: list[str] = []
    levels = dict.fromkeys(set_points, 0.0)
    switched_on: dict[str, float] = {}
    between = _between(timeline)
    for number, action in enumerate(timeline.actions):
        moves += between.get(number, ())
        name, step = action.input, action.step
        level, levels[name] = levels[name], action.voltage if action.kind != "off" else 0.0
        if id(action) in by_list:
            levels[name] = by_list[id(action)]
            continue
        slews = slew_range(set_points[name], bench)
        if action.kind == "off":
            moves.append(Move(action.time, step, name, "off", 0.0, None, turn=action.turn))
            continue
        if action.kind == "on":
            fastest = slews[1] if slews else None
            moves.append(Move(action.time, step, name, "on", action.voltage, fastest, turn=action.turn))
            switched_on[name] = action.time
            continue
        pieces, note = _line(action, level, slews, exchange_of(set_points[name].names, bench))
        if note:
            notes.append(f"{timeline.spans[step].name}: {name}: {note}")
        if switched_on.get(name) == action.time and pieces[0].time == action.time:
            # Switched on and sent on its way in one message: nothing passes between the two.
            on = next(m for m in moves if m.input == name and m.kind == "on" and m.time == action.time)
            moves.remove(on)
            pieces[0] = replace(pieces[0], kind="on", step=on.step)
        moves += pieces if action.turn is None else [replace(each, turn=action.turn) for each in pieces]
    moves += between.get(len(timeline.actions), ())
    moves += _list_moves(timeline, listings, moves)
    moves.sort(key=lambda move: move.time)
    ended = {each.step for each in timeline.repeated}
    told: list[Move] = []
    stands = dict.fromkeys(set_points, 0.0)
    for number, move in enumerate(moves):
        small = bool(move.input) and abs(move.voltage - stands[move.input]) <= set_error(
            set_points[move.input], bench, move.voltage
        )
        if _superseded(number, moves, ended, small):
            continue
        told.append(move)
        if move.kind in ("on", "set", "off", "play"):
            stands[move.input] = move.voltage
    return Moves(tuple(told), tuple(dict.fromkeys(notes)))


def _superseded(number: int, moves: Sequence[Move], ended: Container[int], small: bool) -> bool:
    """Whether a set point would stand for one exchange only: its input jumps elsewhere, goes off, or is ruled
    by a point list at the same instant. A line begins where it led, a wait holds it, and what a turn ends
    with may be the last where something may end its step (`ended`). But for a jump that is smaller than the
    error of the set point (`small`) a line is not kept waiting: what an exchange moves it by is more.
    """
    move = moves[number]
    if move.kind != "set":
        return False
    for other in islice(moves, number + 1, None):
        if other.time - move.time >= AT_ONCE or other.kind == "wait":
            return False
        if other.input == move.input and other.kind not in ("limit", "load", "arm"):
            last = move.step in ended and other.step == move.step and other.turn != move.turn
            jumps = other.kind == "set" and (small or other.slew == move.slew)
            return other.kind in ("off", "play") or (jumps and not last)
    return False


def _between(timeline: Timeline) -> dict[int, list[Move]]:
    """Waits, changes of a limit and contacts, by the position of the action that comes after them."""
    waits = (
        (each.before, Move(each.time, each.step, "", "wait", 0.0, None, wait=each, turn=each.turn))
        for each in timeline.waits
    )
    limits = (
        (
            each.before,
            Move(
                each.time,
                each.step,
                each.input,
                "limit",
                0.0,
                None,
                current=each.current,
                turn=each.turn,
            ),
        )
        for each in timeline.limits
    )
    contacts = (
        (each.before, Move(each.time, each.step, "", "contact", 0.0, None, contact=each))
        for each in timeline.contacts
    )
    return grouped([*waits, *limits, *contacts])


def _list_moves(timeline: Timeline, listings: Sequence[Listing], others: Sequence[Move]) -> Iterator[Move]:
    """Loading, arming and starting of lists: the first of an input before the run, others when the one before
    is over; armed ahead where its outputs are told nothing else until it starts.
    """
    over: dict[str, float] = {}
    for listing in sorted(listings, key=lambda each: each.step):
        name, span = listing.input, timeline.spans[listing.step]
        last = float(listing.points.voltages[-1])
        # Where the list before it ends as this one starts, by rounding later: what plays must be loaded.
        loaded = min(over.get(name, BEFORE), span.start)
        yield Move(loaded, max(0, listing.step - 1), name, "load", last, None, listing)
        told = max(
            (move.time for move in others if move.input == name and move.time <= span.start), default=0.0
        )
        armed = max(told, loaded, span.start - ARM)
        if armed < span.start:
            yield Move(armed, max(0, listing.step - 1), name, "arm", last, None, listing)
        yield Move(span.start, listing.step, name, "play", last, None, listing)
        over[name] = span.start + listing.duration


def _line(
    action: Action, level: float, slews: tuple[float, float] | None, apart: float
) -> tuple[list[Move], str]:
    """Moves of one line or step of the set point, and what is not as asked."""
    name, step, change = action.input, action.step, abs(action.voltage - level)
    fastest = slews[1] if slews else None
    at_once = [Move(action.time, step, name, "set", action.voltage, fastest)]
    if action.over <= 0.0 or change == 0.0:
        return at_once, ""
    rate = change / action.over
    stairs = stairs_of(action, level, slews, apart)
    if slews and not stairs and not too_fast(rate, slews):
        # What it is beside the range, by rounding, an instrument may refuse.
        slew = min(max(rate, slews[0]), slews[1])
        return [Move(action.time, step, name, "set", action.voltage, slew, behind=action.behind)], ""
    if slews and not stairs:
        return (
            at_once,
            f"asked to move at {show(rate, 'V/s')}, its outputs move at {show(slews[1], 'V/s')} at most",
        )
    if len(stairs) == 1:
        return (
            at_once,
            f"a line of {show(action.over, 's')} is played as one step, its outputs have no slew for it",
        )
    told = [Move(time, step, name, "set", voltage, fastest) for time, voltage in stairs]
    return told, f"a line of {show(action.over, 's')} is played in {len(stairs)} stairs, timed by the host"
