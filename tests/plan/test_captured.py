"""Captured waveforms on outputs: told as captured by host or list, figures against the known truth."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.plan.test_delivery import bench, feed
from tests.waveforms.captures import CAPTURES, Array, Capture, captured, levels, ringing

from railwright.documents.bench import Bench
from railwright.plan.captured import by_set_points, with_jumps
from railwright.plan.delivery import Delivery
from railwright.plan.plan import Plan, deliver
from railwright.plan.set_point import waveform
from railwright.plan.timeline import Action, Timeline
from railwright.traces import Span
from railwright.waveforms.recordings import as_pieces, few_lines
from railwright.waveforms.shapes import moves
from railwright.waveforms.waveform import Waveform

HERE = ("steps", 1, "shape", "recording")
SLEW = "1 V/s .. 2.4 V/ms"
SLOW_LIST = {"at_most": 200, "dwell": "20 ms .. 300 s", "between": ["step", "line"]}
FAST_LIST = {"at_most": 100, "dwell": "1 ms .. 10 s", "between": ["step", "line"]}
BENCHES = {
    "slew": bench(slew=SLEW, points=SLOW_LIST),
    "no slew": bench(points=SLOW_LIST),
    "a fast list": bench(points=FAST_LIST),
    "levels alone": bench(points={"at_most": 50, "dwell": "2 ms .. 10 s", "between": ["step"]}),
    "the host alone": bench(points=None),
}


def recorded(capture: Capture, repeat: int = 1) -> Timeline:
    """The timeline of a capture, from 12 V on."""
    pieces = as_pieces(few_lines(Waveform(capture.time, capture.value)).wave)
    actions, start = [], 1.0
    for _ in range(repeat):
        for move in moves(pieces, 12.0, start):
            if move.kind == "end":
                start = move.time
                break
            actions.append(Action(move.time, "line", "main", move.value, move.over, HERE, step=1))
    spans = (Span("up", "power_up", 0.0, 1.0, ("main",)), Span("shape", "shape", 1.0, start, ("main",)))
    before = [Action(0.0, kind, "main", 12.0) for kind in ("on", "line")]
    return Timeline((*before, *actions), spans, start, turns={1: repeat})


def plan_on(capture: Capture, given: Bench, repeat: int = 1) -> tuple[Plan, Delivery]:
    plan = deliver(recorded(capture, repeat), {"main": feed()}, given)
    (one,) = plan.deliveries
    return plan, one


def played(plan: Plan) -> Waveform:
    """The set point that the outputs play, on the shape's clock."""
    actions = [action for action in plan.played.actions if action.time >= 1.0 - 1e-9]
    return waveform(12.0, actions, 1.0, plan.spans[1].end - 1.0)


@pytest.mark.parametrize("given", BENCHES.values(), ids=BENCHES)
@pytest.mark.parametrize("capture", [c for c in CAPTURES if "ringing" not in c.name], ids=lambda c: c.name)
def test_what_the_outputs_reach_is_played_as_captured(capture: Capture, given: Bench) -> None:
    plan, one = plan_on(capture, given)
    span = float(np.ptp(capture.truth(capture.time)))
    told = played(plan).at
    assert one.serves
    assert not one.far_off
    assert capture.rms(told) < 0.005 * span + 0.1 * capture.noise
    assert capture.latest(told) < 1.5 * float(np.median(np.diff(capture.time)))
    # 0.05 % + 8 mV, the accuracy of an ordinary supply, and of the mean of what was captured.
    for begin, end in zip(
        [0.0, *(e[0] for e in capture.edges)], [*(e[0] for e in capture.edges), capture.duration], strict=True
    ):
        middle = np.linspace(begin, end, 12)[1:-1]
        off = np.abs(told(middle) - capture.truth(middle)).max()
        assert off < 8e-3 + 0.05e-2 * 30.0 + 0.1 * capture.noise
    assert one.listing is None or "timed by the host" not in one.why
    if one.listing is not None:
        assert one.listing.duration == pytest.approx(capture.duration, abs=1e-3)


