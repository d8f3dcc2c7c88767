"""A run against fake supplies: the order of things, and every fault from wrong identity to a full disk."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.running.small import PROCEDURE, Small, small
from tests.said import figures, says

from railwright.dialects.dialect import load_dialect
from railwright.dialects.operation import Operation
from railwright.documents.bench import Coupling
from railwright.guard.process_link import ProcessLink
from railwright.quantities import show
from railwright.records.ended import Ended
from railwright.records.going import who_goes_on
from railwright.records.log import Log, LogLines
from railwright.records.names import LOG
from railwright.records.stored import open_run
from railwright.running.interruption import StopRequest
from railwright.running.outcome import FolderRefused, RunRefused
from railwright.settings.findings import Finding, Severity


def whats(bench_run: Any, subject: str) -> list[str]:
    return [event.what for event in bench_run.record.events if event.subject == subject]


def test_a_whole_run(bench: Small) -> None:
    outcome = bench.run()
    assert (outcome.ended, outcome.cause, outcome.cautions) == (Ended.COMPLETED, "", ())
    assert bench.everything_off
    main, aux = outcome.record.traces["main"], outcome.record.traces["aux"]
    assert list(main.columns) == ["voltage", "current", "mode"]
    assert list(aux.columns) == ["terminal_voltage", "current", "mode"]
    assert main.time[0] < -0.08
    steady = outcome.record.span("steady")
    held = main.between(steady.start + 0.01, steady.end - 0.01)
    np.testing.assert_allclose(held.columns["voltage"], 12.0)
    np.testing.assert_allclose(held.columns["current"], 0.3)
    assert [event for event in whats(outcome, "main") if event in ("on", "off", "enters CV", "fell")] == [
        "on",
        "enters CV",
        "off",
        "fell",
    ]
    assert outcome.switched_off["main"].fell_after == pytest.approx(0.05 * np.log(12), abs=0.03)
    assert outcome.switched_off["main"].verified
    assert "step 1: steady" in bench.told.said


def test_a_fall_is_told_and_logged_at_the_reading_that_shows_it(bench: Small) -> None:
    outcome = bench.run()
    off, fell = (
        next(e for e in outcome.record.events if (e.subject, e.what) == ("main", w)) for w in ("off", "fell")
    )
    trace = outcome.record.traces["main"]
    below = (trace.time >= off.time) & (np.abs(trace.columns["voltage"]) < 1.0)
    assert fell.time == trace.time[below][0]
    assert fell.time - off.time == pytest.approx(outcome.switched_off["main"].fell_after)
    lines = [line for line in LogLines(bench.folder / "run" / "log.ndjson") if line["kind"] == "event"]
    (logged,) = (line for line in lines if (line["subject"], line["what"]) == ("main", "fell"))
    assert logged["time"] == fell.time
    assert figures(logged["detail"])[0] == "1 V"
    assert figures(logged["detail"])[1] == show(outcome.switched_off["main"].fell_after, "s")


def test_a_mode_is_logged_with_a_reading_of_it(bench: Small) -> None:
    outcome = bench.run()
    entered = next(e for e in outcome.record.events if (e.subject, e.what) == ("main", "enters CV"))
    assert entered.detail == "at 12 V, 0.3 A"


def test_supplies_that_nobody_listens_for_are_all_named_and_nothing_is_switched(bench: Small) -> None:
    bench.left.close()
    bench.right.close()
    outcome = bench.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert not outcome.energised
    assert says(outcome.cause, "left", bench.left.address, "right", bench.right.address)
    assert "railwright twin BENCH" in outcome.remedy
    assert bench.told.said == ["identify the supplies", "left: instrument fails", "run: run ends"]


def test_steps_are_where_they_happened(bench: Small) -> None:
    outcome = bench.run()
    names = [span.name for span in outcome.record.spans]
    assert names == ["first power", "steady", "sweep", "step 4"]
    on = next(e for e in outcome.record.events if (e.subject, e.what) == ("main", "on"))
    assert outcome.record.span("first power").start == on.time
    sweep = outcome.record.span("sweep")
    assert [point[0] for point in sweep.points] == [9.0, 10.5, 12.0]
    for (_, start, end), nominal in zip(sweep.points, (0.0, 0.04, 0.08), strict=True):
        assert start == pytest.approx(0.186 - 0.0 + nominal, abs=0.03)
        assert end > start
    assert sweep.points[0][2] == sweep.points[1][1]
    for before, after in zip(outcome.record.spans, outcome.record.spans[1:], strict=False):
        assert before.end == after.start
    assert outcome.worst_lateness < 0.05


def test_nothing_is_on_before_everything_is_set_and_verified(bench: Small) -> None:
    bench.run()
    units = bench.left.units
    first_on = next(i for i, unit in enumerate(units) if unit.startswith("OUTPut:STATe ON"))
    for header in (
        "*IDN?",
        "OUTPut:STATe OFF",
        "*CLS",
        "OUTPut:PROTection:CLEar",
        "SOURce:VOLTage:PROTection 18",
        "SOURce:CURRent 1,",
        "SOURce:CURRent? (@1)",
        "MEASure:VOLTage?",
    ):
        assert any(unit.startswith(header) for unit in units[:first_on]), header
    order = [
        next(i for i, u in enumerate(units) if u.startswith(h))
        for h in (
            "*IDN?",
            "OUTPut:STATe OFF",
            "OUTPut:PROTection:CLEar",
            "SOURce:VOLTage:PROTection 18",
            "SOURce:CURRent 1,",
        )
    ]
    assert order == sorted(order)
    assert not any("(@2)" in unit for unit in units[first_on:])


def test_outputs_go_off_in_the_order_of_the_power_down(bench: Small) -> None:
    gone: list[str] = []
    for fake, name in ((bench.left, "main"), (bench.right, "aux")):
        fake.on_unit = lambda unit, name=name: (
            gone.append(name) if unit.startswith("OUTPut:STATe OFF") else None
        )
    stop = StopRequest()
    bench.during_steady(lambda: stop.request("asked"))
    outcome = bench.run(stop=stop)
    assert (outcome.ended, outcome.cause) == (Ended.INTERRUPTED, "asked")
    assert gone[-2:] == ["aux", "main"]
    assert bench.everything_off


def test_a_wrong_instrument_is_told_nothing(bench: Small) -> None:
    bench.left.identity = "Railwright,M-1,S-9,0"
    outcome = bench.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, "left", "S-1", "S-9")
    assert set(bench.left.units) == {"*IDN?"}
    assert not bench.ever_on
    assert not outcome.energised


@pytest.mark.parametrize("supply", ["left", "right"])
@pytest.mark.parametrize("part", ["settings", "instrument", "actions", "readings", "status"])
def test_any_changed_command_stops_it_before_anything_is_energised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, part: str, supply: str
) -> None:
    dialect = load_dialect("channel-list" if supply == "left" else "selected-output")
    for name, changed in _changed(dialect, part):
        if name == "voltage_mode":
            continue  # its outputs have no point list
        where = tmp_path / name
        where.mkdir()

        def wrong(asked: str, changed: Any = changed) -> Any:
            return changed if asked == dialect.name else load_dialect(asked)

        monkeypatch.setattr("railwright.documents.bench.load_dialect", wrong)
        with small(where) as bench:
            outcome = bench.run()
            assert outcome.ended is Ended.INSTRUMENT, name
            assert supply in outcome.cause
            assert not bench.ever_on, name
            assert not outcome.energised


def _changed(dialect: Any, part: str) -> list[tuple[str, Any]]:
    """The dialect with one letter of one command changed, for each command of a part."""
    section = getattr(dialect, part)
    entries = dict(section) if isinstance(section, dict) else dict(section.__dict__)
    made = []
    for name, entry in entries.items():
        if entry is None or name.endswith(("_unit", "_form")):
            continue
        if isinstance(entry, Operation):
            wrong = {
                key: text[:2] + "X" + text[3:]
                for key in ("command", "query")
                if (text := getattr(entry, key))
            }
            other = entry.model_copy(update=wrong)
        elif part == "status":
            other = entry.model_copy(update={"query": entry.query.replace("CONDition", "CONDXtion")})
        elif isinstance(entry, tuple):
            other = tuple(each[:2] + "X" + each[3:] for each in entry)
        else:
            other = entry[:2] + "X" + entry[3:]
        changed = (
            {**section, name: other}
            if isinstance(section, dict)
            else section.model_copy(update={name: other})
        )
        made.append((name, dialect.model_copy(update={part: changed})))
    return made


def test_a_setting_that_reads_back_wrong_stops_it(bench: Small) -> None:
    bench.right.answers["CURR?"] = "0.6"
    outcome = bench.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert "current_limit" in outcome.cause
    assert not bench.ever_on


def test_an_error_in_the_queue_stops_it(bench: Small) -> None:
    def refuse(unit: str) -> None:
        if unit.startswith("SOURce:VOLTage:PROTection 18"):
            bench.left.errors.append('-222,"Data out of range"')

    bench.left.on_unit = refuse
    outcome = bench.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert says(outcome.cause, "-222")
    assert not bench.ever_on


def test_old_errors_do_not_stop_it(bench: Small) -> None:
    bench.left.errors.append('-113,"Undefined header"')
    assert bench.run().ended is Ended.COMPLETED


def test_a_blocking_finding_refuses_it_untouched(bench: Small) -> None:
    finding = Finding("ovp-withstand", Severity.STOP, "main", None, "18 V is more than 16 V", "lower it")
    with pytest.raises(RunRefused, match=r"^ovp-withstand: 18 V .* 16 V"):
        bench.run(findings=[finding])
    assert bench.left.units == []
    assert not (bench.folder / "run").exists()


def test_a_folder_that_holds_something_is_refused(bench: Small) -> None:
    (bench.folder / "run").mkdir()
    (bench.folder / "run" / "mine.txt").write_text("precious")
    with pytest.raises(FolderRefused, match="holds something"):
        bench.run()
    assert bench.left.units == []


def test_no_run_begins_without_a_place_for_its_record(bench: Small) -> None:
    def full(path: Path) -> Log:
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(FolderRefused, match=os.strerror(errno.ENOSPC)):
        bench.run(open_log=full)
    (bench.folder / "file").write_text("in the way")
    with pytest.raises(FolderRefused, match=os.strerror(errno.ENOTDIR)):
        bench.run(folder=bench.folder / "file" / "run")
    assert not bench.ever_on


def test_of_two_runs_into_one_folder_the_second_writes_nothing_there(bench: Small) -> None:
    """Both found it empty; the other's log is there when this one makes its own."""
    place = bench.folder / "run"

    def second(path: Path) -> Log:
        assert path.parent == place
        path.write_text("of the other\n")
        return Log(path)

    with pytest.raises(FolderRefused, match=os.strerror(errno.EEXIST)):
        bench.run(open_log=second)
    assert [each.name for each in place.iterdir()] == [LOG]
    assert (place / LOG).read_text() == "of the other\n"
    assert not bench.ever_on


