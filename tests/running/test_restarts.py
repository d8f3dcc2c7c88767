"""A supply that loses its mains in a run and does this or that when they return: everything goes off."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.running.stage import BENCH, Stage
from tests.said import says

from railwright.dialects.files import dialect_names
from railwright.records.ended import Ended

COMES_ON = BENCH.replace("    dialect:", "    after_mains: comes on\n    dialect:")
MEAN = ("restarts for 0.1 s", "restarts for 0.3 s", "reboots for 0.5 s", "reboots for 1.5 s")


@pytest.mark.parametrize("supply", ["left", "right"])
@pytest.mark.parametrize("what", MEAN)
@pytest.mark.parametrize("bench", [BENCH, COMES_ON])
def test_a_supply_that_restarts_ends_the_run_and_is_switched_off(
    tmp_path: Path, supply: str, what: str, bench: str
) -> None:
    kind, _, rest = what.partition(" ")
    stage = Stage(tmp_path, mischief=[f"{supply}: {kind} at 0.9 s {rest}"], bench=bench)
    outcome = stage.run()
    assert outcome.ended in (Ended.INSTRUMENT, Ended.CHANGED, Ended.STOPPED), outcome.cause
    assert outcome.off_confirmed, outcome.not_confirmed
    assert not stage.is_on("left.1")
    assert not stage.is_on("right.1")


@pytest.mark.parametrize("kind", ["restarts and comes on", "reboots and comes on"])
@pytest.mark.parametrize("said", ["stays off", "comes on"])
def test_what_the_bench_says_of_it_is_believed_of_no_supply(tmp_path: Path, kind: str, said: str) -> None:
    bench = COMES_ON.replace("comes on", said)
    stage = Stage(tmp_path, mischief=[f"right: {kind} at 0.9 s for 0.4 s"], bench=bench)
    outcome = stage.run()
    assert outcome.ended is Ended.INSTRUMENT, outcome.cause
    assert outcome.off_confirmed
    assert len(stage.spans("right.1")) == 2, "it came on by itself"
    (_, _), (on, off) = stage.spans("right.1")
    assert off is not None
    # It was silent, and is waited for; or its connection was lost, and it is tried again ever more seldom.
    assert off - on < (2.5 if kind.startswith("restarts") else 1.2)


@pytest.mark.parametrize("dialect", [name for name in dialect_names() if name != "single-output"])
def test_one_that_was_not_even_silent_is_known_by_its_power_on_bit_alone(
    tmp_path: Path, dialect: str
) -> None:
    """All is as it was before: no setting differs, and no answer was late."""
    bench = COMES_ON.replace("dialect: selected-output", f"dialect: {dialect}")
    stage = Stage(tmp_path, mischief=["right: restarts at 0.9073 s for 100 us"], bench=bench)
    outcome = stage.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, "right", "power came on")
    (_, _), (on, off) = stage.spans("right.1")
    assert off is not None
    assert off - on < 2.0
    assert outcome.off_confirmed


@pytest.mark.parametrize("dialect", ["prefixed", "numbered-header"])
def test_a_master_that_comes_on_with_them_is_switched_off_too(tmp_path: Path, dialect: str) -> None:
    bench = COMES_ON.replace("dialect: selected-output", f"dialect: {dialect}")
    stage = Stage(tmp_path, mischief=["right: reboots at 0.9 s for 0.5 s"], bench=bench)
    outcome = stage.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert outcome.off_confirmed
    assert not stage.is_on("right.1")
    assert not stage.network.servers["right"].supply.master


def test_a_run_without_a_restart_is_played_to_its_end(tmp_path: Path) -> None:
    outcome = Stage(tmp_path, bench=COMES_ON).run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True), outcome.cause
