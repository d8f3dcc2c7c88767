"""The largest bench is solved; benchmarks/hookup.py measures in which time."""

from __future__ import annotations

from tests.settings.hookup import exhaustive
from tests.settings.hookup.largest import largest

from railwright.settings.findings import Severity
from railwright.settings.hookup import hooked_up
from railwright.settings.settle import settle


def test_eight_supplies_feed_ten_inputs():
    resolved = hooked_up(largest(1))
    hook_up = resolved.documents.procedure.hook_up
    assert resolved.findings == ()
    assert len(hook_up) == 10
    arrangements = {name: each.arrangement for name, each in hook_up.items()}
    assert arrangements["valve"] == "series"
    assert arrangements["heater"] == "parallel"
    assert arrangements["logic"] == "alone"
    assert exhaustive.sound(resolved.documents)
    stops = [f for f in settle(resolved.documents, exhaustive.TODAY).findings if f.severity is Severity.STOP]
    assert stops == []


def test_the_same_bench_gets_the_same_hook_up():
    first, second = hooked_up(largest(2)), hooked_up(largest(2))
    assert first.documents.procedure.hook_up == second.documents.procedure.hook_up
    assert first.reasons == second.reasons
