"""A recording with holes, or one that matches in several places, is put where it belongs or refused.

Once a straight line across a hole was compared with the readings: a hole was put before an inrush, and a
recording that had not seen it overruled the readings that had. The truth is the scene's own time.
"""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import replace

import numpy as np
import pytest
from tests.measures.scene import MODEL, RECORDER, Scene

from railwright.documents.procedure import Requirement
from railwright.evaluation.alignment import Alignment, AlignmentError, align
from railwright.evaluation.evaluate import _overruled
from railwright.evaluation.outcome import Outcome, Result
from railwright.measures.outcome import Measured
from railwright.measures.reading_model import ReadingModel
from railwright.quantities import Uncertain, parse_uncertain
from railwright.traces import Record, Traces

EVERY = 100e-6
POWER_UP = Scene.of(
    (-0.3, 0.0, 0.0), (0.0, 0.0, 0.0), (0.006, 12.0, 1.0), (0.012, 12.0, 1.0), (0.0121, 12.0, 0.35),
    (2.0, 12.0, 0.35), (2.0001, 11.0, 0.35), (2.5, 11.0, 0.35), (2.5001, 12.0, 0.35), (4.0, 12.0, 0.35),
)  # fmt: skip


def taken(start: float, end: float, holes: list[tuple[float, float]], seed: int) -> Record:
    """What a recorder keeps of the scene from start to end; its own time 0 lies at 0."""
    traces = POWER_UP.read(seed, RECORDER, every=EVERY).between(start, end)
    keep = np.ones(traces.time.size, dtype=np.bool_)
    for begin, finish in holes:
        keep &= (traces.time < begin) | (traces.time > finish)
    return Record(
        "recorder",
        {"main": Traces(traces.time[keep], {name: each[keep] for name, each in traces.columns.items()})},
    )


def aligned(record: Record, seed: int, *, declared: bool) -> Alignment | None:
    try:
        return placed(record, seed, None, declared=declared)
    except AlignmentError:
        return None


def placed(record: Record, seed: int, given: Uncertain | None, *, declared: bool = True) -> Alignment:
    own = Record("supply readings", {"main": POWER_UP.read(seed)})
    return align(record, own, {"main": MODEL}, {"main": RECORDER} if declared else None, given)


def offset(text: str) -> Uncertain:
    return parse_uncertain(text, "s")


@pytest.mark.parametrize("declared", [True, False])
@pytest.mark.parametrize("start", [-0.1, -0.02, -0.005, 0.0, 0.004])
def test_the_stated_interval_holds_the_truth_or_the_recording_is_refused(
    start: float, declared: bool
) -> None:
    rng = np.random.default_rng(7)
    for seed in range(5):
        holes = []
        for _ in range(seed % 3):
            begin, width = rng.uniform(start, 0.2), 10 ** rng.uniform(-2.5, -0.7)
            holes.append((begin, begin + width))
        found = aligned(taken(start, 0.4, holes, seed), seed + 50, declared=declared)
        assert found is None or abs(found.offset) <= found.uncertainty, (start, holes)


@pytest.mark.parametrize("hole", [(0.01, 0.15), (0.01, 0.2), (0.004, 0.1), (-0.01, 0.05)])
def test_a_hole_beside_the_only_change_that_was_seen_is_no_straight_line(hole: tuple[float, float]) -> None:
    record = taken(0.0, 0.4, [hole], 3)
    assert aligned(record, 4, declared=True) is None


def test_a_hole_where_nothing_changes_takes_nothing_away() -> None:
    whole = aligned(taken(-0.1, 0.4, [], 5), 6, declared=True)
    found = aligned(taken(-0.1, 0.4, [(0.2, 0.3)], 5), 6, declared=True)
    assert whole is not None
    assert found is not None
    assert found.offset == pytest.approx(whole.offset, abs=1e-3)
    assert found.uncertainty < 10e-3


