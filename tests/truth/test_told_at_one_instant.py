"""What is told to one input at one instant, and what a point list does until the next set point takes hold.

The truth is worked out here, in closed form, from the figures of the bench (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmarks.small_bench import write_bench
from tests.truth.test_played_as_rehearsed import DOWN, UP, played

from railwright.guard.local_link import LocalLink
from railwright.job import Job
from railwright.running.runner import run
from railwright.traces import Traces
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

BENCH = "bench.yaml"


def at(traces: Traces, time: float) -> float:
    """Voltage at an instant [V]."""
    return float(np.interp(time, traces.time, traces.columns["voltage"]))


@pytest.mark.parametrize(
    ("start", "goal", "over"), [(6.0, 9.0, 200), (6.0, 12.0, 600), (14.0, 9.0, 200), (13.0, 10.0, 1000)]
)
def test_a_point_list_goes_on_until_the_set_point_after_it_takes_hold(
    start: float, goal: float, over: int, tmp_path: Path
) -> None:
    """A list of lines that ends on its way: what hands the next set point over ahead of its time stopped it
    30 ms early, at start + (goal - start) (1 - 30 ms / over).
    """
    # 17 ms are too short for the host, so that the outputs play it themselves.
    segments = (
        f"{{step_to: {start} V}}, {{hold: 17 ms}}, {{line_to: 11 V, over: 17 ms}}, {{step_to: {start} V}}, "
        f"{{hold: 300 ms}}, {{line_to: {goal} V, over: {over} ms}}, {{step_to: 12 V}}"
    )
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: list\n  - hold: 200 ms\n"
    found = played(tmp_path / "p", steps, edits=((BENCH, "dwell: 20 ms", "dwell: 1 ms"),))
    assert found.check.plan.listings
    end = found.check.plan.spans[1].end
    for before in (25e-3, 15e-3, 5e-3):
        truth = goal - (goal - start) * before / (over * 1e-3)
        for record in (found.rehearsed.record, found.truth):
            assert at(record.traces["in1"], end - before) == pytest.approx(truth, abs=0.03)


@pytest.mark.parametrize(("goal", "over"), [(11.37, 400), (10.83, 200), (13.21, 200), (12.49, 33)])
def test_after_a_list_the_input_stands_where_it_was_asked_to(goal: float, over: int, tmp_path: Path) -> None:
    """Outputs without a slew play a line with which a shape ends by a list of levels, of which the last lies
    below or above the goal: they stood there through the hold after it, as much as 0.29 V away, while the
    rehearsal had them at the goal (or not, by what rounding made of the line's last stair).
    """
    last = f"{{line_to: {goal} V, over: {over} ms}}"
    segments = f"{{step_to: 9 V}}, {{hold: 17 ms}}, {{line_to: 11 V, over: 17 ms}}, {last}"
    steps = f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: list\n  - hold: 200 ms\n"
    edits = (
        (BENCH, ", slew: 1 V/s .. 2.4 V/ms", ""),
        (BENCH, "dwell: 20 ms .. 300 s, between: [step, line]", "dwell: 5 ms .. 300 s, between: [step]"),
    )
    found = played(tmp_path / "p", steps, edits=edits)
    assert found.check.plan.listings
    end = found.check.plan.spans[1].end
    for record in (found.rehearsed.record, found.truth):
        assert at(record.traces["in1"], end + 0.15) == pytest.approx(goal, abs=0.01)


@pytest.mark.parametrize(
    ("jump", "goal", "over", "slew"),
    [(10.0, 11.0, 100, 2.4), (8.0, 12.0, 400, 0.5), (14.0, 12.0, 200, 2.4), (12.4, 14.0, 300, 1.2)],
)
def test_a_line_that_follows_a_jump_begins_where_the_jump_leads(
    jump: float, goal: float, over: int, slew: float, tmp_path: Path
) -> None:
    """It was rehearsed from where the input stood before the jump, and told before the jump was over. After t
    on a line that lasts T, jump + (goal - jump) (t - d) / (T - d), where the line begins d = |12 V - jump| /
    slew + 2 ms after the jump: other outputs may be told something before it.
    """
    segments = f"{{step_to: {jump} V}}, {{line_to: {goal} V, over: {over} ms}}, {{hold: 300 ms}}"
    steps = f"  - hold: 300 ms\n  - shape: {{input: in1, segments: [{segments}]}}\n    name: line\n"
    edits = ((BENCH, "1 V/s .. 2.4 V/ms", f"1 V/s .. {slew} V/ms"),)
    found = played(tmp_path / "p", steps, edits=edits, points=False)
    start = found.check.plan.spans[2].start
    lasts, jumps = over * 1e-3, abs(12.0 - jump) / (slew * 1e3) + 2e-3
    for part in (0.3, 0.6, 0.9):
        truth = jump + (goal - jump) * (part * lasts - jumps) / (lasts - jumps)
        for record in (found.rehearsed.record, found.truth):
            assert at(record.traces["in1"], start + part * lasts) == pytest.approx(truth, abs=0.03)
    for record in (found.rehearsed.record, found.truth):
        assert at(record.traces["in1"], start + lasts + 0.1) == pytest.approx(goal, abs=0.03)


def on_slow_exchanges(
    folder: Path, steps: str, edits: tuple[tuple[str, str, str], ...], latency: float
) -> Traces:
    """What becomes of the input where a message takes so long each way [s]."""
    folder.mkdir()
    write_bench(folder, ("left.1",), UP + steps + DOWN, every="10 ms", points=False)
    for name, old, new in edits:
        path = folder / name
        path.write_text(path.read_text("utf-8").replace(old, new), "utf-8")
    job, loop = Job.open(folder / "procedure.yaml"), VirtualLoop()
    whole, points = job.documents, job.check(static=True).settings.set_points
    given = whole.bench, whole.device, whole.procedure
    with VirtualNetwork(loop, *given, seed=3, latency=latency) as network:
        link = LocalLink(loop, network.connect)
        run(whole, points, unit="T-1", operator="O", folder=folder / "run", link=link)
        return network.truth().traces["in1"]


@pytest.mark.parametrize("limit", [True, False])
@pytest.mark.parametrize("latency", [0.1e-3, 1e-3, 4e-3])
@pytest.mark.parametrize(("jump", "goal", "over", "slew"), [(10.0, 11.0, 400, 0.15), (14.0, 12.0, 600, 0.3)])
def test_a_jump_that_is_told_late_is_over_before_its_line_begins(
    jump: float, goal: float, over: int, slew: float, latency: float, limit: bool, tmp_path: Path
) -> None:
    """A limit that comes back at the same instant takes an exchange before it. The line was told at its time
    all the same: it began short of where the jump leads, or without the jump, and stayed beside it all along.
    """
    before = "{step_to: 12 V, current_limit: 0.9 A}" if limit else "{step_to: 12 V}"
    segments = f"{{step_to: {jump} V}}, {{line_to: {goal} V, over: {over} ms}}, {{hold: 300 ms}}"
    steps = f"  - shape: {{input: in1, segments: [{before}, {{hold: 300 ms}}]}}\n"
    steps += f"  - shape: {{input: in1, segments: [{segments}]}}\n"
    edits = ((BENCH, "1 V/s .. 2.4 V/ms", f"1 V/s .. {slew} V/ms"),)
    traces = on_slow_exchanges(tmp_path / "p", steps, edits, latency)
    time, values = traces.time, traces.columns["voltage"]
    jumps, lasts = abs(12.0 - jump) / (slew * 1e3), over * 1e-3
    rate = (goal - jump) / (lasts - jumps)
    # It stands for 300 ms at least, then jumps: the first time at which it is half-way there.
    half = (12.0 + jump) / 2.0
    stands = time > time[np.flatnonzero(values > 11.9)[0]] + 0.4
    beyond = values < half if jump < 12.0 else values > half
    begins = float(time[np.flatnonzero(stands & beyond)[0]]) - jumps / 2.0
    for part in (0.3, 0.6, 0.9):
        truth = jump + rate * (part * lasts - jumps)
        seen = float(np.interp(begins + part * lasts, time, values))
        # Told an exchange late at most, the line lags by that.
        assert min(0.0, -rate * (2.0 * latency + 2e-3)) - 0.03 < seen - truth
        assert seen - truth < max(0.0, -rate * (2.0 * latency + 2e-3)) + 0.03


@pytest.mark.parametrize("over", [11.8, 13.3, 14.7])
@pytest.mark.parametrize("hold", [17, 19.1])
def test_a_point_list_right_after_another_is_played(over: float, hold: float, tmp_path: Path) -> None:
    """Where rounding put its loading behind its start, the outputs stayed where the list before had ended."""
    shapes = [
        f"{{step_to: {first} V}}, {{hold: {hold} ms}}, {{line_to: {then} V, over: {over} ms}}, "
        "{hold: 200 ms}"
        for first, then in ((10.0, 11.0), (9.0, 8.0), (12.0, 13.0), (10.0, 9.0))
    ]
    steps = "".join(f"  - shape: {{input: in1, segments: [{each}]}}\n" for each in shapes)
    found = played(
        tmp_path / "p", steps + "  - hold: 200 ms\n", edits=((BENCH, "dwell: 20 ms", "dwell: 1 ms"),)
    )
    assert len(found.check.plan.listings) == 4
    told = [move.kind for move in found.check.plan.moves if move.kind in ("load", "play")]
    assert told == ["load", "play"] * 4
    for span, level in zip(found.check.plan.spans[1:], (11.0, 8.0, 13.0, 9.0), strict=False):
        for record in (found.rehearsed.record, found.truth):
            assert at(record.traces["in1"], span.end - 0.05) == pytest.approx(level, abs=0.06)


@pytest.mark.parametrize(
    ("jump", "goal", "over", "slew"),
    [(6.0, 6.5, 40, 240.0), (6.0, 6.2, 30, 150.0), (14.0, 13.0, 30, 100.0), (5.0, 5.5, 25, 400.0)],
)
def test_a_line_that_is_over_before_the_jump_is_played_as_a_part_of_it(
    jump: float, goal: float, over: int, slew: float, tmp_path: Path
) -> None:
    """A line of less than twice the time that the jump takes was told in place of the jump: from 12 V on at
    the line's own slew, so that after 100 ms the input stood volts away. It goes to where the line leads at
    the highest slew, 12 V - slew t, and stays there.
    """
    segments = f"{{step_to: {jump} V}}, {{line_to: {goal} V, over: {over} ms}}, {{hold: 300 ms}}"
    steps = f"  - hold: 300 ms\n  - shape: {{input: in1, segments: [{segments}]}}\n    name: line\n"
    edits = ((BENCH, "1 V/s .. 2.4 V/ms", f"1 V/s .. {slew} V/s"),)
    found = played(tmp_path / "p", steps, edits=edits, points=False)
    start, way = found.check.plan.spans[2].start, abs(goal - 12.0)
    for after in (0.3 * way / slew, 0.8 * way / slew, way / slew + 0.03, 0.2):
        truth = 12.0 + np.sign(goal - 12.0) * min(way, slew * after)
        for record in (found.rehearsed.record, found.truth):
            assert at(record.traces["in1"], start + after) == pytest.approx(truth, abs=0.06)


@pytest.mark.parametrize(("jump", "goal", "slew"), [(6.0, 7.0, 120.0), (5.0, 4.0, 100.0), (15.0, 14.5, 60.0)])
@pytest.mark.parametrize("hold", [20, 30])
def test_a_line_waits_for_a_jump_that_a_short_hold_does_not(
    jump: float, goal: float, slew: float, hold: int, tmp_path: Path
) -> None:
    """The hold after the jump is shorter than the jump, d = |12 V - jump| / slew: the rest of the jump was
    left out, and the line crept from there. It begins 2 ms after the jump is over, and ends on time.
    """
    segments = (
        f"{{step_to: {jump} V}}, {{hold: {hold} ms}}, {{line_to: {goal} V, over: 200 ms}}, {{hold: 300 ms}}"
    )
    steps = f"  - hold: 300 ms\n  - shape: {{input: in1, segments: [{segments}]}}\n    name: line\n"
    edits = ((BENCH, "1 V/s .. 2.4 V/ms", f"1 V/s .. {slew} V/s"),)
    found = played(tmp_path / "p", steps, edits=edits, points=False)
    start, jumps = found.check.plan.spans[2].start, abs(12.0 - jump) / slew + 2e-3
    lasts = hold * 1e-3 + 0.2 - jumps
    for part in (0.2, 0.5, 0.9):
        truth = jump + (goal - jump) * part
        for record in (found.rehearsed.record, found.truth):
            assert at(record.traces["in1"], start + jumps + part * lasts) == pytest.approx(truth, abs=0.06)


@pytest.mark.parametrize("slew", [20.0, 30.0])
@pytest.mark.parametrize("over", [50, 100])
def test_a_line_to_where_a_jump_leads_anyway_is_not_faster(slew: float, over: int, tmp_path: Path) -> None:
    """A jump on slow outputs, and a line to the same level before it is over: 12 V - slew t all the way."""
    low, second = (
        4.0,
        "{line_to: 4 V, over: " + f"{over} ms}}, {{hold: 500 ms}}, {{step_to: 12 V}}, {{hold: 600 ms}}",
    )
    steps = "  - hold: 1 s\n  - shape: {input: in1, segments: [{step_to: 4 V}, {hold: 60 ms}]}\n"
    steps += f"  - shape: {{input: in1, segments: [{second}]}}\n"
    edits = ((BENCH, "1 V/s .. 2.4 V/ms", f"1 V/s .. {slew} V/s"),)
    found = played(tmp_path / "p", steps, edits=edits, points=False)
    start = found.check.plan.spans[2].start
    for after in (0.05, 0.1, 0.15, 0.2):
        truth = max(low, 12.0 - slew * after)
        for record in (found.rehearsed.record, found.truth):
            assert at(record.traces["in1"], start + after) == pytest.approx(truth, abs=0.06)


@pytest.mark.parametrize("hold", [3, 8, 14])
@pytest.mark.parametrize(
    "after",
    [
        "{exponential_to: 8 V, time_constant: 30 ms, for: 300 ms}",
        "{step_to: 8 V}",
        "{line_to: 8 V, over: 80 ms}",
    ],
    ids=["list", "jump", "line"],
)
def test_what_the_host_is_late_with_is_not_told_into_the_next_step(
    hold: int, after: str, tmp_path: Path
) -> None:
    """Set points 5 ms apart, of which the host keeps 20 ms between two: the last one was sent when the next
    step had begun, and took the place of what that plays: 12 V stood, and not 8 V.
    """
    early = "{step_to: 11 V}, {hold: 5 ms}, {step_to: 10.5 V}, {hold: 20 ms}, {step_to: 12 V}"
    steps = f"  - shape: {{input: in1, segments: [{early}, {{hold: {hold} ms}}]}}\n    name: early\n"
    steps += f"  - shape: {{input: in1, segments: [{after}, {{hold: 300 ms}}]}}\n    name: after\n"
    found = played(tmp_path / "p", steps)
    end = next(each.end for each in found.check.plan.spans if each.name == "after")
    for record in (found.rehearsed.record, found.truth):
        for before in (0.2, 0.1, 0.01):
            assert at(record.traces["in1"], end - before) == pytest.approx(8.0, abs=0.12)


@pytest.mark.parametrize("low", [4.0, 6.0, 9.0])
def test_what_goes_off_is_not_raised_first(low: float, tmp_path: Path) -> None:
    """A shape that ends with a jump back, right before the input is switched off: it rose for an exchange."""
    segments = f"{{step_to: {low} V}}, {{hold: 300 ms}}, {{step_to: 12 V}}"
    found = played(
        tmp_path / "p", f"  - shape: {{input: in1, segments: [{segments}]}}\n    name: low\n", points=False
    )
    end = found.check.plan.spans[-2].end
    traces = found.truth.traces["in1"]
    late = (traces.time > end - 0.1) & (traces.time < end + 0.1)
    assert float(traces.columns["voltage"][late].max()) < low + 0.03
    told = [move for move in found.check.plan.moves if abs(move.time - end) < 1e-6]
    assert [move.kind for move in told] == ["off"]


@pytest.mark.parametrize("levels", [(6.0, 9.0), (9.0, 6.0), (4.5, 15.0)])
def test_of_two_jumps_at_one_instant_the_last_is_told(levels: tuple[float, float], tmp_path: Path) -> None:
    """One shape ends where the next begins: the input stood at 12 V in between, for an exchange."""
    one, other = levels
    steps = "".join(
        f"  - shape: {{input: in1, segments: [{{step_to: {low} V}}, {{hold: 300 ms}}, {{step_to: 12 V}}]}}\n"
        for low in levels
    )
    found = played(tmp_path / "p", steps + "  - hold: 200 ms\n", points=False)
    edge = found.check.plan.spans[1].end
    traces = found.truth.traces["in1"]
    near = (traces.time > edge - 0.1) & (traces.time < edge + 0.2)
    values = traces.columns["voltage"][near]
    # Its overshoot is 1 % of a jump at most; an exchange of 0.2 ms at 2.4 V/ms would be 0.5 V.
    assert min(one, other) - 0.15 < values.min()
    assert values.max() < max(one, other) + 0.15
    moves = [move for move in found.check.plan.moves if abs(move.time - edge) < 1e-6]
    told = [move.voltage for move in moves if move.kind == "set"]
    assert told == [other]
    assert [each.left_out for each in found.check.plan.spans] == [0] * len(found.check.plan.spans)
