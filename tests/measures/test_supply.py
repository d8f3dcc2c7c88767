"""Trips and modes by the bounds that a status gives, worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from tests.measures.scene import EXACT, MODEL, power_up

from railwright.evaluation.reference import definition
from railwright.measures import MEASURES
from railwright.measures.outcome import Beyond, CannotMeasure, Measured, NotAsRequired
from railwright.measures.signal import View
from railwright.measures.status import ModeChange, SupplyStatus, Trip
from railwright.traces import Mode

CV = ModeChange(Mode.CV, 0.0, 0.01)
STEP = (1.0, 1.4)


def seen(status: SupplyStatus, *, exact: bool = False, clock: float = 0.0, **more: object) -> View:
    """The step from 1 s to 1.4 s of an input that is on all the time."""
    model = EXACT if exact else replace(MODEL, clock=clock)
    view = View(power_up().truth(), model, *STEP, interrupted=True, supply=status)
    return replace(view, **more)  # type: ignore[arg-type]


def tripped(earliest: float, latest: float, *modes: ModeChange, by: str | None = None) -> SupplyStatus:
    return SupplyStatus((Trip("OCP", earliest, latest),), modes=(CV, *modes), gap=0.01, by=by)


def limit(earliest: float, latest: float) -> ModeChange:
    return ModeChange(Mode.CC, earliest, latest)


def time_of(view: View) -> Measured:
    return MEASURES["trip_time"](view)


def count_of(view: View) -> tuple[float, float, float]:
    found = MEASURES["trips"](view)
    return found.low, found.value, found.high


def test_a_trip_lies_between_two_answers() -> None:
    """±5 ms from the status, ±1 ms from the clock: rectangles whose sum holds 95 % within 4.9 to 6 ms."""
    found = time_of(seen(tripped(1.10, 1.11), clock=1e-3))
    assert found.value == pytest.approx(0.105)
    assert 4.75e-3 < (found.high - found.low) / 2 < 6e-3
    text = definition(MEASURES["trip_time"].compute)["Uncertainty"]
    assert {each.source for each in found.contributions} == {"status polled", "beginning of the step"}
    assert all(f"'{each.source}'" in text for each in found.contributions)
    assert count_of(seen(tripped(1.10, 1.11))) == (1.0, 1.0, 1.0)


def test_of_an_input_that_was_off_the_time_begins_with_its_switching_on() -> None:
    view = seen(tripped(1.10, 1.11), interrupted=False, switched_on=1.05)
    found = time_of(view)
    assert found.value == pytest.approx(0.055)
    assert "instant of switching on" in {each.source for each in found.contributions}


def test_a_rehearsal_knows_its_instant() -> None:
    found = time_of(seen(tripped(1.1, 1.1), exact=True))
    assert (found.low, found.value, found.high) == pytest.approx((0.1, 0.1, 0.1))
    assert count_of(seen(tripped(1.4, 1.4), exact=True)) == (0.0, 0.0, 0.0)  # the next step has it
    assert count_of(seen(tripped(1.4, 1.4), exact=True, last=True)) == (1.0, 1.0, 1.0)
    assert count_of(seen(tripped(1.5, 1.5), exact=True, last=True)) == (0.0, 0.0, 0.0)  # after the end


def test_what_begins_with_a_step_counts_in_it() -> None:
    """Constant voltage before: what has tripped it is what the step does."""
    early = seen(tripped(0.995, 1.005))
    assert time_of(early).value == pytest.approx(0.0025)
    assert count_of(early) == (1.0, 1.0, 1.0)
    late = seen(tripped(1.395, 1.405))
    assert count_of(late) == (0.0, 0.0, 0.0)


def test_a_delay_that_ran_before_leaves_the_step_open() -> None:
    early = seen(tripped(0.995, 1.005, limit(0.9, 0.91)))
    with pytest.raises(CannotMeasure, match="two steps"):
        time_of(early)
    assert count_of(early) == (0.0, 0.0, 1.0)
    late = seen(tripped(1.395, 1.405, limit(1.3, 1.31)))
    with pytest.raises(Beyond) as beyond:
        time_of(late)
    assert (beyond.value.bound, beyond.value.side) == (pytest.approx(0.395), "above")
    assert count_of(late) == (0.0, 0.0, 1.0)
    # In the last step of a record there is no next one.
    assert count_of(replace(late, last=True)) == (1.0, 1.0, 1.0)


def test_a_trip_before_the_step_is_not_measured_in_it() -> None:
    for name in ("trip_time", "trips", "time_out_of_cv"):
        with pytest.raises(CannotMeasure, match="OCP"):
            MEASURES[name](seen(tripped(0.5, 0.51)))


def test_no_trip_lies_beyond_the_step() -> None:
    with pytest.raises(Beyond) as beyond:
        time_of(seen(SupplyStatus(modes=(CV,))))
    assert beyond.value.bound == pytest.approx(0.4)


def test_another_protection_is_not_the_required_one() -> None:
    other = seen(tripped(1.1, 1.11, by="OVP"))
    with pytest.raises(NotAsRequired, match="OCP"):
        time_of(other)
    assert count_of(other) == (0.0, 0.0, 0.0)


def test_outputs_that_are_off_without_a_reason_tell_nothing() -> None:
    for name in ("trip_time", "trips", "time_out_of_cv"):
        with pytest.raises(CannotMeasure, match="does not say why"):
            MEASURES[name](seen(SupplyStatus(went_off=(1.2,), modes=(CV,))))
        MEASURES["trips"](seen(SupplyStatus(went_off=(1.5,), modes=(CV,))))
        with pytest.raises(CannotMeasure, match="own state"):
            MEASURES[name](replace(seen(SupplyStatus()), supply=None))


def test_the_longest_time_out_of_constant_voltage() -> None:
    """From 1.105 s to 1.165 s ± 5 ms each, after a shorter one: 60 ms, 95 % of a triangle of ±10 ms."""
    again = ModeChange(Mode.CV, 1.16, 1.17)
    modes = (CV, limit(1.02, 1.03), ModeChange(Mode.CV, 1.05, 1.06), limit(1.10, 1.11), again)
    found = MEASURES["time_out_of_cv"](seen(SupplyStatus(modes=modes, gap=0.01)))
    assert found.value == pytest.approx(0.06)
    assert (found.high - found.low) / 2 == pytest.approx(0.01 * (1 - math.sqrt(0.05)), rel=1e-3)
    text = definition(MEASURES["time_out_of_cv"].compute)["Uncertainty"]
    assert all(f"'{each.source}'" in text for each in found.contributions)


def test_a_limit_counts_as_far_as_it_lies_in_the_step() -> None:
    modes = (CV, limit(0.8, 0.81), ModeChange(Mode.CV, 1.03, 1.03), limit(1.35, 1.35))
    found = MEASURES["time_out_of_cv"](seen(SupplyStatus(modes=modes), exact=True))
    assert found.value == pytest.approx(0.05)


@pytest.mark.parametrize(("gap", "begun", "off"), [(0.01, 1.2, 1.3), (0.02, 1.1, 1.35), (0.005, 1.25, 1.4)])
def test_what_regulated_before_it_was_switched_off_is_known_by_the_last_answer(
    gap: float, begun: float, off: float
) -> None:
    """It may have gone back at any time after it, as draw 63/10 of the hunt did. An end that lies anywhere in
    the gap, and a beginning as exactly known, are half of the gap off at most.
    """
    modes = (CV, limit(begun, begun), ModeChange(Mode.OFF, off, off))
    for status, more in (
        (SupplyStatus(modes=modes, gap=gap), {}),
        (SupplyStatus(modes=modes[:2], gap=gap), {"last": True, "end": off}),
    ):
        found = MEASURES["time_out_of_cv"](seen(status, **more))
        assert found.value == pytest.approx(off - begun - gap / 2.0)
        assert (found.high - found.low) / 2.0 == pytest.approx(0.95 * gap / 2.0, rel=1e-3)
    exact = MEASURES["time_out_of_cv"](seen(SupplyStatus(modes=modes, gap=gap), exact=True))
    assert exact.value == pytest.approx(off - begun)


def test_what_no_status_shows_can_be_as_long_as_the_time_between_two() -> None:
    found = MEASURES["time_out_of_cv"](seen(SupplyStatus(modes=(CV,), gap=0.02)))
    assert (found.low, found.value, found.high) == (0.0, 0.0, 0.02)
    assert found.would_decide


def test_a_trip_is_a_time_without_end() -> None:
    with pytest.raises(Beyond) as beyond:
        MEASURES["time_out_of_cv"](seen(tripped(1.1, 1.11)))
    assert beyond.value.bound == math.inf


def test_a_supply_that_tells_no_mode_needs_a_recording() -> None:
    with pytest.raises(CannotMeasure, match="does not tell"):
        MEASURES["time_out_of_cv"](seen(SupplyStatus(modes=None)))
