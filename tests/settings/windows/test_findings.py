"""What windows say of the station: demands that collide, written values that lie outside."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from pathlib import Path

import pytest
from tests.said import says
from tests.settings.station import TODAY, Edit, line_of, of_rule, settled, station

from railwright.documents.loader import Documents, load_documents
from railwright.settings.hookup.result import HookedUp
from railwright.settings.settle import Settings, settle
from railwright.settings.windows.rehearsed import rehearsed_ends

PAIR = Path(__file__).parent / "devices" / "parallel-pair.procedure.yaml"
OPP: tuple[Edit, ...] = (
    (
        "bench",
        "        sense: {compensates",
        "        opp: {level: 1 W .. 66 W}\n        sense: {compensates",
    ),
    ("procedure", "    ovp: 18 V\n", "    ovp: 18 V\n    opp: 45 W\n"),
)


def rehearsed(documents: Documents, today: dt.date = TODAY) -> Settings:
    first = settle(documents, today, provisional=True)
    return settle(documents, today, rehearsed=rehearsed_ends(HookedUp(documents), first, today))


def test_a_lead_too_thin_for_the_need(tmp_path: Path) -> None:
    edits = (
        ("procedure", "current_limit: 1 A", "current_limit: auto"),
        ("bench", "permitted_current: 8 A", "permitted_current: 0.5 A"),
    )
    (finding,) = of_rule(settled(tmp_path, *edits), "empty-window")
    assert says(finding.why, "main", "0.6047 A")
    assert says(finding.why, "0.4955 A", "silicone pair", "0.5 A")
    assert finding.why.endswith("0.109 A apart")
    figures = {each.name: each.value for each in finding.figures}
    assert figures["gap"] == pytest.approx(figures["low"] - figures["high"])
    assert figures["borne"] == 0.5
    assert says(finding.remedy, "0.491 A")
    assert says(finding.remedy, "0.6093 A")
    assert finding.blocks
    assert "current_limit: auto" in line_of(finding)


def test_a_written_value_in_an_empty_window_is_told_the_collision_too(tmp_path: Path) -> None:
    edit = ("device", "at_most: 2.5 A", "at_most: 0.602 A")
    (finding,) = of_rule(settled(tmp_path, edit), "empty-window")
    assert says(finding.why, "0.602 A")
    assert says(finding.remedy, "0.6093 A")


def test_a_written_value_outside_its_window_says_by_how_much(tmp_path: Path) -> None:
    finding, idle = of_rule(settled(tmp_path, *OPP), "outside-window")
    assert says(finding.why + idle.why, "18.19 W")
    finding = idle if "never acts" in finding.why else finding
    assert says(finding.why, "45 W", "5 W", "40 W")
    figures = [(each.name, each.value, each.unit) for each in finding.figures]
    assert figures[:3] == [("set_point", 45.0, "W"), ("beyond", 5.0, "W"), ("end", 40.0, "W")]
    assert says(finding.why, "2.5 A", "16 V", "line sweep", "40 W")
    assert says(finding.remedy, "recommended")
    assert "opp: 45 W" in line_of(finding)
    assert not finding.blocks


def test_what_a_rule_of_its_own_tells_is_not_told_twice(tmp_path: Path) -> None:
    settings = settled(tmp_path, ("procedure", "ovp: 18 V", "ovp: 25 V"))
    assert of_rule(settings, "ovp-above-withstand")
    assert not of_rule(settings, "outside-window")


def test_a_delay_that_only_a_corner_exceeds_lies_outside(tmp_path: Path) -> None:
    """With every figure at its nominal value it does not trip; in the corner that asks for most it does."""
    documents = station(tmp_path, ("procedure", "trip_delay: 40 ms", "trip_delay: 18 ms"))
    limit, finding = of_rule(rehearsed(documents), "outside-window")
    assert says(limit.why, "1 A")
    assert says(finding.why, "18 ms", "400 µs", "18.4 ms")
    assert says(finding.why, "18.35 ms", "first power")
    assert not of_rule(rehearsed(documents), "trip-before-charged")


@pytest.mark.parametrize("delay", ["auto", 50e-3])
def test_outputs_in_parallel_that_trip_at_their_limit(delay: str | float) -> None:
    """One of the two carries all it may for as long as it is on: no delay is long enough. Told once."""
    documents = load_documents(PAIR)
    limits = documents.procedure.limits["main"].model_copy(update={"at_limit": "trip", "trip_delay": delay})
    procedure = documents.procedure.model_copy(update={"limits": {"main": limits}})
    settings = rehearsed(replace(documents, procedure=procedure))
    (finding,) = of_rule(settings, "empty-window")
    assert not of_rule(settings, "outside-window")
    assert says(finding.why, "main")
    assert says(finding.remedy, "regulates")


def test_a_lead_beyond_its_rating_bounds_the_delay_by_its_insulation(tmp_path: Path) -> None:
    """k²S² of AWG 30, 0.05093 mm²: (115 A·√s/mm² · 0.05093 mm²)² = 34.30 A²s;
    less ½·C·V²/R, by I²: IEC 60364-5-54.
    """
    edits = (
        ("bench", "conductor: AWG 18", "conductor: AWG 30"),
        ("bench", ", permitted_current: 8 A", ""),
    )
    settings = settled(tmp_path, *edits)
    window = next(w for w in settings.windows if (w.about, w.setting) == ("main", "trip_delay"))
    (end,) = [each for each in window.ends if each.key == "k2s2"]
    resistance = 1.7241e-8 * 3.0 / 0.05093e-6
    stored = 220e-6 * 16.0**2 / (2.0 * (resistance + 8e-3))
    assert end.value == pytest.approx((34.30 - stored) / 1.005**2, rel=2e-3)
    assert "k²S²" in end.why


def test_a_fuse_bounds_the_delay_by_its_curve(tmp_path: Path) -> None:
    """At 1 A and 5 mA of error, between (0.9 A, 1 s) and (2 A, 0.1 s), straight on logarithmic scales."""
    curve = "[{current: 0.9 A, time: 1 s}, {current: 2 A, time: 0.1 s}]"
    fuse = f"fixtures:\n  fuse box: {{fuse: {{curve: {curve}}}}}\n"
    edits = (
        ("bench", "leads:\n", f"{fuse}leads:\n"),
        ("procedure", "lead: silicone pair, sense", "lead: silicone pair, fixture: fuse box, sense"),
    )
    windows = settled(tmp_path, *edits).windows
    window = next(w for w in windows if (w.about, w.setting) == ("main", "trip_delay"))
    assert window.high is not None
    assert window.high.key == "fuse"
    opens = (1.005 / 0.9) ** (math.log(0.1) / math.log(2.0 / 0.9))
    assert 0.0 <= opens - window.high.value < window.step
    assert says(window.high.why, "fuse box")
