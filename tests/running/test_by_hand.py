"""Settings that a person makes: asked for before anything is on, compared, and waited for."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.running.small import Small, small
from tests.said import says

from railwright.dialects.dialect import Dialect, load_dialect
from railwright.dialects.operation import Operation
from railwright.records.ended import Ended
from railwright.running.by_hand import ByHand
from railwright.running.interruption import StopRequest


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Small]:
    """The left supply's OVP is set by a screw, and cannot be asked."""

    def loaded(name: str) -> Dialect:
        dialect = load_dialect(name)
        if name != "channel-list":
            return dialect
        settings = {each: own for each, own in dialect.settings.items() if each != "ovp_on"}
        return dialect.model_copy(update={"settings": {**settings, "ovp": Operation(by_hand=True)}})

    monkeypatch.setattr("railwright.documents.bench.load_dialect", loaded)
    with small(tmp_path) as made:
        yield made


@pytest.mark.alone
def test_a_person_may_take_their_time(bench: Small) -> None:
    """Longer than the guard lets a run be silent: it would take it for one that hangs."""
    asked: list[ByHand] = []

    def slowly(each: ByHand) -> float:
        asked.append(each)
        time.sleep(4.0)
        assert not bench.ever_on
        return 18.0

    outcome = bench.run(hands=slowly)
    assert outcome.ended is Ended.COMPLETED, outcome.cause
    assert [str(each) for each in asked] == ["OVP level of left.1: 18 V"]
    assert [each for each in outcome.cautions if "entered by the operator" in each]
    assert not any("VOLTage:PROTection" in unit for unit in bench.left.units)


@pytest.mark.alone
def test_a_stop_ends_the_waiting(bench: Small) -> None:
    stop, over = StopRequest(), threading.Event()

    def never(_: ByHand) -> None:
        stop.request("asked")
        over.wait(60.0)

    began = time.monotonic()
    try:
        outcome = bench.run(hands=never, stop=stop)
    finally:
        over.set()
    assert outcome.ended is Ended.INTERRUPTED
    assert time.monotonic() - began < 30.0
    assert not bench.ever_on


@pytest.mark.alone
@pytest.mark.parametrize(("entered", "told"), [(None, "nobody"), (16.0, "16 V")])
def test_what_was_not_set_as_it_should_be_is_never_energised(
    bench: Small, entered: float | None, told: str
) -> None:
    outcome = bench.run(hands=lambda _: entered)
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "OVP level of left.1", "18 V", told)
    assert not bench.ever_on


@pytest.mark.alone
def test_hands_that_fail_end_the_run(bench: Small) -> None:
    def fail(_: ByHand) -> float:
        raise OSError("the terminal is gone")

    outcome = bench.run(hands=fail)
    assert outcome.ended is not Ended.COMPLETED
    assert not bench.ever_on