def test_no_run_begins_without_a_guard(bench: Small) -> None:
    link = ProcessLink()
    os.kill(link.pid, signal.SIGKILL)
    os.waitid(os.P_PID, link.pid, os.WEXITED | os.WNOWAIT)
    with pytest.raises(RunRefused, match="guard has died"):
        bench.run(link=link)
    assert not bench.ever_on


@pytest.mark.parametrize(("bit", "cause"), [(9, "main tripped: current limit"), (12, "main tripped: OVP")])
def test_a_trip_ends_it_and_what_is_linked_goes_off_first(bench: Small, bit: int, cause: str) -> None:
    bench.during_steady(lambda: bench.left.trip(1, bit))
    outcome = bench.run()
    assert (outcome.ended, outcome.cause) == (Ended.TRIPPED, cause)
    assert bench.everything_off
    assert whats(outcome, "aux")[-3:] == ["trips linked", "off", "fell"] or "trips linked" in whats(
        outcome, "aux"
    )
    assert f"trips {cause.partition(': ')[2]}" in whats(outcome, "main")
    assert outcome.record.traces["main"].time[-1] > 0.2


def test_an_output_that_goes_off_by_itself_ends_it(bench: Small) -> None:
    bench.during_steady(lambda: bench.right.outputs[1].switch(False))
    outcome = bench.run()
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "aux", "right.1", "off", "panel")
    assert outcome.off_confirmed