@pytest.mark.parametrize(
    ("given", "share"),
    [("slew", 0.04), ("a fast list", 0.01), ("levels alone", 0.015)],  # jumps in lines last 20 ms and 1 ms
)
@pytest.mark.parametrize("capture", [c for c in CAPTURES if "ringing" in c.name], ids=lambda c: c.name)
def test_ringing_is_played_as_near_as_the_list_can(capture: Capture, given: str, share: float) -> None:
    plan, one = plan_on(capture, BENCHES[given])
    span = float(np.ptp(capture.truth(capture.time)))
    told = played(plan).at
    dwell = 20e-3 if given == "slew" else 2e-3
    assert not one.far_off
    assert capture.rms(told) < share * span
    assert capture.latest(told) <= dwell + 2e-3
    if one.listing is not None:
        assert one.listing.duration <= capture.duration + 1e-9
        assert one.listing.duration == pytest.approx(capture.duration, abs=1e-3 + 1e-9)


def test_more_ringing_than_points_takes_all_of_them_and_stays_near() -> None:
    truth, edges = ringing(12.0, 8.0, 0.5, 4.0, 0.5, 25.0, 1.0)
    capture = captured("", truth, edges, 5.0, 1e-4, 0.0)
    plan, one = plan_on(capture, BENCHES["a fast list"])
    assert one.listing is not None
    assert not one.serves
    assert one.listing.points.dwells.size == 100
    # Against one level between the edges.
    flat = np.array([12.0, 8.0, 12.0])[np.searchsorted([0.5, 4.0], np.linspace(0, 5, 5001), side="right")]
    assert capture.rms(played(plan).at) < 0.35 * float(
        np.sqrt(np.mean((flat - truth(np.linspace(0, 5, 5001))) ** 2))
    )
    assert one.figures is not None
    assert one.figures.steady == pytest.approx(capture.rms(played(plan).at), rel=0.2)


def dip(length: float, depth: float = 6.0) -> Capture:
    return captured("", *levels(12.0, (0.5, 12.0 - depth), (0.5 + length, 12.0)), 2.0, 1e-4, 2e-3)


def test_a_dip_that_no_output_can_is_not_said_to_be_played() -> None:
    """Dwells of 20 ms and set points 20 ms apart: 5 ms are nothing, or four times as long."""
    for given in ("slew", "no slew"):
        _, one = plan_on(dip(5e-3), BENCHES[given])
        assert not one.serves
        assert one.far_off
        assert one.figures is not None
        assert one.figures.missing == 2
    _, host = plan_on(dip(5e-3), BENCHES["the host alone"])
    assert (host.by, host.serves, host.host.left_out, host.host.late) == ("host", False, 0, 1)


def test_a_dip_that_a_list_can_is_played_by_it_in_time() -> None:
    capture = dip(5e-3)
    for given in ("a fast list", "levels alone"):
        plan, one = plan_on(capture, BENCHES[given])
        assert (one.by, one.serves, one.far_off) == ("list", True, "")
        assert capture.latest(played(plan).at) < 1e-3
        assert one.figures is not None
        assert (one.figures.edges, one.figures.missing) == (2, 0)


def test_the_span_is_the_captures_own_wherever_the_output_was_left() -> None:
    capture = captured("", *levels(3.0, (0.5, 3.3), (1.0, 3.1)), 2.0, 1e-3, 0.0)
    _, one = plan_on(capture, BENCHES["slew"])  # from 12 V
    assert one.tolerance == pytest.approx(0.003)


def test_a_repeated_capture_is_listed_once() -> None:
    capture = captured("", *levels(12.0, (0.01, 9.0), (0.014, 10.5), (0.02, 12.0)), 0.0401, 1e-4, 0.0)
    plan, one = plan_on(capture, bench(points={**FAST_LIST, "at_most": 8}), repeat=6)
    assert one.listing is not None
    assert (one.serves, one.listing.count) == (True, 6)
    assert one.listing.points.voltages == pytest.approx([12.0, 9.0, 10.5, 12.0])
    assert one.listing.duration == pytest.approx(plan.spans[1].end - 1.0)


