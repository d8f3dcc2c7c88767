"""What happens between readings moved a result past its interval: a load that hunts faster than it is read.

The truth is that of the simulated supplies: its voltage times its current by the trapezoid rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any, Literal

import numpy as np
import pytest
from benchmarks.disagreement_hunt.drawing import Draw
from benchmarks.disagreement_hunt.playing import Played, play
from tests.said import says

from railwright.evaluation.decision import Tolerance, decide
from railwright.evaluation.evaluate import evaluate
from railwright.evaluation.outcome import Outcome
from railwright.evaluation.reading_bias import PHASES, reading_intervals, widenings, widenings_of
from railwright.job import Job
from railwright.measures.outcome import Measured
from railwright.rehearsal.read import Phase, as_read
from railwright.rehearsal.rehearse import rehearse

from .small import fed_by, supply, write

READING = {
    "voltage": {"of_value": "0.05 %", "offset": "8 mV", "resolution": "1 mV", "noise": "1 mV"},
    "current": {"of_value": "0.1 %", "offset": "5 mA", "resolution": "0.1 mA", "noise": "0.1 mA"},
}
MOST = {"energy": "9 J", "mean_power": "9 W", "mean_current": "5 A"}


# Many: what makes a converter hunt, and how it is read.
def hunting(
    folder: Path, power: str, loop: str, farads: str, every: str, update: str, aperture: str
) -> Played:
    """A converter that its lead lets stop as soon as it draws, played in every place."""
    output = {
        "reading": {**READING, "update": update, "aperture": aperture, "latency": "3 ms"},
        "voltage": "0 V .. 6 V",
        "current": "0 A .. 6 A",
        "ovp": {"level": "1 V .. 7 V", "accuracy": "100 mV", "response": "200 us", "at": "terminals"},
    }
    converter = {"output_power": power, "efficiency": "85 %", "starts_at": "1.9 V", "stops_at": "1.6 V"}
    device = fed_by(
        {"converter": converter},
        {"capacitor": {"capacitance": farads, "esr": "50 mohm"}},
        nominal="3.3 V",
        operating="2.4 V .. 4.3 V",
        withstands=[{"voltage": "6 V"}],
    )
    wanted: list[Mapping[str, Any]] = [
        {"name": name, "measure": name, "of": "in", "during": "steady", "at_most": most}
        for name, most in MOST.items()
    ]
    procedure = {
        "hook_up": {"in": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"in": {"current_limit": "5 A", "at_limit": "regulate", "ovp": "5.5 V"}},
        "steps": [
            {"power_up": {"order": ["in"], "gap": "10 ms", "settle": "200 ms"}, "name": "up"},
            {"hold": "400 ms", "name": "steady"},
            {"power_down": {"order": ["in"], "gap": "10 ms"}},
        ],
        "record": {"every": every},
        "requires": wanted,
    }
    path = write(
        folder / "given", {"in": device}, procedure, {"s": supply(output)}, {"contact_resistance_loop": loop}
    )
    files = {each.name: each.read_bytes() for each in path.parent.iterdir()}
    files["procedure.yaml"] = files.pop(path.name)
    (folder / "played").mkdir()
    return play(Draw("hunting", files, 7, {}), folder / "played")


def true_means(found: Played) -> dict[str, float]:
    """Of the step as it was played."""
    span, traces = found.outcome.record.span("steady"), found.truth.traces["in"]
    inside = (traces.time >= span.start) & (traces.time <= span.end)
    time, volts, amperes = (each[inside] for each in (traces.time, *(traces.columns[n] for n in COLUMNS)))
    lasts = float(time[-1] - time[0])
    joules = float(np.trapezoid(volts * amperes, time))
    coulombs = float(np.trapezoid(amperes, time))
    return {"energy": joules, "mean_power": joules / lasts, "mean_current": coulombs / lasts}


COLUMNS = ("voltage", "current")

VARIANTS = {
    "5.8 W behind 1 ohm": ("5.8 W", "1 ohm", "22 uF", "5 ms", "10 ms", "8 ms"),
    "twice as far apart": ("5.8 W", "1 ohm", "22 uF", "20 ms", "20 ms", "16 ms"),
    "3 W behind 2 ohm": ("3 W", "2 ohm", "22 uF", "5 ms", "10 ms", "8 ms"),
    "a larger capacitor": ("5.8 W", "1 ohm", "100 uF", "10 ms", "10 ms", "2 ms"),
}


@pytest.mark.parametrize("given", VARIANTS.values(), ids=VARIANTS)
def test_the_interval_holds_what_is_true_of_a_load_that_hunts(
    given: tuple[str, str, str, str, str, str], tmp_path: Path
) -> None:
    found = hunting(tmp_path, *given)
    true = true_means(found)
    assert len([e for e in found.truth.events if e.kind.name == "STOPS"]) > 50
    for each in found.evaluated.results:
        assert each.measured is not None
        assert each.measured.low <= true[each.requirement] <= each.measured.high
    # By what the readings alone tell, they are too sure, but where apertures cover a fifth of the time.
    set_points = found.check.settings.set_points
    alone = evaluate(found.documents, set_points, found.outcome.record).results
    said = next(each.measured for each in alone if each.requirement == "energy")
    assert said is not None
    assert said.enclosed == (given[-1] == "2 ms")
    assert (said.low > true["energy"]) != said.enclosed


@pytest.mark.parametrize("rule", ["guarded", "simple"])
@pytest.mark.parametrize("side", ["below", "above"])
def test_no_rule_passes_or_fails_within_what_readings_miss(
    rule: Literal["guarded", "simple"], side: str
) -> None:
    sure = Measured(5.0, 4.9, 5.1, (), "read")
    misread = (
        replace(sure, low=3.9, widened_below=1.0)
        if side == "below"
        else replace(sure, high=6.1, widened_above=1.0)
    )
    outer, inner = ((4.5, None), (None, 4.5)) if side == "below" else ((None, 5.5), (5.5, None))
    for tolerance, without in ((Tolerance(*outer), Outcome.PASS), (Tolerance(*inner), Outcome.FAIL)):
        assert decide(sure, tolerance, "V", rule, 1.0)[0] is without
        assert decide(misread, tolerance, "V", rule, 1.0)[0] is Outcome.INCONCLUSIVE
    far = Tolerance(0.0, 10.0)
    assert decide(misread, far, "V", rule, 1.0)[0] is Outcome.PASS


@pytest.mark.parametrize(
    ("tolerance", "told"),
    [
        (Tolerance(None, 5.05), "2 V"),
        (Tolerance(None, 4.8), "1 V"),
        (Tolerance(4.95, None), "1 V"),
        (Tolerance(5.2, None), "2 V"),
    ],
)
def test_the_reason_has_the_figure_of_the_end_that_leaves_it_open(tolerance: Tolerance, told: str) -> None:
    """Below the interval is wider by 1 V, above by 2 V."""
    misread = Measured(5.0, 3.9, 7.1, (), "read", widened_below=1.0, widened_above=2.0)
    outcome, reason = decide(misread, tolerance, "V", "guarded", 1.0)
    assert outcome is Outcome.INCONCLUSIVE
    assert says(reason, told)
    assert not says(reason, {"1 V": "2 V", "2 V": "1 V"}[told])


@pytest.mark.parametrize(("rule", "band"), [("guarded", 1.0), ("guarded", 0.5), ("simple", 1.0)])
@pytest.mark.parametrize(("true", "shown", "within"), [(5.0, 10.0, 1.0), (4.8, 5.0, 0.1), (7.0, 5.0, 1.5)])
def test_no_rule_decides_against_what_was_true_where_it_was_read_so(
    true: float, shown: float, within: float, rule: Literal["guarded", "simple"], band: float
) -> None:
    """A unit that is as rehearsed, read as rehearsed: its limit lies just beside what is true."""
    sure = Measured(shown, shown - within, shown + within, (), "read")
    key = ("a", "supply", 0)
    below, above = widenings_of({("a", "rehearsal", 0): read(true, 0.0)}, {key: sure})[key]
    misread = replace(
        sure,
        low=sure.low - below,
        high=sure.high + above,
        widened_below=below,
        widened_above=above,
    )
    for limit in (true - 0.01, true + 0.01):
        for tolerance in (Tolerance(None, limit), Tolerance(limit, None)):
            right = Outcome.PASS if _within(true, tolerance) else Outcome.FAIL
            assert decide(misread, tolerance, "V", rule, band)[0] in (right, Outcome.INCONCLUSIVE)


def _within(value: float, tolerance: Tolerance) -> bool:
    above = tolerance.upper is not None and value > tolerance.upper
    return not (above or (tolerance.lower is not None and value < tolerance.lower))


def read(value: float, within: float = 0.1) -> Measured:
    return Measured(value, value - within, value + within, (), "read")


@pytest.mark.parametrize(
    ("true", "shown", "below", "above"),
    [
        (5.0, 5.0, 0.0, 0.0),
        (5.109, 5.0, 0.0, 0.0),
        (5.2, 5.0, 0.0, 0.17),
        (4.8, 5.0, 0.17, 0.0),
        (-1.0, 1.0, 2.15, 0.0),
    ],
)
def test_the_interval_reaches_beyond_what_is_true_by_half_of_what_it_had(
    true: float, shown: float, below: float, above: float
) -> None:
    found = widenings_of({("a", "rehearsal", 0): read(true, 0.0)}, {("a", "supply", 0): read(shown)})
    assert found.get(("a", "supply", 0), (0.0, 0.0)) == pytest.approx((below, above))
    middle = shown - 0.05 - below, shown + 0.05 + above
    assert (below, above) == (0.0, 0.0) or middle[0] - 1e-9 <= true <= middle[1] + 1e-9


def test_points_of_a_sweep_are_each_held_against_their_own() -> None:
    exact = {("a", "rehearsal", 0): read(5.0, 0.0), ("a", "rehearsal", 1): read(9.0, 0.0)}
    right = {("a", "supply", 0): read(5.0), ("a", "supply", 1): read(9.0)}
    assert widenings_of(exact, right) == {}
    other = {("a", "supply", 1): read(8.0), ("a", "meter", 1): read(9.5), ("b", "supply", 0): read(1.0)}
    assert widenings_of(exact, right | other) == {
        ("a", "supply", 1): pytest.approx((0.0, 1.05)),
        ("a", "meter", 1): pytest.approx((0.5, 0.0)),
    }


@pytest.mark.parametrize(
    ("power", "loop", "farads", "turns"),
    [
        ("5.8 W ± 10 %", "1 ohm", "22 uF", 7),
        ("3 W ± 10 %", "2 ohm", "100 uF", 2),
    ],
)
def test_a_load_that_hunts_in_step_with_the_updates(
    power: str, loop: str, farads: str, turns: int, tmp_path: Path
) -> None:
    """By nominal values it hunts at another frequency, of which readings see every part."""
    (tmp_path / "once").mkdir()
    once = hunting(tmp_path / "once", power, loop, farads, "5 ms", "50 ms", "40 ms")
    span = once.outcome.record.span("steady")
    stops = [e.time for e in once.truth.events if e.kind.name == "STOPS" and span.start < e.time < span.end]
    update = turns * (stops[-1] - stops[0]) / (len(stops) - 1)
    (tmp_path / "step").mkdir()
    times = (f"{update * 1e3:.4f} ms", f"{(turns - 0.4) / turns * update * 1e3:.4f} ms")
    found = hunting(tmp_path / "step", power, loop, farads, "5 ms", *times)
    true = true_means(found)
    for each in found.evaluated.results:
        assert each.measured is not None
        assert each.measured.low <= true[each.requirement] <= each.measured.high


@pytest.mark.parametrize("given", [VARIANTS["3 W behind 2 ohm"]])
def test_a_run_that_reads_more_slowly_than_asked_is_compared_as_it_was_read(
    given: tuple[str, str, str, str, str, str], tmp_path: Path
) -> None:
    """Every 40 ms, where 5 ms are asked for."""
    found = hunting(tmp_path, *given)
    documents, set_points = found.documents, found.check.settings.set_points
    rehearsed = rehearse(documents, set_points, timeline=found.check.plan.played).record
    judged = evaluate(documents, set_points, rehearsed).results
    true = {each.requirement: each.measured for each in judged}
    timeline, every = found.check.plan.timeline, {"in": 40e-3}
    for phase in PHASES[::2]:
        run = as_read(rehearsed, documents, set_points, timeline, every, phase)
        widened, notes = widenings(documents, set_points, run)
        assert notes == ()
        for each in evaluate(documents, set_points, run, widened=widened).results:
            exact = true[each.requirement]
            assert each.measured is not None
            assert exact is not None
            assert each.measured.low <= exact.value <= each.measured.high


def test_how_it_is_read_while_it_empties_tells_nothing_of_the_procedure(tmp_path: Path) -> None:
    """At the end every 20 ms, for longer than the procedure lasts."""
    found = hunting(tmp_path, "3 W", "2 ohm", "470 uF", "50 ms", "10 ms", "8 ms")
    record = found.outcome.record
    time = record.traces["in"].time
    assert np.median(np.diff(time)) < 30e-3
    assert reading_intervals(found.documents, found.check.settings.set_points, record) == {"in": 50e-3}


def test_every_phase_asks_and_updates_at_another_time() -> None:
    assert len({phase.asked for phase in PHASES}) == len({phase.updated for phase in PHASES}) == len(PHASES)


LULLS = {
    # What the converter draws, its soft start, the input's capacitor, the rate of rise, and how it is read.
    "its charging ends in the soft start": ("5 W", "24 ms", "30 mF", "0.1 V/ms", "10 ms", "20 ms", "16 ms"),
    "a longer soft start": ("5 W", "28 ms", "30 mF", "0.1 V/ms", "10 ms", "20 ms", "16 ms"),
    "faster": ("4 W", "24 ms", "20 mF", "0.15 V/ms", "10 ms", "20 ms", "18 ms"),
    "short updates": ("4 W", "10 ms", "8 mF", "0.3 V/ms", "5 ms", "10 ms", "8 ms"),
    "long updates": ("5 W", "55 ms", "60 mF", "0.05 V/ms", "20 ms", "50 ms", "45 ms"),
}


DRAWN = 100


@pytest.mark.parametrize("given", LULLS.values(), ids=LULLS)
def test_an_aperture_over_a_peak_and_a_lull_is_no_steady_current(
    given: tuple[str, ...], tmp_path: Path
) -> None:
    """The charging current falls below what the load draws before its soft start is over: a mean over both
    can lie within the band. Read at drawn phases, which are not those that the comparison looks at.
    """
    power, soft, farads, rise, every, update, aperture = given
    converter = {"output_power": power, "efficiency": "85 %", "starts_at": "2.4 V", "stops_at": "2 V"}
    device = fed_by(
        {"converter": {**converter, "soft_start": soft}},
        {"capacitor": {"capacitance": farads, "esr": "50 mohm"}},
        nominal="3.3 V",
        operating="2.4 V .. 4.3 V",
        withstands=[{"voltage": "6 V"}],
    )
    output = {
        "reading": {**READING, "update": update, "aperture": aperture, "latency": "3 ms"},
        "voltage": "0 V .. 6 V",
        "current": "0 A .. 6 A",
        "ovp": {"level": "1 V .. 7 V", "accuracy": "100 mV", "response": "200 us", "at": "terminals"},
        "slew": "1 V/s .. 1 V/ms",
    }
    procedure = {
        "hook_up": {"in": {"from": "s.1", "lead": "pair", "sense": "at terminals"}},
        "limits": {"in": {"current_limit": "5 A", "at_limit": "regulate", "ovp": "5.5 V"}},
        "steps": [
            {"power_up": {"order": ["in"], "rise": rise, "settle": "400 ms"}, "name": "up"},
            {"hold": "100 ms"},
            {"power_down": {"order": ["in"]}},
        ],
        "record": {"every": every},
        "requires": [
            {"name": "up", "measure": "start_up_time", "of": "in", "during": "up", "at_most": "1 s"}
        ],
    }
    path = write(
        tmp_path, {"in": device}, procedure, {"s": supply(output)}, {"contact_resistance_loop": "5 mohm"}
    )
    check = Job.open(path).settle()
    documents, set_points, plan = check.checked.documents, check.settings.set_points, check.plan
    played = rehearse(documents, set_points, timeline=plan.played).record
    exact = evaluate(documents, set_points, played).results[0].measured
    assert exact is not None
    dice, far, far_alone = Random(9), 0, 0
    for _ in range(DRAWN):
        phase = Phase(dice.random(), dice.random())
        intervals = {"in": documents.procedure.record.every}
        run = as_read(played, documents, set_points, plan.timeline, intervals, phase)
        widened, notes = widenings(documents, set_points, run)
        assert notes == ()
        said = evaluate(documents, set_points, run, widened=widened).results[0].measured
        by_itself = evaluate(documents, set_points, run).results[0].measured
        assert said is not None
        assert by_itself is not None
        far += misses_by_far(said, exact.value)
        far_alone += misses_by_far(by_itself, exact.value)
    assert far == 0 < far_alone


def misses_by_far(said: Measured, true: float) -> bool:
    """Whether it is off by more than a 95 % interval may be: one and a half times its half width."""
    return abs(true - said.value) > 1.5 * max(said.high - said.value, said.value - said.low)