def test_a_stop_condition_ends_it(tmp_path: Path) -> None:
    text = PROCEDURE + "stop_when: [{input: main, current_above: 250 mA, for: 30 ms}]\n"
    with small(tmp_path, text) as bench:
        outcome = bench.run()
        assert outcome.ended is Ended.STOPPED
        assert says(outcome.cause, "main", "0.3 A", "0.25 A")
        assert bench.everything_off
        assert says(outcome.deviations[-1], outcome.cause)


def test_a_lost_instrument_is_switched_off_over_a_new_session(bench: Small) -> None:
    bench.during_steady(bench.left.drop)
    outcome = bench.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert outcome.cause.startswith("left: ")
    assert bench.everything_off
    assert whats(outcome, "left")[-2:] == ["lost", "answers again"]
    assert "off confirmed" in whats(outcome, "main")
    assert outcome.switched_off["main"].confirmed


def test_an_instrument_that_stays_lost_is_a_caution_and_the_others_are_off(bench: Small) -> None:
    bench.during_steady(bench.left.close)
    outcome = bench.run()
    assert outcome.ended is Ended.INSTRUMENT
    assert not bench.right.outputs[1].on
    assert not outcome.off_confirmed
    (line,) = outcome.not_confirmed
    assert says(line, "main", "left.1", "left", bench.left.address, "mains switch")
    assert not outcome.switched_off["main"].confirmed
    assert outcome.switched_off["aux"].confirmed


