"""Many cases of a procedure: each is what a rehearsal of it alone gives, and their sum is always the same."""

from __future__ import annotations

import dataclasses
import math
import pickle

import numpy as np
import pytest
from scipy.stats import beta
from tests.rehearsal.scene import short

from railwright.circuit.case import fixed
from railwright.documents.output_name import OutputName
from railwright.physics.cases import MEASURES
from railwright.physics.layout import TRIP_CAUSES
from railwright.plan.set_points import Feed, OutputSetPoints
from railwright.plan.timeline import Timeline, build_timeline
from railwright.rehearsal.design import CHUNK, Design
from railwright.rehearsal.ensemble import (
    InputSpread,
    merged,
    plan_ensemble,
    play_chunk,
    play_values,
    trip_probability,
)
from railwright.rehearsal.rehearse import rehearse
from railwright.rehearsal.sensitivity import sensitivities
from railwright.spread import blocks_over_threads, over_threads
from railwright.traces import trips

MAIN = Feed(
    "main",
    "alone",
    (OutputSetPoints(OutputName("left.1"), 1.0, "trip", 0.04, 18.0),),
    "silicone pair",
    "at load",
)
TRANSDUCER = Feed(
    "transducer",
    "alone",
    (OutputSetPoints(OutputName("right.1"), 0.1, "trip", 0.06, 32.0),),
    "thin pair",
    "at terminals",
    trips_when=("main",),
)


def with_delay(feed: Feed, delay: float) -> Feed:
    (points,) = feed.outputs
    return dataclasses.replace(feed, outputs=(dataclasses.replace(points, trip_delay=delay),))


def alone(plan, row):
    """Measures of one case by a rehearsal of its own: input -> measure -> value."""
    case = fixed(dict(zip(plan.design.names, row.tolist(), strict=True)))
    played = rehearse(plan.documents, plan.set_points, case, plan.timeline, plan.end - plan.timeline.duration)
    causes = {trips(protection): code for code, protection in TRIP_CAUSES.items()}
    return {
        name: {
            measure: float(causes.get(result.tripped, 0)) if measure == "trip" else getattr(result, measure)
            for measure in MEASURES
        }
        for name, result in played.inputs.items()
    }


@pytest.mark.parametrize("delay", [0.04, 0.0145])
def test_each_case_is_what_a_rehearsal_of_it_gives(documents, delay):
    """To the last digits, whether nothing trips or the trip of one input switches another off."""
    set_points = {"main": with_delay(MAIN, delay), "transducer": TRANSDUCER}
    plan = plan_ensemble(documents, set_points, 256, seed=5, timeline=short(documents), tail=0.1)
    values = plan.design.values(0)
    measures, failed = play_values(plan, values)
    assert not failed.any()
    trips = measures["main"]["trip"]
    assert (trips > 0.0).any() == (delay < 0.04)
    assert (measures["transducer"]["trip"] > 0.0).tolist() == (trips > 0.0).tolist()
    for case in [*range(3), *np.flatnonzero(trips > 0.0)[:3], 200, 255]:
        for name, expected in alone(plan, values[case]).items():
            for measure, value in expected.items():
                got = measures[name][measure][case]
                assert (value is None and math.isnan(got)) or got == pytest.approx(value, rel=1e-9, abs=1e-12)


def test_a_series_pair_is_played_as_one(documents):
    outputs = tuple(
        OutputSetPoints(OutputName(f"left.{n}"), 0.3, "trip", 0.06, 16.0, share=0.5) for n in (1, 2)
    )
    feed = Feed("transducer", "series", outputs, "thin pair", "at terminals")
    plan = plan_ensemble(documents, {"transducer": feed}, 64, timeline=short(documents), tail=0.1)
    values = plan.design.values(0)
    measures, _ = play_values(plan, values)
    for case in (0, 63):
        expected = alone(plan, values[case])["transducer"]
        got = [measures["transducer"][measure][case] for measure in ("peak_current", "settled_voltage")]
        assert got == pytest.approx([expected["peak_current"], expected["settled_voltage"]], rel=1e-9)


def test_a_parallel_pair_is_in_its_limit_while_none_of_it_holds_the_voltage(documents):
    """Some 0.35 A flow, and each gives 0.32 A: the one that is set higher stands in its limit throughout."""
    points = OutputSetPoints(OutputName("left.1"), 0.32, "regulate", 0.06, 18.0)
    outputs = points, dataclasses.replace(points, output=OutputName("left.2"))
    feed = Feed("main", "parallel", outputs, "silicone pair", "at load")
    plan = plan_ensemble(documents, {"main": feed}, 64, timeline=short(documents), tail=0.1)
    measures, _ = play_values(plan, plan.design.values(0))
    found = measures["main"]["time_in_limit"]
    assert found.min() > 0.01  # 1.4 mF are charged to 12 V with 0.64 A
    assert found.max() < 0.08


def test_however_it_is_spread_the_result_is_the_same_bytes(documents):
    plan = plan_ensemble(
        documents, {"transducer": TRANSDUCER}, 2500, seed=2, timeline=short(documents), tail=0.01
    )
    one_by_one = merged(play_chunk(plan, chunk) for chunk in range(plan.design.chunks))
    in_threads = merged(over_threads(plan, 2))
    assert pickle.dumps(one_by_one) == pickle.dumps(in_threads)
    assert one_by_one.played == 2500
    assert one_by_one.inside == 2500 - plan.design.corners


