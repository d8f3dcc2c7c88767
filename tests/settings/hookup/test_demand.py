"""What an input asks for: power behind a lead, brief pieces of shapes."""

from __future__ import annotations

import random

from tests.settings.hookup.scene import Data, needs, output, scene, supply

from railwright.circuit.leads import Resistance
from railwright.quantities import Uncertain
from railwright.settings.hookup.demand import ShapeNeed, _most_power, demands_of


def test_few_levels_say_what_the_most_power_behind_any_lead_is():
    draw = random.Random(4)
    for _ in range(200):
        levels = [(draw.uniform(1, 40), draw.choice([0.0, 0.5, draw.uniform(0, 3)])) for _ in range(30)]
        kept = _most_power(levels)
        for resistance in (0.0, 0.01, 0.3, 2.0, 50.0):
            most = max(v * i + resistance * i**2 for v, i in levels)
            assert abs(max(p + resistance * i**2 for p, i in kept) - most) < 1e-9 * (1 + most)
        assert len(kept) < 15


def test_a_converter_needs_the_most_power_behind_a_lead_where_it_draws_the_most():
    converter = {
        "output_power": "24 W",
        "efficiency": "80 %",
        "starts_at": "6 V",
        "stops_at": "5 V",
        "soft_start": "1 ms",
    }
    sweep = {"sweep": {"input": "main", "from": "8 V", "to": "16 V", "points": 9, "dwell": "1 s"}}
    inputs = {"main": needs(12, 4, operating="8 V .. 16 V", load=[{"converter": converter}])}
    demand = demands_of(scene({"a": supply(output(30, 8))}, inputs, steps=[sweep]))["main"]
    assert abs(demand.power(None) - 30.0) < 1e-9
    # 30 W at 8 V are 3.75 A, which lose 1.41 W in 0.1 Ω
    assert abs(demand.power(Resistance(Uncertain(0.1, 0.1, 0.1), True)) - (30.0 + 0.1 * 3.75**2)) < 1e-6
    assert (demand.lowest, demand.highest) == (8.0, 16.0)


def test_a_shape_with_brief_pieces_wants_a_point_list_and_one_with_long_ones_does_not():
    def of(*times: str) -> ShapeNeed | None:
        segments: list[Data] = []
        for time in times:
            segments += [{"line_to": "9 V", "over": time}, {"step_to": "12 V"}]
        steps = [{"shape": {"input": "main", "segments": [*segments, {"hold": "1 s"}]}}]
        documents = scene({"a": supply(output(30, 2))}, {"main": needs(12, 0.5)}, steps=steps)
        return demands_of(documents)["main"].shape

    assert of("60 ms") is None
    need = of("60 ms", "4 ms")
    assert need is not None
    assert (round(need.briefest, 6), need.drawn, need.stepped) == (0.004, 3, 41)  # two lines and a hold