def test_what_matches_in_several_places_is_refused() -> None:
    # From the top of the rise on: 12 V stands for seconds.
    record = taken(0.004, 0.4, [], 8)
    with pytest.raises(AlignmentError, match=r"'offset: 3\.7 ms ± 1 ms'"):
        placed(record, 9, None)
    found = placed(record, 9, offset("0.4 ms ± 1 ms"))
    assert (found.offset, found.uncertainty, found.given) == pytest.approx((4e-4, 1e-3, 1e-3))
    assert found.record.traces["main"].time[0] == pytest.approx(record.traces["main"].time[0] + 4e-4)
    assert found.channel == "main voltage, main current"


@pytest.mark.parametrize("start", [-0.1, -0.005, 0.004, 0.5])
def test_where_it_lies_is_never_refused_as_given(start: float) -> None:
    rng = np.random.default_rng(11)
    for seed in range(12):
        holes = [
            (begin, begin + rng.uniform(2e-3, 0.2)) for begin in rng.uniform(start, start + 0.3, seed % 3)
        ]
        bound = 10 ** rng.uniform(-5.0, -2.0)
        told = rng.uniform(-bound, bound)
        given = Uncertain(told, told - bound, told + bound)
        found = placed(taken(start, start + 0.4, holes, seed), seed + 70, given)
        assert (found.offset, found.given) == pytest.approx((told, bound))


@pytest.mark.parametrize("away", ["40 ms ± 5 ms", "-30 ms ± 10 ms", "1.2 s ± 1 us", "-20 ms .. -15 ms"])
@pytest.mark.parametrize("holes", [[], [(0.1, 0.15)], [(-0.06, -0.04), (0.2, 0.25)]])
def test_where_the_readings_exclude_it_it_is_refused(away: str, holes: list[tuple[float, float]]) -> None:
    record = taken(-0.1, 0.4, holes, 5)
    with pytest.raises(AlignmentError, match=r"exclude.* was read as .*V at .* the recording has .*V there"):
        placed(record, 6, offset(away))
    assert placed(record, 6, offset("-15 ms .. 5 ms")).given == pytest.approx(10e-3)


def test_a_current_excludes_what_the_voltage_does_not() -> None:
    step = Scene.of((0.0, 12.0, 0.1), (1.0, 12.0, 0.1), (1.001, 12.0, 0.6), (2.0, 12.0, 0.6))
    own = Record("supply readings", {"main": step.read(1)})
    record = Record("recorder", {"main": step.read(2, RECORDER, every=EVERY).between(0.7, 1.3)})
    models = {"main": MODEL}, {"main": RECORDER}
    assert align(record, own, *models, offset("2 ms ± 3 ms")).given == pytest.approx(3e-3)
    with pytest.raises(AlignmentError, match=r"main current .*A at .*A there"):
        align(record, own, *models, offset("60 ms ± 3 ms"))


@pytest.mark.parametrize("wide", ["0 s ± 10.1 ms", "-60 ms ± 61 ms", "0 s ± 20 h"])
def test_a_bound_beyond_what_readings_tell_is_refused(wide: str) -> None:
    """A recording that began 38 ms into the rise was taken to cover it, for its bound was 50 ms."""
    with pytest.raises(AlignmentError, match="10 ms"):
        placed(taken(-0.1, 0.4, [], 5), 6, offset(wide))


SLOW = replace(MODEL, update=25e-3, aperture=20e-3)


def ran_off(
    begin: float, end: float, drift: float, base: float, given: str, model: ReadingModel = SLOW
) -> Alignment:
    """A recording from begin to end, of a recorder whose time 0 is the run's: its t is t·(1 + drift)."""
    corners, volts = [(begin - 1.0, 12.0, 0.3)], 12.0
    for first in (begin, end - 2.0):
        for at in first + np.arange(0.1, 1.9, 0.137):
            corners += [(at, volts, volts / 40.0), (at + 1e-3, 20.0 - volts, (20.0 - volts) / 40.0)]
            volts = 20.0 - volts
    scene = Scene.of(*corners, (end + 1.0, volts, volts / 40.0))
    fine = scene.read(2, RECORDER, every=1e-3).between(begin, end)
    own = Record("supply readings", {"main": scene.read(1, model, every=7e-3)})
    record = Record("recorder", {"main": Traces(fine.time / (1.0 + drift), fine.columns)})
    return align(record, own, {"main": model}, {"main": replace(RECORDER, time_base=base)}, offset(given))


