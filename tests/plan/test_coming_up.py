"""How inputs come up, from the timeline: in one power-up or several, at once or by stages."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.bench import PROCEDURE, demo_with

from railwright.plan.coming_up import ComingUp, coming_up
from railwright.plan.timeline import timeline_of

UP = "  - power_up: {order: [main, transducer], gap: 50 ms, rise: 2 V/ms, settle: 150 ms}\n"


def ups(folder: Path, steps: str) -> tuple[ComingUp, ...]:
    documents = demo_with(folder, (PROCEDURE, UP, steps))
    return coming_up(timeline_of(documents.procedure, documents.device))


def test_each_input_rises_at_the_rate_of_its_own_power_up(tmp_path: Path) -> None:
    main, transducer = ups(
        tmp_path,
        "  - power_up: {order: [main], rise: 2 V/ms, settle: 150 ms}\n"
        "  - power_up: {order: [transducer], rise: 500 V/s, voltages: {transducer: 20 V}}\n",
    )
    assert (main.input, main.time, transducer.input) == ("main", 0.0, "transducer")
    assert transducer.time == pytest.approx(0.156)
    assert main.at_once is not None
    assert transducer.at_once is not None
    assert (main.at_once.voltage, main.at_once.rate) == (12.0, pytest.approx(2000.0))
    assert (transducer.at_once.voltage, transducer.at_once.rate) == (20.0, pytest.approx(500.0))


def test_the_order_is_that_of_time_and_a_second_power_up_of_one_input_does_not_count(tmp_path: Path) -> None:
    found = ups(
        tmp_path,
        "  - power_up: {order: [transducer]}\n  - hold: 1 s\n  - power_down: {order: [transducer]}\n"
        "  - power_up: {order: [main, transducer], gap: 20 ms}\n",
    )
    assert [(each.input, each.time) for each in found] == [("transducer", 0.0), ("main", 1.0)]
    assert all(len(each.stages) == 1 and each.stages[0].rate is None for each in found)


def test_what_a_power_up_leaves_at_0_v_comes_up_by_what_follows_until_it_is_led_back(tmp_path: Path) -> None:
    """Two lines of one slope are one stage, the third, at four times that, is another. 12 V after 20 V lead
    back.
    """
    (main, transducer) = ups(
        tmp_path,
        "  - power_up: {order: [main, transducer], voltages: {transducer: 0 V}, settle: 100 ms}\n"
        "  - shape: {input: transducer, segments: [{line_to: 1.2 V, over: 1.2 s}, "
        "{line_to: 2 V, over: 0.8 s}, {line_to: 4 V, over: 0.5 s}]}\n"
        "  - hold: 3 s\n"
        "  - shape: {input: transducer, segments: [{hold: 1 s}, {step_to: 20 V}, {hold: 7 s}, "
        "{step_to: 12 V}]}\n",
    )
    assert main.at_once is not None
    assert transducer.at_once is None
    assert [stage[1:] for stage in transducer.stages] == [
        (pytest.approx(0.1), 1, 0.0, 2.0, pytest.approx(2.0), 0.0),
        (pytest.approx(2.1), 1, 2.0, 4.0, pytest.approx(0.5), pytest.approx(4.0)),
        (pytest.approx(6.6), 3, 4.0, 20.0, 0.0, pytest.approx(7.0)),
    ]


ZERO = "  - power_up: {order: [main, transducer], voltages: {main: 0 V, transducer: 0 V}}\n"


@pytest.mark.parametrize(
    ("segments", "rates"),
    [
        # A jump at the instant at which the line ends.
        ("{line_to: 5 V, over: 1 s}, {step_to: 12 V}, {hold: 4 s}", [5.0, None]),
        ("{step_to: 5 V}, {line_to: 12 V, over: 1 s}, {hold: 4 s}", [None, 7.0]),
        ("{line_to: 5 V, over: 1 s}, {line_to: 12 V, over: 10 ms}, {hold: 4 s}", [5.0, 700.0]),
        ("{line_to: 5 V, over: 10 ms}, {line_to: 12 V, over: 1 s}, {hold: 4 s}", [500.0, 7.0]),
        ("{line_to: 0.3 V, over: 0.1 s}, {line_to: 12 V, over: 3.9 s}, {hold: 4 s}", [3.0]),
        ("{step_to: 5 V}, {step_to: 12 V}, {hold: 4 s}", [None]),
    ],
)
def test_a_stage_is_of_one_rate(segments: str, rates: list[float | None], tmp_path: Path) -> None:
    (_, transducer) = ups(tmp_path, f"{ZERO}  - shape: {{input: transducer, segments: [{segments}]}}\n")
    assert [each.rate for each in transducer.stages] == [rate and pytest.approx(rate) for rate in rates]
    assert transducer.stages[-1].voltage == 12.0
    assert transducer.stages[-1].held >= 4.0


@pytest.mark.parametrize("times", [1, 2])
def test_an_input_that_goes_off_at_0_v_comes_up_with_the_next_on(times: int, tmp_path: Path) -> None:
    off = "  - hold: 1 s\n  - power_down: {order: [transducer]}\n"
    on = "  - power_up: {order: [transducer], voltages: {transducer: 0 V}}\n"
    main, transducer = ups(
        tmp_path,
        f"{ZERO}{off}{(on + off) * (times - 1)}  - hold: 1 s\n"
        "  - power_up: {order: [transducer], rise: 1 V/ms}\n",
    )
    assert (main.input, main.time) == ("main", 0.0)
    assert (transducer.time, transducer.step) == (pytest.approx(times + 1.0), 3 * times + 1)
    assert transducer.at_once is not None
    assert (transducer.at_once.voltage, transducer.at_once.rate) == (24.0, pytest.approx(1000.0))


def test_what_is_led_up_after_its_off_is_no_stage_of_it(tmp_path: Path) -> None:
    (_, transducer) = ups(
        tmp_path,
        f"{ZERO}  - hold: 1 s\n"
        "  - shape: {input: transducer, segments: [{line_to: 5 V, over: 1 s}, {hold: 1 s}]}\n"
        "  - power_down: {order: [transducer]}\n  - power_up: {order: [transducer]}\n",
    )
    assert transducer.time == 0.0
    assert [(each.voltage, each.rate, each.held) for each in transducer.stages] == [(5.0, 5.0, 1.0)]
