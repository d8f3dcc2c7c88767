"""A sequence is repeated until a key, a trigger, a time or a reading ends it, or as often as it may be.

The truth: how often, and for how long, is worked out by hand from dwells and exact fractions; a resistor
draws V / R, so that when its current passes a bound follows from the sequence.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from tests.truth.small import fed_by, supply, write

from railwright.archive.stored import evaluate_run, open_stored
from railwright.documents.loader import load_documents
from railwright.documents.sources import DocumentErrors
from railwright.guard.local_link import LocalLink
from railwright.job import Job
from railwright.plan.plan import plan_of
from railwright.records.ended import Ended
from railwright.running.outcome import RunOutcome
from railwright.running.runner import run
from railwright.running.waiting import Triggers
from railwright.settings.data import as_data
from railwright.traces import EventKind, Record
from railwright.twin.virtual_network import VirtualNetwork
from railwright.virtual_time import VirtualLoop

TABLE = "dwell_s,voltage_V\n0.2,9\n0.3,11\n"
TURN = Fraction(1, 2)
WAITING = [{"hold": "1 s", "wait_for": "key"}]


def job(folder: Path, shape: dict[str, Any], stop_when: list[dict[str, Any]] | None = None,
        points: bool = False, load: Any = None, table: str = TABLE) -> Path:  # fmt: skip
    folder.mkdir(exist_ok=True)
    (folder / "sequence.csv").write_text(table, "utf-8")
    output = {"points": {"at_most": 100, "dwell": "1 ms .. 100 s", "between": ["step"]}} if points else {}
    return write(
        folder,
        {"main": fed_by(load or {"resistor": {"resistance": "24 ohm"}}, nominal="12 V")},
        {
            "hook_up": {"main": {"from": "s.1", "lead": "pair", "sense": "at load"}},
            "limits": {"main": {"current_limit": "1.5 A", "at_limit": "regulate", "ovp": "auto"}},
            "steps": [
                {"power_up": {"order": ["main"], "rise": "2 V/ms", "settle": "100 ms"}, "name": "up"},
                {"shape": {"input": "main", "table": "sequence.csv", **shape}, "name": "sequence"},
                {"hold": "300 ms", "name": "rest"},
                {"power_down": {"order": ["main"]}},
            ],
            "record": {"every": "10 ms"},
            "stop_when": stop_when or [],
            "requires": [
                {"name": "mean", "measure": "mean_voltage", "of": "main", "during": "sequence",
                 "between": "10.1 V .. 10.3 V"},
                {"name": "then", "measure": "mean_voltage", "of": "main", "during": "rest",
                 "between": "10.9 V .. 11.1 V"},
            ],
        },
        {"s": supply(output)},
    )  # fmt: skip


class At(Triggers):
    """What ends the repeating comes so long after the run began to look for it [s]."""

    def __init__(self, after: float, clock: Callable[[], float]) -> None:
        super().__init__()
        self.after, self.clock, self.begun, self.asked = after, clock, 0.0, []

    def begin(self, source: Any) -> None:
        self.begun = self.clock()
        self.asked.append(source)

    def arrived(self, source: Any) -> bool:
        return self.clock() - self.begun >= self.after


def played(path: Path, after: float = 1e9, seed: int = 3) -> tuple[RunOutcome, Path]:
    """A run on twins in virtual time; the key comes `after` the first turn began."""
    opened, loop = Job.open(path), VirtualLoop()
    settings, documents = opened.check(static=True).settings, opened.documents
    folder = path.parent / f"run-{seed}-{after}"
    with VirtualNetwork(loop, documents.bench, documents.device, documents.procedure, seed=seed) as network:
        link = LocalLink(loop, network.connect)
        outcome = run(
            documents, settings.set_points, unit="T-1", operator="O", folder=folder,
            settings=as_data(settings), link=link, triggers=At(after, link.now),
        )  # fmt: skip
    return outcome, folder


def told(record: Record) -> str:
    (event,) = [each for each in record.events if each.kind is EventKind.REPEATED]
    return event.detail


def length(record: Record, step: str = "sequence") -> float:
    span = record.span(step)
    return span.end - span.start


def jumps(record: Record) -> int:
    """How often the voltage has come up from 9 V to 11 V."""
    traces = record.traces["main"]
    high = traces.columns["voltage"] > 10.0
    inside = traces.time > record.span("sequence").start + 0.05
    return int(((~high[:-1]) & high[1:] & inside[1:]).sum())


@pytest.mark.parametrize(
    ("shape", "turns"),
    [
        ({"repeat_until": "key", "at_most": 7}, 7),
        ({"repeat_until": "key", "at_most": "3 s"}, 6),
        ({"repeat_until": "trigger", "at_most": "3.4 s"}, 6),
        ({"repeat_until": "key", "at_most": "100 ms"}, 1),
        ({"repeat_until": "2.2 s", "at_most": 100}, 5),
        ({"repeat_until": "2 s", "at_most": 100}, 4),
        ({"repeat_until": "2 s", "at_most": 3}, 3),
        ({"repeat_until": "2.2 s", "at_most": "1.9 s"}, 3),
        # With 0.1 s between, n turns take 0.6 n - 0.1.
        ({"repeat_until": "key", "at_most": "2.9 s", "pause_between": "100 ms"}, 5),
        ({"repeat_until": "2.35 s", "at_most": "1 h", "pause_between": "100 ms"}, 5),
    ],
)  # fmt: skip
def test_the_plan_has_as_many_turns_as_may_be_played(
    shape: dict[str, Any], turns: int, tmp_path: Path
) -> None:
    documents = load_documents(job(tmp_path, shape))
    timeline = Job.open(tmp_path / "small.procedure.yaml").timeline
    pause = Fraction(1, 10) if "pause_between" in shape else Fraction(0)
    span = timeline.spans[1]
    assert span.end - span.start == pytest.approx(float(turns * (TURN + pause) - pause), abs=1e-9)
    asked = [each for each in timeline.actions if each.step == 1]
    assert [each.turn for each in asked] == [turn for turn in range(turns) for _ in range(2)]
    by_time = documents.procedure.steps[1].shape.repeat_until.time is not None  # type: ignore[union-attr]
    assert len(timeline.repeated) == (0 if by_time else 1)


@pytest.mark.parametrize("source", ["key", "trigger"])
@pytest.mark.parametrize(
    ("after", "pause", "turns"),
    [
        (0.05, 0.0, 1),
        (0.45, 0.0, 1),
        (0.55, 0.0, 2),
        (1.7, 0.0, 4),
        (1e9, 0.0, 6),
        (1.25, 0.1, 3),
        (1.15, 0.1, 2),
    ],
)
def test_a_run_ends_after_the_turn_in_which_it_is_told_to(
    source: str, after: float, pause: float, turns: int, tmp_path: Path
) -> None:
    shape = {"repeat_until": source, "at_most": 6, "pause_between": f"{pause} s"}
    outcome, folder = played(job(tmp_path, shape), after)
    assert outcome.ended is Ended.COMPLETED
    record = outcome.record
    # In a pause it ends at once; else with the turn that goes on.
    whole = max(turns * 0.5 + (turns - 1) * pause, after if after < 3.0 else 0.0)
    assert length(record) == pytest.approx(whole, abs=0.035)
    assert jumps(record) == turns
    assert told(record).startswith(f"{turns} of at most 6 times")
    assert ("not ended by" in told(record)) is (after > 1e6)
    assert length(record, "rest") == pytest.approx(0.3, abs=0.01)
    assert record.span("sequence").late < 0.01
    # The readings go on without a hole while it is looked for, and all turns that were played are judged.
    assert (
        max(b - a for a, b in zip(record.traces["main"].time, record.traces["main"].time[1:], strict=False))
        < 0.03
    )
    judged = {each.requirement: each for each in evaluate_run(open_stored(folder), []).results}
    level = (0.2 * 9 + 0.3 * 11) / 0.5
    if not pause:
        assert judged["mean"].measured is not None
        assert judged["mean"].measured.value == pytest.approx(level, abs=0.03)
        assert judged["mean"].outcome == "pass"
    assert judged["then"].outcome == "pass"


@pytest.mark.parametrize(
    ("until", "turns"),
    [
        # 24 ohm draws 0.375 A at 9 V and 0.458 A at 11 V.
        ({"current_below": "0.4 A"}, 1),
        ({"current_above": "0.45 A"}, 1),
        ({"current_above": "0.45 A", "for": "250 ms"}, 1),
        ({"current_above": "0.45 A", "for": "350 ms"}, 8),
        ({"voltage_below": "8 V"}, 8),
        ({"current_above": "0.3 A", "for": "1.2 s"}, 3),
        ({"voltage_above": "8 V", "for": "900 ms", "input": "main"}, 2),
    ],
)
def test_rehearsal_and_run_end_by_what_is_read(until: dict[str, str], turns: int, tmp_path: Path) -> None:
    path = job(tmp_path, {"repeat_until": until, "at_most": 8})
    rehearsal = Job.open(path).rehearse()
    outcome, _ = played(path)
    for record in (rehearsal.record, outcome.record):
        assert told(record).startswith(f"{turns} of at most 8 times")
        assert length(record) == pytest.approx(turns * 0.5, abs=0.035)
        assert length(record, "rest") == pytest.approx(0.3, abs=0.01)
    assert len(rehearsal.plan.timeline.repeated[0].ends) == turns
    assert all(each.outcome == "pass" for each in rehearsal.evaluation.results)


def test_a_charge_ends_when_its_current_has_fallen(tmp_path: Path) -> None:
    """A bank of 0.1 F behind 10 ohm: i falls as exp(-t / 1 s) from the last step on, by the closed form."""
    load = {"capacitor": {"capacitance": "0.1 F", "esr": "10 ohm"}}
    shape = {"repeat_until": {"current_below": "100 mA"}, "at_most": 30}
    path = job(tmp_path, shape, load=load, table="dwell_s,voltage_V\n0.5,12\n")
    rehearsal = Job.open(path).rehearse()
    # Power-up: 12 V in 6 ms, then 0.1 s; from 1.2 A it takes ln(12) s to 0.1 A, the last 2.385 s in the step.
    assert told(rehearsal.record).startswith("5 of at most 30 times")
    assert told(played(path)[0].record).startswith("5 of at most 30 times")


def test_nobody_presses_a_key_in_a_rehearsal(tmp_path: Path) -> None:
    rehearsal = Job.open(job(tmp_path, {"repeat_until": "key", "at_most": 4})).rehearse()
    assert told(rehearsal.record).startswith("4 of at most 4 times")
    assert length(rehearsal.record) == pytest.approx(2.0)


def test_the_check_takes_the_most_that_may_be_played(tmp_path: Path) -> None:
    check = Job.open(job(tmp_path, {"repeat_until": {"current_below": "0.4 A"}, "at_most": 9})).check()
    (note,) = [each for each in check.findings if each.rule == "repeated-at-most"]
    assert {each.value for each in note.figures} >= {9, 4.5, 0.4}
    span = check.plan.spans[1]
    assert span.end - span.start == pytest.approx(4.5)


def test_a_program_presses_the_key(tmp_path: Path) -> None:
    """The call of the library, from another thread while the run goes on."""

    class Pressed(Triggers):
        def begin(self, source: Any) -> None:
            super().begin(source)
            thread = Thread(target=self.press)
            thread.start()
            thread.join()

    check = Job.open(job(tmp_path, {"repeat_until": "key", "at_most": 5})).check(static=True)
    done = check.run(unit="T-1", operator="O", folder=tmp_path / "run", twins=True, triggers=Pressed())
    assert told(done.record).startswith("1 of at most 5 times")


def test_a_shape_of_holds_alone_lasts_until_the_key(tmp_path: Path) -> None:
    """No set point moves in any turn."""
    path = job(
        tmp_path, {"repeat_until": "key", "at_most": 50, "table": None, "segments": [{"hold": "0.4 s"}]}
    )
    path.write_text(path.read_text("utf-8").replace('"table": null,', ""), "utf-8")
    outcome, _ = played(path, 0.9)
    assert outcome.ended is Ended.COMPLETED
    assert length(outcome.record) == pytest.approx(1.2, abs=0.035)


def test_stop_conditions_stay_alive(tmp_path: Path) -> None:
    stop = [{"input": "main", "during": "sequence", "current_above": "0.44 A", "for": "100 ms"}]
    outcome, _ = played(job(tmp_path, {"repeat_until": "key", "at_most": 1000}, stop))
    assert outcome.ended is Ended.STOPPED
    span = outcome.record.span("sequence")
    assert not span.whole
    assert span.end - span.start == pytest.approx(0.2 + 0.1, abs=0.05)
    assert outcome.off_confirmed


def test_the_host_plays_it_where_the_outputs_have_lists(tmp_path: Path) -> None:
    documents = load_documents(job(tmp_path, {"repeat_until": "key", "at_most": 5}, points=True))
    plan = plan_of(
        documents, Job.open(tmp_path / "small.procedure.yaml").check(static=True).settings.set_points
    )
    assert not plan.listings


def test_two_inputs_and_two_sequences(tmp_path: Path) -> None:
    """The second one ends by its own key; what is between and after them lasts as long as written."""
    path = job(tmp_path, {"repeat_until": "key", "at_most": 6})
    text = path.read_text("utf-8")
    shape = '{"input": "main", "table": "sequence.csv", "repeat_until": "key", "at_most": 6}'
    more = f'{{"shape": {shape}, "name": "again"}}, '
    marked = text.index('{\n   "hold"') if '{\n   "hold"' in text else text.index('{"hold"')
    path.write_text(text[:marked] + more + text[marked:], "utf-8")
    outcome, _ = played(path, 1.2)
    assert outcome.ended is Ended.COMPLETED
    assert [length(outcome.record, step) for step in ("sequence", "again", "rest")] == [
        pytest.approx(1.5, abs=0.035), pytest.approx(1.5, abs=0.035), pytest.approx(0.3, abs=0.02),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        ({"repeat_until": "key"}, "expected 'at_most' beside 'repeat_until', got none"),
        ({"at_most": 5}, "expected 'at_most' beside 'repeat_until' only"),
        ({"repeat_until": "key", "at_most": 0}, "expected a count of 1 to 100,000, got 0"),
        ({"repeat_until": "key", "at_most": "-2 s"}, "expected a number of times such as '20'"),
        ({"repeat_until": "key", "at_most": "often"}, "expected a number of times such as '20'"),
        ({"repeat_until": "key", "at_most": "12 V"}, "'V' is a voltage"),
        ({"repeat_until": "kye", "at_most": 5}, "expected key, trigger, a time such as '10 min'"),
        ({"repeat_until": "0 s", "at_most": 5}, "expected a time above zero"),
        ({"repeat_until": "key", "at_most": 5, "repeat": 3}, "expected 'repeat' or 'repeat_until', got both"),
        ({"repeat_until": {"for": "2 s"}, "at_most": 5}, "expected exactly one of press, time, current"),
        ({"repeat_until": {"current_below": "1 V"}, "at_most": 5}, "'V' is a voltage"),
        ({"repeat_until": {"press": "key", "for": "2 s"}, "at_most": 5}, "expected no 'for' beside 'press'"),
        ({"repeat_until": {"current_below": "1 A", "input": "mian"}, "at_most": 5}, "mian"),
        ({"repeat_until": "key", "at_most": "1000 h"}, "expected at most 100,000 turns"),
        (
            {"repeat_until": "key", "at_most": 5, "table": None, "segments": WAITING},
            "expected no segment that waits for the key that ends the repeating",
        ),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_at_its_place(shape: dict[str, Any], said: str, tmp_path: Path) -> None:
    path = job(tmp_path, shape)
    if shape.get("table", "") is None:
        path.write_text(path.read_text("utf-8").replace('"table": null,', ""), "utf-8")
    with pytest.raises(DocumentErrors) as told:
        load_documents(path)
    assert said in str(told.value)
    assert "small.procedure.yaml:" in str(told.value)