@pytest.mark.parametrize(
    ("begin", "end", "base", "given", "told"),
    [
        (200.0, 220.0, 1e-4, "0 s ± 0.5 ms", r"22\.5 ms, 22 ms of it"),
        (-220.0, -200.0, 1e-4, "0 s ± 0.5 ms", r"22\.5 ms, 22 ms of it"),
        (0.0, 20.0, 1e-3, "0 s ± 1 ms", "21 ms, 20 ms of it"),
        (0.0, 20.0, 4e-4, "0 s ± 3 ms", "11 ms, 8 ms of it"),
    ],
)
def test_a_clock_that_may_be_off_by_more_than_readings_tell_is_refused(
    begin: float, end: float, base: float, given: str, told: str
) -> None:
    """Whatever makes up the bound: which steps it covers is as unknown."""
    with pytest.raises(AlignmentError, match=rf"± 10 ms at most, .*± {told}"):
        ran_off(begin, end, 0.0, base, given, MODEL)
    assert ran_off(begin, end, 0.0, base / 3.0, given, MODEL).channel == "main voltage, main current"


def test_what_lies_outside_the_run_is_refused() -> None:
    with pytest.raises(AlignmentError, match=r"from 899\.9 s to 900\.4 s"):
        placed(taken(-0.1, 0.4, [], 5), 6, offset("900 s ± 1 ms"))


def test_what_no_reading_can_be_held_against_is_said() -> None:
    assert placed(taken(-0.1, 0.4, [], 5), 6, offset("1 ms ± 5 ms"), declared=False).channel == ""
    # Shorter than an aperture.
    assert placed(taken(0.5, 0.506, [], 5), 6, offset("1 ms ± 5 ms")).channel == ""


def test_a_clock_runs_off_from_the_time_0_that_is_given() -> None:
    own = Record("supply readings", {"main": POWER_UP.read(6)})
    fast = {"main": replace(RECORDER, time_base=1e-3)}
    found = align(taken(-0.1, 0.4, [], 5), own, {"main": MODEL}, fast, offset("0 s ± 1 ms"))
    assert (found.given, found.uncertainty) == pytest.approx((1e-3, 1.4e-3), abs=1e-6)


@pytest.mark.parametrize(
    ("begin", "end", "drift", "base"),
    [
        (0.0, 20.0, 0.9e-3, 1e-3),
        (0.0, 20.0, -0.9e-3, 1e-3),
        (200.0, 220.0, 9e-5, 1e-4),
        (200.0, 220.0, -9e-5, 1e-4),
        (-220.0, -200.0, 9e-5, 1e-4),
        (-8.0, 2.0, -2.4e-3, 2.5e-3),
    ],
)
def test_a_clock_that_runs_off_as_declared_is_not_refused(
    begin: float, end: float, drift: float, base: float
) -> None:
    """It is right at its time 0, and off by its distance from there, not from its own middle."""
    found = ran_off(begin, end, drift, base, "0 s ± 1 ms")
    farthest = max(abs(begin), abs(end))
    assert found.channel == "main voltage, main current"
    assert found.uncertainty == pytest.approx(1e-3 + base * farthest, rel=0.01)
    with pytest.raises(AlignmentError, match="exclude"):
        ran_off(begin, end, 4.0 * drift, base, "0 s ± 1 ms")


