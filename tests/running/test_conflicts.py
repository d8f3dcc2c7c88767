"""Settings that a supply refuses while others contradict them: a run tells them in an order that it takes."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.running.stage import BENCH, GATE_AND_DRAIN, Stage, points
from tests.said import says

from railwright.records.ended import Ended
from railwright.scpi.errors import ScpiError
from railwright.twin import server as twin_server

DIALECTS = ("channel-list", "selected-output", "named-output", "numbered-header", "prefixed")
STRICT = "right: refuses conflicts at 0 s"
FULL_SCALE, LOAD = 36.0, 24.0


@contextmanager
def strict(dialect: str, *mischief: str) -> Iterator[Stage]:
    """The stage, whose right supply speaks this dialect and refuses what conflicts."""
    with tempfile.TemporaryDirectory() as folder:
        bench = BENCH.replace("dialect: selected-output", f"dialect: {dialect}")
        stage = Stage(Path(folder), mischief=mischief, bench=bench)
        try:
            yield stage
        finally:
            stage.network.close()


def stood(stage: Stage, voltage: float, ovp: float, limit: float, *, low: bool, on: bool) -> None:
    """How an earlier session left the right supply."""
    twin = stage.network.servers["right"].supply
    panel = twin.panels[0]
    panel.range = panel.ranges[0 if low else -1]
    panel.voltage, panel.ovp, panel.current = voltage, ovp, limit
    twin.refuses_conflicts = True
    twin.apply(0)
    twin.master = True
    twin.switch(0, on)
    twin.advance(twin.plant.time + 0.2)


@pytest.mark.slow  # thirty runs
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    dialect=st.sampled_from(DIALECTS),
    low=st.booleans(),
    part=st.floats(0.0, 1.0),
    above=st.floats(0.0, 1.0),
    limit=st.floats(0.6, 2.5),
    on=st.booleans(),
    new_ovp=st.floats(14.0, 38.0),
    new_limit=st.floats(0.7, 2.5),
)
def test_whatever_a_supply_stood_at_before_it_takes_what_a_run_sets(
    dialect: str,
    low: bool,
    part: float,
    above: float,
    limit: float,
    on: bool,
    new_ovp: float,
    new_limit: float,
) -> None:
    with strict(dialect) as stage:
        twin = stage.network.servers["right"].supply
        panel = twin.panels[0]
        top = panel.ranges[0] if low else FULL_SCALE
        voltage = round(part * min(top, 0.9 * limit * LOAD), 3)
        least = max(voltage, 1.0)
        ovp = least + above * (min(38.0, 1.1 * top) - least)
        stood(stage, voltage, ovp, limit, low=low, on=on)
        before = stage.spans("right.1")
        wanted = {
            **GATE_AND_DRAIN,
            "drain": points("drain", "right.1", round(new_limit, 3), round(new_ovp, 2), ("gate",)),
        }
        outcome = stage.run(wanted, consent=True)
        assert outcome.ended is Ended.COMPLETED, outcome.cause
        assert outcome.off_confirmed
        assert twin.status.errors.take().startswith("0")
        assert len(stage.spans("right.1")) == len(before) + 1
        assert panel.ovp == pytest.approx(new_ovp, abs=0.01)
        assert panel.current == pytest.approx(new_limit, abs=2e-3)
        assert panel.range == panel.ranges[-1]


@pytest.mark.slow  # thirty runs
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(dialect=st.sampled_from(DIALECTS), number=st.integers(1, 16))
def test_what_was_refused_is_never_energised(dialect: str, number: int) -> None:
    """The supply refuses one setting, whichever it is, and keeps what stood before."""
    with strict(dialect) as stage, pytest.MonkeyPatch.context() as patch:
        usual, count, refused = twin_server.execute, 0, list[str]()

        def execute(supply: Any, unit: Any) -> str | None:
            nonlocal count
            tells = (
                supply.name == "right"
                and not unit.query
                and unit.nodes[0].upper() not in ("*CLS", "INSTRUMENT")
            )
            sets = tells and not supply.panels[0].on and not stage.spans("right.1")
            count += sets
            if sets and count == number:
                refused.append(unit.header)
                raise ScpiError(-221, unit.header)
            return usual(supply, unit)

        patch.setattr(twin_server, "execute", execute)
        outcome = stage.run()
        if refused:
            assert outcome.ended is Ended.INSTRUMENT, refused
            assert stage.spans("right.1") == (), refused
        else:
            assert outcome.ended is Ended.COMPLETED
        assert outcome.off_confirmed


@pytest.mark.parametrize("dialect", DIALECTS)
def test_an_output_that_was_on_keeps_its_limit_until_it_is_off(dialect: str) -> None:
    """0.5 A flow: the lowest limit is refused before it is off."""
    with strict(dialect) as stage:
        stood(stage, 12.0, 20.0, 1.0, low=False, on=True)
        assert stage.network.current("right.1") == pytest.approx(0.5, abs=0.02)
        outcome = stage.run(consent=True)
        assert outcome.ended is Ended.COMPLETED, outcome.cause


@pytest.mark.parametrize("low", [False, True])
@pytest.mark.parametrize("ovp", [8.0, 30.0])
def test_a_range_comes_before_the_levels_in_it(low: bool, ovp: float) -> None:
    """The drain's 12 V lie in the low range, its protection at 30 V does not."""
    with strict("prefixed") as stage:
        stood(stage, 5.0, ovp if not low else 8.0, 1.0, low=low, on=False)
        wanted = {**GATE_AND_DRAIN, "drain": points("drain", "right.1", 1.0, 30.0, ("gate",))}
        outcome = stage.run(wanted)
        assert outcome.ended is Ended.COMPLETED, outcome.cause
        sent = [u for _, way, line in stage.lines if way == "sent" for u in line.split(";")]
        assert any("RANGe?" in each for each in sent), "it is asked for again while the run goes on"


def test_a_supply_in_another_range_than_the_bench_describes_is_refused() -> None:
    """It answers another end of its range than the bench's highest voltage."""
    with strict("prefixed") as stage:
        panel = stage.network.servers["right"].supply.panels[0]
        panel.__class__ = type("Other", (type(panel),), {"ranges": property(lambda self: (18.0, 60.0))})
        outcome = stage.run()
        assert outcome.ended is Ended.INSTRUMENT
        assert says(outcome.cause, "voltage_range", "36.0", "60.0")
        assert stage.spans("right.1") == ()
