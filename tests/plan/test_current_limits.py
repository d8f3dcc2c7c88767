"""Coupled current limits: in which order they are told, what cannot be reached, and where they stand when.

The truth is a breadth-first search over everything that telling one output after the other can do, with the
coupling written out once more by hand: by step, the others move by as many amperes, by ratio in the same
proportion (from 0 there is none), each within its own range (common practice, no source).
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import pytest
from tests.bench import OUTPUT, bench_of

from railwright.documents.bench import Bench
from railwright.documents.output_name import OutputName
from railwright.plan.current_limits import limit_actions, limits_in_order, out_of_reach
from railwright.plan.set_points import Feed, OutputSetPoints, SetPoints
from railwright.plan.timeline import LimitChange, Timeline

Range = tuple[float, float]
State = tuple[float, ...]


def bench(ranges: Sequence[Range], by: str, steps: Sequence[str | None] | None = None) -> Bench:
    names = [str(number) for number in range(1, len(ranges) + 1)]
    outputs = {}
    for name, (low, high), step in zip(names, ranges, steps or [None] * len(names), strict=True):
        programming = {"voltage": {"offset": "1 mV"}, "current": {"offset": "1 mA", "resolution": step}}
        if step is None:
            del programming["current"]["resolution"]
        outputs[name] = {
            "voltage": "0 V .. 30 V",
            "current": f"{low} A .. {high} A",
            "programming": programming,
        }
    group = {"outputs": names, "by": by, "of": "current_limit"}
    return bench_of({"s": {"outputs": outputs, "coupled": [group]}})


def fed(limits: Sequence[float]) -> SetPoints:
    """Input in1, in2, … from s.1, s.2, … alone, with these limits [A]."""
    found = {}
    for number, limit in enumerate(limits, 1):
        points = OutputSetPoints(OutputName(f"s.{number}"), limit, "regulate", 0.0, 30.0)
        found[f"in{number}"] = Feed(f"in{number}", "alone", (points,), "pair", "at terminals")
    return found


def set_one(state: State, number: int, value: float, ranges: Sequence[Range], by: str) -> State:
    """What a supply makes of one limit that it is told."""
    before, after = state[number], value
    found = list(state)
    found[number] = value
    for other, (low, high) in enumerate(ranges):
        if other != number:
            goal = state[other] + after - before
            if by == "ratio":
                goal = state[other] * after / before if before else state[other]
            found[other] = min(max(goal, low), high)
    return tuple(found)


def reachable(ranges: Sequence[Range], by: str, values: Sequence[Sequence[float]]) -> set[State]:
    """All that telling one output after the other reaches from the lowest of all, of these values."""
    start = tuple(low for low, _ in ranges)
    found, edge = {start}, [start]
    while edge:
        ahead = set()
        for state in edge:
            for number, own in enumerate(values):
                ahead |= {set_one(state, number, value, ranges, by) for value in own}
        edge = [state for state in ahead if state not in found]
        found |= set(edge)
    return found


def told_to_a_supply(given: Bench, limits: Sequence[float], ranges: Sequence[Range], by: str) -> State:
    """Where the limits stand when all that is to be told was told."""
    state = tuple(low for low, _ in ranges)
    in_order = limits_in_order(given, fed(limits))
    for number in range(1, len(limits) + 1):
        for output, value in in_order[OutputName(f"s.{number}")]:
            assert ranges[int(output[2:]) - 1][0] <= value <= ranges[int(output[2:]) - 1][1]
            state = set_one(state, int(output[2:]) - 1, value, ranges, by)
    return state


@pytest.mark.parametrize("seed", range(12))
def test_by_step_exactly_what_can_be_reached_is_told(seed: int) -> None:
    """Whole amperes: whatever a supply could be brought to by whole amperes is told, and nothing else is."""
    draw = random.Random(seed)
    lows = [draw.randint(0, 2) for _ in range(draw.choice((2, 2, 3, 4)))]
    ranges = [(float(low), float(low + draw.randint(1, 4))) for low in lows]
    values = [[float(each) for each in range(int(low), int(high) + 1)] for low, high in ranges]
    given, can = bench(ranges, "step"), reachable(ranges, "step", values)
    for wanted in itertools.product(*values):
        lacking = list(out_of_reach(given, fed(wanted)))
        assert (wanted in can) == (not lacking), (ranges, wanted)
        if not lacking:
            assert told_to_a_supply(given, wanted, ranges, "step") == pytest.approx(wanted)
        else:
            (apart,) = lacking
            first, second = (int(each[2:]) - 1 for each in apart.outputs)
            assert apart.wanted == pytest.approx(wanted[second] - wanted[first])
            gaps = [state[second] - state[first] for state in can]
            assert (apart.low, apart.high) == pytest.approx((min(gaps), max(gaps)))


@pytest.mark.parametrize("seed", range(12))
def test_by_ratio_exactly_what_can_be_reached_is_told(seed: int) -> None:
    """Powers of two: by ratio they are as whole amperes by step."""
    draw = random.Random(seed)
    lows = [draw.randint(0, 2) for _ in range(draw.choice((2, 2, 3)))]
    powers = [(low, low + draw.randint(1, 4)) for low in lows]
    ranges = [(2.0**low, 2.0**high) for low, high in powers]
    values = [[2.0**each for each in range(low, high + 1)] for low, high in powers]
    given, can = bench(ranges, "ratio"), reachable(ranges, "ratio", values)
    for wanted in itertools.product(*values):
        lacking = list(out_of_reach(given, fed(wanted)))
        assert (wanted in can) == (not lacking), (ranges, wanted)
        if not lacking:
            assert told_to_a_supply(given, wanted, ranges, "ratio") == pytest.approx(wanted)


@pytest.mark.parametrize("wanted", [(1.0, 0.5), (0.5, 2.0, 1.25), (0.0, 1.0, 2.0)])
def test_by_ratio_from_nothing_every_limit_can_be_told(wanted: tuple[float, ...]) -> None:
    ranges = [(0.0, 2.0)] * len(wanted)
    assert not list(out_of_reach(bench(ranges, "ratio"), fed(wanted)))
    assert told_to_a_supply(bench(ranges, "ratio"), wanted, ranges, "ratio") == pytest.approx(wanted)


def test_limits_that_are_not_coupled_are_told_once_each() -> None:
    given = bench_of({"s": {"outputs": {"1": OUTPUT, "2": OUTPUT}}})
    assert limits_in_order(given, fed((1.0, 0.5))) == {"s.1": (("s.1", 1.0),), "s.2": (("s.2", 0.5),)}


@pytest.mark.parametrize("wanted", [(1.0, 0.503), (1.003, 0.5), (2.49, 2.493)])
@pytest.mark.parametrize("coarse", [0, 1])
def test_unequal_grids_end_at_the_nearest_of_each(wanted: tuple[float, float], coarse: int) -> None:
    """One in steps of 10 mA, the other of 1 mA, each rounding what it is told, and where it is moved."""
    ranges = [(0.0, 3.5), (0.0, 2.5)]
    steps = [0.01, 0.001] if coarse == 0 else [0.001, 0.01]
    given = bench(ranges, "step", [f"{1000 * step:g} mA" for step in steps])
    if list(out_of_reach(given, fed(wanted))):
        assert wanted[0] - wanted[1] < 0.0
        return
    state = (0.0, 0.0)
    for output in ("s.1", "s.2"):
        for each, value in limits_in_order(given, fed(wanted))[OutputName(output)]:
            number = int(each[2:]) - 1
            on_grid = round(value / steps[number]) * steps[number]
            state = set_one(state, number, on_grid, ranges, "step")
            state = tuple(round(own / step) * step for own, step in zip(state, steps, strict=True))
    for own, want, step in zip(state, wanted, steps, strict=True):
        assert abs(own - want) <= step / 2 + 1e-9


def change(time: float, name: str, current: float | None) -> LimitChange:
    return LimitChange(time, name, current, ())


@pytest.mark.parametrize(
    ("by", "told", "expected"),
    [
        # From 2 A and 1.5 A: down by 1 A, up by 0.5 A, and back.
        ("step", [("in1", 1.0), ("in1", 1.5), ("in1", None)], [(1.0, 0.5), (1.5, 1.0), (2.0, 1.5)]),
        # Down by 1.8 A: the other one stops at 0 A, and is 0.3 A higher than before when it is over.
        ("step", [("in1", 0.2), ("in1", None)], [(0.2, 0.0), (2.0, 1.8)]),
        # The other one leads.
        ("step", [("in2", 0.5), ("in2", None)], [(1.0, 0.5), (2.0, 1.5)]),
        ("ratio", [("in1", 1.0), ("in2", 0.3), ("in2", None)], [(1.0, 0.75), (0.4, 0.3), (2.0, 1.5)]),
    ],
)
def test_where_coupled_limits_stand(
    by: str, told: list[tuple[str, float | None]], expected: list[tuple[float, float]]
) -> None:
    given, feeds = bench([(0.0, 2.5), (0.0, 2.0)], by), fed((2.0, 1.5))
    limits = tuple(change(float(number), *each) for number, each in enumerate(told, 1))
    found = limit_actions(given, feeds, Timeline((), (), 9.0, limits))
    for time, levels in enumerate(expected, 1):
        now = {each.input: each for each in found if each.time <= time}
        assert [now[name].current for name in ("in1", "in2")] == pytest.approx(levels)
        assert [now[name].whole for name in ("in1", "in2")] == pytest.approx(levels)
        first, *others = (each for each in found if each.time == time)
        own = told[time - 1][0]
        assert (first.input, first.moved_by) == (own, None)
        assert all(each.moved_by == f"s.{own[2:]}" for each in others)


def test_a_group_of_outputs_with_one_of_them_coupled() -> None:
    """In parallel 1 A and 1 A; one of them moves with the limit of another input, the other one does not."""
    points = [OutputSetPoints(OutputName(f"s.{n}"), 1.0, "regulate", 0.0, 30.0) for n in (1, 3)]
    both = Feed("both", "parallel", tuple(points), "pair", "at terminals")
    given = bench_of(
        {
            "s": {
                "outputs": {own: {"voltage": "0 V .. 30 V", "current": "0 A .. 2 A"} for own in "123"},
                "coupled": [{"outputs": ["1", "2"], "by": "step", "of": "current_limit"}],
            }
        }
    )
    feeds = {"both": both, "in2": fed((1.0, 1.0))["in2"]}
    found = limit_actions(given, feeds, Timeline((), (), 9.0, (change(1.0, "in2", 0.4),)))
    assert [(each.output, each.current, each.whole) for each in found] == [
        ("s.2", pytest.approx(0.4), pytest.approx(0.4)),
        ("s.1", pytest.approx(0.4), pytest.approx(1.4)),
    ]
