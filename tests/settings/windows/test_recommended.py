"""`auto` limits: inside their interval, on the grid, with their reason; or a stop that says what lacks."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.said import says
from tests.settings.station import TODAY, Edit, line_of, of_rule, settled

from railwright.documents.loader import load_documents
from railwright.settings import figures
from railwright.settings.settle import Settings, settle

SERIES_PAIR = Path(__file__).parent / "devices" / "series-pair.procedure.yaml"

AUTO_MAIN: Edit = (
    "procedure",
    "    current_limit: 1 A\n    at_limit: trip                       # or: regulate (IVI-4.4)\n"
    "    trip_delay: 40 ms\n    ovp: 18 V",
    "    current_limit: auto\n    at_limit: trip\n    trip_delay: auto\n    ovp: auto",
)
SERIES: Edit = (
    "procedure",
    "main:       {from: left.1, ",
    "main:       {from: {series: [left.1, left.2]}, ",
)
PARALLEL: Edit = (
    "procedure",
    "main:       {from: left.1, ",
    "main:       {from: {parallel: [left.1, left.2]}, ",
)


def value(settings: Settings, about: str, setting: str) -> tuple[float, str]:
    reason = next(each for each in settings.reasons if (each.about, each.setting) == (about, setting))
    return reason.value, reason.why


def test_current_limit_between_need_and_what_is_borne(tmp_path: Path) -> None:
    limit, why = value(settled(tmp_path, AUTO_MAIN), "main", "current_limit")
    assert 1.1 * 0.6 + 0.0047 < limit < 2.5 - 0.0065
    assert limit == pytest.approx(0.9, abs=0.03)
    assert figures.on_grid(limit, 1e-4)
    assert says(why, "0.6 A")
    assert says(why, "2.5 A")


def test_the_reason_says_which_need_decided_and_how_it_was_rounded(tmp_path: Path) -> None:
    limit, why = value(settled(tmp_path, AUTO_MAIN), "main", "current_limit")
    assert says(why, "declared steady current", "load model", "8.2 V")
    assert says(why, "0.9 A", "100 µA")
    assert limit == 0.9
    drawn = ("device", "steady: 180 mA .. 600 mA", "steady: 180 mA .. 437 mA")
    limit, why = value(settled(tmp_path, AUTO_MAIN, drawn), "main", "current_limit")
    assert says(why, "load model", "8.2 V", "declared steady current")
    assert says(why, f"{limit:g} A", "100 µA")


def test_a_limit_that_an_end_of_its_interval_holds_says_so(tmp_path: Path) -> None:
    edit = ("bench", "permitted_current: 8 A", "permitted_current: 0.7 A")
    _, why = value(settled(tmp_path, AUTO_MAIN, edit), "main", "current_limit")
    assert says(why, "0.9 A")


def test_rounding_of_a_delay_and_of_an_ovp_level(tmp_path: Path) -> None:
    settings = settled(tmp_path, AUTO_MAIN)
    for setting, grid in (("trip_delay", "100 µs"), ("ovp", "10 mV")):
        _, why = value(settings, "main", setting)
        assert says(why, grid)
        assert says(why, "step", "not given")


def test_current_limit_stays_below_a_thin_lead(tmp_path: Path) -> None:
    edit = ("bench", "permitted_current: 8 A", "permitted_current: 0.7 A")
    limit, why = value(settled(tmp_path, AUTO_MAIN, edit), "main", "current_limit")
    assert limit + 0.001 * limit + 0.004 <= 0.7
    assert "bears 0.7 A" in why


def test_ovp_between_what_is_played_and_what_is_withstood(tmp_path: Path) -> None:
    settings = settled(tmp_path, AUTO_MAIN)
    level, why = value(settings, "main", "ovp")
    assert 16.016 * 1.03 + 0.1 < level < 20 - 0.1 - 0.48
    assert says(why, "20 V", "0.1 V")
    assert value(settings, "transducer", "ovp")[0] == 30.0


def test_trip_delay_from_the_closed_form(tmp_path: Path) -> None:
    settings = settled(tmp_path, AUTO_MAIN)
    limit = value(settings, "main", "current_limit")[0]
    least = limit - 0.001 * limit - 0.004
    capacitance = 1.2e-3 + 220e-6
    at_best, at_worst = capacitance * 12 / least, capacitance * 12 / (least - 0.645)
    delay, why = value(settings, "main", "trip_delay")
    assert 1.5 * at_best < delay < 1.5 * 1.06 * at_worst
    assert figures.on_grid(delay, 1e-4)
    assert "C·V/(I_limit − I_load)" in why


def test_trip_delay_of_a_constant_load_is_c_v_over_the_rest(tmp_path: Path) -> None:
    edits = (
        ("procedure", "    trip_delay: 60 ms", "    trip_delay: auto"),
        ("device", "compliance: 9 V", "compliance: 1 mV"),
    )
    delay, _ = value(settled(tmp_path, *edits), "transducer", "trip_delay")
    time = (12e-6 + 100e-6) * 24 / (0.1 - 0.0006 - 0.021)
    assert 1.5 * time <= delay <= 1.5 * 1.1 * time


def test_nothing_reaches_the_limit(tmp_path: Path) -> None:
    edits = (
        ("procedure", "    trip_delay: 60 ms", "    trip_delay: auto"),
        ("procedure", "rise: 2 V/ms, settle: 150 ms", "rise: 0.2 V/ms, settle: 150 ms"),
    )
    delay, why = value(settled(tmp_path, *edits), "transducer", "trip_delay")
    assert delay == 2e-3
    assert says(why, "nothing", "current limit")


def test_series_outputs_share_ovp_and_each_has_the_limit(tmp_path: Path) -> None:
    settings = settled(tmp_path, AUTO_MAIN, SERIES)
    first, second = settings.set_points["main"].outputs
    total, why = value(settings, "main", "ovp")
    assert first.ovp == second.ovp == pytest.approx(total / 2)
    assert first.share == second.share == 0.5
    assert first.current_limit == second.current_limit == value(settings, "main", "current_limit")[0]
    assert says(why, "series", "share")


def test_parallel_outputs_divide_the_limit(tmp_path: Path) -> None:
    settings = settled(tmp_path, AUTO_MAIN, PARALLEL)
    total, why = value(settings, "main", "current_limit")
    assert sum(each.current_limit for each in settings.set_points["main"].outputs) == pytest.approx(total)
    assert says(why, "parallel outputs")


IMPOSSIBLE = [
    ((("device", ", at_most: 2.5 A", ""),), "does the input no harm (at_most) is unknown", "current:"),
    (
        (("bench", ", permitted_current: 8 A", ""),),
        "permitted current of lead 'silicone pair' is unknown",
        "silicone pair",
    ),
    (
        (("bench", "permitted_current: 8 A", "permitted_current: 0.5 A"),),
        "it must be at least 0.6047 A",
        "current_limit: auto",
    ),
    (
        (("device", "      - {voltage: 20 V}                  # for any time\n", ""),),
        "withstands for any",
        "withst",
    ),
    (
        (("device", "{voltage: 20 V} ", "{voltage: 16.2 V} "),),
        "no ovp of main is right: it must be at least",
        "ovp: auto",
    ),
    ((("bench", ", response: 200 us", ""),), "response of the OVP", "ovp:"),
    ((("bench", "        output_capacitance: 220 uF\n", ""),), "own capacitance is unknown", "1:"),
    (
        (
            ("bench", "trip_delay: 2 ms .. 5 s", "trip_delay: 2 ms .. 20 ms"),
            ("procedure", "current_limit: auto", "current_limit: 1 A"),
        ),
        "the output's trip delay reaches 20 ms",
        "trip_delay: auto",
    ),
]


@pytest.mark.parametrize(("edits", "why", "line"), IMPOSSIBLE, ids=lambda value: str(value)[:28])
def test_impossible_is_a_stop_and_gives_no_set_points(
    edits: tuple[Edit, ...], why: str, line: str, tmp_path: Path
) -> None:
    settings = settled(tmp_path, AUTO_MAIN, *edits)
    found = [*of_rule(settings, "auto-impossible"), *of_rule(settings, "empty-window")]
    assert any(why in finding.why and line in line_of(finding) for finding in found), found
    assert settings.blocked
    assert "main" not in settings.set_points
    assert "transducer" in settings.set_points


def test_everything_that_lacks_is_told_in_one_go(tmp_path: Path) -> None:
    """Two figures for the limit, one for the OVP, one for the delay; and none of them hides another."""
    settings = settled(
        tmp_path,
        AUTO_MAIN,
        ("device", ", at_most: 2.5 A", ""),
        ("bench", ", permitted_current: 8 A", ""),
        ("bench", ", response: 200 us", ""),
        ("bench", "        output_capacitance: 220 uF\n", ""),
    )
    lacking = (
        ("current_limit: auto", "main", "harm"),
        ("current_limit: auto", "main", "silicone pair"),
        ("ovp: auto", "main", "response"),
        ("trip_delay: auto", "main", "capacitance"),
    )
    for finding, what in zip(of_rule(settings, "auto-impossible"), lacking, strict=True):
        assert says(finding.why, *what)


def test_ovp_is_settled_without_a_limit_where_no_drop_is_sensed_away(tmp_path: Path) -> None:
    unsensed = ("procedure", "silicone pair, sense: at load", "silicone pair, sense: at terminals")
    lacking = ("device", ", at_most: 2.5 A", "")
    asked = {(each.about, each.setting) for each in settled(tmp_path, AUTO_MAIN, lacking).reasons}
    assert ("main", "ovp") not in asked
    settings = settled(tmp_path, AUTO_MAIN, lacking, unsensed)
    assert value(settings, "main", "ovp") == value(settled(tmp_path, AUTO_MAIN, unsensed), "main", "ovp")
    assert "main" not in settings.set_points


def test_no_level_is_told_even_before_there_is_a_limit(tmp_path: Path) -> None:
    edits = (("device", ", at_most: 2.5 A", ""), ("device", "{voltage: 20 V} ", "{voltage: 16.2 V} "))
    whys = [finding.why for finding in of_rule(settled(tmp_path, AUTO_MAIN, *edits), "empty-window")]
    assert any(says(why, "ovp", "main") for why in whys)


def test_an_impossible_limit_does_not_hide_what_is_wrong_with_the_rest(tmp_path: Path) -> None:
    """OVP and delay are asked for, and looked at, while the current limit has no value; and the other way."""
    auto = ("procedure", "current_limit: 1 A", "current_limit: auto")
    lacking = ("device", ", at_most: 2.5 A", "")
    wrong = (("procedure", "ovp: 18 V", "ovp: 25 V"), ("procedure", "trip_delay: 40 ms", "trip_delay: 9 s"))
    settings = settled(tmp_path, auto, lacking, *wrong)
    stops = {finding.rule for finding in settings.findings if finding.blocks and finding.about == "main"}
    assert stops == {"auto-impossible", "ovp-above-withstand", "trip-delay-range"}
    ovp = (("procedure", "ovp: 18 V", "ovp: auto"), ("bench", ", response: 200 us", ""))
    settings = settled(tmp_path, ("procedure", "current_limit: 1 A", "current_limit: 2.6 A"), *ovp)
    stops = {finding.rule for finding in settings.findings if finding.blocks and finding.about == "main"}
    assert stops == {"auto-impossible", "current-range", "limit-above-device"}


def test_tidy_keeps_to_grid_and_range() -> None:
    assert figures.tidy(0.9671, 0.7, 2.0, 1e-4) == 1.0
    assert figures.tidy(0.9671, 0.7, 0.98, 1e-4) == pytest.approx(0.95)
    assert figures.tidy(0.12345, 0.1234, 0.12349, 1e-4) == pytest.approx(0.1234)
    assert figures.tidy(0.12345, 0.12341, 0.12349, 1e-3) == 0.12345


def test_round_values_are_round_for_outputs_in_series_too() -> None:
    """On a grid of 20 mV, of two outputs in series, 52 V and 56 V are no rounder than 54 V and 55 V."""
    assert figures.tidy(53.757, 50.0, 57.6, 0.02) == 55.0
    assert figures.two_digits(53.757, 50.0, 57.6, 0.02) == 54.0
    assert figures.two_digits(54.375, 51.0, 57.6, 0.02) == 54.0
    assert figures.two_digits(32.558, 29.0, 35.7, 0.01) == 33.0


def test_two_digits_keep_to_grid_and_range() -> None:
    assert figures.two_digits(53.757, 50.0, 53.9, 0.02) == 53.0
    assert figures.two_digits(53.757, 53.5, 53.9, 0.02) == pytest.approx(53.76)
    assert figures.two_digits(0.53, 0.0, 1.0, 0.02) in (0.52, 0.54)
    assert figures.two_digits(53.757, 53.751, 53.759, 0.02) == 53.757


def test_a_trip_delay_is_rounded_up_from_its_margin(tmp_path: Path) -> None:
    delay, why = value(settled(tmp_path, AUTO_MAIN), "main", "trip_delay")
    assert not says(why, "round it")
    assert says(why, f"{delay * 1000.0:g} ms")


def test_overshoots_of_outputs_in_series_do_not_add_up_and_no_end_contradicts_them() -> None:
    """Two outputs of 2.5 A: half of that, once. 1.1 A are needed, 2.4 A borne: 1.25 A more leave 1.145 A."""
    settings = settle(load_documents(SERIES_PAIR), TODAY)
    limit, why = value(settings, "main", "current_limit")
    assert limit > 1.1
    assert limit + 1.25 <= 2.4
    assert says(why, "1.25 A", "50%", "2.4 A")


def test_a_limit_is_kept_low_for_what_flows_until_it_has_responded(tmp_path: Path) -> None:
    """2.5 A of rated current: 1.25 A more; an input that bears 2.1 A bears that up to 0.84 A, not 0.9 A."""
    limit, why = value(
        settled(tmp_path, AUTO_MAIN, ("device", "at_most: 2.5 A", "at_most: 2.1 A")), "main", "current_limit"
    )
    assert limit + 1.25 <= 2.1
    assert says(why, "1.25 A", "2.1 A", "0.9 A")


def test_a_limit_is_kept_as_low_as_the_need_lets_it_where_that_is_not_enough(tmp_path: Path) -> None:
    """1.8 A less 1.25 A are less than the 0.6 A that are needed."""
    edit = ("device", "at_most: 2.5 A", "at_most: 1.8 A")
    limit, why = value(settled(tmp_path, AUTO_MAIN, edit), "main", "current_limit")
    assert limit == pytest.approx(1.1 * 0.6, rel=0.02)
    assert says(why, "0.9 A", "kept low", "1.25 A")
