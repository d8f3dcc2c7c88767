"""Ends that a rehearsal settles: the same every time, tried, and no looser with the cases of an ensemble."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.bench import PROCEDURE, demo_with
from tests.said import says
from tests.settings.station import TODAY, station

from railwright.documents.loader import Documents
from railwright.plan.timeline import build_timeline
from railwright.rehearsal.circuit import uncertain_quantities
from railwright.rehearsal.corners import corner_case, quantities_of
from railwright.rehearsal.needed import held_level, needed
from railwright.settings.hookup.result import HookedUp
from railwright.settings.settle import RehearsedEnds, settle
from railwright.settings.windows import rehearsed
from railwright.settings.windows.rehearsed import rehearsed_ends
from railwright.settings.windows.window import Replay

KEYS = {
    (about, setting) for about in ("main", "transducer") for setting in ("current_limit", "trip_delay", "ovp")
}


def ends(documents: Documents, cases: int = 0, seed: int = 1) -> RehearsedEnds:
    return rehearsed_ends(HookedUp(documents), settle(documents, TODAY, provisional=True), TODAY, cases, seed)


def test_the_same_documents_give_the_same_ends(documents: Documents) -> None:
    first, second = ends(documents), ends(documents)
    assert set(first) == KEYS
    assert {key: (end.value, end.replay) for key, end in first.items()} == {
        key: (end.value, end.replay) for key, end in second.items()
    }


def test_cases_of_an_ensemble_never_lower_an_end_and_name_their_number(documents: Documents) -> None:
    corners, more = ends(documents), ends(documents, 40, 7)
    assert set(corners) == KEYS
    for key, end in corners.items():
        assert more[key].value >= end.value
        replay = more[key].replay
        assert replay is not None
        assert replay.corner is not None or (replay.cases, replay.seed) == (40, 7)


def test_an_end_is_above_what_nominal_figures_ask_for(documents: Documents) -> None:
    feeds = settle(documents, TODAY).set_points
    parts = {key: dict.fromkeys(("left.1", "right.1"), 1.0) for key in ("trip_delay", "ovp", "opp")}
    timeline = build_timeline(documents.procedure, documents.device)
    found, steps = needed(documents, feeds, lambda name, value: value.nominal, timeline, parts)
    assert steps > 100
    for (about, setting), end in ends(documents).items():
        if setting != "current_limit":
            assert 0.5 * end.value < getattr(found[about], setting).value < end.value
    assert found["main"].short.value < 0.0


def test_without_all_set_points_nothing_is_rehearsed(tmp_path: Path) -> None:
    lacking = station(
        tmp_path, ("device", ", at_most: 2.5 A", ""), ("procedure", "limit: 1 A", "limit: auto")
    )
    assert ends(lacking) == {}


def test_the_corners_have_numbers(documents: Documents) -> None:
    quantities = uncertain_quantities(documents, settle(documents, TODAY).set_points)
    names = list(quantities)
    case = corner_case(quantities, 0b101)
    assert [case(name, quantities[name]) == quantities[name].high for name in names[:3]] == [
        True,
        False,
        True,
    ]
    assert quantities_of("transducer", ("right.1",), quantities) == [
        k for k, name in enumerate(names) if name.startswith(("transducer.", "right.1."))
    ]
    with pytest.raises(ValueError, match="expected a corner of 23 quantities, from 0 to 0x7fffff"):
        corner_case(quantities, 1 << 23)


def test_a_level_is_held_for_as_long_as_the_protection_takes() -> None:
    """A triangle of 10 V in 2 s lies above V for 2 (1 - V / 10) seconds."""
    time, values = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 10.0, 0.0, 0.0])
    assert held_level(time, values, 0.0).value == 10.0
    assert held_level(time, values, 0.5).value == pytest.approx(7.5, abs=1e-6)
    assert held_level(time, values, 0.5).at == pytest.approx(0.75, abs=1e-6)
    assert held_level(time, values, 5.0).value == pytest.approx(0.0, abs=1e-6)


def test_a_procedure_of_very_many_steps_plays_one_corner(
    documents: Documents, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = ends(documents)
    monkeypatch.setattr(rehearsed, "STEPS", 1)
    monkeypatch.setattr(rehearsed, "LONG", 1)
    found = ends(documents)
    assert {end.replay for end in found.values()} == {Replay(corner=0x7FFFFF)}
    assert {setting for _, setting in found} == {"trip_delay", "ovp"}
    assert all(end.value <= whole[key].value for key, end in found.items())
    assert all(end.alone and says(end.why, "one corner") for end in found.values())
    assert not any(end.alone for end in whole.values())
    monkeypatch.setattr(rehearsed, "MANY_ACTIONS", 10)
    assert ends(documents) == {}


def test_one_corner_alone_lowers_no_end(documents: Documents, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the first corner the OVP acts late, by its error: less than the closed form asks for."""
    static = {(w.about, w.setting): w for w in settle(documents, TODAY).windows}
    monkeypatch.setattr(rehearsed, "STEPS", 1)
    monkeypatch.setattr(rehearsed, "LONG", 1)
    found = ends(documents)
    lowered = [key for key, end in found.items() if end.value < static[key].low.value]  # type: ignore[union-attr]
    assert ("main", "ovp") in lowered
    for window in settle(documents, TODAY, rehearsed=found).windows:
        low, closed = window.low, static[window.about, window.setting].low
        assert (low is None) == (closed is None)
        if low is not None and closed is not None:
            assert low.value >= closed.value
        if low is not None and (window.about, window.setting) in lowered:
            assert says(low.why, "one corner")