@pytest.mark.parametrize("delay", [0.04, 0.0145])
def test_cases_that_differ_in_another_input_alone_are_played_once(documents, delay):
    """And come out as they do when each is played by itself, also where the trip of one input switches the
    other off, so that they differ after all.
    """
    set_points = {"main": with_delay(MAIN, delay), "transducer": TRANSDUCER}
    plan = plan_ensemble(documents, set_points, 256, seed=5, timeline=short(documents), tail=0.1)
    values = np.repeat(plan.design.values(0)[::16], 3, axis=0)
    own = [k for k, name in enumerate(plan.design.names) if str(name).startswith(("transducer", "right"))]
    # Of each three, the second differs in the transducer's own quantities, the third in main's.
    values[1::3, own] = plan.design.values(0)[7, own]
    main = [k for k in range(values.shape[1]) if k not in own]
    values[2::3, main] = plan.design.values(0)[11][main]
    told: list[tuple[int, int]] = []
    measures, _ = play_values(plan, values, each=lambda played, of: told.append((played, of)))
    # 16 different ones and the one that comes again and again; of main the 8th is among the 16 already.
    different = [len(np.unique(values[:, columns], axis=0)) for columns in (main, own)]
    assert told[len(told) - 1][0] == told[-1][1] >= sum(different) == 17 + 17
    one_by_one = [play_values(plan, row[np.newaxis])[0] for row in values]
    for name, columns in measures.items():
        for measure, seen in columns.items():
            expected = np.array([each[name][measure][0] for each in one_by_one])
            np.testing.assert_array_equal(seen, expected, err_msg=f"{name} {measure}")


def test_blocks_in_threads_give_the_same_bytes(documents):
    plan = plan_ensemble(
        documents, {"main": MAIN, "transducer": TRANSDUCER}, 300, timeline=short(documents), tail=0.01
    )
    values = plan.design.values(0)
    alone, _ = play_values(plan, values)
    in_threads, _ = play_values(plan, values, blocks_over_threads)
    assert pickle.dumps(alone) == pickle.dumps(in_threads)


def test_progress_is_told_chunk_by_chunk(documents):
    plan = plan_ensemble(
        documents, {"transducer": TRANSDUCER}, CHUNK + 1, timeline=short(documents), tail=0.01
    )
    seen: list[int] = []
    merged(over_threads(plan, 1), lambda ensemble: seen.append(ensemble.played))
    assert seen == [CHUNK, CHUNK + 1]


def test_an_unknown_quantity_is_not_overlooked(documents):
    plan = plan_ensemble(documents, {"main": MAIN}, 8, timeline=short(documents))
    stranger = {**plan.design.quantities, "main.flux": plan.design.quantities["main.lead.resistance"]}
    plan = dataclasses.replace(plan, design=Design(stranger, 8, 1))
    with pytest.raises(LookupError, match=r"main\.flux"):
        play_values(plan, plan.design.values(0))


def test_the_bounds_of_a_probability_are_those_of_clopper_and_pearson():
    """C. J. Clopper, E. S. Pearson, Biometrika 26 (1934): quantiles of the beta distribution."""
    seen = InputSpread({})
    seen.trips.update({"OVP": 3})
    share, low, high = trip_probability(seen, 1000)
    assert share == 0.003
    assert low == pytest.approx(beta.ppf(0.025, 3, 998), rel=1e-9)
    assert high == pytest.approx(beta.ppf(0.975, 4, 997), rel=1e-9)
    assert trip_probability(InputSpread({}), 1000)[2] == pytest.approx(1 - 0.025 ** (1 / 1000), rel=1e-9)


def test_the_charge_depends_on_capacitance_power_and_efficiency(documents):
    """Q = C U + ∫ P / (η v) dt: nearly additive, so that the first-order indices of these three add up to 1,
    and C's follows from dQ/dC = U - U_start / I_limit · P / (η U): more of it delays the converter's start.
    """
    plan = plan_ensemble(documents, {"main": MAIN}, 64, timeline=short(documents), tail=0.01)
    result = sensitivities(plan)
    names, indices = result.names, result.found["main", "inrush_charge"]
    first, total = indices.alone, indices.in_all
    three = [
        names.index(f"main.{what}")
        for what in ("capacitor.capacitance", "converter.output_power", "converter.efficiency")
    ]
    assert set(np.argsort(total)[-3:]) == set(three)
    assert first[three].sum() == pytest.approx(1.0, abs=0.01)
    measures, _ = play_values(plan, Design(plan.design.quantities, 1024, 3).values(0)[128:])
    variance = float(np.var(measures["main"]["inrush_charge"]))
    slope = 12.0 - 8.4 / 1.0 * 3.6 / (0.86 * 12.0)
    assert total[three[0]] == pytest.approx((slope * 200e-6) ** 2 / 3.0 / variance, rel=0.1)


def test_timeline_of_the_scene_is_a_power_up(documents):
    timeline = short(documents)
    assert isinstance(timeline, Timeline)
    assert timeline.duration < build_timeline(documents.procedure, documents.device).duration
    assert [span.kind for span in timeline.spans] == ["power_up"]
