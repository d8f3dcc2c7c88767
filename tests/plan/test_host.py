"""What the host keeps of the set points that it sends one by one."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.said import says
from tests.settings.station import TODAY, Edit, station

from railwright.documents.loader import Documents
from railwright.documents.output_name import OutputName
from railwright.plan.host import by_host
from railwright.plan.stairs import exchange_of, highest_stair, in_stairs, stairs_of
from railwright.plan.timeline import Action, build_timeline
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import settle

APART = 0.02


def steps(*points: tuple[float, float]) -> list[Action]:
    return [Action(time, "line", "main", voltage) for time, voltage in points]


def test_set_points_far_enough_apart_are_kept() -> None:
    host = by_host(steps((0.0, 6.0), (0.02, 9.0), (0.04, 12.0)), 12.0, None, APART)
    assert (host.error, host.why, host.asked, host.left_out) == (0.0, "", 3, 0)
    assert host.closest == pytest.approx(0.02)


def test_what_comes_too_soon_is_left_out_until_the_host_is_ready_again() -> None:
    host = by_host(steps(*((0.005 * n, 12.0 + 0.1 * n) for n in range(9))), 12.0, None, APART)
    assert (host.asked, host.left_out) == (9, 6)  # kept: at 0, 20 and 40 ms
    assert host.closest == pytest.approx(0.005)
    assert host.error == pytest.approx(0.3)  # 15 ms after the one that was kept
    assert says(host.why, "5 ms", "20 ms")


def test_what_comes_at_one_instant_is_one_message() -> None:
    host = by_host(steps((0.0, 6.0), (0.0, 9.0), (0.03, 12.0)), 12.0, None, APART)
    assert (host.asked, host.left_out, host.error) == (2, 0, 0.0)


def test_a_line_in_stairs_counts_each_of_them() -> None:
    line = Action(0.0, "line", "main", 6.0, 0.2)
    host = by_host([line, *steps((0.21, 12.0))], 12.0, None, APART)
    assert (host.asked, host.left_out, host.late) == (11, 0, 1)  # the last stair at 0.2 s
    assert by_host([line, *steps((0.22, 12.0))], 12.0, None, APART).keeps
    assert by_host([line], 12.0, (1.0, 1e3), APART).asked == 1  # by the outputs' own slew


@pytest.mark.parametrize("over", [0.0201, 0.03125, 0.0399, 0.04, 0.0505])
def test_the_host_s_own_stairs_are_never_closer_than_it_keeps(over: float) -> None:
    lines = [Action(over * n, "line", "main", 12.0 - 0.1 * n, over) for n in range(1, 5)]
    host = by_host(lines, 12.0, None, APART)
    assert host.left_out == 0
    assert host.closest >= APART * (1.0 - 1e-6)
    told = [time for time, _ in stairs_of(lines[0], 12.0, None, APART)]
    assert len(told) == int(over / APART + 1e-6)  # as many as there is time for


def test_what_waited_for_a_trigger_is_never_too_soon() -> None:
    points = steps((0.0, 6.0), (0.005, 12.0))
    assert by_host(points, 12.0, None, APART).late == 1
    assert by_host(points, 12.0, None, APART, waits=[0.005]).keeps


def exchange(supply: str, time: str) -> Edit:
    dialect = f"dialect: {'channel-list' if supply == 'left' else 'selected-output'}\n"
    return ("bench", dialect, f"{dialect}    exchange: {time}\n")


NO_SLEW: Edit = ("bench", "        slew: 1 V/s .. 2.4 V/ms          # programmable rise and fall\n", "")
NO_LIST: Edit = (
    "bench",
    "        points: {at_most: 200, dwell: 20 ms .. 300 s, between: [step, line]}\n",
    "",
)


def test_the_slowest_supply_decides_and_what_is_unknown_is_taken(tmp_path: Path) -> None:
    bench = station(tmp_path, exchange("left", "5 ms")).bench
    assert exchange_of([OutputName("left.1"), OutputName("left.2")], bench) == 5e-3
    assert exchange_of([OutputName("left.1"), OutputName("right.1")], bench) == 0.02


def test_the_host_s_stairs_are_as_far_apart_as_an_exchange_takes(tmp_path: Path) -> None:
    documents = station(tmp_path, NO_SLEW, exchange("left", "100 ms"))
    set_points = settle(documents, TODAY).set_points
    timeline = build_timeline(documents.procedure, documents.device)
    shape = timeline.spans[3]
    told = [
        action.time
        for action in in_stairs(timeline, set_points, documents.bench).actions
        if action.input == "main" and shape.start < action.time <= shape.start + 2.5 + 1e-9
    ]
    assert told == pytest.approx([shape.start + 0.5 + 0.1 * n for n in range(1, 21)])
    height = highest_stair(timeline, shape, set_points["main"], documents.bench)
    assert height == pytest.approx(6.0 / 20)
    action = Action(0.0, "line", "main", 6.0, 2.0)
    assert len(stairs_of(action, 12.0, None, 0.1)) == 20
    assert len(stairs_of(action, 12.0, None)) == 100


def chosen(documents: Documents) -> str | None:
    hooked = hooked_up(documents)
    return hooked.documents.procedure.hook_up["main"].outputs[0] if not hooked.findings else None


AUTO: Edit = ("procedure", "main:       {from: left.1, lead: silicone pair, sense: at load}", "main: auto")
BRIEF: Edit = (
    "procedure",
    "  - shape:\n",
    "  - shape: {input: main, segments: [{step_to: 9 V}, {hold: 10 ms}, {step_to: 12 V}, {hold: 1 s}]}\n"
    "  - shape:\n",
)


@pytest.mark.parametrize(("time", "found"), [("10 ms", "left.1"), ("11 ms", None), (None, None)])
def test_a_hook_up_is_chosen_by_what_its_supply_can_time(
    tmp_path: Path, time: str | None, found: str | None
) -> None:
    edits = [AUTO, NO_LIST, BRIEF, *([exchange("left", time)] if time else [])]
    assert chosen(station(tmp_path, *edits)) == found