def test_a_voltage_that_stays_is_not_off(bench: Small) -> None:
    bench.during_steady(lambda: setattr(bench.left.outputs[1], "residual", 4.0))
    outcome = bench.run(decay_limit=0.3)
    assert outcome.ended is Ended.COMPLETED
    assert not outcome.off_confirmed
    main = outcome.switched_off["main"]
    assert (main.verified, main.confirmed, main.fell_after) == (True, False, None)
    assert main.residual == pytest.approx(4.0, abs=0.1)
    assert says(outcome.not_confirmed[0], "main", "left.1", show(main.residual, "V"))
    assert outcome.switched_off["aux"].confirmed


def test_a_voltage_that_stands_before_stops_it_unless_somebody_agrees(
    bench: Small, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("railwright.running.preparation.FALL_WAIT", 0.2)
    bench.left.outputs[1].residual = 4.0
    outcome = bench.run(decay_limit=0.05)
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "main", "4 V")
    assert not bench.ever_on
    agreed = bench.run(decay_limit=0.05, consent=True, folder=bench.folder / "again")
    assert agreed.ended is Ended.COMPLETED
    assert "voltage before switching on" in whats(agreed, "main")


def test_a_used_output_found_on_stops_it_and_is_told_nothing(bench: Small) -> None:
    bench.left.outputs[1].switch(True)
    outcome = bench.run()
    assert outcome.ended is Ended.STOPPED
    assert says(outcome.cause, "left.1", "on")
    assert bench.left.outputs[1].on
    assert not any(
        unit.startswith(("OUTPut:STATe O", "SOURce")) for unit in bench.left.units if "?" not in unit
    )
    assert not outcome.energised
    assert bench.run(consent=True, folder=bench.folder / "again").ended is Ended.COMPLETED


def test_what_is_on_and_moves_with_an_output_in_use_is_told(bench: Small) -> None:
    """Whoever agrees to it must know that its set points will not stay."""
    left = bench.documents.bench.supplies["left"]
    group = Coupling(outputs=("1", "2"), by="step", of="current_limit")
    supplies = {**bench.documents.bench.supplies, "left": left.model_copy(update={"coupled": (group,)})}
    changed = bench.documents.bench.model_copy(update={"supplies": supplies})
    bench.documents = replace(bench.documents, bench=changed)
    bench.left.outputs[2].switch(True)
    assert says(bench.run().cause, "left.2 is on", "will move its set points with those of left.1")


