"""What a window is: the interval in which a setting is right, with the reason of each end.

What bounds a setting from one side is a constraint (`settings.constraints`). An end is the last value on the
setting's own grid for which its constraint holds; one step further it does not. The window lies between the
highest of the lower ends and the lowest of the upper ones.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import NamedTuple

from railwright.documents.loader import Documents
from railwright.documents.sources import Location
from railwright.frozen import freeze
from railwright.quantities import Statement, joined, show, state
from railwright.settings import figures
from railwright.settings.constraints.constraint import EXACT, Constraint, Side, constraints_in
from railwright.settings.context import UNITS, FedInput, locate
from railwright.settings.engine_rules import EMPTY_WINDOW, END_UNSURE, OUTSIDE_WINDOW
from railwright.settings.findings import Finding, Severity
from railwright.settings.rule import Path, Unknown

DELAY_MARGIN = 1.5
"""Ratio of a trip delay to the longest time in the current limit that normal operation causes."""

REHEARSED = ("trip_delay", "ovp", "opp")
"""Settings of protections whose lower end depends on transients, and is settled by rehearsal."""

TITLES = {
    "current_limit": "a current limit",
    "trip_delay": "a trip delay",
    "ovp": "an OVP level",
    "opp": "an OPP level",
    "rise": "a rate of rise",
}
"""Settings that have windows -> how a sentence names them."""

LIMIT = "current_limit"
"""The setting whose lower end a rehearsal settles too: with a lower limit an input may not come up."""


class Replay(NamedTuple):
    """A rehearsed case that can be played again.

    corner: its number, whose bit k says whether quantity k of the design lies at its upper bound; None: it is
    case `number` of `cases` with `seed`.
    """

    corner: int | None = None
    cases: int = 0
    seed: int = 0
    number: int = 0

    @property
    def words(self) -> str:
        """For people."""
        if self.corner is not None:
            return f"corner {self.corner:#x}"
        return f"case {self.number} of {self.cases}, seed {self.seed}"

    @property
    def options(self) -> str:
        """Options of `railwright rehearse` that play it."""
        if self.corner is not None:
            return f"--corner {self.corner:#x}"
        return f"--cases {self.cases} --seed {self.seed} --number {self.number}"


class Impossible(NamedTuple):
    """What keeps a value from being worked out: where, why, and what would help."""

    path: Path
    why: str
    remedy: str


@dataclass(frozen=True, slots=True)
class End:
    """An end of a window: the last value on the grid that meets one constraint; see `Constraint`.

    replay: the rehearsed case that decides it. alone: only one corner was played, so that it stands beside
    the closed forms and replaces none. corners: how many were played where the worst case may lie between
    them; 0: it is a corner. where: the line of the document, once it was looked up.
    """

    value: float
    side: Side
    key: str
    why: str
    path: Path
    rule: str = ""
    bracket: bool = False
    yields: bool = False
    replay: Replay | None = None
    alone: bool = False
    corners: int = 0
    where: Location | None = None
    relax: Callable[[float], str] = field(default=lambda value: "", compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Window:
    """The interval in which one setting of one input is right.

    setting: its key, such as 'trip_delay'. unit: SI. step: of the grid, for the input as a whole; taken: that
    the bench gives none, or empty. ends: all of them, of both sides. lacks: missing figures, without which
    ends are missing. parts: output -> its part of the input's setting. asked: the value that is written,
    None: `auto`, or not used; used: whether the procedure asks for it; path: where, empty: in the limits.
    recommended: None where figures are missing or the window is empty; why: how it was chosen.
    """

    about: str
    setting: str
    unit: str
    step: float
    taken: str
    ends: tuple[End, ...]
    lacks: tuple[Impossible, ...] = ()
    parts: Mapping[str, float] = field(default_factory=dict)
    asked: float | None = None
    recommended: float | None = None
    why: str = ""
    used: bool = True
    path: Path = ()

    def __post_init__(self) -> None:
        freeze(self, "parts")

    def side(self, side: Side, *, settled: bool = False) -> End | None:
        """The tightest end of one side. settled: without closed forms that a rehearsal may still move."""
        found = [end for end in self.bounding if end.side == side and not (settled and end.bracket)]
        return (max if side == "low" else min)(found, key=lambda end: end.value, default=None)

    @property
    def bounding(self) -> tuple[End, ...]:
        """The ends, without a yielding one that would leave the window empty."""
        least = max((end.value for end in self.ends if end.side == "low"), default=-math.inf)
        return tuple(end for end in self.ends if not (end.yields and end.value < least * (1.0 - EXACT)))

    @property
    def low(self) -> End | None:
        """The tightest lower end."""
        return self.side("low")

    @property
    def high(self) -> End | None:
        """The tightest upper end."""
        return self.side("high")

    def colliding(self, *, settled: bool = False) -> tuple[End, End] | None:
        """The two ends of an empty window; None: it is not empty, or an end is unknown."""
        low, high = self.side("low", settled=settled), self.side("high", settled=settled)
        if low is None or high is None or low.value <= high.value * (1.0 + EXACT):
            return None
        return low, high

    def recommending(self, choose: Choice) -> Window:
        """The same with the value that is chosen between its two ends, and why; without one where a figure
        lacks, an end is missing, or nothing is left between them.
        """
        low, high = self.low, self.high
        if self.lacks or self.colliding() or low is None or high is None:
            return replace(self, recommended=None, why="")
        value, why = choose(self, low, high)
        return replace(self, recommended=value, why=why)

    def broken(self, value: float) -> list[End]:
        """The ends that a value lies beyond, the furthest first."""
        beyond = [
            (value - end.value if end.side == "high" else end.value - value, number)
            for number, end in enumerate(self.bounding)
        ]
        margin = EXACT * abs(value)
        return [self.bounding[number] for gap, number in sorted(beyond, reverse=True) if gap > margin]

    def of_output(self, name: str) -> tuple[float | None, float | None, float | None]:
        """Low, high and recommended value of one output of the group."""
        part = self.parts.get(name, 1.0)
        low, high = self.low, self.high
        return (
            None if low is None else low.value * part,
            None if high is None else high.value * part,
            None if self.recommended is None else self.recommended * part,
        )

    def with_end(self, end: End) -> Window:
        """The same with a rehearsed end in place of the closed forms of its side. Where only one corner was
        played these stay beside it: another corner may need more.
        """
        stays = "it stays, as only one corner was played"
        ends = (
            replace(each, why=joined("; ", (each.why, stays)))
            if each.bracket and each.side == end.side
            else each
            for each in self.ends
            if end.alone or not (each.bracket and each.side == end.side)
        )
        return replace(self, ends=(*ends, end))


Choice = Callable[[Window, End, End], tuple[float | None, str]]
"""(a window, its low and its high end) -> the value that is recommended, and why."""

FURTHEST = 1 << 60
"""Steps of a grid beyond which no end is looked for (chosen)."""


def end_of(bound: Constraint, step: float) -> End:
    """The end that a constraint makes on a grid: searched from `near` by doubled steps, then by halving.

    Where no value from zero up meets an upper constraint, the end lies one step below zero; where no finite
    value meets a lower one, it is infinite.
    """
    if not math.isfinite(bound.near):
        return _end(bound, bound.near)
    lower = bound.side == "low"

    @cache
    def changed(n: int) -> bool:
        """Whether it holds, of the lower side, or no longer does, of the upper one."""
        return bound.holds(round(n * step, 12)) == lower

    above = max(0, round(bound.near / step))
    below, stride = above - 1, 1
    while not changed(above):
        below, above, stride = above, above + stride, 2 * stride
        if stride > FURTHEST:
            return _end(bound, math.inf)
    while below >= 0 and changed(below):
        below, above, stride = below - 2 * stride, below, 2 * stride
    unknown = range(max(below, -1) + 1, above)
    first = unknown.start + bisect_left(unknown, True, key=changed)
    return _end(bound, round((first if lower else first - 1) * step, 12))


def _end(bound: Constraint, value: float) -> End:
    return End(
        value,
        bound.side,
        bound.key,
        bound.why,
        bound.path,
        bound.rule,
        bound.bracket,
        bound.yields,
        relax=bound.relax,
    )


# Many: a window has them.
def window_of(
    source: FedInput,
    setting: str,
    step: float,
    facts: Iterable[Constraint | Unknown],
    parts: Iterable[float],
    asked: float | str | None,
    taken: str = "",
    lacks: Sequence[Impossible] = (),
) -> Window:
    """The window of an input's setting from its constraints, lower ends first; without a recommended value.

    parts: of each output. asked: as the procedure has it. lacks: what is missing beside the unknown figures.
    """
    found = list(facts)
    bounds = sorted(constraints_in(found), key=lambda each: each.side == "high")
    missing = [
        Impossible(
            each.path,
            f"{each.figure} is unknown, and {TITLES[setting]} cannot be worked out without it",
            "give the figure, or write the value",
        )
        for each in found
        if isinstance(each, Unknown) and each.auto
    ]
    return Window(
        source.name,
        setting,
        UNITS[setting],
        step,
        taken,
        tuple(end_of(each, step) for each in bounds),
        (*missing, *lacks),
        dict(zip(source.outputs, parts, strict=True)),
        None if asked is None or isinstance(asked, str) else asked,
        used=asked is not None,
    )


NOTHING_PLAYED = Impossible(
    ("procedure", "steps"),
    "nothing is played on the input, so nothing says what the level must lie above",
    "play a step on it, or write the level",
)


def between(window: Window, low: End, high: End) -> Statement:
    """The two ends of a window with their reasons, in words."""
    return state(
        "between {low} ({low_end}) and {high} ({high_end})",
        low=(low.value, window.unit),
        low_end=low.why,
        high=(high.value, window.unit),
        high_end=high.why,
    )


def rounded(value: float, wanted: float, unit: str, step: float, way: str = "rounded to") -> Statement:
    """What rounding did to a wanted value, in words."""
    grid = state("the grid of {step}", step=(step, unit))
    if abs(value - wanted) <= 1e-9 * abs(wanted):
        return state("{wanted} lies on {grid} and stays", wanted=(wanted, unit), grid=grid)
    if not figures.on_grid(value, step):
        return state("{wanted}: no value on {grid} lies between the two", wanted=(wanted, unit, 5), grid=grid)
    return state(
        "{wanted} {way} {recommended}, a round value on {grid}",
        wanted=(wanted, unit, 5),
        way=way,
        recommended=(value, unit, 5),
        grid=grid,
    )


def collision(window: Window, pair: tuple[End, End]) -> tuple[str, str]:
    """Why a window is empty, and what would open it, in words with figures."""
    low, high = pair
    unit = window.unit
    apart = state(", {gap} apart", gap=(low.value - high.value, unit, 3)) if math.isfinite(low.value) else ""
    name = window.setting.replace("_", " ")
    least = (
        state("no {setting} is enough: {low_end}", setting=name, low_end=low.why)
        if math.isinf(low.value)
        else state("it must be at least {low} ({low_end})", low=(low.value, unit, 5), low_end=low.why)
    )
    most = (
        state("no {setting} is small enough ({high_end})", setting=name, high_end=high.why)
        if high.value < 0.0
        else state("at most {high} ({high_end})", high=(high.value, unit, 5), high_end=high.why)
    )
    remedies = [words for words in (low.relax(high.value), high.relax(low.value)) if words]
    return (
        state(
            "no {setting} of {about} is right: {low_end} and {high_end}{apart}",
            setting=name,
            about=window.about,
            low_end=least,
            high_end=most,
            apart=apart,
        ),
        ", or ".join(remedies),
    )


def window_findings(windows: Iterable[Window], documents: Documents) -> list[Finding]:
    """Findings of empty windows (stop), and of written values outside their window (caution) that no rule of
    their own reports.

    Where a value is written, a closed form that a rehearsal settles does not count as emptying the window
    before the rehearsal has settled it.
    """
    found: list[Finding] = []
    for window in (each for each in windows if each.used):
        where = locate(documents, window.path or ("procedure", "limits", window.about, window.setting))
        pair = window.colliding(settled=True) or (window.colliding() if window.asked is None else None)
        said = [(EMPTY_WINDOW, Severity.STOP, *collision(window, pair))] if pair is not None else []
        if window.asked is not None:
            outside, close = _outside(window, window.asked, pair or ()), _close(window, window.asked)
            said += [(OUTSIDE_WINDOW, Severity.CAUTION, *each) for each in outside]
            said += [(END_UNSURE, Severity.CAUTION, *each) for each in close]
        found += [
            Finding(rule, severity, window.about, where, why, remedy) for rule, severity, why, remedy in said
        ]
    return found


def _outside(window: Window, value: float, told: Sequence[End]) -> Iterator[tuple[str, str]]:
    """The ends that a written value lies beyond and that no rule of their own reports.

    told: the two ends of an empty window, which is reported; of these an infinite one is not reported again.
    """
    unit, name = window.unit, window.setting.replace("_", " ")
    for end in window.broken(value):
        if end.rule or end.bracket or (math.isinf(end.value) and end in told):
            continue
        if math.isinf(end.value):
            yield state("no {setting} is enough: {why}", setting=name, why=end.why), end.relax(value)
        else:
            yield (
                state(
                    "{setting} of {set_point} lies {beyond} {side} end of its window, {end}: {why}",
                    setting=name,
                    set_point=(value, unit),
                    beyond=(abs(value - end.value), unit, 3),
                    side="below the lower" if end.side == "low" else "above the upper",
                    end=(end.value, unit, 5),
                    why=end.why,
                ),
                _inside(window, end),
            )


def _close(window: Window, value: float) -> Iterator[tuple[str, str]]:
    """A written trip delay lies close above its lower end, and the worst case may lie between the corners."""
    low = window.low
    if low is not None and low.corners and low.value <= value < DELAY_MARGIN * low.value:
        yield (
            state(
                "{set_point} is {ratio:.3g} times the longest time in the limit found, {end} ({why}); "
                "the effect of one tolerance depends on others there, such as where a converter stops; only "
                "{corners:g} corners were played, and between them it may last longer",
                set_point=(value, window.unit),
                ratio=(value / low.value, "1"),
                end=(low.value, window.unit, 5),
                why=low.why,
                corners=(low.corners, "1"),
            ),
            f"set {show(DELAY_MARGIN * low.value, window.unit, 3)} or more, or look between the corners: "
            "railwright check --cases 1500",
        )


def _inside(window: Window, end: End) -> str:
    """Which value to set instead."""
    if window.recommended is not None:
        return f"set {show(window.recommended, window.unit)}, which is recommended"
    return f"set {show(end.value, window.unit, 5)} or {'more' if end.side == 'low' else 'less'}"