@pytest.mark.parametrize("zero", [("main",), ("transducer",), ("main", "transducer")])
def test_a_power_up_to_0_v_asks_nothing_of_a_current_limit(zero: tuple[str, ...], tmp_path: Path) -> None:
    """What is not led away from 0 V need not come up, however little its limit is, nor by how little its
    voltage is off; at 0.1 mA nothing else gets anywhere.
    """
    voltages = ", ".join(f"{name}: 0 V" for name in zero)
    documents = demo_with(tmp_path, (PROCEDURE, "rise: 2 V/ms", f"rise: 2 V/ms, voltages: {{{voltages}}}"))
    feeds = {
        name: replace(feed, outputs=tuple(replace(each, current_limit=1e-4) for each in feed.outputs))
        for name, feed in settle(documents, TODAY).set_points.items()
    }
    parts = {key: dict.fromkeys(("left.1", "right.1"), 1.0) for key in ("trip_delay", "ovp", "opp")}
    timeline = build_timeline(documents.procedure, documents.device)
    quantities = uncertain_quantities(documents, feeds)
    for number in (0, (1 << len(quantities)) - 1):
        found, _ = needed(documents, feeds, corner_case(quantities, number), timeline, parts)
        assert {name for name, each in found.items() if each.short.value == -math.inf} == set(zero)
        assert all(each.short.value > 1.0 for name, each in found.items() if name not in zero)


@pytest.mark.parametrize("then", ["16 V", "9 V", "14 V"])
def test_a_power_up_is_judged_by_its_own_voltage_not_by_that_of_the_step_after_it(
    then: str, tmp_path: Path
) -> None:
    """A sweep that begins right at the end of the power-up tells another voltage at that instant: at it the
    input stands at 12 V, within its error, and is up.
    """
    documents = demo_with(
        tmp_path,
        (PROCEDURE, "  - hold: 2 s\n    name: steady\n", ""),
        (PROCEDURE, "from: 9 V, to: 16 V", f"from: {then}, to: 12 V"),
        *((PROCEDURE, f"    during: {step}\n", "    during: line sweep\n") for step in ("steady", "steady")),
    )
    feeds = settle(documents, TODAY).set_points
    parts = {key: dict.fromkeys(("left.1", "right.1"), 1.0) for key in ("trip_delay", "ovp", "opp")}
    timeline = build_timeline(documents.procedure, documents.device)
    found, _ = needed(documents, feeds, lambda name, value: value.nominal, timeline, parts)
    assert found["main"].short.value == pytest.approx(0.98 * 12.0 - 12.0, abs=0.02)
