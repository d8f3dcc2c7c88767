"""Ends of windows that depend on transients: settled by rehearsal, in corners of the tolerances or in the
cases of an ensemble.

Each case is played once without protections, which shows what every protection has to let through. The worst
corner is searched from a first one: each quantity in turn goes to its other bound (one of each input at the
same time), and those that raised the figure are then combined. The end is checked: at it nothing trips, one
step below it something does. Where this search takes too many steps only the first corner is played. It need
not be the worst, so that its ends stand beside the closed forms and replace none.
"""

from __future__ import annotations

import datetime as dt
import math
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import product

from railwright.circuit.case import Case
from railwright.circuit.errors import VOLTAGE_QUANTITIES
from railwright.plan.current_limits import settled_limits
from railwright.plan.stairs import in_stairs
from railwright.plan.timeline import Timeline
from railwright.quantities import joined, show, state
from railwright.rehearsal.circuit import uncertain_quantities
from railwright.rehearsal.corners import corner_case, quantities_of
from railwright.rehearsal.design import Design
from railwright.rehearsal.needed import LeastLevel, Needed, needed, trips, with_protection
from railwright.settings.hookup.result import HookedUp
from railwright.settings.rule import Path
from railwright.settings.settle import RehearsedEnds, Settings, settle
from railwright.settings.windows.window import LIMIT, REHEARSED, End, Replay, Window

STEPS = 100_000
"""Steps of the solver after which no more corners are looked for (about a third of a second)."""

LONG = 20_000
"""Steps of one case from which on ends are not checked, and no limits searched: each would take as long
again.
"""

MANY_ACTIONS = 2_000
"""Set points of a procedure from which on its windows stay closed forms, unless cases are asked for."""

ROUNDS = 3
"""How often current limits are raised until everything comes up in every corner that was found."""

ADDS_UP = 0.9
"""Where no quantity depends on another, all together add at least this part of what they add to the time in
the limit one by one (chosen).
"""

ASCENTS = 4
"""How often the search for the worst corner starts again, from the one that was found."""

TRIES = 8
"""Steps of the grid by which an end is moved until it is tight."""


REGULATING = "a limit that regulates instead of tripping, or a higher one"

MORE_TIME = "more time in its step, a longer trip delay, or less to charge"

LESS = {
    "trip_delay": "less in the limit: a higher limit, one that regulates, or a slower rise",
    "ovp": "less played, or an OVP that is so much more accurate",
    "opp": "less drawn: a lower current limit, or a slower rise",
}
"""What would bring the lower end of a setting down by an amount."""

NOTHING = LeastLevel(-math.inf, 0.0), None
"""The need before any case was played."""


class _Study:
    """The documents, what is played, and the greatest need of each setting in the cases played so far."""

    def __init__(self, hooked: HookedUp, settings: Settings, written: bool) -> None:
        documents, (self.sources, asked) = hooked.documents, hooked.fed
        self.documents, self.set_points = documents, settings.set_points
        self.windows = {(window.about, window.setting): window for window in settings.windows}
        self.wanted = {key for key, window in self.windows.items() if written or hangs_on_rehearsal(window)}
        self.timeline: Timeline = in_stairs(asked, settings.set_points, documents.bench)
        self.quantities = uncertain_quantities(documents, self.set_points)
        outputs = [points for feed in self.set_points.values() for points in feed.outputs]
        self.parts: dict[str, dict[str, float]] = {
            setting: {each.output: each.share if setting != "trip_delay" else 1.0 for each in outputs}
            for setting in REHEARSED
        }
        for (_, setting), window in self.windows.items():
            self.parts.setdefault(setting, {}).update(window.parts)
        inputs = {name for name, _ in self.wanted}
        # Without protections inputs affect each other through coupled set points only: else only those whose
        # ends are wanted are played.
        coupled = any(supply.coupled for supply in documents.bench.supplies.values())
        self.played = {n: feed for n, feed in self.set_points.items() if coupled or n in inputs}
        self.coupled = self.set_points if coupled else {}
        # The greatest need of any case so far, and which case.
        self.most: dict[tuple[str, str], tuple[LeastLevel, Replay | None]] = dict.fromkeys(
            product(self.played, REHEARSED), NOTHING
        )
        self.steps = 0
        # Inputs whose time in the limit is not the sum of what each quantity adds; and the corners played.
        self.jumping: set[str] = set()
        self.corners_played: set[int] = set()
        self.long = False
        self.searched = False

    def play(self, case: Case, replay: Replay) -> dict[str, Needed] | None:
        """Play one case; None where the solver cannot."""
        from railwright.physics.solver import SolverError

        try:
            found, steps = needed(self.documents, self.played, case, self.timeline, self.parts)
        except SolverError:
            return None
        self.steps += steps
        for (name, setting), (most, _) in self.most.items():
            level = getattr(found[name], setting)
            if level.value > most.value:
                self.most[name, setting] = level, replay
        return found

    def corner(self, number: int) -> dict[str, Needed] | None:
        """Play one corner."""
        self.corners_played.add(number)
        return self.play(corner_case(self.quantities, number), Replay(corner=number))

    def corners(self) -> None:
        """Search the worst corner of each setting."""
        number = self._first()
        base = self.corner(number)
        if base is None:
            return
        self.long = self.steps > LONG
        own = {name: quantities_of(name, feed.names, self.quantities) for name, feed in self.played.items()}
        rounds = max((len(places) for places in own.values()), default=0)
        if self.steps * rounds > STEPS:
            return
        self.searched = True
        turned: dict[tuple[str, str], int] = dict.fromkeys(self.most, 0)
        expected = {name: base[name].trip_delay.value for name in own}
        for turn in range(rounds):
            bits = {name: 1 << places[turn] for name, places in own.items() if turn < len(places)}
            found = self.corner(number ^ sum(bits.values()))
            if found is None:
                continue
            for name, setting in product(bits, REHEARSED):
                more = getattr(found[name], setting).value - getattr(base[name], setting).value
                if more > 0.0:
                    turned[name, setting] |= bits[name]
                    expected[name] += ADDS_UP * more if setting == "trip_delay" else 0.0
        together: dict[str, dict[str, Needed] | None] = {}
        for setting in REHEARSED:
            if bits_of_all := sum(bits for (_, each), bits in turned.items() if each == setting):
                together[setting] = self.corner(number ^ bits_of_all)
        all_delays = together.get("trip_delay") or base
        for name, places in own.items():
            # All together add less where one depends on another, such as through a converter that stops.
            if all_delays[name].trip_delay.value < expected[name]:
                self.jumping.add(name)
            # A load that draws another current until it has settled, such as a motor.
            settles = not self.sources[name].enabled_load.settled
            if base[name].trip_delay.value <= 0.0 or settles or name in self.jumping:
                self._ascend(name, places, "trip_delay")
            if self.set_points[name].arrangement != "alone":
                self._as_joined(name, places)

    def _as_joined(self, name: str, places: Sequence[int]) -> None:
        """Continue the search for OVP and OPP of joined outputs, which depend on each other: in parallel one
        stays in its limit while another regulates, and both may set too much.
        """
        high = (1 << len(self.quantities)) - 1
        for setting in ("ovp", "opp"):
            if (name, setting) in self.wanted:
                found = self.corner(high)
                if found is not None:
                    self._climb(name, places, setting, high, getattr(found[name], setting).value)
                self._ascend(name, places, setting)

    def _ascend(self, name: str, places: Sequence[int], setting: str) -> None:
        """Continue the search for the worst corner of a setting from the one found, until no quantity raises
        the need.

        Where the first corner did not reach the limit, most quantities changed nothing there; and what one of
        them does to a motor depends on the others.
        """
        for _ in range(ASCENTS):
            level, replay = self.most[name, setting]
            corner = replay.corner if replay is not None and 0.0 < level.value < math.inf else None
            if corner is None or not self._climb(name, places, setting, corner, level.value):
                return

    def _climb(self, name: str, places: Sequence[int], setting: str, corner: int, start: float) -> bool:
        """Turn the quantities of a corner one by one, and keep each change that raises the need of a setting.
        Whether one did, and the search was completed.
        """
        most, begun = start, self.steps
        for place in places:
            found = self.corner(corner ^ (1 << place))
            if found is not None and getattr(found[name], setting).value > most:
                corner, most = corner ^ (1 << place), getattr(found[name], setting).value
            if self.steps - begun > STEPS:
                return False
        return most > start

    def _first(self) -> int:
        """The corner to begin with: all at the upper bound, but of outputs in parallel only the first sets
        too much, so that it carries what the others do not.
        """
        parallel = [feed for feed in self.set_points.values() if feed.arrangement == "parallel"]
        others = {points.output for feed in parallel for points in feed.outputs[1:]}
        lower = (each.of in others and each.field in VOLTAGE_QUANTITIES for each in self.quantities)
        return sum(1 << k for k, low in enumerate(lower) if not low)

    def cases(self, cases: int, seed: int) -> None:
        """Play the cases of an ensemble."""
        for number, case in Design(self.quantities, cases, seed).numbered():
            self.play(case, Replay(cases=cases, seed=seed, number=number))

    def case_of(self, replay: Replay) -> Case:
        """The case that can be played again."""
        if replay.corner is not None:
            return corner_case(self.quantities, replay.corner)
        return Design(self.quantities, replay.cases, replay.seed).case(replay.number)

    def ends(self) -> Iterator[tuple[tuple[str, str], End]]:
        """The end of each window, tried."""
        for key, (level, replay) in self.most.items():
            window = self.windows.get(key)
            if key in self.wanted and window is not None and replay is not None:
                end = self._end(window, level, replay)
                unsure = key[0] in self.jumping and key[1] == "trip_delay" and replay.corner is not None
                yield key, replace(end, corners=len(self.corners_played)) if unsure else end

    def _low_end(
        self, value: float, why: str, path: Path, replay: Replay, relax: Callable[[float], str]
    ) -> End:
        """A lower end that a case decides; where only one corner was played it replaces no closed form."""
        said = (why,) if self.searched else (why, "only one corner was played")
        alone, words = not self.searched, joined("; ", said)
        return End(value, "low", "rehearsed", words, path, replay=replay, alone=alone, relax=relax)

    def limit_ends(self) -> Iterator[tuple[tuple[str, str], End]]:
        """The lower ends of current limits of which closed forms say nothing, or too much: with a lower limit
        an input does not come up, or stays in the limit for longer than the written delay. Tried in the
        corner that stays longest in the limit.
        """
        for name in self.set_points if not self.long else ():
            # An input that is fed with a current need not come up within it.
            if (name, LIMIT) not in self.wanted or self.documents.procedure.limits[name].feeds_current:
                continue
            window, (_, replay) = self.windows[name, LIMIT], self.most[name, "trip_delay"]
            low, high = window.side("low", settled=True), window.high
            if replay is None or low is None or high is None or low.value > high.value:
                continue
            case = self.case_of(replay)
            least, most = round(low.value / window.step), round(high.value / window.step)
            if self._comes_up(window, case, least):
                why = state(
                    "rehearsed, {case} comes up at {limit}", case=replay.words, limit=(low.value, "A")
                )
                yield (name, LIMIT), self._low_end(low.value, why, low.path, replay, lambda high: MORE_TIME)
            elif self._comes_up(window, case, most):
                between = range(least + 1, most)
                first = bisect_left(between, True, key=partial(self._comes_up, window, case)) + least + 1
                why = state(
                    "rehearsed, {case} does not come up in time, or at all, at {limit}, one step lower",
                    case=replay.words,
                    limit=(round((first - 1) * window.step, 12), "A", 5),
                )
                value, path = round(first * window.step, 12), ("procedure", "steps")
                yield (name, LIMIT), self._low_end(value, why, path, replay, lambda high: MORE_TIME)

    def _comes_up(self, window: Window, case: Case, n: int) -> bool:
        """Whether an input comes up with a current limit of so many steps, within a delay that is written."""
        from railwright.physics.solver import SolverError

        feed, value = self.set_points[window.about], round(n * window.step, 12)
        told = tuple(
            replace(points, current_limit=value * window.parts[points.output]) for points in feed.outputs
        )
        only = {**self.coupled, window.about: replace(feed, outputs=told)}
        try:
            found, _ = needed(self.documents, only, case, self.timeline, self.parts)
        except SolverError:
            return False
        delay = self.windows.get((window.about, "trip_delay"))
        written = math.inf if delay is None or delay.asked is None else delay.asked
        got = found[window.about]
        return got.short.value <= 0.0 and got.trip_delay.value < written

    def _end(self, window: Window, level: LeastLevel, replay: Replay) -> End:
        case, feed = self.case_of(replay), self.set_points[window.about]
        step, path = self._step(level.at)
        if math.isinf(level.value):
            why = f"rehearsed, {replay.words} stays in the limit in '{step}' until it is switched off"
            return self._low_end(math.inf, why, path, replay, lambda high: REGULATING)

        def trips_at(n: int) -> bool:
            if n <= 0:
                return level.value > 0.0
            value, parts = round(n * window.step, 12), self.parts[window.setting]
            return trips(
                self.documents,
                with_protection(feed, window.setting, value, parts),
                case,
                self.timeline,
                self.coupled,
            )

        n = math.ceil(level.value / window.step * (1.0 - 1e-9)) if level.value > 0.0 else 0
        for _ in range(TRIES if not self.long else 0):
            if trips_at(n):
                n += 1
            elif n > 0 and not trips_at(n - 1):
                n -= 1
            else:
                break
        value = round(n * window.step, 12)
        return self._low_end(
            value,
            _words(window, value, level, step, replay, tried=not self.long),
            path,
            replay,
            lambda high: f"{show(value - max(high, 0.0), window.unit, 3)} {LESS[window.setting]}",
        )

    def _step(self, time: float) -> tuple[str, Path]:
        """The step that is played at a time, and where it is written."""
        ends = [span.end for span in self.timeline.spans]
        index = min(bisect_left(ends, time), len(ends) - 1)
        return self.timeline.spans[index].name, ("procedure", "steps", index)


def hangs_on_rehearsal(window: Window) -> bool:
    """Whether a value is `auto`, and settled by rehearsal."""
    return window.used and window.asked is None and window.setting in (*REHEARSED, LIMIT)


def _words(window: Window, value: float, level: LeastLevel, step: str, replay: Replay, *, tried: bool) -> str:
    unit = window.unit
    if window.setting == "trip_delay":
        what = (
            state("stays in the limit for {held} in '{step}'", held=(level.value, unit), step=step)
            if level.value > 0.0
            else "never reaches the limit"
        )
    elif not tried:
        what = state("asks for {needed} in '{step}'", needed=(value, unit, 5), step=step)
    else:
        below = (max(0.0, value - window.step), unit, 5)
        what = state("trips in '{step}' at {trips_at}, one step lower", step=step, trips_at=below)
    return state("rehearsed, {case} {what}", case=replay.words, what=what)


def rehearsed_ends(
    hooked: HookedUp,
    settings: Settings,
    today: dt.date,
    cases: int = 0,
    seed: int = 1,
    *,
    written: bool = True,
) -> RehearsedEnds:
    """Ends that a rehearsal settles: the lower ends of current limits, trip delays, OVP and OPP levels.

    settings: provisional ones. cases: beside the corners, so many cases of the ensemble with this seed.
    written: also the ends of written values, which findings alone depend on. Empty where an
    input has no set points. The same documents always give the same ends.
    """
    limits: dict[tuple[str, str], End] = {}
    documents = hooked.documents
    if not cases and len(hooked.fed[1].actions) > MANY_ACTIONS:
        return {}
    for _ in range(ROUNDS):
        if set(settings.set_points) != set(documents.procedure.hook_up):
            return {}
        study = _Study(hooked, settings, written)
        study.corners()
        found = dict(study.limit_ends())
        limits |= {k: end for k, end in found.items() if k not in limits or end.value > limits[k].value}
        again = settle(documents, today, hooked, limits, provisional=True)
        if settled_limits(again.set_points) == settled_limits(settings.set_points):
            break
        settings = again
    if cases:
        study.cases(cases, seed)
    return {**limits, **dict(study.ends())}