def test_an_output_that_feeds_nothing_is_told_nothing(bench: Small) -> None:
    bench.left.outputs[2].switch(True)
    bench.left.outputs[2].settings["VOLT"] = "7"
    refused = bench.run()
    assert (refused.ended, says(refused.cause, "left.2", "on")) == (Ended.STOPPED, True)
    outcome = bench.run(consent=True, folder=bench.folder / "again")
    assert (outcome.ended, outcome.off_confirmed) == (Ended.COMPLETED, True)
    assert bench.left.outputs[2].on
    assert bench.left.outputs[2].settings == {"VOLT": "7"}
    assert all("?" in unit for unit in bench.left.units if "(@2)" in unit)
    assert [says(caution, "left.2", "on", "operator") for caution in outcome.cautions] == [True]


class FullDisk(Log):
    """Has no room any more once everything is on."""

    full = False

    def _put(self, data: memoryview) -> int:
        self.full = self.full or b'"name":"steady"' in bytes(data)
        if self.full:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super()._put(data)


def test_a_full_disk_switches_off(bench: Small) -> None:
    outcome = bench.run(open_log=FullDisk)
    assert outcome.ended is Ended.RECORD
    assert os.strerror(errno.ENOSPC) in outcome.cause
    assert outcome.energised
    assert bench.everything_off
    # Readings that were taken were not kept, and that is told.
    data = open_run(outcome.folder)
    assert not data.whole
    kept, taken = data.record.traces["main"].time.size, data.about["rows"]["main"]
    assert kept < taken
    assert any(says(caution, "record-main.parquet", kept, taken) for caution in outcome.cautions)
    assert "on" in [event.what for event in data.record.events]


def test_a_fault_of_the_program_switches_off(bench: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("railwright.running.watch.Watch._stopped", broken)
    outcome = bench.run()
    assert (outcome.ended, outcome.off_confirmed) == (Ended.FAULT, True)
    assert says(outcome.cause, "ZeroDivisionError")
    assert says(outcome.fault, "broken", "ZeroDivisionError")
    assert bench.ever_on
    assert bench.everything_off
    assert open_run(bench.folder / "run").differences.sound


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_signals_switch_off_and_keep_the_record(bench: Small, number: signal.Signals) -> None:
    process = _in_a_process(bench)
    assert process.stdout is not None
    assert process.stdout.readline() == "steady\n"
    process.send_signal(number)
    told, _ = process.communicate(timeout=10)
    assert told == "interrupted\n"
    assert bench.everything_off
    data = open_run(bench.folder / "run")
    assert data.ended is Ended.INTERRUPTED
    assert data.differences.sound
    assert data.record.traces["main"].time.size > 5


def test_a_killed_run_is_read_from_its_log(bench: Small) -> None:
    process = _in_a_process(bench)
    assert process.stdout is not None
    assert process.stdout.readline() == "steady\n"
    time.sleep(0.3)  # by then its thread has handed the log's lines to the system, which takes it 50 ms
    process.kill()
    process.communicate(timeout=10)
    # Its guard switches off yet, and until that is done the run is not over.
    for _ in range(100):
        if not who_goes_on(bench.folder / "run"):
            break
        time.sleep(0.1)
    data = open_run(bench.folder / "run")
    assert data.ended is Ended.KILLED
    assert not data.complete
    assert [span.name for span in data.record.spans] == ["first power", "steady"]
    assert data.record.traces["main"].columns["voltage"].max() == 12.0
    assert "on" in [event.what for event in data.record.events]


IN_A_PROCESS = """
import sys
from railwright.documents.loader import load_documents
from railwright.running.outcome import Progress
from railwright.running.runner import run
from tests.running.small import SET_POINTS
from pathlib import Path

class Tell(Progress):
    def step_started(self, span, position):
        if span.name == "steady":
            print("steady", flush=True)

documents, folder = load_documents(sys.argv[1]), Path(sys.argv[2])
given = {"unit": "U", "operator": "O", "folder": folder, "progress": Tell(), "wait_for_lost": 1.0}
outcome = run(documents, SET_POINTS, **given)
print(outcome.ended)
"""


def _in_a_process(bench: Small) -> subprocess.Popen[str]:
    procedure = bench.documents.paths["procedure"]
    procedure.write_text(PROCEDURE.replace("hold: 100 ms", "hold: 20 s"), "utf-8")
    return subprocess.Popen(
        [sys.executable, "-c", IN_A_PROCESS, str(procedure), str(bench.folder / "run")],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )
