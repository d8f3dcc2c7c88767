"""Lines that follow a jump, or each other, sooner than the host can tell them: where the set point goes as it
is rehearsed, and as it is told, followed here in small steps of time.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest
from tests.plan.test_moves import alone, bench

from railwright.plan.plan import deliver
from railwright.plan.timeline import Action, Timeline
from railwright.traces import Span

TICK = 1e-4


def follows(told: Iterable[tuple[float, float, float]], start: float, end: float) -> np.ndarray:
    """A set point that goes on at a rate to where it was told last: (time [s], voltage [V], rate [V/s])."""
    waiting, at, goal, rate = list(told), start, start, 0.0
    course = []
    for time in np.arange(0.0, end, TICK):
        while waiting and waiting[0][0] <= time + TICK / 2.0:
            _, goal, rate = waiting.pop(0)
        at += float(np.clip(goal - at, -rate * TICK, rate * TICK))
        course.append(at)
    return np.array(course)


@pytest.mark.parametrize("fastest", [60.0, 85.6, 110.0])
@pytest.mark.parametrize(
    ("begins", "ends", "tau", "knots"),
    [(28.0, 16.0, 0.04, 12), (16.0, 28.0, 0.03, 10), (12.0, 5.0, 0.02, 9), (24.0, 17.0, 0.05, 15)],
)
def test_what_is_rehearsed_goes_where_it_is_told(
    begins: float, ends: float, tau: float, knots: int, fastest: float
) -> None:
    """A decay in straight lines, steeper at first than the outputs' slew, and closer than two exchanges."""
    times = tau * -np.log(1.0 - np.linspace(0.0, 0.97, knots))
    levels = ends + (begins - ends) * np.exp(-times / tau)
    actions = [Action(0.0, "on", "main"), Action(0.0, "line", "main", begins)]
    actions += [
        Action(
            1.0 + float(times[n]),
            "line",
            "main",
            float(levels[n + 1]),
            float(times[n + 1] - times[n]),
            step=1,
        )
        for n in range(knots - 1)
    ]
    end = 1.4
    spans = (Span("up", "power_up", 0.0, 1.0, ("main",)), Span("decay", "shape", 1.0, end, ("main",)))
    plan = deliver(Timeline(tuple(actions), spans, end), {"main": alone()}, bench(f"1 V/s .. {fastest} V/s"))
    told = [(m.time, m.voltage, m.slew or fastest) for m in plan.moves if m.kind in ("on", "set")]
    played, level = [], 0.0
    for each in plan.played.actions:
        if each.kind == "line":
            rate = abs(each.voltage - level) / each.over if each.over else fastest
            played.append((each.time, each.voltage, rate))
            level = each.voltage
    apart = np.abs(follows(told, 0.0, end) - follows(played, 0.0, end))
    assert float(apart.max()) < 2.0 * fastest * TICK