def line(time: float, voltage: float, over: float) -> Action:
    return Action(time, "line", "main", voltage, over, HERE)


EDGE = [line(1.0, 11.0, 1e-3), line(1.001, 7.0, 1e-3), line(1.002, 6.0, 2e-3)]


def test_lines_steeper_than_the_slew_are_a_jump_where_they_cross_half_their_height() -> None:
    (jump,) = with_jumps(EDGE[1:2], 11.0, 2e3, 0.0)
    assert (jump.time, jump.voltage, jump.over, jump.path) == (pytest.approx(1.0015), 7.0, 0.0, HERE)
    first, second, third = with_jumps(EDGE, 12.0, 2e3, 0.0)
    assert (first, third) == (EDGE[0], EDGE[2])
    assert (second.time, second.over) == (pytest.approx(1.0015), 0.0)
    assert with_jumps(EDGE, 12.0, 5e3, 0.0) == tuple(EDGE)


def test_without_a_slew_what_is_brief_is_a_jump() -> None:
    (jump,) = with_jumps(EDGE, 12.0, None, 0.02)
    assert (jump.time, jump.voltage, jump.over) == (pytest.approx(1.0015), 6.0, 0.0)
    assert with_jumps([line(1.0, 6.0, 0.03)], 12.0, None, 0.02) == (line(1.0, 6.0, 0.03),)
    tail = line(1.004, 5.9, 0.018)
    jump, rest = with_jumps([*EDGE, tail], 12.0, None, 0.02)
    assert (jump.voltage, rest) == (6.0, tail)
    slope = tuple(line(1.0 + 0.01 * n, 12.0 - n, 0.01) for n in range(10))
    assert with_jumps(slope, 13.0, None, 0.02) == slope


def test_ringing_is_no_row_of_edges() -> None:
    swings = tuple(line(1.0 + 0.01 * n, 12.0 + (1.0 - 0.02 * n) * (-1) ** n, 0.01) for n in range(20))
    assert with_jumps(swings, 12.0, None, 0.02)[1:] == swings[1:]
    edge = [line(1.0, 6.0, 0.002), line(1.002, 6.5, 0.002), line(1.004, 5.8, 0.002), line(1.006, 6.1, 0.002)]
    jump, *rest = with_jumps(edge, 12.0, None, 0.02)
    assert (jump.time, jump.over) == (pytest.approx(1.001), 0.0)
    assert rest == edge[1:]


def told(actions: list[Action], slews: tuple[float, float] | None = None) -> tuple[Array, Array]:
    wave = by_set_points(actions, 12.0, slews, 0.02, 1.0, 0.5)
    kept = np.append(True, (np.diff(wave.time) > 0.0) | (np.diff(wave.value) != 0.0))
    return wave.time[kept], wave.value[kept]


def test_set_points_come_at_their_time_or_as_soon_as_the_host_can() -> None:
    steps = [line(1.1, 6.0, 0.0), line(1.105, 12.0, 0.0)]
    time, value = told(steps)
    assert time == pytest.approx([0.0, 0.1, 0.1, 0.12, 0.12, 0.5], abs=1e-6)
    assert value == pytest.approx([12.0, 12.0, 6.0, 6.0, 12.0, 12.0])
    # One that is late as the next is due is left out.
    time, value = told([*steps, line(1.115, 8.0, 0.0)])
    assert time == pytest.approx([0.0, 0.1, 0.1, 0.12, 0.12, 0.5], abs=1e-6)
    assert value == pytest.approx([12.0, 12.0, 6.0, 6.0, 8.0, 8.0])


def test_lines_go_by_the_slew_or_in_stairs() -> None:
    down: list[Any] = [line(1.1, 6.0, 0.1)]
    time, value = told(down, (1.0, 1e3))
    assert np.interp([0.1, 0.15, 0.2], time, value) == pytest.approx([12.0, 9.0, 6.0])
    time, value = told(down)
    assert value[(time > 0.1) & (time < 0.25)].tolist() == pytest.approx(
        [12.0, 10.8, 10.8, 9.6, 9.6, 8.4, 8.4, 7.2, 7.2, 6.0]
    )