def test_what_changes_only_in_its_hole_is_told_so() -> None:
    with pytest.raises(AlignmentError, match="outside its holes"):
        placed(taken(-0.005, 0.4, [(0.003, 0.15)], 3), 4, None)


def test_all_times_alike_is_one_clear_refusal(recwarn: pytest.WarningsRecorder) -> None:
    record = taken(-0.1, 0.4, [], 1)
    traces = record.traces["main"]
    same = replace(record, traces={"main": Traces(np.zeros(traces.time.size), traces.columns)})
    with pytest.raises(AlignmentError):
        align(same, Record("supply readings", {"main": POWER_UP.read(1)}), {"main": MODEL})
    assert not recwarn.list


@pytest.mark.parametrize(
    ("limits", "seen", "outcome"),
    [
        ({"at_most": "25 mA"}, (0.0277, 0.0280, np.inf), Outcome.INCONCLUSIVE),
        ({"at_most": "25 mA"}, (0.0249, 0.0280, np.inf), Outcome.PASS),
        ({"at_least": "15 mA"}, (0.0110, 0.0120, 0.0130), Outcome.INCONCLUSIVE),
        ({"at_least": "15 mA"}, (0.0110, 0.0120, 0.0160), Outcome.PASS),
    ],
)
def test_a_reading_surely_beyond_a_limit_is_not_overruled(
    limits: dict[str, str], seen: tuple[float, float, float], outcome: Outcome
) -> None:
    wanted = {"name": "inrush", "measure": "peak_current", "of": "main", "during": "up", **limits}
    requirement = Requirement.model_validate(wanted)
    low, value, high = seen
    own, other = (
        Result("inrush", "peak_current", "main", "up", "A", *requirement.limits, measured, judged, "", source)
        for source, measured, judged in (
            ("supply readings", Measured(value, low, high, (), "largest"), Outcome.FAIL),
            ("recorder", Measured(0.0201, 0.0195, 0.0207, (), "largest"), Outcome.PASS),
        )
    )
    assert _overruled(other, [own, other]).outcome is outcome
    assert _overruled(own, [own, other]).outcome is Outcome.FAIL


def test_what_a_recording_saw_fail_without_a_figure_is_not_overruled() -> None:
    """That a device started nine times over, or not at all, is a failure of which no figure tells."""
    passed = Result(
        "start", "start_up_time", "main", "up", "s", None, 0.2,
        Measured(0.05, 0.04, 0.06, (), "first"), Outcome.PASS, "", "supply readings",
    )  # fmt: skip
    failed = replace(passed, measured=None, outcome=Outcome.FAIL, reason="leaves its band", source="recorder")
    open_ = replace(failed, outcome=Outcome.INCONCLUSIVE)
    assert _overruled(passed, [passed, failed]).outcome is Outcome.INCONCLUSIVE
    assert _overruled(passed, [passed, open_]).outcome is Outcome.PASS


@pytest.mark.parametrize("columns", [("current",), ("voltage", "current"), ("voltage",)])
@pytest.mark.parametrize("samples", [0, 1, 5, 2000])
def test_a_recording_of_unknown_errors_is_placed_or_refused_in_words(
    columns: tuple[str, ...], samples: int
) -> None:
    """A clamp alone, a recorder without declared accuracy, a recording of a few samples or none."""
    run = POWER_UP.read(1, MODEL, every=10e-3)
    fine = POWER_UP.read(2, RECORDER, every=EVERY).between(-0.1, 3.0)
    taken_of = Traces(fine.time[:samples], {name: fine.columns[name][:samples] for name in columns})
    readings = [run, run.between(10.0, 11.0)]
    bare = replace(RECORDER, voltage=())
    for known in ({}, {"main": RECORDER}, {"main": bare}):
        for own in readings:
            with suppress(AlignmentError):
                recorded, read = Record("recorder", {"main": taken_of}), Record("run", {"main": own})
                found = align(recorded, read, {"main": MODEL}, known)
                assert math.isfinite(found.offset)
