"""Shapes that wait, change the current limit, and switch off in between, in a run on fake supplies."""

from __future__ import annotations

import io
import os
import signal
import sys
from pathlib import Path

import pytest
from tests.running.small import PROCEDURE, SET_POINTS, small
from tests.said import says

from railwright.plan.moves import moves_of
from railwright.plan.timeline import build_timeline
from railwright.records.ended import Ended
from railwright.running.waiting import Triggers, signal_triggers

SWEEP = "  - sweep: {input: main, from: 9 V, to: 12 V, points: 3, dwell: 40 ms}\n    name: sweep\n"


def with_shape(text: str) -> str:
    assert SWEEP in PROCEDURE
    return PROCEDURE.replace(SWEEP, f"  - shape: {{{text}}}\n    name: own\n")


class After(Triggers):
    """What is waited for comes after so many looks."""

    def __init__(self, looks: int) -> None:
        super().__init__()
        self.looks, self.began = looks, []

    def begin(self, source):
        self.began.append(source)
        self.left = self.looks

    def arrived(self, source):
        self.left -= 1
        return self.left < 0


def test_the_plan_keeps_waits_and_limits_between_what_stands_before_and_after_them(tmp_path: Path) -> None:
    text = (
        "input: main, segments: [{step_to: 9 V}, {step_to: 10 V, wait_for: key, current_limit: 500 mA}, "
        "{hold: 20 ms}, {off_for: 30 ms}]"
    )
    with small(tmp_path, with_shape(text)) as bench:
        timeline = build_timeline(bench.documents.procedure, bench.documents.device)
        plan = moves_of(timeline, SET_POINTS, bench.documents.bench)
    own = [move for move in plan.moves if move.step == 2]
    assert [(move.kind, move.voltage or move.current) for move in own] == [
        ("set", 9.0),
        ("wait", None),
        ("limit", 0.5),
        ("set", 10.0),
        ("off", None),
        ("on", 10.0),
        ("limit", None),
    ]


def test_a_run_waits_and_everything_after_it_comes_later(tmp_path: Path) -> None:
    text = (
        "input: main, segments: [{step_to: 9 V}, {hold: 40 ms}, {step_to: 10 V, wait_for: trigger}, "
        "{hold: 40 ms}]"
    )
    triggers = After(12)
    with small(tmp_path, with_shape(text)) as bench:
        outcome = bench.run(triggers=triggers)
    assert outcome.ended is Ended.COMPLETED
    assert triggers.began == ["trigger"]
    events = {event.what: event.time for event in outcome.record.events if event.subject == "run"}
    waited = events["trigger comes"] - events["waits for a trigger"]
    assert waited > 0.02
    span = outcome.record.span("own")
    assert span.end - span.start == pytest.approx(0.08 + waited, abs=0.03)
    inside = outcome.record.traces["main"].between(events["waits for a trigger"], events["trigger comes"])
    assert inside.time.size >= 1  # it goes on reading meanwhile
    assert bench.everything_off


def test_a_run_that_waits_in_vain_ends_with_outputs_off(tmp_path: Path) -> None:
    text = "input: main, segments: [{step_to: 9 V}, {hold: 20 ms}], advance: on key, time_out: 60 ms"
    with small(tmp_path, with_shape(text)) as bench:
        outcome = bench.run(triggers=After(10**9))
        assert outcome.ended is Ended.STOPPED
        assert says(outcome.cause, "60 ms")
        assert bench.everything_off


def test_a_shapes_limit_is_set_and_put_back_and_the_output_goes_off_and_on(tmp_path: Path) -> None:
    text = (
        "input: main, segments: [{step_to: 9 V, current_limit: 500 mA}, {hold: 30 ms}, {off_for: 30 ms}, "
        "{hold: 30 ms}]"
    )
    with small(tmp_path, with_shape(text)) as bench:
        outcome = bench.run()
        commands = [unit for unit in bench.left.units if "?" not in unit]
        told = [u for u in commands if "CURRent " in u or "STATe" in u or "VOLTage 9" in u]
    assert outcome.ended is Ended.COMPLETED
    after = told[next(n for n, unit in enumerate(told) if "CURRent 0.5" in unit) :]
    kinds = [unit.split(",")[0].rpartition(":")[2] for unit in after]
    assert kinds[:2] == ["CURRent 0.5", "VOLTage 9"]
    assert kinds.index("STATe OFF") < kinds.index("STATe ON") < kinds.index("CURRent 1")
    what = [(e.what, e.detail) for e in outcome.record.events if e.subject == "main"]
    assert ("current limit", "0.5 A") in [(w, d.replace("500 mA", "0.5 A")) for w, d in what]
    assert ("current limit", "as settled") in what


def test_enter_is_a_key_and_what_was_pressed_before_does_not_count(monkeypatch: pytest.MonkeyPatch) -> None:
    read, write = os.pipe()
    with os.fdopen(read, "r") as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        triggers = Triggers()
        os.write(write, b"early\n")
        triggers.begin("key")
        assert not triggers.arrived("key")
        os.write(write, b"\n")
        assert triggers.arrived("key")
        assert not triggers.arrived("key")
        assert "Enter" in triggers.how("key")
        os.close(write)
    monkeypatch.setattr(sys, "stdin", io.StringIO("x\n"))
    assert not triggers.arrived("key")  # no file to look at


def test_sigusr1_is_a_trigger_while_a_run_lasts() -> None:
    triggers, before = Triggers(), signal.getsignal(signal.SIGUSR1)
    with signal_triggers(triggers):
        triggers.begin("trigger")
        assert not triggers.arrived("trigger")
        os.kill(os.getpid(), signal.SIGUSR1)
        assert triggers.arrived("trigger")
        triggers.begin("trigger")
        assert not triggers.arrived("trigger")
    assert signal.getsignal(signal.SIGUSR1) == before
    assert str(os.getpid()) in triggers.how("trigger")


@pytest.mark.parametrize("given", [b"no end of a line", b"y\n" * 20_000])
def test_no_input_holds_up_a_run_that_waits_for_a_key(given: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    with open(reading, encoding="utf-8") as stream, open(writing, "wb", buffering=0) as end:
        end.write(given)
        monkeypatch.setattr(sys, "stdin", stream)
        triggers = Triggers()
        triggers.begin("key")
        assert not triggers.arrived("key")
        end.write(b"\n")
        assert triggers.arrived("key")
